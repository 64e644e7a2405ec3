"""Reading a job file: strictly, with every error at its file, line, column and key."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.constructor import DuplicateKeyError
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from gainwright.errors import CallError, GainwrightError, JobError
from gainwright.jobfile.controls import check_places
from gainwright.model import Job, Speaker, Wiring, resolve

if TYPE_CHECKING:
    from collections.abc import Sequence

LARGEST_BYTES = 1_000_000
MOST_NODES = 20_000
DEEPEST = 30
MORE_SHOWN = 5
_KNOWN_KINDS = ("head_unit", "processor", "line_driver", "level_control", "converter", "amplifier", "speaker")


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job as read: the job, its wiring, the document with its comments, and the text."""

    job: Job
    wiring: Wiring
    document: CommentedMap
    text: str


def read_job(path: Path | str) -> JobFile:
    """Read a job file.

    Raises
    ------
    JobError : it isn't there, can't be read, or is no job; `where` names file, line, column and key.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise JobError("is a folder", code="not_a_file", where=str(path), remedy="name the job file in it")
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise JobError(
                f"has {size / 1e6:.1f} MB",
                code="too_large",
                where=str(path),
                rule="a job file is a few kilobytes, at most 1 MB",
                remedy="name the job file, not a recording",
            )
        content = path.read_bytes()
    except OSError as error:
        raise JobError(
            f"can't be read: {error.strerror}", code="not_readable", where=str(path), remedy="check the name"
        ) from None
    return read_job_text(_decoded(content, str(path)), name=str(path))


def _decoded(content: bytes, name: str) -> str:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise JobError(
            "is UTF-16 text", code="encoding", where=name, rule="a job file is UTF-8", remedy="save it as UTF-8"
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise JobError(
            f"byte {content[error.start]:#04x} is no UTF-8",
            code="encoding",
            where=f"{name}:{line}",
            rule="a job file is UTF-8",
            remedy="save it as UTF-8",
        ) from None


def read_job_text(text: str, name: str = "job") -> JobFile:
    """Read a job from text.

    Raises
    ------
    JobError : it is no job; `where` names line, column and key.
    """
    if len(text.encode("utf-8", "surrogatepass")) > LARGEST_BYTES:
        raise JobError("is over 1 MB", code="too_large", where=name, rule="a job file is a few kilobytes")
    document = _document(text, name)
    plain = _plain(document, name)
    try:
        job = Job.model_validate(plain)
    except ValidationError as error:
        raise _first_error(error, document, name) from None
    try:
        wiring = resolve(job)
        check_places(job)
        _check_names(job, wiring)
    except (JobError, CallError) as error:
        placed = _where(document, error.where.split("."), name)
        raise JobError(error.what, code=error.code, where=placed, rule=error.rule, remedy=error.remedy) from None
    return JobFile(job, wiring, document, text)


def _document(text: str, name: str) -> CommentedMap:
    if "\x00" in text:
        raise JobError("holds a NUL character", code="not_yaml", where=name, rule="a job file is text")
    _check_aliases(text, name)
    yaml = YAML(typ="rt", pure=True)
    yaml.version = (1, 2)
    try:
        documents = list(yaml.load_all(text))
    except DuplicateKeyError as error:
        mark = error.problem_mark
        key = str(error.problem or "").split('"')
        raise JobError(
            f"the key {key[1] if len(key) > 1 else ''!r} stands twice",
            code="duplicate_key",
            where=_mark(name, mark),
            rule="a key stands once in its mapping",
            remedy="keep one of them",
        ) from None
    except MarkedYAMLError as error:
        problem = str(error.problem or error.context or "it can't be read").split("\n")[0]
        raise JobError(
            f"this is no YAML: {problem}",
            code="not_yaml",
            where=_mark(name, error.problem_mark or error.context_mark),
            remedy="look for a missing colon, bracket or quote, or a wrong indent, here or just above",
        ) from None
    except (YAMLError, ValueError, RecursionError, AttributeError, TypeError, AssertionError, KeyError) as error:
        raise JobError(
            f"this is no YAML: {str(error).splitlines()[0] if str(error) else type(error).__name__}",
            code="not_yaml",
            where=name,
        ) from None
    if len(documents) > 1:
        raise JobError(
            f"{len(documents)} documents stand in it",
            code="not_yaml",
            where=name,
            rule="a job file is one",
            remedy="take the lines --- out",
        )
    if not documents or not isinstance(documents[0], CommentedMap):
        raise JobError(
            "it holds no keys",
            code="not_a_job",
            where=name,
            rule="a job begins with format: 1 and has stages",
            remedy="start from gainwright new",
        )
    return documents[0]


def _check_aliases(text: str, name: str) -> None:
    """Refuse documents whose aliases would grow without bound, before anything expands them."""
    if "*" not in text or "&" not in text:
        return
    yaml = YAML(typ="rt", pure=True)
    sizes: dict[str, int] = {}
    stack: list[tuple[str | None, int]] = []
    total = 0
    try:
        for event in yaml.parse(text):
            kind = type(event).__name__
            anchor = getattr(event, "anchor", None)
            if kind == "AliasEvent":
                grown = sizes.get(str(anchor), 1)
                total += grown
                stack = [(a, n + grown) for a, n in stack]
            elif kind == "ScalarEvent":
                total += 1
                stack = [(a, n + 1) for a, n in stack]
                if anchor:
                    sizes[str(anchor)] = 1
            elif kind.endswith("StartEvent") and kind[:3] in ("Map", "Seq"):
                stack.append((anchor, 1))
            elif kind.endswith("EndEvent") and kind[:3] in ("Map", "Seq"):
                own, size = stack.pop()
                if own:
                    sizes[own] = size
            if total > MOST_NODES:
                raise JobError(
                    "its aliases grow to a document without bound",
                    code="too_large",
                    where=_mark(name, event.start_mark),
                    rule=f"a job has at most {MOST_NODES} values",
                    remedy="write the values out",
                )
    except (YAMLError, RecursionError):
        return


def _plain(document: Any, name: str) -> Any:
    """Return plain containers; refuse what is too large, too deep, or no text, number, list or mapping."""
    left = [MOST_NODES]

    def plain(value: Any, depth: int) -> Any:
        left[0] -= 1
        if left[0] < 0 or depth > DEEPEST:
            raise JobError(
                "it is too large or too deep",
                code="too_large",
                where=name,
                rule=f"at most {MOST_NODES} values, {DEEPEST} levels",
            )
        if isinstance(value, dict):
            for key in value:
                if not isinstance(key, str):
                    raise JobError(f"the key {key!r} is no text", code="bad_key", where=name, remedy=f'write "{key}"')
            return {str(key): plain(item, depth + 1) for key, item in value.items()}
        if isinstance(value, list):
            return [plain(item, depth + 1) for item in value]
        if isinstance(value, bool) or value is None:
            return value
        if isinstance(value, int):
            return int(value)
        if isinstance(value, float):
            return float(value)
        return str(value)

    return plain(document, 0)


def _check_names(job: Job, wiring: Wiring) -> None:
    for name in job.instruments:
        if name in job.stages:
            raise JobError(
                f"{name} is an instrument and a stage",
                code="name_twice",
                where=f"instruments.{name}",
                remedy="rename one of them",
            )
    if not any(isinstance(stage, Speaker) for stage in job.stages.values()):
        raise JobError("no stage is a speaker", code="bad_wiring", where="stages", rule="a chain ends at speakers")
    known = {"all", *job.stages}
    for node in wiring.nodes:
        known |= {node.output, f"{node.stage}.{node.output}"}
    for section, mapping in (("allowance", job.allowance), ("tones", job.tones)):
        for key in mapping:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                raise JobError(
                    f"{key} is no output, stage or speaker",
                    code="dangling_reference",
                    where=f"{section}.{key}",
                    rule=f"there is {', '.join(sorted(known))}",
                    remedy=f"did you mean {near[0]}?" if near else "write all for every output",
                )


def _first_error(error: ValidationError, document: CommentedMap, name: str) -> JobError:
    """Turn a validation error into one message: the first error in full, the places of a few more."""
    found = sorted((_one_error(e, document, name) for e in error.errors()), key=lambda e: _line(e.where, name))
    first, rest = found[0], found[1:]
    if rest:
        listed = "; ".join(f"{e.where}: {e.what}, {e.remedy or 'mend it'}" for e in rest[:MORE_SHOWN])
        more = f" (and {len(rest)} more: {listed})"
        return JobError(
            first.what, code=first.code, where=first.where, rule=first.rule, remedy=(first.remedy or "mend it") + more
        )
    return first


def _line(where: str, name: str) -> int:
    rest = where.removeprefix(name).lstrip(":").split(":")
    return int(rest[0]) if rest and rest[0].isdigit() else 0


def _one_error(error: Any, document: CommentedMap, name: str) -> JobError:
    path = _key_path(error["loc"], document)
    where = _where(document, path, name)
    inner = error.get("ctx", {}).get("error")
    if isinstance(inner, GainwrightError):
        return JobError(inner.what, code=inner.code, where=where, rule=inner.rule, remedy=inner.remedy)
    kind = error["type"]
    if kind == "extra_forbidden":
        known = _known_keys(path[:-1], document)
        near = difflib.get_close_matches(path[-1], known, n=1)
        return JobError(
            f"the key {path[-1]!r} is unknown",
            code="unknown_key",
            where=where,
            rule=f"known here: {', '.join(known)}" if known else "",
            remedy=f"did you mean {near[0]}?" if near else "take it out",
        )
    if kind == "missing":
        return JobError(
            f"the key {path[-1]!r} is missing", code="missing_key", where=where, remedy=f"add {path[-1]}: ..."
        )
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        given = _value(document, [*path, "kind"])
        tags = str(error.get("ctx", {}).get("expected_tags", "")).replace("'", "") or ", ".join(_KNOWN_KINDS)
        near = difflib.get_close_matches(str(given), tags.split(", "), n=1)
        return JobError(
            f"{given!r} is no kind" if given is not None else "it has no kind",
            code="unknown_kind",
            where=_where(document, [*path, "kind"], name),
            rule=f"kinds are {tags}",
            remedy=f"did you mean {near[0]}?" if near else "write kind: ...",
        )
    return JobError(_said(error), code="bad_value", where=where, remedy=_remedy(error))


def _said(error: Any) -> str:
    given = error.get("input")
    shown = repr(given) if isinstance(given, str | int | float | bool) else f"a {type(given).__name__}"
    return f"{shown[:80]} can't stand here: {error['msg'][0].lower()}{error['msg'][1:]}"


def _remedy(error: Any) -> str:
    expected = error.get("ctx", {}).get("expected")
    return f"write {expected}" if expected else ""


def _key_path(loc: Sequence[Any], document: CommentedMap) -> list[str]:
    """Return a pydantic location as the document's own keys: tags of unions and names of types are left out."""
    path: list[str] = []
    here: Any = document
    for i, part in enumerate(loc):
        if (isinstance(here, dict) and part in here) or (
            isinstance(here, list) and isinstance(part, int) and part < len(here)
        ):
            here = here[part]
        elif (
            i < len(loc) - 1
            or (isinstance(part, str) and ("[" in part or part in _KNOWN_KINDS))
            or not isinstance(here, dict)
        ):
            continue
        path.append(str(part))
    return path


