"""Rows of a store that aren't as they were stored, or hold what the program refuses to read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, get_args

import sqlalchemy as sa

from gainwright.adapters.store import tables as t
from gainwright.adapters.store.cases import words_of
from gainwright.adapters.store.digests import is_whole
from gainwright.adapters.store.tables import DAMAGED, searched
from gainwright.app.measuring.stored_result import StoredMeasurement
from gainwright.app.practice.class_runs import read_run
from gainwright.app.practice.stored_practices import read_practice
from gainwright.app.set_up.run import StepValue
from gainwright.app.set_up.unanswered import Unanswered
from gainwright.app.store import JobState, RunKind
from gainwright.errors import GainwrightError
from gainwright.jobfile import read_job_text
from gainwright.model.case import Case
from gainwright.programme.music_result import MusicResult
from gainwright.results import from_json

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    Values = Mapping[str, Any]

_LARGE = (t.step_photo.name, t.recording_content.name)
_NAMES = {
    "job": "the job {id}",
    "job_version": "version {number} of the job {job} ({title:.60})",
    "run_entry": "entry {number} of the run of job {job}",
    "step_note": "the note {id} of job {job}",
    "step_photo": "the photo {note}",
    "recording": "the recording {id} ({name:.60})",
    "recording_content": "the sound of the recording {recording}",
    "kept_case": "the case {name}",
    "device": "the device {name:.60}",
    "document": "the {kind} {key}",
    "store_time": "the time for which the store has existed",
}


@dataclass(frozen=True, slots=True)
class Damage:
    """A row that can't be trusted or read.

    Attributes
    ----------
    digest : the checksum that is stored with it.
    problem : one sentence.
    """

    table: str
    key: tuple[str | int, ...]
    digest: str
    problem: str


def damage_in(connection: sa.Connection, table: sa.Table) -> Iterator[Damage]:
    """Yield what is wrong in a table of any revision; columns that a later revision added are left out.

    Raises
    ------
    sqlalchemy.exc.DBAPIError : the database can't read it.
    """
    there = {column["name"] for column in sa.inspect(connection).get_columns(table.name)}
    wanted = sa.select(*(column for column in table.columns if column.name in there))
    at_a_time = 1 if table.name in _LARGE else 100
    with connection.execute(wanted.execution_options(yield_per=at_a_time)) as rows:
        for row in rows:
            values: Values = row._asdict()
            problem = _problem(connection, table, row)
            if problem:
                key = tuple(values[column.name] for column in table.primary_key.columns)
                yield Damage(table.name, key, str(values.get("digest", "")), f"{_name(table.name, values)} {problem}")


def _name(table: str, values: Values) -> str:
    return _NAMES[table].format_map({name: str(value) for name, value in values.items()})


def _problem(connection: sa.Connection, table: sa.Table, row: Any) -> str:
    values: Values = row._asdict()
    if "digest" in values and not is_whole(table, row):
        return "is damaged: it isn't as it was stored"
    if any(value is DAMAGED for value in values.values()):
        return "can't be read: it holds a value of another kind"
    if table.name == "job":
        return _job_problem(connection, values)
    try:
        if (read := _READERS.get(table.name)) is not None:
            read(values)
    except (GainwrightError, ValueError, TypeError, LookupError) as error:
        return f"can't be read: {str(error).splitlines()[0]}"
    return ""


def _job_problem(connection: sa.Connection, job: Values) -> str:
    version = t.job_version
    columns = [column for column in version.columns if "digest" in job or column.name != "digest"]
    wanted = sa.select(*columns).where(version.c.job == job["id"], version.c.number == job["version"])
    current = connection.execute(wanted).one_or_none()
    if current is None:
        return "has no text"
    if "digest" in job and not is_whole(version, current):
        return ""  # it is reported of the version
    try:
        _one_of(job["shelf"], JobState)
        read_job_text(current.text)
    except (GainwrightError, ValueError) as error:
        return f"({current.title[:60]}) can't be read: {error}"
    if "words" in job and job["words"] != searched(current.title, current.text):
        return f"({current.title[:60]}) isn't found by its words"
    return ""


def _one_of(value: Any, kinds: Any) -> None:
    if value not in get_args(kinds):
        raise ValueError(f"it is {str(value)[:20]!r}")


def _read_entry(values: Values) -> None:
    _one_of(values["kind"], RunKind)
    from_json(StepValue, values["value"])


def _read_case(values: Values) -> None:
    Case.model_validate(values["content"])
    if "words" in values and values["words"] != words_of(values["name"], values["content"]):
        raise ValueError("it isn't found by its words")


def _read_document(values: Values) -> None:
    content = values["content"]
    if not isinstance(content, dict):
        raise TypeError("it isn't an object")
    kind = "unanswered" if str(values["kind"]).startswith("unanswered ") else values["kind"]
    if (read := _DOCUMENTS.get(kind)) is not None:
        read(content)


_READERS: dict[str, Callable[[Values], object]] = {
    "run_entry": _read_entry,
    "recording": lambda values: from_json(StoredMeasurement, values["measured"]),
    "kept_case": _read_case,
    "document": _read_document,
}
_DOCUMENTS: dict[str, Callable[[dict[str, Any]], object]] = {
    "practice": read_practice,
    "class run": read_run,
    "class table": lambda content: (content["title"], content["exercise"], content["rows"]),
    "music": lambda content: (from_json(MusicResult, content["found"]), content["folders"], content["job_id"]),
    "music folder": lambda content: content["path"],
    "job of a case": lambda content: content["job"],
    "unanswered": lambda content: Unanswered("", **content),
}
"""How the other documents are read, by kind; those of entries that wait for an answer are of a kind for each job."""
