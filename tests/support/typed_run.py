"""A careful user at the simulated rig during a set-up run: what is typed at each step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile import volume_steps
from gainwright.model import Indicator, Multimeter, volume_of
from gainwright.simulated import Rig, SimulatedBench

if TYPE_CHECKING:
    from gainwright.app.set_up.run import Run, StepState
    from gainwright.model import Job


class Hand:
    """Does what each step says on a rig of its own, and reads what it shows.

    Parameters
    ----------
    fault : gain of a node that is other than it should be, node -> factor on what is read there.
    """

    def __init__(self, job: Job, *, seed: int, fault: dict[str, float] | None = None) -> None:
        self.job = job
        self.bench = SimulatedBench(Rig(job, seed=seed))
        self.fault = fault or {}
        self.gains: dict[str, float] = {}

    def texts(self, run: Run, state: StepState) -> list[str]:
        """Return what is typed at a step, one after another; empty where there is nothing to read."""
        step = state.step
        self.bench.disconnect(step.speakers_off)
        for control, text in step.sets.items():
            self.bench.set(control, text)
        if state.asked is None:
            return []
        if state.asked in ("lead", "ohm", "supply"):
            assert step.expect is not None
            shown = f"{step.expect.value:.3g}"
            return [f"{shown} open" if state.asked == "lead" else shown]
        if step.tone_hz is None or step.level_dbfs is None:
            head = step.measure_at.removesuffix(".volume")
            return [f"{run.clean_limit(head):g}"]
        for control in {s.step.adjust.control for s in run.steps if s.step.adjust and s.step.phase == "source"}:
            limit = run.clean_limit(control.removesuffix(".volume"))
            if limit is not None and (step.phase != "source" or step.adjust is None):
                self.bench.turn(control, limit)
        self.bench.play(step.tone_hz, step.level_dbfs)
        if step.adjust is not None and step.adjust.until == "last_clean":
            return self._last_clean(state)
        if step.adjust is not None:
            self._turn_up(state)
        if state.asked == "look":
            return [", ".join(self.bench.rig.read_indicator(step.measure_at, step.instrument)) or "none"]
        return [self._read(state)]

    def _read(self, state: StepState) -> str:
        shown = self.bench.read_v(state.step.measure_at, state.step.instrument)
        shown *= self.fault.get(state.step.measure_at, 1.0)
        return f"{shown:.4g}".replace(".", ",")

    def _last_clean(self, state: StepState) -> list[str]:
        assert state.step.adjust is not None
        control, instrument = state.step.adjust.control, state.step.instrument
        head = self.job.stages[control.removesuffix(".volume")]
        steps = volume_steps(volume_of(head))
        if not isinstance(self.bench.rig.instruments[instrument], Multimeter):
            last = 0
            for place in range(1, steps + 1):
                self.bench.turn(control, place)
                if self.bench.shows_distortion(state.step.measure_at, instrument):
                    break
                last = place
            if isinstance(self.bench.rig.instruments[instrument], Indicator):
                return [f"{last}"]
            self.bench.turn(control, last)
            return [f"{last} {self._read(state)}", f"{last}"]
        rows = []
        for place in range(max(1, steps - 14), steps + 1):
            self.bench.turn(control, place)
            rows.append(f"{place} {self._read(state)}")
        return rows

    def _turn_up(self, state: StepState) -> None:
        assert state.step.adjust is not None
        control, target = state.step.adjust.control, state.step.adjust.target
        low, high = 0.0, 1.0
        for _ in range(14):
            middle = (low + high) / 2
            self.bench.turn(control, middle)
            if self.bench.read_v(state.step.measure_at, state.step.instrument) > target:
                high = middle
            else:
                low = middle
        self.bench.turn(control, low)
        self.gains[control] = low
