"""Read an evidence file strictly: each error has its line and entry, and only places of the job are accepted."""

from __future__ import annotations

import difflib
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from pydantic import ValidationError

from gainwright.errors import GainwrightError, JobError
from gainwright.jobfile.controls import bands_of, controls, takes_bands, with_settings
from gainwright.jobfile.instruments import instruments
from gainwright.jobfile.reading import reason_of
from gainwright.jobfile.yaml_reading import EVIDENCE, document, plain, read_text, where
from gainwright.model import (
    KINDS,
    NO_MARK,
    RESULTS,
    WORDED,
    Amplifier,
    Check,
    HeardSpeaker,
    Indicator,
    LineDriver,
    Multimeter,
    Reading,
    Speaker,
    SwapTest,
    check_places,
    leads_by_name,
    mended_cause,
    resolve,
    stages_of,
    yaml_kind,
)
from gainwright.quantities import OPEN, Quantity, parse, read_measured
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.model import Entry, Instrument, Job, Played

EXAMPLE = "{at: amp.out.mono, with: meter, tone: 50 Hz, level: -8 dBFS, reads: 12 V}"
HIGHEST_TONE_HZ, LOWEST_TONE_HZ = 100e3, 1.0
LONGEST_WORDS = 300
"""Characters of a message that repeats what was written."""
LAMPS = ("power_lamp", "protection_lamp")
NUMBERED = {"volume": "", "gain": "fraction", "level": "ratio", "at": "ratio", "remote_level": "ratio"}
"""Last word of a control's name -> the dimension of its position."""
VOLTAGES = ("supply_voltage", "turn_on_voltage")


def read_evidence(path: Path | str, job: Job) -> tuple[Entry, ...]:
    """Read an evidence file that belongs to a job.

    Raises
    ------
    JobError : it can't be read, or has an invalid entry; `where` gives file, line, column and key.
    """
    return read_evidence_text(read_text(Path(path), what=EVIDENCE), job, name=str(path))


def read_evidence_text(text: str, job: Job, name: str = "evidence") -> tuple[Entry, ...]:
    """Read evidence from text.

    Raises
    ------
    JobError : not evidence of this job; `where` gives line, column and key.
    """
    found = document(text, name, what=EVIDENCE)
    taken = plain(found, name)
    for key in taken:
        if key != "evidence":
            raise _bad(
                say("the key {path} is unknown", path=repr(key[:80])),
                where(found, [key], name),
                say("the file has one key, evidence"),
            )
    entries = taken.get("evidence")
    if entries is None:
        entries = []
    if not isinstance(entries, list):
        raise _bad(
            say("evidence must be a list"),
            where(found, ["evidence"], name),
            remedy=say("write - {example}", example=EXAMPLE),
        )
    read = []
    for i, entry in enumerate(entries):
        try:
            read.append(read_entry(entry, job))
        except GainwrightError as error:
            keys = ["evidence", str(i), *(error.where.split("/") if error.where else [])]
            raise JobError(
                error.what, code=error.code, where=where(found, keys, name), rule=error.rule, remedy=error.remedy
            ) from None
    return tuple(read)


def entry_mapping(text: str) -> dict[str, Any]:
    """Return the mapping typed on one line, as in an evidence file, unchecked.

    Raises
    ------
    JobError : not a mapping.
    """
    found = plain(document(f"entry: {text}\n", "entry", what=EVIDENCE), "entry").get("entry")
    if not isinstance(found, dict):
        raise _bad(
            say("{text} is not an evidence entry", text=repr(text[:60])),
            remedy=say("write, for example, {example}", example=EXAMPLE),
        )
    return found


