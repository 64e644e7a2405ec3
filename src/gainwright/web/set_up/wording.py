"""Texts of a step of the set-up run, the gauge of a reading, and the reading from the form's fields."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from gainwright.app.measuring.typed_readings import LOWER
from gainwright.errors import GainwrightError
from gainwright.model import NO_MARK, describe_marks, instrument_title, setting_text
from gainwright.quantities import is_bare
from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.app.set_up.run import Run, StepState
    from gainwright.metering import Knee
    from gainwright.model import Job
    from gainwright.plan import Expect

PHASES = {
    "prepare": say("Before you begin"),
    "leads": say("Leads and coils"),
    "controls": say("Set the controls"),
    "source": say("Clean limit of the source"),
    "processor": say("Processors"),
    "amplifier": say("Amplifier gains"),
    "restore": say("Restore filters"),
    "verify": say("Final check"),
}
RESULTS = say("Results to write down")
UNITS = {"volts": ("V", "mV"), "supply": ("V",), "ohm": ("ohm", "kohm"), "lead": ("ohm", "kohm")}
"""Units offered beside a reading."""
SIGNS = {"fits": "fits", "low": "low", "high": "high", "off": "stop", "": "done"}
VERDICTS = {
    "fits": say("fits"),
    "low": say("lower than expected"),
    "high": say("higher than expected"),
    "off": say("not as expected"),
    "": say("read"),
}
_IN_MILLIVOLTS = re.compile(r"[0-9] ?mv\b", re.IGNORECASE)
OVER = {"volts": "OL", "ohm": "open", "lead": "open"}
"""What a meter shows over its range, as a button beside the field."""


def quantity_words(value: float | None, quantity: str, *, like: float | None = None) -> str:
    """Return a reading in words: `2.34 V`, `1.6 ohm`, `step 34`; in the unit of another, `like`, beside which it stands."""
    from gainwright.report.figures import three_figures, volts

    if value is None or not math.isfinite(value):
        return say("open") if quantity == "ohm" else say("over range")
    if quantity == "step":
        return say("step {step}", step=f"{value:g}")
    if quantity == "ohm":
        in_kohm = max(value, like or 0.0) >= 999.5 and (not like or like >= 999.5)
        words = f"{three_figures(value / 1000)} kohm" if in_kohm else f"{three_figures(value)} ohm"
    else:
        words = f"{three_figures(value)} V" if quantity == "supply_v" else volts(value, like=like)
    return say("{a}", a=words)  # with the decimal sign of the page


def reading_words(value: Mapping[str, Any], text: str = "") -> str:
    """Return the value of an entry in words, in the unit of the expected reading, or in mV where it was typed so."""
    if "row" in value:
        there = {"volts": quantity_words(value["row"][1], "v_rms"), "step": f"{value['row'][0]:g}"}
        if value.get("lower_db"):
            return say("{volts} at step {step}, the tone {amount} dB lower", **there, amount=f"{value['lower_db']:g}")
        return say("{volts} at step {step}", **there)
    if "lit" in value:
        return describe_marks(value["lit"])
    if value.get("look"):  # a look of 0.1.0
        return str(value["look"])
    if "value" not in value:
        return ""
    like = None if _IN_MILLIVOLTS.search(text) else value.get("expected")
    words = quantity_words(value["value"], value.get("quantity", "v_rms"), like=like)
    if "between" in value:
        between = value["between"]
        if between == "open":
            words = say("{ends}, open between", ends=words)
        else:
            words = say("{ends}, {ohms} ohm between", ends=words, ohms=f"{between:.3g}")
    return say("{volts}, gain at {place}", volts=words, place=value["at"]) if value.get("at") else words


@dataclass(frozen=True, slots=True)
class ShownStep:
    """A step with its texts."""

    state: StepState
    run: Run
    job: Job

    @property
    def phase(self) -> str:
        """The phase it belongs to."""
        return PHASES[self.state.step.phase]

    @property
    def units(self) -> tuple[str, ...]:
        """The units offered."""
        return UNITS.get(self.state.asked or "", ())

    @property
    def over(self) -> str:
        """What a meter shows over its range; empty where it can't be."""
        return OVER.get(self.state.asked or "", "")

    @property
    def label(self) -> str:
        """Label of the field."""
        step = self.state.step
        if self.state.asked in ("column", "place"):
            return say("Last clean step") if step.adjust is not None or step.phase == "verify" else say("Step")
        at = {"supply": say("volts DC"), "lead": say("ohm end to end"), "ohm": "ohm"}.get(
            self.state.asked or "", say("volts")
        )
        return say("{what}, {unit}", what=instrument_title(step.instrument) or say("The reading"), unit=at)

    @property
    def ear(self) -> str:
        """How loud its tone is at the ear, in words; empty where none is heard."""
        from gainwright.report.sheet import ear_text

        return "" if self.state.step.ear is None else ear_text(self.state.step.ear)

    def control(self, name: str) -> str:
        """Return a control in words, to begin a line."""
        from gainwright.plan import control_words

        return sentence(control_words(self.job, name))

    @property
    def target(self) -> str:
        """Target of the control, in words; empty without one."""
        adjust = self.state.step.adjust
        if adjust is None:
            return ""
        if adjust.until == "last_clean":
            return say("{control} up to its last clean step", control=self.control(adjust.control))
        return say(
            "{control} up to {volts}",
            control=self.control(adjust.control),
            volts=quantity_words(adjust.target, "v_rms"),
        )

    @property
    def found_limit(self) -> str:
        """The lowest last clean step so far, where it is needed; empty before."""
        step = self.state.step
        head = step.stage if step.id.endswith(".limit") else step.measure_at.removesuffix(".volume")
        if self.state.asked != "place" and not step.id.endswith(".limit"):
            return ""
        limit = self.run.clean_limit(head)
        return "" if limit is None or step.adjust is not None else f"{limit:g}"

    @property
    def prefill(self) -> str:
        """Initial value of the field."""
        return self.found_limit if self.state.asked == "place" else ""


