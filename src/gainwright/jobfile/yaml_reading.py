"""Read YAML strictly: size, encoding and aliases are limited, and each key has its location."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.constructor import DuplicateKeyError
from ruamel.yaml.error import YAMLError

from gainwright.errors import JobError
from gainwright.jobfile.yaml_limits import (
    DEEPEST,
    LARGEST_BYTES,
    MOST_NODES,
    UnboundedError,
    bounded_yaml,
    check_bounds,
)
from gainwright.jobfile.yaml_problems import problem_of
from gainwright.quantities import whole_number
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence


LONGEST_SHOWN = 80
"""Characters of a key that a message shows."""


@dataclass(frozen=True, slots=True)
class FileKind:
    """A kind of file: its name, how it begins, how to start one, and the error code when a file isn't one."""

    name: str
    begins: str
    start: str
    code: str


JOB = FileKind(
    "job file", say("a job begins with format: 1 and has stages"), say("start from gainwright new"), "not_a_job"
)
EVIDENCE = FileKind(
    "evidence file", say("it begins with evidence: and lists entries"), say("write evidence: []"), "no_evidence"
)


def read_text(path: Path, *, what: FileKind) -> str:
    """Return the text of a file.

    Raises
    ------
    JobError : it doesn't exist, is a folder, is too large, or isn't UTF-8.
    """
    try:
        if path.is_dir():
            raise JobError(
                say("is a folder"),
                code="not_a_file",
                where=str(path),
                remedy=say("name the file in it"),
            )
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
        refuse_other_file(content[:16], str(path), what=what)
        if len(content) > LARGEST_BYTES:
            raise JobError(
                say("is over {most} kB", most=LARGEST_BYTES // 1000),
                code="too_large",
                where=str(path),
                rule=say("{kind} is a few kilobytes", kind=_a(what.name)),
                remedy=say("check that it is the right file"),
            )
    except OSError as error:
        raise JobError(
            say("can't be read: {strerror}", strerror=error.strerror),
            code="not_readable",
            where=str(path),
            remedy=say("check the name"),
        ) from None
    return _decoded(content, str(path), what)


_SIGNATURES = (
    (b"%PDF-", say("a PDF")),
    (b"PK\x03\x04", say("a ZIP archive or an office document")),
    (b"\xd0\xcf\x11\xe0", say("an office document")),
    (b"\x89PNG", say("a PNG picture")),
    (b"\xff\xd8\xff", say("a JPEG picture")),
    (b"GIF8", say("a GIF picture")),
    (b"RIFF", say("a WAV recording")),
    (b"fLaC", say("a FLAC recording")),
    (b"OggS", say("an Ogg recording")),
    (b"ID3", say("an MP3 recording")),
    (b"SQLite format 3", say("a database")),
    (b"\x1f\x8b", say("a gzip archive")),
)
"""First bytes of files that are given as a job by mistake, each from the specification of its format (%PDF-: ISO 32000-1,
7.5.2; PNG: ISO/IEC 15948, 5.2; PK: ZIP's local file header)."""


def refuse_other_file(content: bytes, name: str, *, what: FileKind = JOB) -> None:
    """Refuse a file that begins as another kind of file does.

    Raises
    ------
    JobError : it is a PDF, a picture, a recording, an archive or a database.
    """
    for signature, said in _SIGNATURES:
        if content.startswith(signature):
            raise JobError(
                say("is {said}, not {kind}", said=said, kind=_a(what.name)),
                code="another_kind_of_file",
                where=name,
                rule=say("{kind} is text (YAML); {begins}", kind=_a(what.name), begins=what.begins),
                remedy=what.start,
            )


def _a(name: str) -> str:
    return _NAMED.get(name) or (f"an {name}" if name[0] in "aeiou" else f"a {name}")


_NAMED = {
    JOB.name: say("a job file"),
    EVIDENCE.name: say("an evidence file"),
    "case file": say("a case file"),
    "class exercise": say("a class exercise"),
    "class result": say("a class result"),
}
"""Name of a kind of file -> the name with its article, which can be translated."""


def _decoded(content: bytes, name: str, what: FileKind) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise JobError(
            say("is UTF-16 text"),
            code="encoding",
            where=name,
            rule=say("{kind} is UTF-8", kind=_a(what.name)),
            remedy=say("save it as UTF-8"),
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise JobError(
            say("byte {byte} is not UTF-8", byte=f"{content[error.start]:#04x}"),
            code="encoding",
            where=f"{name}:{line}",
            rule=say("{kind} is UTF-8", kind=_a(what.name)),
            remedy=say("save it as UTF-8"),
        ) from None


def document(text: str, name: str, *, what: FileKind = JOB) -> CommentedMap:
    """Return the single mapping in a text, with comments and locations.

    Raises
    ------
    JobError : not YAML, not one mapping, or unbounded; `where` gives line and column.
    """
    refuse_other_file(text[:16].encode("utf-8", "replace"), name, what=what)
    if "\x00" in text:
        raise JobError(
            say("contains a NUL character"), code="not_yaml", where=name, rule=say("{kind} is text", kind=_a(what.name))
        )
    try:
        check_bounds(text)
        documents = list(bounded_yaml().load_all(text))
    except UnboundedError as error:
        raise JobError(
            error.what, code="too_large", where=_mark(name, error.mark), rule=error.rule, remedy=error.remedy
        ) from None
    except DuplicateKeyError as error:
        mark = error.problem_mark
        key = str(error.problem or "").split('"')
        raise JobError(
            say("the key {key} is given twice", key=repr(key[1][:80] if len(key) > 1 else "")),
            code="duplicate_key",
            where=_mark(name, mark),
            rule=say("a key must be unique in its mapping"),
            remedy=say("keep one of them"),
        ) from None
    except (YAMLError, ValueError, RecursionError, AttributeError, TypeError, AssertionError, KeyError) as error:
        mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
        raise JobError(
            say("this is not YAML: {problem}", problem=problem_of(error)),
            code="not_yaml",
            where=_mark(name, mark),
            remedy=say("look for a missing colon, bracket or quote, or a wrong indent, here or just above"),
        ) from None
    return _only(documents, name, what)


def _only(documents: list[Any], name: str, what: FileKind) -> CommentedMap:
    """Return the one document of a file. JobError: there are several, or it is no mapping."""
    if len(documents) > 1:
        raise JobError(
            say("{number} documents are in it", number=len(documents)),
            code="not_yaml",
            where=name,
            rule=say("{kind} is one", kind=_a(what.name)),
            remedy=say("remove the lines ---"),
        )
    if not documents or not isinstance(documents[0], CommentedMap):
        raise JobError(
            say("it has no keys"),
            code=what.code,
            where=name,
            rule=what.begins,
            remedy=what.start,
        )
    return documents[0]


def _too_large(name: str) -> JobError:
    return JobError(
        say("it is too large or too deep"),
        code="too_large",
        where=name,
        rule=say("at most {most_nodes} values, {deepest} levels", most_nodes=MOST_NODES, deepest=DEEPEST),
    )


def plain(value: Any, name: str) -> Any:
    """Return plain containers; refuse values that are too large, too deep, or not text, numbers, lists or mappings."""
    left = [MOST_NODES]

    def taken(value: Any, depth: int) -> Any:
        left[0] -= 1
        if left[0] < 0 or depth > DEEPEST:
            raise _too_large(name)
        if isinstance(value, dict):
            for key in value:
                if not isinstance(key, str):
                    raise JobError(
                        say("the key {key} is not text", key=repr(key)[:LONGEST_SHOWN]),
                        code="bad_key",
                        where=name,
                        remedy=say('write "{key}"', key=str(key)[:LONGEST_SHOWN]),
                    )
            return {str(key): taken(item, depth + 1) for key, item in value.items()}
        if isinstance(value, list):
            return [taken(item, depth + 1) for item in value]
        if isinstance(value, bool) or value is None:
            return value
        if isinstance(value, int):
            return int(value)
        if isinstance(value, float):
            return float(value)
        return str(value)

    return taken(value, 0)


def where(document: CommentedMap, path: Sequence[str], name: str) -> str:
    """Return `file:line:column: key.path` of a key, or of its nearest parent that exists."""
    here: Any = document
    line, column = 0, 0
    for part in path:
        position = _position(here, part)
        if position is None:
            break
        line, column = position
        here = here[int(part)] if isinstance(here, CommentedSeq) else here[part]
    dotted = ".".join(part if len(part) <= LONGEST_SHOWN else f"{part[:LONGEST_SHOWN]}…" for part in path)
    return f"{name}:{line + 1}:{column + 1}: {dotted}" if dotted else f"{name}:{line + 1}:{column + 1}"


def _position(here: Any, part: str) -> tuple[int, int] | None:
    if isinstance(here, CommentedMap) and part in here:
        found = here.lc.data.get(part) if here.lc.data else None
        return (found[0], found[1]) if found else (here.lc.line, here.lc.col)
    if isinstance(here, CommentedSeq) and whole_number(part, most=len(here) - 1) is not None:
        found = here.lc.data.get(int(part)) if here.lc.data else None
        return (found[0], found[1]) if found else (here.lc.line, here.lc.col)
    return None


def _mark(name: str, mark: Any) -> str:
    return f"{name}:{mark.line + 1}:{mark.column + 1}" if mark is not None else name
