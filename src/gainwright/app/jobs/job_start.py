"""A job begun without a file, page by page; each page is stored as a version of the job, which need not be complete yet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.app.jobs.chain_edits import conflict
from gainwright.app.jobs.stored_jobs import LONGEST_TITLE, listed_title
from gainwright.errors import CallError, GainwrightError, JobError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gainwright.app.store import Store, StoredJob

PAGES = ("car", "instruments", "devices", "wiring", "figures", "check")
"""The pages of the start, in order."""


class FieldsError(CallError):
    """Some fields of a form can't be taken; nothing was stored.

    Attributes
    ----------
    fields : name of the field -> what is wrong there; an empty name is the form as a whole.
    """

    def __init__(self, fields: Mapping[str, GainwrightError]) -> None:
        super().__init__("some entries can't be taken", code="bad_fields", remedy="correct what is marked")
        self.fields = dict(fields)


def is_unfinished(text: str) -> bool:
    """Return whether a text is a job that was begun: its devices, or their leads, are missing."""
    from gainwright.jobfile.editing import TextDraft

    try:
        plain = TextDraft(text).plain
    except JobError:
        return False
    stages = plain.get("stages", {})
    if plain.get("format") != 1 or not isinstance(stages, dict):
        return False
    needs = [s for s in stages.values() if isinstance(s, dict) and s.get("kind") != "head_unit"]
    fed = [s.get("inputs") if s.get("kind") == "processor" else s.get("from") for s in needs]
    return not needs or len(needs) == len(stages) or not all(fed)


def begin_job(store: Store, given: Mapping[str, str]) -> StoredJob:
    """Store a new job with its car and customer.

    Raises
    ------
    FieldsError : the car has no name.
    """
    text = _with_car("format: 1\n", given)
    return store.jobs.add(title=listed_title(given.get("title", "")), text=text)


def set_car(store: Store, job: str, given: Mapping[str, str], *, seen: int, by: str = "") -> StoredJob:
    """Store the car and the customer of a job.

    Raises
    ------
    FieldsError : the car has no name.
    ConflictError : somebody else changed the job since it was seen.
    """
    return _store(store, job, lambda text: _with_car(text, given), seen=seen, by=by)


def _with_car(text: str, given: Mapping[str, str]) -> str:
    from gainwright.jobfile.editing import TextDraft, put_key, remove_key

    draft = TextDraft(text)
    wrong: dict[str, GainwrightError] = {}
    for key in ("title", "customer"):
        typed = " ".join(given.get(key, "").split())
        if not typed and key == "title":
            wrong[key] = CallError(
                say("the car has no name"),
                code="bad_name",
                remedy=say("write what you call it, for example Blue estate"),
            )
        elif len(typed) > LONGEST_TITLE or not typed.isprintable():
            wrong[key] = CallError(
                say("it is too long"),
                code="bad_name",
                rule=say("it has at most {number} letters", number=str(LONGEST_TITLE)),
            )
        elif typed:
            put_key(draft, (key,), typed)
        elif key in draft.plain:
            remove_key(draft, (key,))
    if wrong:
        raise FieldsError(wrong)
    return draft.checked()


def set_at_hand(store: Store, job: str, given: Mapping[str, str], *, seen: int, by: str = "") -> StoredJob:
    """Store the instruments that are at hand. FieldsError, ConflictError as `set_car`."""
    from gainwright.jobfile.starting.at_hand import with_at_hand

    return _store(store, job, lambda text: _or_refused(with_at_hand(text, given)), seen=seen, by=by)


def change_devices(
    store: Store,
    job: str,
    given: Mapping[str, str],
    *,
    seen: int,
    into: Callable[[str], str] = str,
    by: str = "",
) -> StoredJob:
    """Store the names of the devices, then add or remove one.

    Parameters
    ----------
    given : `name:KEY` is the name of a device, `add` the id of one to add, `remove` the key of one to remove; `next`
        connects those that aren't connected yet in the usual way.
    into : translates ready-made names.

    Raises
    ------
    FieldsError : a name can't be one, or there is nothing to go on with.
    ConflictError : somebody else changed the job since it was seen.
    """
    return _store(store, job, lambda text: _with_devices(text, given, into), seen=seen, by=by)


def _with_devices(text: str, given: Mapping[str, str], into: Callable[[str], str]) -> str:
    from gainwright.jobfile.starting.devices import add_device, remove_device, rename_device
    from gainwright.jobfile.starting.leads import of_kind, stages_of_text

    wrong: dict[str, GainwrightError] = {}
    for field, name in given.items():
        kind, _, key = field.partition(":")
        if kind == "name" and key != given.get("remove"):
            try:
                text = rename_device(text, key, name)
            except CallError as error:
                wrong[field] = error
    if wrong:
        raise FieldsError(wrong)
    if given.get("add"):
        text = add_device(text, given["add"], into=into)
    if given.get("remove"):
        text = remove_device(text, given["remove"])
    if "next" in given:
        stages = stages_of_text(text)
        missing = {"head_unit": say("what plays is missing"), "speaker": say("the speakers are missing")}
        for kind, what in missing.items():
            if not of_kind(stages, kind):
                wrong[kind] = CallError(what, code="no_device", remedy=say("add it here"))
        if wrong:
            raise FieldsError(wrong)
        text = _usually_connected(text)
    return text


def _usually_connected(text: str) -> str:
    """Return a text with the devices that aren't connected yet connected in the usual way, where that makes a job."""
    from gainwright.jobfile.starting.leads import leads_of, stages_of_text, usual_leads, with_leads

    stages = stages_of_text(text)
    held = leads_of(stages)
    missing = {key for key, _ in held} - {key for (key, _), source in held.items() if source}
    if not missing:
        return text
    usual = usual_leads(stages)
    wanted = usual if not any(held.values()) else held | {port: s for port, s in usual.items() if port[0] in missing}
    done, wrong = with_leads(text, wanted)
    return text if wrong else done