@dataclass(frozen=True, slots=True)
class Gauge:
    """A scale with the expected interval, its middle and the reading, all 0 .. 100 along it."""

    low: float
    high: float
    middle: float
    words: tuple[str, str, str]
    reading: float | None
    kind: str


def gauge(expect: Expect | None, value: Mapping[str, Any]) -> Gauge | None:
    """Return the gauge of an expectation and a reading; None where nothing is expected."""
    if expect is None or "lit" in value or value.get("look"):
        return None
    low, high = float(value.get("low", expect.low)), float(value.get("high", expect.high))
    middle = float(value.get("expected", expect.value))
    quantity = str(value.get("quantity", expect.quantity))
    span = max(high - low, 1e-9 + 0.02 * abs(high))
    begin, end = low - 0.75 * span, high + 0.75 * span
    if low >= 0:
        begin = max(begin, -0.04 * end)

    def along(x: float) -> float:
        return round(100 * min(max((x - begin) / (end - begin), 0.0), 1.0), 2)

    words = (
        quantity_words(low, quantity, like=middle),
        quantity_words(middle, quantity),
        quantity_words(high, quantity, like=middle),
    )
    reading = None
    if "value" in value:
        read = value["value"]
        reading = 100.0 if read is None else along(float(read))
    kind = SIGNS.get(str(value.get("verdict", "")), "done")
    return Gauge(along(low), along(high), along(middle), words, reading, kind)


def typed_words(text: str, asked: str) -> str:
    """Return a typed reading with its unit: `13.90 V`, `step 34: 3.2 V`."""
    unit = "ohm" if asked in ("ohm", "lead") else "V"
    if asked == "column":
        step, _, volts = text.removeprefix(f"{LOWER} ").partition(" ")
        return f"step {step}: {typed_words(volts, 'volts')}" if volts else f"step {step}"
    return f"{text} {unit}" if asked in UNITS and is_bare(text) else text


SURE = 0.95
"""Below this probability of a last clean step, a column with the tone lower that was begun is read to its end."""


def knee_of(state: StepState, job: Job) -> tuple[Knee | None, str]:
    """Return the knee of a column of readings so far and what to do next; only a sentence when it can't be used."""
    if state.asked != "column" or not state.rows:
        return None, ""
    from gainwright.app.set_up.evidence import column_knee
    from gainwright.jobfile import instruments
    from gainwright.model import Multimeter
    from gainwright.report.knee import advice_text

    limit = job.thd_limit.nominal if job.thd_limit is not None and job.thd_limit.known else 0.01
    meter = job.instruments.get(state.step.instrument)
    known = isinstance(meter, Multimeter) and meter.true_rms is not None
    try:
        knee = column_knee(state, instruments(job)[state.step.instrument], limit_thd=limit, response_known=known)
    except GainwrightError as error:
        return None, f"{error.what}; {error.remedy}"
    if knee is None:
        return None, ""
    if state.column.next_lower is not None and knee.advice == "enough" and knee.confidence < SURE:
        knee = replace(knee, advice="go_on", next_step=state.column.next_lower)
    return knee, advice_text(knee, [(s, v) for s, v in (*state.rows, *state.column.lower) if v])


def entered(state: StepState, given: Mapping[str, str]) -> str:
    """Return the text of a reading from the fields of its form."""
    instead = given.get("instead", "").strip()
    text = instead or given.get("text", "").strip()
    bare = is_bare(text)
    if state.asked == "column" and given.get("volts", "").strip():
        return f"{f'{LOWER} ' if given.get('lower') else ''}{text} {given['volts'].strip()}"
    if bare and given.get("unit") in UNITS.get(state.asked or "", ()):
        text = f"{text} {given['unit']}"
    if state.asked == "look" and not text:
        return ", ".join(mark for i, mark in enumerate(state.marks) if given.get(f"mark{i}")) or NO_MARK
    if state.asked == "lead" and given.get("between") in ("open", "shorted"):
        text = f"{text} {given['between']}"
    if state.asked == "volts" and given.get("at", "").strip():
        text = f"{text} at {given['at'].strip()}"
    return text


ENTRY_WORDS = {
    "reading": say("read"),
    "done": say("done"),
    "skipped": say("skipped"),
    "taken_back": say("taken back"),
}
"""Each kind of entry, in words."""
HOW_FOUND = {
    "set": say("as the step says"),
    "clean_step": say("last clean step"),
    "read_off": say("read off its scale"),
    "worked_out": say("worked out from the voltage read"),
}
"""How a setting was found, in words."""


def setting_words(control: str, text: str) -> str:
    """Return a setting as people read it: `step 34`, `60 %`; a dash where the job doesn't say."""
    if not text:
        return "–"
    return say("step {step}", step=text) if control.endswith(".volume") else setting_text(text)