def read_entry(mapping: Any, job: Job, *, answered: bool = True) -> Entry:
    """Return one entry, checked against a job.

    Parameters
    ----------
    mapping : its keys, as in the file.
    answered : whether it must have a result.

    Raises
    ------
    JobError : invalid; `where` is its key.
    """
    if not isinstance(mapping, dict):
        raise _bad(say("an entry must be a mapping"), remedy=say("write, for example, {example}", example=EXAMPLE))
    kinds = [key for key in KINDS if key in mapping]
    if len(kinds) != 1:
        what = (
            say("an entry has both {kinds}", kinds=joined(kinds, by="{a} and {b}"))
            if kinds
            else say("an entry has none of at, check, heard and swap")
        )
        remedy = say("write, for example, {example}", example=EXAMPLE)
        raise _bad(what, rule=say("each entry is one observation"), remedy=remedy)
    kind = kinds[0]
    try:
        entry = KINDS[kind].model_validate(mapping)
    except ValidationError as error:
        raise _first(error, kind) from None
    if answered and not any(key in mapping and mapping[key] is not None for key in RESULTS[kind]):
        raise _bad(
            say("the result is missing"), kind, rule=say("it is one of {listed}", listed=", ".join(RESULTS[kind]))
        )
    _check_against(entry, job)  # type: ignore[arg-type]
    return entry  # type: ignore[return-value]


def _bad(what: str, place: str = "", rule: str = "", remedy: str = "") -> JobError:
    what = what if len(what) <= LONGEST_WORDS else f"{what[:LONGEST_WORDS]}…"  # what was typed is too long
    return JobError(what, code="bad_evidence", where=place, rule=rule, remedy=remedy)


def _first(error: ValidationError, kind: str) -> JobError:
    found = error.errors()[0]
    key = str(found["loc"][0]) if found["loc"] else kind
    inner = found.get("ctx", {}).get("error")
    if isinstance(inner, GainwrightError):
        return JobError(inner.what, code=inner.code, where=key, rule=inner.rule, remedy=inner.remedy)
    known = [f.alias or name for name, f in KINDS[kind].model_fields.items()]
    if found["type"] == "extra_forbidden":
        near = difflib.get_close_matches(key, known, n=1)
        remedy = say("did you mean {near}?", near=near[0]) if near else say("take it out")
        rule = say("an entry with {kind} has {listed}", kind=kind, listed=", ".join(known))
        return _bad(say("the key {path} is unknown", path=repr(key[:80])), key, rule, remedy)
    expected = str(found.get("ctx", {}).get("expected") or "").replace(" or ", ", ")
    given = found.get("input")
    shown = repr(given)[:80] if isinstance(given, str | int | float | bool) else yaml_kind(given)
    rule = say("it must be one of {listed}", listed=expected) if expected else reason_of(found)
    return _bad(say("{text} isn't valid here", text=shown), key, rule)


def _known(value: str, known: Iterable[str], noun: str, key: str) -> None:
    known = list(known)
    if value not in known:
        near = difflib.get_close_matches(value, known, n=1)
        listed = f"{', '.join(known[:12])}{' ...' if len(known) > 12 else ''}"
        rule = say("there is {listed}", listed=listed)
        remedy = say("did you mean {near}?", near=near[0]) if near else ""
        raise _bad(say("there is no {noun} {value}", noun=noun, value=value), key, rule, remedy)


def _check_against(entry: Entry, job: Job) -> None:
    wiring = resolve(job)
    if isinstance(entry, Reading):
        if entry.at in {str(node) for node in wiring.digital}:
            raise _bad(
                say("{place} is digital", place=entry.at),
                "at",
                say("a digital link carries no volts"),
                say("measure after the next stage"),
            )
        _check_reading(entry, job, [str(node) for node in wiring.nodes if node not in wiring.digital])
    elif isinstance(entry, HeardSpeaker):
        _known(entry.heard, [n for n, s in job.stages.items() if isinstance(s, Speaker)], say("speaker"), "heard")
    elif isinstance(entry, SwapTest):
        sided = [n for n in job.stages if wiring.has_sides(n)]
        pairs = [str(run) for run, sides in wiring.leads.items() if len(sides) > 1 and not wiring.is_digital(run)]
        _known(entry.swap, [*sided, *pairs], say("stage or lead with two sides"), "swap")
        if entry.tone_hz is None:
            raise _bad(say("there is no tone"), "swap", say("comparing sides needs a tone"), say("add tone: 500 Hz"))
    elif mended_cause(entry.check) is not None:
        _check_mended(entry, job)
    else:
        _known(entry.check, check_places(job, wiring, controls(job), instruments(job)), say("place to check"), "check")
        _check_check(entry, job)
    if not isinstance(entry, Check):
        _check_played(entry, job)


