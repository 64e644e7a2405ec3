"""Reading one recording of a music library: the digest of its content, and its statistics."""

from __future__ import annotations

import hashlib
from pathlib import Path

from gainwright.app.music.ports import Answer, FileTask
from gainwright.errors import CallError, RecordingError
from gainwright.harmless import reason_of


def read_file(task: FileTask) -> Answer:
    """Read one file; an answer without statistics gives the reason.

    Raises
    ------
    CallError : nothing can be analysed on this machine, whatever the file.
    """
    from gainwright.programme import ANALYSIS_VERSION, analyse_file

    digest, statistics, why, lasting = "", None, "", False
    try:
        before = Path(task.path).stat()
        digest = _digest(task.path) if task.digested else ""
        if task.bands:
            statistics = analyse_file(Path(task.path), task.bands, overlapped=task.overlapped)
        after = Path(task.path).stat()
        if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
            digest, statistics, why = "", None, "was changed while it was read"
    except CallError:
        raise
    except RecordingError as error:
        why, lasting = error.what, True
    except OSError as error:
        why = f"can't be read: {error.strerror or type(error).__name__}"
    except MemoryError:
        why = "can't be read: not enough memory"
    except Exception as error:  # noqa: BLE001  one bad file must not end the scan of a library; the result gives the reason
        why = f"can't be analysed ({type(error).__name__}: {reason_of(error)})"
    return Answer(digest, statistics, why, lasting, ANALYSIS_VERSION)


def _digest(path: str) -> str:
    with Path(path).open("rb", buffering=0) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
