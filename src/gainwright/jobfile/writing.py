"""Writing a job file back: comments, order and quoting stay; only what is changed changes."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ruamel.yaml import YAML

from gainwright.errors import CallError, JobError

if TYPE_CHECKING:
    from gainwright.jobfile.reading import JobFile

_WIDE = 4096


def render(document: Any) -> str:
    """Return a document as text, with its comments."""
    yaml = YAML(typ="rt", pure=True)
    yaml.preserve_quotes = True
    yaml.width = _WIDE
    yaml.indent(mapping=2, sequence=4, offset=2)
    out = io.StringIO()
    yaml.dump(document, out)
    return out.getvalue()


def set_value(jobfile: JobFile, key_path: str, value: str) -> str:
    """Return the file's text with one value changed; all else, comments included, as it was.

    A value that stands on one line is replaced in the text itself; a new key is added by writing the document anew.

    Raises
    ------
    JobError : the path leads nowhere.
    """
    keys = key_path.split(".")
    holder: Any = jobfile.document
    for key in keys[:-1]:
        holder = _child(holder, key, key_path)
    last: Any = int(keys[-1]) if isinstance(holder, list) and keys[-1].isdigit() else keys[-1]
    exists = (isinstance(holder, dict) and last in holder) or (
        isinstance(holder, list) and isinstance(last, int) and last < len(holder)
    )
    if exists and not isinstance(holder[last], dict | list):
        replaced = _replaced(jobfile.text, holder, last, value)
        if replaced is not None:
            return replaced
    if not isinstance(holder, dict | list) or (isinstance(holder, list) and not exists):
        raise _nowhere(key_path)
    holder[last] = value
    return render(jobfile.document)


def _child(holder: Any, key: str, key_path: str) -> Any:
    if isinstance(holder, dict) and key in holder:
        return holder[key]
    if isinstance(holder, list) and key.isdigit() and int(key) < len(holder):
        return holder[int(key)]
    raise _nowhere(key_path)


def _nowhere(key_path: str) -> JobError:
    return JobError(
        f"there is no {key_path}", code="no_such_key", where=key_path, remedy="name a key that the file has"
    )


def _replaced(text: str, holder: Any, last: Any, value: str) -> str | None:
    """Replace a scalar in the text at its position; None when it does not stand there as one plain line."""
    data = holder.lc.data.get(last)
    if data is None:
        return None
    line, column = (data[2], data[3]) if len(data) >= 4 else (data[0], data[1])
    lines = text.split("\n")
    old = lines[line][column:]
    written = str(holder[last])
    for candidate in (written, f'"{written}"', f"'{written}'"):
        if old.startswith(candidate):
            lines[line] = lines[line][:column] + value + old[len(candidate) :]
            return "\n".join(lines)
    return None


def save(path: Path, text: str) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    CallError : it can't be written there.
    """
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(path)
    except OSError as error:
        if part.exists():
            part.unlink()
        raise CallError(
            f"can't be written: {error.strerror}", code="not_written", where=str(path), remedy="choose another place"
        ) from None