def _known_keys(path: Sequence[str], document: CommentedMap) -> list[str]:
    """Return the keys that a mapping may have, from the schema of the model."""
    from gainwright.jobfile.schema import keys_at

    return keys_at(path, document)


def _value(document: Any, path: Sequence[str]) -> Any:
    for part in path:
        if isinstance(document, dict) and part in document:
            document = document[part]
        elif isinstance(document, list) and part.isdigit() and int(part) < len(document):
            document = document[int(part)]
        else:
            return None
    return document


def _where(document: CommentedMap, path: Sequence[str], name: str) -> str:
    """Return `file:line:column: key.path` of a key, or of its nearest parent that exists."""
    here: Any = document
    line, column = 0, 0
    for part in path:
        position = _position(here, part)
        if position is None:
            break
        line, column = position
        here = here[int(part)] if isinstance(here, CommentedSeq) else here[part]
    dotted = ".".join(path)
    return f"{name}:{line + 1}:{column + 1}: {dotted}" if dotted else f"{name}:{line + 1}:{column + 1}"


def _position(here: Any, part: str) -> tuple[int, int] | None:
    if isinstance(here, CommentedMap) and part in here:
        found = here.lc.data.get(part) if here.lc.data else None
        return (found[0], found[1]) if found else (here.lc.line, here.lc.col)
    if isinstance(here, CommentedSeq) and part.isdigit() and int(part) < len(here):
        found = here.lc.data.get(int(part)) if here.lc.data else None
        return (found[0], found[1]) if found else (here.lc.line, here.lc.col)
    return None


def _mark(name: str, mark: Any) -> str:
    return f"{name}:{mark.line + 1}:{mark.column + 1}" if mark is not None else name
