"""Edits of a stored job's chain: each is applied to the text of its file and stored as a new version, or refused."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from gainwright.app.jobs import stored_jobs
from gainwright.app.store import ConflictError
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gainwright.app.store import Store, StoredJob

    Given = Mapping[str, Any]

EDITS: tuple[str, ...] = (
    "add_stage",
    "add_branch",
    "add_output",
    "add_input",
    "add_instrument",
    "add_cable",
    "move",
    "rewire",
    "rename_stage",
    "rename_output",
    "rename_input",
    "rename_instrument",
    "rename_cable",
    "remove_stage",
    "remove_branch",
    "remove_output",
    "remove_input",
    "remove_instrument",
    "remove_cable",
)
"""Names of the edits."""
_KEY = re.compile(r"\w{1,40}")


def change_job(store: Store, job: str, how: Callable[[str], str], *, seen: int, by: str = "") -> StoredJob:
    """Store a new version of a job with its text changed.

    Raises
    ------
    JobError : the change can't be made; nothing was written.
    ConflictError : somebody else changed the job since it was seen.
    """
    stored = store.jobs.get(job)
    if stored.revision != seen:
        raise conflict()
    return stored_jobs.write_job(store, job, how(stored.text), seen=seen, by=by)


def conflict() -> ConflictError:
    """Return the error for a change to a job that has changed since it was read."""
    return ConflictError(
        say("somebody else changed this job in the meantime"),
        code="conflict",
        rule=say("nothing was lost; your change has not been made yet"),
        remedy=say("check the job as it is now, and make your change again"),
    )


def apply_edit(text: str, what: str, given: Given) -> str:
    """Return a job file's text with one of `EDITS` done to it.

    Parameters
    ----------
    given : arguments of the edit, by name: `stage`, `new`, `place`, `kind`, `values`, `source`, `entry`, `output`,
        `to`, `takes`, `feeding`, `amplifier`, `speaker`, `power`, `instrument`, `cable`, `feeds`.

    Raises
    ------
    CallError : there is no such change.
    JobError : it can't be made.
    """
    made = _makers(text, given).get(what)
    if made is None:
        raise CallError(
            say("{what} isn't an edit", what=repr(what[:40])),
            code="bad_request",
            rule=say("edits are {listed}", listed=", ".join(EDITS)),
        )
    return made()


def _makers(text: str, given: Given) -> dict[str, Callable[[], str]]:
    from gainwright.jobfile import editing
    from gainwright.jobfile.forms import parse_source
    from gainwright.jobfile.starting.devices import rename_device, set_name

    def word(key: str) -> str:
        return str(given.get(key) or "").strip()

    def values() -> dict[str, Any]:
        return {key: value for key, value in dict(given.get("values") or {}).items() if value}

    stage, new, output, entry = word("stage"), word("new"), word("output"), word("entry")

    def add_stage() -> str:
        key = _key(text, new)
        return set_name(editing.add_stage(text, word("kind"), key, word("place"), values=values()), key, new)

    def add_branch() -> str:
        amplifier = _key(text, word("amplifier"))
        speaker = _key(text, word("speaker"), besides=amplifier)
        done = editing.add_branch(
            text, word("source"), amplifier, speaker, power=word("power"), output=output, takes=word("takes")
        )
        return set_name(set_name(done, amplifier, word("amplifier")), speaker, word("speaker"))

    def rename_stage() -> str:
        plain = _KEY.fullmatch(new) and not editing.Draft(text).at(("stages", stage, "name"))
        return editing.rename_stage(text, stage, new) if plain else rename_device(text, stage, new)

    return {
        "add_stage": add_stage,
        "add_branch": add_branch,
        "add_output": lambda: editing.add_output(
            text, stage, new, list(given.get("feeding") or ()), takes=word("takes")
        ),
        "add_input": lambda: editing.add_input(text, stage, new, parse_source(word("source"))),
        "add_instrument": lambda: editing.add_instrument(text, word("kind"), _key(text, new), values=values()),
        "add_cable": lambda: editing.add_cable(
            text, new, source=word("source"), feeds=list(given.get("feeds") or ()), values=values()
        ),
        "rename_cable": lambda: editing.rename_cable(text, word("cable"), new),
        "remove_cable": lambda: editing.remove_cable(text, word("cable")),
        "move": lambda: editing.move_stage(text, stage, word("place")),
        "rewire": lambda: editing.rewire(text, stage, parse_source(word("source")), entry=entry),
        "rename_stage": rename_stage,
        "rename_output": lambda: editing.rename_output(text, stage, output, new),
        "rename_input": lambda: editing.rename_input(text, stage, entry, new),
        "rename_instrument": lambda: editing.rename_instrument(text, word("instrument"), _key(text, new)),
        "remove_stage": lambda: editing.remove_stage(text, stage),
        "remove_branch": lambda: editing.remove_branch(text, stage),
        "remove_output": lambda: editing.remove_output(text, stage, output, to=word("to")),
        "remove_input": lambda: editing.remove_input(text, stage, entry),
        "remove_instrument": lambda: editing.remove_instrument(text, word("instrument")),
    }


def _key(text: str, name: str, *, besides: str = "") -> str:
    """Return the key of a typed name: itself when it can be one, so that one that is taken is refused."""
    from gainwright.jobfile.editing import TextDraft
    from gainwright.jobfile.starting.names import key_of, taken_keys

    if _KEY.fullmatch(name) or " " not in name.strip():
        return name
    return key_of(name, taken_keys(TextDraft(text).plain) | {besides})


def fill_in_fields(text: str, texts: Mapping[str, str]) -> str:
    """Return a job file's text with the keys that were typed into forms; an empty text removes a key.

    Parameters
    ----------
    texts : path of the key (`stages.head.volume.at`) -> what was typed.

    Raises
    ------
    CallError : no form has such a key.
    JobError : a value is invalid there; `where` is line, column and key.
    """
    from gainwright.jobfile import editing, read_job_text
    from gainwright.jobfile.forms import forms, parse_field

    read = read_job_text(text)
    fields = {field.name: field for form in forms(read) for field in form.fields}
    values = {}
    for name, typed_text in texts.items():
        if name not in fields:
            raise CallError(
                say("there is no {name}", name=name[:80]),
                code="no_such_key",
                where=name[:80],
                remedy=say("look at the chain as it is now"),
            )
        values[fields[name].path] = parse_field(fields[name], typed_text)
    return editing.set_keys(text, values, read=read)