def _check_played(entry: Played, job: Job) -> None:
    if entry.tone_hz is not None and not LOWEST_TONE_HZ <= entry.tone_hz <= HIGHEST_TONE_HZ:
        raise _bad(say("a tone of {hz} Hz", hz=f"{entry.tone_hz:g}"), "tone", say("a tone must be 1 Hz to 100 kHz"))
    try:
        with_settings(job, entry.set)
    except GainwrightError as error:
        raise JobError(error.what, code=error.code, where="set", rule=error.rule, remedy=error.remedy) from None


def _check_reading(entry: Reading, job: Job, nodes: list[str]) -> None:
    _known(entry.at, nodes, say("node"), "at")
    there = instruments(job)
    if entry.against:
        _known(entry.against, [node for node in nodes if node != entry.at], say("other node"), "against")
        if entry.reads is None or not isinstance(there.get(entry.with_), Multimeter):
            raise _bad(
                say("only a multimeter reads between two outputs"),
                "against",
                remedy=say("name it: with: meter, and reads:"),
            )
    if entry.proves:
        _known(
            entry.proves, [c for c in controls(job) if c.endswith(("low_pass", "high_pass"))], say("filter"), "proves"
        )
    if entry.with_:
        _known(entry.with_, there, say("instrument"), "with")
    if entry.tone_hz is None:
        raise _bad(say("there is no tone"), "at", say("a reading needs a tone"), say("add tone: 500 Hz"))
    if entry.feed is not None:
        _known(
            entry.feed.into, [n for n, s in job.stages.items() if s.kind != "head_unit"], say("stage to feed"), "feed"
        )
    if entry.shows is not None:
        _check_shown(entry.shows, entry.with_, there)
    with_ = there.get(entry.with_)
    if entry.reads is not None and isinstance(with_, Indicator):
        lit = f"[{next(iter(with_.marks))}]"
        raise _bad(
            say("{instrument} shows no numbers", instrument=entry.with_),
            "reads",
            remedy=say("write shows: {lit}, or shows: {none}", lit=lit, none=NO_MARK),
        )


def _check_shown(lit: tuple[str, ...], name: str, there: dict[str, Instrument]) -> None:
    """Refuse marks that the instrument doesn't have; without a name, the job's first indicator is meant."""
    indicators = {n: i for n, i in there.items() if isinstance(i, Indicator)}
    if name and name not in indicators:
        raise _bad(
            say("{instrument} is not an indicator", instrument=name),
            "shows",
            remedy=say("write reads: with the volts it shows"),
        )
    if not indicators:
        raise _bad(
            say("this job has no indicator"),
            "shows",
            remedy=say("write reads: with volts, or add an indicator to the job"),
        )
    name = name or next(iter(indicators))
    for mark in lit:
        _known(mark, indicators[name].marks, say("mark of {name}", name=name), "shows")


def _check_mended(entry: Check, job: Job) -> None:
    """Refuse what became of a repair at a place that isn't in the job."""
    _, where = mended_cause(entry.check) or ("", "")
    leads = leads_by_name(resolve(job))
    if where and where not in leads:
        units = {stage.chassis for stage in job.stages.values() if isinstance(stage, Amplifier) and stage.chassis}
        _known(where.split(".")[0], [*job.stages, *units, *instruments(job)], say("place"), "check")
    _only(
        entry,
        [key for key in ("reads", "resistance", "between_conductors") if getattr(entry, key) is not None],
        ("is",),
    )
    _check_word(entry, "mended")


