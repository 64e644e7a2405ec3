"""Files of class exercises and of their results: YAML or JSON, read strictly, with one sentence for what is wrong."""

from __future__ import annotations

import hashlib
import io
import json
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.scalarstring import LiteralScalarString

from gainwright.errors import GainwrightError, JobError
from gainwright.jobfile.examples import example_text, examples
from gainwright.jobfile.reading import message_of, read_job_text
from gainwright.jobfile.yaml_limits import LARGEST_BYTES
from gainwright.jobfile.yaml_reading import FileKind, document, plain, refuse_other_file, where
from gainwright.model.class_exercise import ClassExercise, ClassResult
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model.fields import Frozen

EXERCISE_FILE = FileKind(
    "class exercise",
    say("it begins with format: 1 and kind: class exercise"),
    say("write one with gainwright class"),
    "no_exercise",
)
RESULT_FILE = FileKind("class result", say("it has kind: class result"), say("work through an exercise"), "no_result")
LARGEST_CLASS_FILE = LARGEST_BYTES
_Read = TypeVar("_Read", bound="Frozen")


def read_exercise(content: bytes, name: str = "exercise") -> ClassExercise:
    """Return a class exercise; each of its chains is a valid job.

    Raises
    ------
    JobError : it isn't one; `where` gives line, column and key.
    """
    found = _read(content, name, ClassExercise, EXERCISE_FILE)
    check_chains(found, name)
    return found


def check_chains(exercise: ClassExercise, name: str = "exercise") -> None:
    """Refuse an exercise with a chain that isn't a valid job. JobError: it is one; `where` names the chain."""
    for chain in exercise.chains:
        try:
            read_job_text(chain_text(exercise, chain))
        except GainwrightError as error:
            place = f"{name}: chains.{chain}"
            raise JobError(error.what, code=error.code, where=place, rule=error.rule, remedy=error.remedy) from None


def read_result(content: bytes, name: str = "result") -> ClassResult:
    """Return a learner's result.

    Raises
    ------
    JobError : it isn't one; `where` gives line, column and key.
    """
    return _read(content, name, ClassResult, RESULT_FILE)


def _read(content: bytes, name: str, kind: type[_Read], what: FileKind) -> _Read:
    if len(content) > LARGEST_CLASS_FILE:
        raise JobError(
            say("is over {most} kB", most=LARGEST_BYTES // 1000),
            code="too_large",
            where=name,
            rule=say("such a file has a few kilobytes"),
            remedy=say("check that it is the right file"),
        )
    refuse_other_file(content[:16], name, what=what)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise JobError(say("isn't UTF-8 text"), code="encoding", where=name, remedy=say("save it as UTF-8")) from None
    found = document(text, name, what=what)
    try:
        return kind.model_validate(plain(found, name))
    except ValidationError as error:
        first = error.errors()[0]
        keys = [str(part) for part in first["loc"]]
        place = where(found, keys, name)
        raise JobError(
            _said(first, keys), code=what.code, where=place, rule=what.begins, remedy=say("fix it")
        ) from None


def _said(error: Any, keys: list[str]) -> str:
    """Return what a validation error says, without a capital."""
    if error["type"] == "extra_forbidden":
        return say("the key {path} is unknown", path=repr(keys[-1]))
    if error["type"] == "missing":
        return say("the key {path} is missing", path=repr(keys[-1]))
    own = error.get("ctx", {}).get("error")
    if isinstance(own, ValueError) and own.args:  # of the model, which says it as a text
        return str(own) if not isinstance(own.args[0], str) else own.args[0]
    return message_of(error)


def chain_text(exercise: ClassExercise, chain: str) -> str:
    """Return the job of a chain of an exercise.

    Raises
    ------
    JobError : it is like an example that there isn't.
    """
    of = exercise.chains[chain]
    if of.like and of.like not in examples():
        raise JobError(
            say("there is no example {name}", name=of.like),
            code="no_such_example",
            rule=say("there is {listed}", listed=", ".join(examples())),
        )
    return example_text(of.like) if of.like else of.job


def exercise_text(exercise: ClassExercise) -> str:
    """Return the file of an exercise, YAML."""
    content = exercise.model_dump(mode="json", exclude_none=True)
    for chain, of in content["chains"].items():
        content["chains"][chain] = {"like": of["like"]} if of["like"] else {"job": LiteralScalarString(of["job"])}
    if not content["limits"]:
        del content["limits"]
    out = io.StringIO()
    yaml = YAML()
    yaml.width = 4096
    yaml.dump(content, out)
    return out.getvalue()


def result_text(result: ClassResult) -> str:
    """Return the file of a result, JSON."""
    return json.dumps(result.model_dump(mode="json"), ensure_ascii=False, indent=1) + "\n"


def fingerprint(exercise: ClassExercise) -> str:
    """Return what identifies an exercise in its results, whatever its title and however its file is written."""
    content = exercise.model_dump(mode="json", exclude={"title"})
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]
