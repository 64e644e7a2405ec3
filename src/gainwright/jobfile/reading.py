"""Read a job file strictly, with file, line, column and key of every error."""

from __future__ import annotations

import difflib
import functools
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from ruamel.yaml.comments import CommentedMap

from gainwright.errors import CallError, GainwrightError, JobError
from gainwright.jobfile.controls import check_places
from gainwright.jobfile.yaml_reading import JOB, plain, read_text
from gainwright.jobfile.yaml_reading import document as document_of
from gainwright.jobfile.yaml_reading import where as place
from gainwright.model import INSTRUMENTS, STAGES, Job, Speaker, Wiring, resolve, yaml_kind
from gainwright.model.chassis import check_chassis
from gainwright.model.strapping import check_strapping
from gainwright.model.supply_checks import check_supply
from gainwright.quantities import whole_number
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

MORE_SHOWN, MOST_LOOKED_AT = 5, 200
"""Errors shown after the first; errors of one file that are put into words at all."""
KEPT, LONGEST_KEPT = 32, 50_000
"""Job files kept as read, and the most characters of one: an edit reads what it starts from and what it makes twice."""


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job file as read: the job, its wiring, the document with its comments (nobody changes it), and the text."""

    job: Job
    wiring: Wiring
    document: CommentedMap
    text: str


def read_job(path: Path | str) -> JobFile:
    """Read a job file.

    Raises
    ------
    JobError : it doesn't exist, can't be read, or isn't a job; `where` gives file, line, column and key.
    """
    path = Path(path)
    return read_job_text(read_text(path, what=JOB), name=str(path))


def read_job_text(text: str, name: str = "job") -> JobFile:
    """Read a job from text; the same text read again may give the same object.

    Raises
    ------
    JobError : not a job; `where` gives line, column and key.
    """
    return _kept(text, name) if len(text) <= LONGEST_KEPT else _read(text, name)


@functools.lru_cache(maxsize=KEPT)
def _kept(text: str, name: str) -> JobFile:
    return _read(text, name)


def _read(text: str, name: str) -> JobFile:
    document = document_of(text, name)
    try:
        job = Job.model_validate(plain(document, name))
    except ValidationError as error:
        raise _first_error(error, document, name) from None
    try:
        check_chassis(job)
        check_supply(job)
        check_strapping(job)
        wiring = resolve(job)
        check_places(job)
        _check_names(job, wiring)
    except (JobError, CallError) as error:
        placed = place(document, error.where.split("."), name)
        raise JobError(error.what, code=error.code, where=placed, rule=error.rule, remedy=error.remedy) from None
    return JobFile(job, wiring, document, text)


def errors_of(text: str, name: str = "job") -> list[JobError]:
    """Return every error of a text: those of its values at once, else the one of its wiring; none for a job.

    `where` of each gives line, column and key.
    """
    try:
        read_job_text(text, name)
    except JobError as error:
        try:
            document = document_of(text, name)
            Job.model_validate(plain(document, name))
        except ValidationError as invalid:
            return sorted(
                (_one_error(e, document, name) for e in invalid.errors()[:MOST_LOOKED_AT]),
                key=lambda e: _order(e, name),
            )
        except JobError:
            pass
        return [error]
    return []


def _check_names(job: Job, wiring: Wiring) -> None:
    for name in job.instruments:
        if name in job.stages:
            raise JobError(
                say("{name} is both an instrument and a stage", name=name),
                code="name_twice",
                where=f"instruments.{name}",
                remedy=say("rename one of them"),
            )
    if not any(isinstance(stage, Speaker) for stage in job.stages.values()):
        raise JobError(
            say("no stage is a speaker"), code="bad_wiring", where="stages", rule=say("a chain must end at speakers")
        )
    known = {"all", *job.stages}
    for node in wiring.nodes:
        known |= {node.output, f"{node.stage}.{node.output}"}
    for key in job.access:
        if key not in job.stages:
            raise JobError(
                say("{key} is not a stage", key=key),
                code="dangling_reference",
                where=f"access.{key}",
                rule=say("there is {listed}", listed=", ".join(job.stages)),
                remedy=say("name a stage of this job"),
            )
    for section, mapping in (("allowance", job.allowance), ("tones", job.tones)):
        for key in mapping:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                raise JobError(
                    say("{key} is not an output, stage or speaker", key=key),
                    code="dangling_reference",
                    where=f"{section}.{key}",
                    rule=say("there is {listed}", listed=", ".join(sorted(known))),
                    remedy=say("did you mean {near}?", near=near[0]) if near else say("write all for every output"),
                )


def _first_error(error: ValidationError, document: CommentedMap, name: str) -> JobError:
    """Turn a validation error into one error: the first in full, the locations of a few more."""
    errors = error.errors()
    found = sorted((_one_error(e, document, name) for e in errors[:MOST_LOOKED_AT]), key=lambda e: _order(e, name))
    first, rest = found[0], found[1:]
    if rest:
        shown = [
            say("{where}: {what}, {remedy}", where=e.where, what=e.what, remedy=e.remedy or say("fix it"))
            for e in rest[:MORE_SHOWN]
        ]
        more = say(" (and {number} more: {listed})", number=len(errors) - 1, listed=joined(shown, "{a}; {b}"))
        return JobError(
            first.what,
            code=first.code,
            where=first.where,
            rule=first.rule,
            remedy=(first.remedy or say("fix it")) + more,
        )
    return first


def _order(error: JobError, name: str) -> tuple[int, bool]:
    """Return the line of an error; a comma that splits a value explains the others on its line, and comes first."""
    rest = error.where.removeprefix(name).lstrip(":").split(":")
    return whole_number(rest[0]) or 0, error.code != "comma_in_braces"


def _split_by_comma(path: list[str], document: CommentedMap) -> str:
    """Return the number that a comma split in two inside braces (`{power: 0,5 W}`), with a point; empty for none."""
    holder = _value(document, path[:-1])
    keys = list(holder) if isinstance(holder, dict) else []
    at = keys.index(path[-1]) if path[-1] in keys else 0
    before = holder[keys[at - 1]] if at else None
    split = at and holder[path[-1]] is None and path[-1][:1] in "0123456789" and isinstance(before, int | float)
    return f"{before}.{path[-1]}" if split else ""


def _one_error(error: Any, document: CommentedMap, name: str) -> JobError:
    path = _key_path(error["loc"], document)
    where = place(document, path, name)
    inner = error.get("ctx", {}).get("error")
    if isinstance(inner, GainwrightError):
        return JobError(inner.what, code=inner.code, where=where, rule=inner.rule, remedy=inner.remedy)
    kind = error["type"]
    if kind == "extra_forbidden":
        number = _split_by_comma(path, document)
        if number:
            return JobError(
                say("the comma before {path} ends the value", path=repr(path[-1][:80])),
                code="comma_in_braces",
                where=where,
                rule=say("inside braces a comma separates keys"),
                remedy=say("write {name}", name=number),
            )
        known = _known_keys(path[:-1], document)
        near = difflib.get_close_matches(path[-1], known, n=1)
        return JobError(
            say("the key {path} is unknown", path=repr(path[-1][:80])),
            code="unknown_key",
            where=where,
            rule=say("keys here: {listed}", listed=", ".join(known)) if known else "",
            remedy=say("did you mean {near}?", near=near[0]) if near else say("remove it"),
        )
    if kind == "missing":
        return JobError(
            say("the key {path} is missing", path=repr(path[-1][:80])),
            code="missing_key",
            where=where,
            remedy=say("add {path}: ...", path=path[-1]),
        )
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        given = _value(document, [*path, "kind"])
        tags = str(error.get("ctx", {}).get("expected_tags", "")).replace("'", "") or ", ".join(STAGES)
        near = difflib.get_close_matches(str(given), tags.split(", "), n=1)
        return JobError(
            say("{given} is not a kind", given=repr(given)) if given is not None else say("the kind is missing"),
            code="unknown_kind",
            where=place(document, [*path, "kind"], name),
            rule=say("kinds are {tags}", tags=tags),
            remedy=say("did you mean {near}?", near=near[0]) if near else say("write kind: ..."),
        )
    return JobError(message_of(error), code="bad_value", where=where, remedy=_remedy(error))


_MESSAGES = {
    str(text): text
    for text in (
        say("input should be a valid integer"),
        say("input should be a valid integer, unable to parse string as an integer"),
        say("input should be a valid number"),
        say("input should be a valid number, unable to parse string as a number"),
        say("input should be a finite number"),
        say("input should be a valid string"),
        say("input should be a valid list"),
        say("input should be a valid dictionary"),
        say("input should be a valid boolean"),
        say("input should be a valid boolean, unable to interpret input"),
        say("input should be a valid tuple"),
        say("input should be a valid integer, got a number with a fractional part"),
    )
}
"""Usual messages of pydantic as texts that can be translated."""


def message_of(error: Any) -> str:
    """Return what a validation error says of a value, without a capital."""
    given = error.get("input")
    shown = repr(given) if isinstance(given, str | int | float | bool) else yaml_kind(given)
    return say("{shown} isn't valid here: {why}", shown=shown[:80], why=reason_of(error))


_BY_TYPE: dict[str, Callable[[Any], str]] = {
    "literal_error": lambda about: say("input should be {expected}", expected=about["expected"]),
    "greater_than_equal": lambda about: say("input should be greater than or equal to {ge}", ge=about["ge"]),
    "less_than_equal": lambda about: say("input should be less than or equal to {le}", le=about["le"]),
    "string_too_long": lambda about: say("it has more than {most} characters", most=about["max_length"]),
    "string_too_short": lambda about: say("it has fewer than {least} characters", least=about["min_length"]),
    "too_long": lambda about: say("it has more than {most} entries", most=about["max_length"]),
    "too_short": lambda about: say("it has fewer than {least} entries", least=about["min_length"]),
    "string_pattern_mismatch": lambda _: say("it has characters that aren't allowed here"),
    "missing": lambda _: say("it is missing"),
    "model_type": lambda _: say("input should be a valid dictionary"),
}
"""Type of an error of pydantic -> what is said, from its context."""


def reason_of(error: Any) -> str:
    """Return why a validation error refuses a value, without a capital."""
    why, about = f"{error['msg'][0].lower()}{error['msg'][1:]}", error.get("ctx", {})
    if error["type"] in _BY_TYPE:
        return _BY_TYPE[error["type"]](about)
    own = about.get("error")
    if isinstance(own, ValueError) and own.args and isinstance(own.args[0], str):  # of the model, as a text
        return own.args[0]
    return _MESSAGES.get(why, why)


def _remedy(error: Any) -> str:
    about = error.get("ctx", {})
    match error["type"]:
        case "greater_than_equal":
            return say("write {bound} or more", bound=about["ge"])
        case "less_than_equal":
            return say("write {bound} or less", bound=about["le"])
        case "finite_number":
            return say("write a number")
    return say("write {name}", name=about["expected"]) if about.get("expected") else ""


def _key_path(loc: Sequence[Any], document: CommentedMap) -> list[str]:
    """Return a pydantic location as the document's own keys: without tags of unions and names of types."""
    path: list[str] = []
    here: Any = document
    for i, part in enumerate(loc):
        if (isinstance(here, dict) and part in here) or (
            isinstance(here, list) and isinstance(part, int) and part < len(here)
        ):
            here = here[part]
        elif (
            i < len(loc) - 1
            or (isinstance(part, str) and ("[" in part or part in STAGES or part in INSTRUMENTS))
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
        elif isinstance(document, list) and whole_number(part, most=len(document) - 1) is not None:
            document = document[int(part)]
        else:
            return None
    return document
