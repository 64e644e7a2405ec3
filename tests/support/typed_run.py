"""A job in a store with its plan, and a careful user at the simulated rig: what is typed at each step of its set-up run."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from indicators import with_lamp

from gainwright.app.set_up.evidence import column_knee
from gainwright.app.set_up.run import add_entry, run_of
from gainwright.composition import Adapters
from gainwright.jobfile import example_text, instruments, read_job_text, volume_steps
from gainwright.model import Indicator, Multimeter, volume_of
from gainwright.plan import make_plan
from gainwright.simulated import Rig, SimulatedBench

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.app.set_up.run import Run, StepState
    from gainwright.app.store import RunEntry, Store
    from gainwright.model import Job
    from gainwright.plan import Plan


@dataclasses.dataclass
class Bay:
    """A job in a store with its plan."""

    store: Store
    id: str
    job: Job
    plan: Plan

    @property
    def run(self) -> Run:
        """The run with its present entries."""
        return run_of(self.plan, self.store.runs.entries(self.id), instruments(self.job))

    def enter(
        self,
        step: str,
        text: str = "",
        *,
        kind: str = "reading",
        by: str = "phone",
        seen: int | None = None,
        run: Run | None = None,
        **more: Any,
    ) -> RunEntry:
        """Enter something, having seen everything; `run` is the run with all entries, where it is at hand."""
        run = run or self.run
        seen = run.of(step).seen if seen is None else seen
        return add_entry(self.store, self.id, run, step, kind=kind, text=text, by=by, seen=seen, **more)  # type: ignore[arg-type]


def bay(folder: Path, name: str = "two_way_and_sub", marks: str = "") -> Bay:
    """Return a fresh job like an example, with a lamp if it has marks."""
    store = Adapters().store(str(folder / "store.sqlite"))
    text = with_lamp(example_text(name), marks) if marks else example_text(name)
    job = read_job_text(text).job
    kept = store.jobs.add(title=job.title, text=text)
    return Bay(store, kept.id, job, make_plan(job))


class Hand:
    """Does what each step says on a rig of its own, and reads what it shows.

    Parameters
    ----------
    fault : gain of a node that is other than it should be, node -> factor on what is read there.
    scale_off : what a gain's scale is read off too much, as a share of its travel; None where no position is typed.
    """

    def __init__(
        self, job: Job, *, seed: int, fault: dict[str, float] | None = None, scale_off: float | None = None
    ) -> None:
        self.job = job
        self.scale_off = scale_off
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
        return [self._read(state) + self._place(state)]

    def _place(self, state: StepState) -> str:
        if state.step.adjust is None or self.scale_off is None:
            return ""
        return f" at {100 * (self.gains[state.step.adjust.control] + self.scale_off):.0f} %"

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
            last, first_distorted = 0, steps + 1
            while first_distorted - last > 1:
                place = (last + first_distorted) // 2
                self.bench.turn(control, place)
                if self.bench.shows_distortion(state.step.measure_at, instrument):
                    first_distorted = place
                else:
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


def drive(here: Bay, hand: Hand, *, until: str = "") -> None:
    """Do every step of a run as it says, up to one or to the end, a column's last clean step where its knee is found."""
    run = here.run
    while (state := run.next) is not None and state.step.id != until:
        texts = hand.texts(run, state)
        for i, text in enumerate(texts):
            here.enter(state.step.id, text, run=None if i else run)
        if not texts:
            here.enter(state.step.id, kind="done", run=run)
        run = here.run
        if run.of(state.step.id).state == "begun":
            knee = column_knee(run.of(state.step.id), instruments(here.job)[state.step.instrument], limit_thd=0.01)
            assert knee is not None
            assert knee.last_clean_step is not None
            here.enter(state.step.id, f"{knee.last_clean_step:g}")
            run = here.run
