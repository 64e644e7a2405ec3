"""A set-up run: a plan's steps with their entries, the next step, and the verdict on a new reading."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from gainwright.app.measuring.lost_point import interval_of_row, is_within
from gainwright.app.measuring.typed_readings import AnswerKind, StepAnswer, doubt_about, read_answer
from gainwright.app.set_up.no_signal import ends_without_signal
from gainwright.app.set_up.progress import NO_COLUMN, Column, Rows, State, state_of
from gainwright.app.store import ConflictError
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.app.store import RunEntry, RunKind, Store
    from gainwright.model import Instrument
    from gainwright.plan import Expect, Line, Plan, Step

Verdict = Literal["fits", "low", "high", "off", ""]
LONGEST_TEXT = 500
LONGEST_KEY = 64
"""Characters of the key of an entry."""


@dataclass(frozen=True, slots=True)
class StepValue:
    """The value of an entry, in SI; fields that this kind of reading doesn't have are None or empty.

    Attributes
    ----------
    value : None also over range.
    beyond : whether the instrument was over range.
    quantity : of the value: `v_rms`, `ohm`, `step`, ...
    expected, low, high : the expected reading with its interval.
    between : of a lead, ohms between its conductors.
    row : setting of a control, and the reading there.
    lower_db : by how much the tone was lower at such a row, 0 for the tone of the step.
    look : what an indicator showed.
    at : setting of the control at which it was read.
    """

    value: float | None = None
    beyond: bool = False
    quantity: str = ""
    verdict: Verdict = ""
    expected: float | None = None
    low: float | None = None
    high: float | None = None
    between: float | Literal["open"] | None = None
    row: tuple[float, float | None] | None = None
    lower_db: float = 0.0
    look: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class StepState:
    """One step and its entries.

    Attributes
    ----------
    number : its place in the plan, from 1.
    label : its number on the sheet, `7` or `7.2`; empty for a result.
    asked : what is read, None when there is nothing to read.
    entry : the one that is valid now, None when there is none.
    history : all entries, in order.
    column : a column of readings, and the one with the tone lower.
    marks : of the indicator that is looked at.
    """

    step: Step
    number: int
    asked: AnswerKind | None
    state: State
    entry: RunEntry | None
    history: tuple[RunEntry, ...]
    column: Column = NO_COLUMN
    marks: tuple[str, ...] = ()
    label: str = ""

    @property
    def name(self) -> str:
        """What it is called on screens: its number on the sheet, or that it is a result."""
        return say("step {label}", label=say(self.label)) if self.label else say("result")

    @property
    def rows(self) -> Rows:
        """The column of readings with the step's own tone."""
        return self.column.rows

    @property
    def seen(self) -> int:
        """Number of the last entry, 0 when there is none; a writer gives it back as `seen`."""
        return self.history[-1].number if self.history else 0

    @property
    def value(self) -> dict[str, Any]:
        """The value of the valid entry; empty when there is none."""
        return dict(self.entry.value) if self.entry is not None else {}

    @property
    def verdict(self) -> Verdict:
        """The verdict on the valid reading."""
        verdict: Verdict = self.value.get("verdict", "")
        return verdict if self.state == "done" else ""


@dataclass(frozen=True, slots=True)
class RunLine:
    """A line of the sheet and the state of its steps."""

    line: Line
    steps: tuple[StepState, ...]

    @property
    def done(self) -> bool:
        """Whether nothing of it is left to do, and not all of it was skipped."""
        states = {s.state for s in self.steps}
        return "done" in states and states <= {"done", "skipped"}


@dataclass(frozen=True, slots=True)
class Run:
    """All steps of a plan with their entries; `gone` are entries of steps that the plan no longer has."""

    plan: Plan
    steps: tuple[StepState, ...]
    gone: tuple[RunEntry, ...]

    @property
    def lines(self) -> tuple[RunLine, ...]:
        """The numbered lines with the state of their steps, then the results."""
        states = {s.step.id: s for s in self.steps}
        return tuple(RunLine(line, tuple(states[step] for step in line.steps)) for line in self.plan.lines)

    @property
    def entries(self) -> list[RunEntry]:
        """All entries, in order."""
        return sorted((*self.gone, *(e for s in self.steps for e in s.history)), key=lambda e: e.number)

    def of(self, step: str) -> StepState:
        """Return one step. CallError: there is no step of that name."""
        for state in self.steps:
            if state.step.id == step:
                return state
        raise CallError(
            say("the plan has no step {step}", step=step[:80]),
            code="no_such_step",
            rule=say("the job may have changed since"),
            remedy=say("go back to the list of steps"),
        )

    @property
    def next(self) -> StepState | None:
        """The first step that is neither done nor skipped; None when all are."""
        return next((s for s in self.steps if s.state in ("open", "begun")), None)

    def after(self, step: str) -> StepState | None:
        """Return the next open step after one, else the first open one."""
        number = self.of(step).number
        behind = (s for s in self.steps[number:] if s.state in ("open", "begun"))
        return next(behind, self.next)

    def count(self, *states: State) -> int:
        """Return how many steps are in one of these states."""
        return sum(1 for s in self.steps if s.state in states)

    def clean_limit(self, head: str) -> float | None:
        """Return the lowest of the last clean steps found for a head unit's volume; None before there is one."""
        control = f"{head}.volume"
        limits = [
            float(s.value["value"])
            for s in self.steps
            if s.state == "done" and s.step.adjust is not None and s.step.adjust.control == control
            if s.step.adjust.until == "last_clean" and s.value.get("value") is not None
        ]
        return min(limits) if limits else None