def set_leads(store: Store, job: str, given: Mapping[str, str], *, seen: int, by: str = "") -> StoredJob:
    """Store the leads between the devices.

    Parameters
    ----------
    given : `lead:STAGE` or `lead:STAGE.INPUT` -> reference of the output that feeds it, empty for none.

    Raises
    ------
    FieldsError : something isn't connected, by `lead:STAGE`.
    ConflictError : somebody else changed the job since it was seen.
    """
    from gainwright.jobfile.starting.leads import with_leads

    def change(text: str) -> str:
        done, wrong = with_leads(text, leads_given(given))
        return _or_refused((done, {f"lead:{key}" if key else "": error for key, error in wrong.items()}))

    return _store(store, job, change, seen=seen, by=by)


def leads_given(given: Mapping[str, str]) -> dict[tuple[str, str], str]:
    """Return what a form says of each input."""
    named = {name.removeprefix("lead:"): source for name, source in given.items() if name.startswith("lead:")}
    return {(name.partition(".")[0], name.partition(".")[2]): source for name, source in named.items()}


def set_figures(store: Store, job: str, stage: str, given: Mapping[str, str], *, seen: int, by: str = "") -> StoredJob:
    """Store the figures of a device.

    Parameters
    ----------
    given : fields of `jobfile.starting.figure_values`; `unknown:KEY` says that a figure is unknown.

    Raises
    ------
    FieldsError : a figure can't be one, by its key.
    CallError : there is no such device.
    ConflictError : somebody else changed the job since it was seen.
    """
    from gainwright.jobfile.starting.figure_values import with_figures

    unknown = [name.removeprefix("unknown:") for name in given if name.startswith("unknown:")]

    def change(text: str) -> str:
        device_of(text, stage)
        return _or_refused(with_figures(text, stage, given, unknown))

    return _store(store, job, change, seen=seen, by=by)


def stages_begun(text: str) -> list[str]:
    """Return the stages of a text that need not be a job yet. JobError: it isn't YAML."""
    from gainwright.jobfile.starting.leads import stages_of_text

    return list(stages_of_text(text))


def device_of(text: str, stage: str) -> None:
    """Refuse a device that isn't there. CallError `no_such_stage`."""
    if stage not in stages_begun(text):
        raise CallError(
            say("this device is no longer there"), code="no_such_stage", remedy=say("go back to the devices")
        )


def _or_refused(done: tuple[str, dict[str, GainwrightError]]) -> str:
    text, wrong = done
    if wrong:
        raise FieldsError(wrong)
    return text


def _store(store: Store, job: str, how: Callable[[str], str], *, seen: int, by: str) -> StoredJob:
    """Store a new version of a job that may be unfinished, if it is another."""
    stored = store.jobs.get(job)
    if stored.revision != seen:
        raise conflict()
    text = how(stored.text)
    if text == stored.text:
        return stored
    from gainwright.jobfile.editing import TextDraft

    title = listed_title(str(TextDraft(text).plain.get("title", "")))
    return store.jobs.write(job, title=title, text=text, seen=seen, by=by)
