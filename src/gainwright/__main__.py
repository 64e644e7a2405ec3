"""Run as `python -m gainwright`; a process that is started to help imports this file too, and nothing of the command line."""

import gc
import os
import sys


def _forget_current_folder() -> None:
    """Import nothing from the current folder, which `python -m` puts first: music or jobs may lie in it.

    A program that is itself there, as in a folder of its source, stays as it was started.
    """
    import os.path

    first = sys.path[0] if sys.path else None
    own = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))  # noqa: PTH100, PTH120  pathlib takes a while to import
    if first in ("", os.getcwd()) and os.path.realpath(first) != os.path.realpath(own):  # noqa: PTH109
        del sys.path[0]


def main() -> None:
    """Run the command line.

    Most of what a short command makes is its modules, which stay until it ends. Looking through them for garbage, while
    they are imported and once more when the process ends, would take a quarter of the time of a plan. Matrices are small here:
    several threads of linear algebra would wait for one another, in twice the processor time of a diagnosis.
    """
    gc.set_threshold(100_000)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read when numpy is first loaded
    _forget_current_folder()
    from gainwright.cli import main as run

    try:
        run()
    finally:
        gc.freeze()


if __name__ == "__main__":
    main()