def run_of(plan: Plan, entries: Sequence[RunEntry], instruments: dict[str, Instrument]) -> Run:
    """Return the run that a job's entries make of its plan."""
    from gainwright.plan import labels

    by_step: dict[str, list[RunEntry]] = {}
    numbers = labels(plan.lines)
    for entry in entries:
        by_step.setdefault(entry.step, []).append(entry)
    steps = tuple(
        replace(
            _state(step, number, answer_kind(step, instruments), by_step.pop(step.id, [])),
            marks=_marks(instruments.get(step.instrument)),
            label=numbers.get(step.id, ""),
        )
        for number, step in enumerate(plan.steps, start=1)
    )
    gone = sorted((e for left in by_step.values() for e in left), key=lambda e: e.number)
    return Run(plan, steps, tuple(gone))


def _marks(instrument: Instrument | None) -> tuple[str, ...]:
    from gainwright.model import Indicator

    return tuple(instrument.marks) if isinstance(instrument, Indicator) else ()


def answer_kind(step: Step, instruments: dict[str, Instrument]) -> AnswerKind | None:
    """Return what is read at a step, None when there is nothing to read."""
    expect = step.expect
    if expect is None:
        return None
    kind = instruments[step.instrument].kind if step.instrument in instruments else ""
    if step.adjust is not None and step.adjust.until == "last_clean":
        return "place" if kind == "indicator" else "column"
    if expect.quantity == "step":
        return "place"
    if kind == "indicator":
        return "look"
    if expect.quantity == "ohm":
        return "lead" if step.id.startswith("lead.") else "ohm"
    return "supply" if expect.quantity == "supply_v" else "volts"


def _state(step: Step, number: int, asked: AnswerKind | None, history: list[RunEntry]) -> StepState:
    state, holds, column = state_of(history)
    return StepState(step, number, asked, state, holds, tuple(history), column)


# ---- what a person enters ----------------------------------------------------------------------------------------


def add_entry(
    store: Store,
    job: str,
    run: Run,
    step: str,
    *,
    kind: RunKind,
    text: str,
    by: str,
    seen: int,
    expect: Expect | None = None,
    key: str = "",
    sure: bool = False,
) -> RunEntry:
    """Add an entry for a step; it is on the disk when this returns.

    The same entry sent again from the same device, as after a lost connection, is stored once.

    Parameters
    ----------
    expect : the reading that was shown as expected; the plan's own when left out.
    key : made by the writer for this entry alone; the same entry with it is stored once, whatever came in between.
    sure : the reading is right as it was typed, although its decimal point seems to be lost.

    Raises
    ------
    CallError : an entry that this step can't have.
    DoubtfulReadingError : with its point elsewhere the reading would be as expected; nothing was written.
    ConflictError : somebody else has added an entry since `seen`; nothing was written.
    """
    state = run.of(step)
    sent = (step, kind, text.strip(), key)
    there = [e for e in state.history if key and (e.step, e.kind, e.text, e.key) == sent]
    if there:
        return there[0]
    value = entry_value(run, state, kind=kind, text=text, expect=expect, sure=sure)
    try:
        return store.runs.add(job, step=step, kind=kind, text=text.strip(), value=value, by=by, seen=seen, key=key)
    except ConflictError:
        for entry in store.runs.entries(job):
            same = entry.step == step and entry.number > seen and entry.by == by
            if same and entry.kind == kind and entry.text == text.strip():
                return entry
        raise


