"""The commands: they call `app` and print the results; with --json each prints one JSON object.

Exit status: 0 done; 1 done, and something is wrong with the job; 2 the input or the call is invalid.
"""

from gainwright.cli.main import main

__all__ = ["main"]
