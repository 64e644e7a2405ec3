"""The encoding of what a command reads and prints."""

from __future__ import annotations

import codecs
import io
import os
import sys


def speak_utf8() -> None:
    """Let input and output that go to files and other programs be UTF-8, and none fail at a sign that it can't show.

    On Windows they would have the encoding of the country, which lacks signs that are printed, and a JSON text is UTF-8 (RFC 8259, 8.1). A
    terminal, and who sets `PYTHONIOENCODING`, keeps the encoding; there a sign that it lacks becomes a question mark.
    """
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if not isinstance(stream, io.TextIOWrapper) or codecs.lookup(stream.encoding).name == "utf-8":
            continue
        if stream.isatty() or "PYTHONIOENCODING" in os.environ:
            stream.reconfigure(errors="replace")
        else:
            stream.reconfigure(encoding="utf-8")