def entry_value(
    run: Run, state: StepState, *, kind: RunKind, text: str, expect: Expect | None = None, sure: bool = False
) -> dict[str, Any]:
    """Return what is stored with the typed text: the value in SI, the expected one, the verdict.

    Raises
    ------
    CallError : an entry that this step can't have.
    DoubtfulReadingError : its decimal point seems to be lost, and nobody said that it is right (`sure`).
    """
    if len(text) > LONGEST_TEXT:
        raise CallError(
            say("over {LONGEST_TEXT} characters", LONGEST_TEXT=LONGEST_TEXT), code="too_long", remedy=say("shorten it")
        )
    if kind == "skipped" and not text.strip():
        raise CallError(
            say("no reason is given"), code="no_reason", rule=say("a skipped step needs one"), remedy=say("enter one")
        )
    if kind == "done" and state.asked is not None:
        raise CallError(
            say("this step needs a reading"),
            code="no_reading",
            rule=say("it is done once the reading is entered"),
            remedy=say("enter the reading, or skip the step"),
        )
    if kind != "reading":
        return {}
    if state.asked is None:
        raise CallError(say("this step takes no reading"), code="bad_reading", remedy=say("mark it as done"))
    read, expect = read_answer(text, state.asked, state.marks), expect or state.step.expect
    interval = None if sure else _interval(state, read, expect)
    doubt = interval and doubt_about(text, state.asked, read, interval, expected=_in_words(interval, expect))
    if doubt:
        raise doubt
    return _judged(run, state, read, expect)


def _interval(state: StepState, read: StepAnswer, expect: Expect | None) -> tuple[float, float] | None:
    """Return the interval in which a reading is expected, SI; None where it isn't a number, or nothing is expected."""
    if read.volts is not None:
        return interval_of_row(state.column.lower if read.lower else state.rows, read.value)
    if state.asked not in ("volts", "supply", "ohm") or expect is None:
        return None
    return expect.low, expect.high


def _in_words(interval: tuple[float, float], expect: Expect | None) -> str:
    from gainwright.report.figures import volts

    low, high = interval
    if expect is not None and expect.quantity == "ohm":
        return f"{low:.3g} to {high:.3g} ohm"
    return f"{volts(low, like=high)} to {volts(high)}"


def _judged(run: Run, state: StepState, read: StepAnswer, expect: Expect | None) -> dict[str, Any]:
    if read.volts is not None:
        from gainwright.metering import LOWER_DB

        lower = {"lower_db": LOWER_DB} if read.lower else {}
        return {"row": [read.value, _finite(read.volts)], "quantity": "v_rms"} | lower
    result: dict[str, Any] = {"value": _finite(read.value), "verdict": ""}
    if math.isinf(read.value):
        result["beyond"] = True
    if read.lit is not None:
        return {"lit": list(read.lit), "verdict": _as_expected(read.lit, expect), "quantity": "marks"}
    if state.asked in ("column", "place"):
        expect = expected_place(run, state)
        result |= {"quantity": "step", "verdict": "fits" if expect is None else verdict_of(read.value, expect)}
        if state.step.adjust is not None and result["verdict"] == "high":
            # the lowest of several is expected: one of them may well be higher
            result["verdict"] = "fits"
        if ends_without_signal(state.step, state.rows, read.value):
            result["verdict"] = "low"
    elif expect is not None:
        # a supply the wrong way round is neither low nor high
        result |= {"quantity": expect.quantity, "verdict": "off" if read.value < 0 else verdict_of(read.value, expect)}
    if expect is not None:
        result |= {"expected": expect.value, "low": expect.low, "high": expect.high}
    if read.between is not None:
        result["between"] = "open" if math.isinf(read.between) else read.between
        if not math.isinf(read.between):
            result["verdict"] = "off"
    return result | ({"at": read.at} if read.at else {})


def _as_expected(lit: tuple[str, ...], expect: Expect | None) -> Verdict:
    """Return whether the lit marks are the expected ones, apart from those that may be lit or not."""
    if expect is None or expect.lit is None:
        return ""
    return "off" if (set(lit) ^ set(expect.lit)) - set(expect.may_be_lit) else "fits"


def verdict_of(value: float, expect: Expect) -> Verdict:
    """Return the verdict on a reading, compared to three figures, as the expected interval is shown."""
    if is_within(value, expect.low, expect.high):
        return "fits"
    return "low" if value < expect.low else "high"


def expected_place(run: Run, state: StepState) -> Expect | None:
    """Return the expected step of the volume, where one is to be found."""
    if state.step.expect is not None and state.step.expect.quantity == "step":
        found = run.clean_limit(state.step.measure_at.removesuffix(".volume"))
        if found is None:
            return state.step.expect
        # an amplifier that is above its target at its lowest gain takes volume away
        hot = any(s.verdict == "high" for s in run.steps if s.step.phase == "amplifier")
        return replace(state.step.expect, value=found, low=1.0 if hot else found, high=found)
    if state.step.adjust is None:
        return None
    wanted = f"verify.{state.step.adjust.control}"
    return next((s.step.expect for s in run.steps if s.step.id == wanted), None)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
