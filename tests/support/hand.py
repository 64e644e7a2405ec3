"""A person at a simulated car: does what the plan says to a person, and types what the instruments show.

The hand knows what `GET .../plan` and `GET .../run` say of each step, the car it stands beside, and what it wrote down itself.
It reads a meter's display, a gain's scale in whole per cent and a volume's step; the car's true values stay hidden from it.
"""

from __future__ import annotations

import itertools
import math
import statistics
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gainwright.model import Multimeter, Recorder
from gainwright.simulated import Fault, Rig, SimulatedBench

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.model import Job

    Step = dict[str, Any]

TURNS = 12
"""Halvings of a gain's travel: 0.02 % of it, finer than anybody turns."""
SMALL_RISE = 0.9
"""A step that brings less than this share of the usual rise is seen as uneven."""
EVEN = 4
"""Rises before the uneven ones that a person wants to have seen."""
UNEVEN = 2
"""Uneven rises after which a person stops: one may be a change of the meter's range."""


@dataclass
class Hand:
    """A person beside one car.

    Parameters
    ----------
    job : the car; its true values are drawn from its spreads by the seed.
    tells_gain : whether the scale of a gain is read; some have none.

    Attributes
    ----------
    typed : step id -> texts, as they were typed, in order.
    clean : volume control -> its last clean steps, one for each step that looks for it.
    """

    job: Job
    seed: int
    faults: tuple[Fault, ...] = ()
    tells_gain: bool = True
    typed: dict[str, list[str]] = field(default_factory=dict)
    clean: dict[str, list[float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.bench = SimulatedBench(Rig(self.job, seed=self.seed, faults=self.faults))
        self.rig = self.bench.rig

    def carry_out(self, step: Step, asked: str) -> list[str]:
        """Do one step; return what is typed, one text after another; nothing where nothing is asked.

        Parameters
        ----------
        step : a step of the plan.
        asked : the kind of reading, as the run says it.
        """
        before = {c: _standing(self.rig, c) for c in step["sets"]}
        self._prepare(step)
        texts = self._read(step, asked) if asked else []
        if step["phase"] in ("source", "processor"):
            for control, value in before.items():
                self.bench.set(control, value)
        if asked:
            self.typed[step["id"]] = texts
        return texts

    def _prepare(self, step: Step) -> None:
        self.rig.engine_running = step["system"] == "running"
        self.bench.disconnect(tuple(step["speakers_off"]))
        for control, text in step["sets"].items():
            self.bench.set(control, text)
        for control, limits in self.clean.items():
            if step["volume"] == "lowest":
                self.bench.turn(control, 1)
            if step["volume"] == "clean_limit":
                self.bench.turn(control, min(limits))
        if step["tone_hz"] is not None and step["level_dbfs"] is not None:
            self.bench.play(step["tone_hz"], step["level_dbfs"])

    def _read(self, step: Step, asked: str) -> list[str]:
        if asked in ("supply", "ohm", "lead"):
            return [self._with_ohms_or_dc(step["measure_at"], asked)]
        adjust = step["adjust"]
        if asked == "place" and adjust is None:
            return [f"{min(self.clean[step['measure_at']]):g}"]
        if adjust is not None and adjust["until"] == "last_clean":
            return self._last_clean(step, adjust["control"])
        gain = ""
        if adjust is not None:
            gain = self._turn_up(step, adjust["control"], float(adjust["target"]))
        if asked == "look":
            return [", ".join(self.rig.read_indicator(step["measure_at"], step["instrument"])) or "none"]
        return [self._shown(step) + gain]

    def _with_ohms_or_dc(self, place: str, asked: str) -> str:
        """Return what a meter shows of a supply, a speaker or a lead."""
        rig = self.rig
        if asked == "supply":
            return f"{rig.supply_voltage(place.removesuffix('.supply_voltage')):.3g} V"
        if asked == "ohm":
            return _ohms(rig.speaker_resistance(place.removesuffix(".resistance")))
        if place in rig.instruments:
            wrong = {f.cause for f in self.faults if f.where == place}
            along = math.inf if "measuring_lead_open" in wrong else 0.2
            across = 0.1 if "measuring_lead_shorted" in wrong else math.inf
        else:
            along, across = rig.lead_resistance(place), rig.between_conductors(place)
        return f"{_ohms(along)}; {_ohms(across)}"

    def _shown(self, step: Step) -> str:
        return _display(self._volts(step))

    def _volts(self, step: Step) -> float:
        return self.bench.read_v(step["measure_at"], step["instrument"])

    def _last_clean(self, step: Step, control: str) -> list[str]:
        """Raise the volume from its lowest step, write readings down, and stop where it is no longer clean."""
        steps = _steps(self.job, control)
        if isinstance(self.rig.instruments[step["instrument"]], Multimeter):
            last, texts = self._rising(step, control, steps)
        else:
            last, texts = self._undistorted(step, control, steps), []
        self.bench.turn(control, max(last, 1))
        self.clean.setdefault(control, []).append(last)
        if isinstance(self.rig.instruments[step["instrument"]], Recorder):
            texts = [f"{last} {self._shown(step)}"]
        return [*texts, f"{last}"]

    def _rising(self, step: Step, control: str, steps: int) -> tuple[int, list[str]]:
        """Return the last step before a meter's reading rises unevenly, and the last readings as they are typed.

        The lower third of the steps is passed without reading.
        """
        texts, volts = list[str](), list[float]()
        for place in range(max(1, steps // 3), steps + 1):
            self.bench.turn(control, place)
            volts.append(self._volts(step))
            texts.append(f"{place} {_display(volts[-1])}")
            if (uneven := _uneven(volts)) >= UNEVEN:
                return place - uneven, texts[-EVEN - UNEVEN :]
        return steps - _uneven(volts), texts[-EVEN - UNEVEN :]

    def _undistorted(self, step: Step, control: str, steps: int) -> int:
        """Return the last step without distortion, by halving: distortion only grows with the volume."""
        clean, distorted = 0, steps + 1
        while distorted - clean > 1:
            middle = (clean + distorted) // 2
            self.bench.turn(control, middle)
            seen = self.bench.shows_distortion(step["measure_at"], step["instrument"])
            clean, distorted = (clean, middle) if seen else (middle, distorted)
        return clean

    def _turn_up(self, step: Step, control: str, target: float) -> str:
        """Raise a gain until the reading is reached, or it is fully up; return its scale as it is typed."""
        low, high = self.rig.settings[control], 1.0
        if not self._over(step, control, high, target):
            low = high
        while high - low > 2**-TURNS:
            middle = 0.5 * (low + high)
            low, high = (low, middle) if self._over(step, control, middle, target) else (middle, high)
        self.bench.turn(control, low)
        return f" at {round(100 * low)} %" if self.tells_gain else ""

    def _over(self, step: Step, control: str, place: float, target: float) -> bool:
        self.bench.turn(control, place)
        volts = self._volts(step)
        return math.isnan(volts) or volts > target


def run_through(hand: Hand, get: Callable[[str], Any], enter: Callable[[str, dict[str, Any]], Any], job: str) -> None:
    """Carry out a job's whole plan, step after step as the run says which is next, and enter everything."""
    plan = {step["id"]: step for step in get(f"/api/jobs/{job}/plan")["steps"]}
    for _ in plan:
        run = get(f"/api/jobs/{job}/run")
        if not run["next"]:
            return
        now = next(s for s in run["steps"] if s["id"] == run["next"])
        seen = now["seen"]
        for text in hand.carry_out(plan[now["id"]], now["asked"]) or [""]:
            kind = "reading" if now["asked"] else "done"
            seen = enter(job, {"step": now["id"], "kind": kind, "text": text, "seen": seen})["number"]


def _uneven(volts: list[float]) -> int:
    """Return how many of the last readings rose clearly less than usual; 0 before enough of them have risen evenly."""
    enough = 0.02 * max(volts)
    rises = [
        20 * math.log10(after / before) if after > 0 else 0.0
        for before, after in itertools.pairwise(volts)
        if before > enough
    ]
    count = 0
    while count < len(rises) and len(rises) - count > EVEN:
        usual = statistics.median(rises[: len(rises) - count - 1])
        if rises[-1 - count] >= SMALL_RISE * usual:
            break
        count += 1
    return count


def _standing(rig: Rig, control: str) -> str:
    from gainwright.jobfile import controls

    return controls(rig.job)[control]


def _steps(job: Job, control: str) -> int:
    from gainwright.jobfile import volume_steps
    from gainwright.model import volume_of

    return volume_steps(volume_of(job.stages[control.removesuffix(".volume")]))


def _display(volts: float) -> str:
    """Return the display of a voltage: four figures, millivolts below one volt."""
    if math.isnan(volts):
        return "OL"
    return f"{volts:.4g} V" if volts >= 1 or volts == 0 else f"{1000 * volts:.4g} mV"


def _ohms(value: float) -> str:
    return "open" if math.isinf(value) or value > 1e7 else f"{value:.3g} ohm"