def _check_word(entry: Check, what: str) -> None:
    if entry.is_ is not None and entry.is_ not in WORDED[what]:
        said = joined(WORDED[what], by="{a} or {b}")
        cant = say("{place} can't be {text}", place=entry.check, text=repr(entry.is_[:40]))
        raise _bad(cant, "is", remedy=say("write {said}", said=said))


def _check_check(entry: Check, job: Job) -> None:
    """Refuse results that are impossible at a place."""
    what = entry.check.rsplit(".", maxsplit=1)[-1]
    stage = job.stages.get(stages_of(job, entry.check.split(".")[0])[0])
    is_lead = entry.check in leads_by_name(resolve(job)) or entry.check in instruments(job)
    given = [key for key in RESULTS["check"] if getattr(entry, {"is": "is_"}.get(key, key)) is not None]
    if is_lead:
        _only(entry, given, ("is",) if entry.is_ is not None else ("resistance", "between_conductors"))
        if entry.is_ not in (None, "good"):
            raise _bad(
                say("a lead can't be {text}", text=repr(entry.is_)),
                "is",
                remedy=say("write good, or its resistance"),
            )
    elif what in LAMPS and stage is not None:
        _only(entry, given, ("is",))
        if entry.is_ is not None and entry.is_ not in ("on", "off"):
            raise _bad(say("a lamp can't be {text}", text=repr(entry.is_)), "is", remedy=say("write on or off"))
    elif what in (*VOLTAGES, "resistance") and stage is not None:
        _only(entry, given, ("reads",))
        if entry.reads is not None:
            read_number(entry)
    else:
        _only(entry, given, ("is",))
        if what in WORDED:
            _check_word(entry, what)
        if what == "cone" and stage is not None and entry.is_ not in (None, "out", "in", "still"):
            raise _bad(
                say("a cone can't move {text}", text=repr(entry.is_)), "is", remedy=say("write out, in or still")
            )
        if isinstance(stage, LineDriver) and what not in WORDED and entry.is_ not in (None, "right", "wrong"):
            raise _bad(
                say("a line driver's gain can't be at {text}", text=repr(entry.is_)),
                "is",
                remedy=say("write right or wrong"),
            )
        if (what in NUMBERED or takes_bands(what)) and entry.is_ not in (None, "right", "wrong"):
            _check_position(str(entry.is_), what)


def _check_position(text: str, what: str) -> None:
    """Refuse an invalid position of a control with a numeric position, or invalid bands."""
    remedy = (
        say("write its bands, separated by semicolons, or right or wrong")
        if takes_bands(what)
        else say("write its position, or right or wrong")
    )
    if what == "volume":
        if not re.fullmatch(r"[0-9]{1,3}(?:\.[0-9]{1,3})?", text):
            raise _bad(say("a volume can't be at {text}", text=repr(text[:40])), "is", say("it is at a step"), remedy)
        return
    try:
        known = bands_of(text) is not None if takes_bands(what) else parse(text, NUMBERED[what]).known
    except GainwrightError as error:
        raise JobError(error.what, code="bad_evidence", where="is", rule=error.rule, remedy=remedy) from None
    if not known:
        raise _bad(say("its position must be known"), "is", remedy=remedy)


def read_number(entry: Check) -> float:
    """Return the volts or ohms of a check with a numeric result; infinite for ohms that read `open`.

    Raises
    ------
    AnswerError : not a number.
    """
    ohms = entry.check.endswith(".resistance")
    try:
        found = read_measured(
            str(entry.reads), "resistance" if ohms else "voltage", words=(OPEN,) if ohms else (), exact=False
        )
    except GainwrightError as error:
        raise error.with_place("reads") from None
    return found.nominal if isinstance(found, Quantity) else float("inf")


def _only(entry: Check, given: list[str], allowed: tuple[str, ...]) -> None:
    for key in given:
        if key not in allowed:
            _refuse(entry, key, allowed)


def _refuse(entry: Check, key: str, allowed: tuple[str, ...]) -> NoReturn:
    raise _bad(
        say("{place} has no {key}", place=entry.check, key=key),
        key,
        say("its result is {allowed}", allowed=joined(allowed, by="{a} or {b}")),
    )
