"""The common data of all steps: ends of the chain, tones, allowances, and the chain with its filters open."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.jobfile import JUST_ABOVE_MUTING, instruments, remote_top_db, volume_steps, with_settings
from gainwright.model import Amplifier, HeadUnit, LevelControl, Multimeter, Speaker, is_tweeter, volume_of
from gainwright.plan.bands import pass_band_hz, passed, series_filters
from gainwright.plan.controls import LOSS_ALLOWED_DB, FilterControl
from gainwright.plan.distortion_seen import sees_distortion
from gainwright.plan.inner_gains import gain_share, inner_amplifiers
from gainwright.solve import ANY_LOAD_OHM, Chain, set_up_tone_hz, tone_limits_hz

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from gainwright.model import Instrument, Job, Node, Path

    Floats = npt.NDArray[np.float64]

DRAWS = 256
SEED = 1
FIXED_LOSS_DB = 1.0
"""Filters that can't be opened may take this much from a set-up tone (common practice, no published source)."""


def remote_start(stage: Amplifier) -> str:
    """Return where an amplifier's remote level control stands for the set-up: fully up less its reserve; a band boost off."""
    remote = stage.remote_level
    if remote is None or remote.boosts is not None:
        return "0 dB"
    reserve = abs(remote.reserve.nominal) if remote.reserve is not None and remote.reserve.known else 0.0
    return f"{remote_top_db(stage) - reserve:g} dB"


@dataclass(frozen=True, slots=True)
class End:
    """The last stage before speakers: an amplifier, or a source that drives speakers directly.

    Attributes
    ----------
    stage, nodes : the stage and its outputs, one per side.
    upstream : every node before it, in signal order.
    path : the first path through it.
    tone_hz, allowance_db : of its set-up tone.
    speakers : the speakers that it drives.
    """

    stage: str
    nodes: tuple[Node, ...]
    upstream: tuple[Node, ...]
    path: Path
    tone_hz: float
    allowance_db: float
    speakers: tuple[str, ...]

    @property
    def all_nodes(self) -> tuple[Node, ...]:
        """Upstream and own nodes."""
        return (*self.upstream, *self.nodes)


def level_setter(job: Job, nodes: Sequence[Node]) -> str:
    """Return the last stage along nodes that has a volume: the head unit, or a processor with a master volume."""
    return [node.stage for node in nodes if volume_of(job.stages[node.stage]) is not None][-1]


class PlanContext:
    """A job with the data that all steps of its plan share.

    Parameters
    ----------
    learned : samples of values as learned from readings; see `Chain`.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """

    def __init__(self, job: Job, *, learned: Mapping[str, Floats] | None = None) -> None:
        self.job = job
        # the plan is for a source that plays; what keeps it from playing is a finding
        any_load = {f"{name}.factory.needs_load": np.array([ANY_LOAD_OHM]) for name in job.stages}
        self.chain = Chain(job, learned={**any_load, **(learned or {})})
        self.instruments: Mapping[str, Instrument] = instruments(job)
        self.ends = self._ends()
        self._drawn_for: dict[Chain, dict[str, Any]] = {}
        self.moved_filters: dict[str, tuple[FilterControl, str]] = {}
        self.stuck_filters: list[tuple[End, FilterControl]] = []
        self._sort_filters()

    @cached_property
    def starting_settings(self) -> dict[str, str]:
        """Starting settings of controls: filters open, gains at the lowest that doesn't mute, level controls up.

        The gain of an amplifier before another stage stands where it is expected to end.
        """
        found = {control: text for control, (_, text) in self.moved_filters.items()}
        for name, stage in self.job.stages.items():
            if isinstance(stage, Amplifier) and stage.remote_level is not None:
                found[f"{name}.remote_level"] = remote_start(stage)
            if isinstance(stage, Amplifier) and not stage.gain.fixed:
                found[f"{name}.gain"] = self.lowest_gain(name)
            elif isinstance(stage, HeadUnit):
                if stage.all_digital and name not in self.level_setters:
                    found[f"{name}.volume"] = f"{volume_steps(stage.volume)}"
                if stage.levelling in ("on", "unknown"):
                    found[f"{name}.levelling"] = "off"
            elif isinstance(stage, LevelControl):
                reserve = stage.reserve.nominal if stage.reserve is not None and stage.reserve.known else 0.0
                found[f"{name}.level"] = f"{0.0 - abs(reserve):g} dB"
        for name, end in inner_amplifiers(self.job, self.ends).items():
            share = gain_share(self.chain_with(found), name, end, level_setter(self.job, end.all_nodes))
            found[f"{name}.gain"] = f"{100 * share:.0f} %"
        return found

    def lowest_gain(self, name: str) -> str:
        """Return the lowest place of an amplifier's gain that doesn't mute, as the job file writes it."""
        stage = self.job.stages[name]
        muting = isinstance(stage, Amplifier) and stage.gain.mutes_at_minimum != "no"
        return f"{100 * JUST_ABOVE_MUTING:g} %" if muting else "0 %"

    @cached_property
    def level_setters(self) -> frozenset[str]:
        """The stages whose volume sets the level: of each end the last one before it that has a volume."""
        return frozenset(level_setter(self.job, end.all_nodes) for end in self.ends)

    @cached_property
    def opened(self) -> Chain:
        """The chain with its controls at their starting settings."""
        return self.chain_with(self.starting_settings)

    @cached_property
    def restored(self) -> Chain:
        """The chain with its filters as in the job, everything else at starting settings."""
        return self.chain_with({c: t for c, t in self.starting_settings.items() if c not in self.moved_filters})

    def chain_with(self, settings: Mapping[str, str]) -> Chain:
        """Return the chain with other settings; what was learned about unaffected values is kept."""
        plain = Chain(with_settings(self.job, settings))
        if not self.chain.learned:
            return plain
        same = {p for p, fact in plain.facts.items() if p in self.chain.facts and self.chain.facts[p] == fact}
        return Chain(plain.job, learned={p: v for p, v in self.chain.learned.items() if p in same})

    @cached_property
    def drawn(self) -> dict[str, Any]:
        """One set of samples of every physical value, shared by all steps."""
        return self.chain.draws(draws=DRAWS, seed=SEED, quick=True)

    def drawn_for(self, chain: Chain) -> dict[str, Any]:
        """Return the samples for this chain or one with other settings; values that a setting changes are drawn again."""
        if chain not in self._drawn_for:
            own = chain.draws(draws=DRAWS, seed=SEED, quick=True)
            same = self.chain.facts
            self._drawn_for[chain] = own | {
                path: self.drawn[path]
                for path, fact in chain.facts.items()
                if path in same and same[path].quantity == fact.quantity
            }
        return self._drawn_for[chain]

    @cached_property
    def speakers(self) -> frozenset[str]:
        """Every speaker."""
        return frozenset(name for name, stage in self.job.stages.items() if isinstance(stage, Speaker))

    @cached_property
    def protecting(self) -> frozenset[str]:
        """The outputs and stages before speakers that low tones destroy."""
        found: set[str] = set()
        for path in self.chain.wiring.paths:
            below = getattr(self.job.stages[path.speaker], "protect_below", None)
            if (below is not None and below.known) or is_tweeter(self.job, path.speaker, path.nodes):
                found |= {name for n in path.nodes for name in (n.stage, f"{n.stage}.{n.output}")}
        return frozenset(found)

    def meter(self) -> tuple[str, Multimeter] | None:
        """Return the first multimeter."""
        for name, instrument in self.instruments.items():
            if isinstance(instrument, Multimeter):
                return name, instrument
        return None

    def looks_for_harmonics(self, tone_hz: float) -> bool:
        """Return whether an instrument can see the distortion of a tone: only then must its harmonics get through."""
        return any(sees_distortion(i, tone_hz) for i in self.instruments.values())

    def sources(self, end: End) -> list[Node]:
        """Return the head unit's outputs upstream of an end."""
        return [n for n in end.all_nodes if isinstance(self.job.stages[n.stage], HeadUnit)]

    def _ends(self) -> tuple[End, ...]:
        wiring = self.chain.wiring
        found: dict[str, End] = {}
        for path in wiring.paths:
            for port in wiring.ports(path.speaker):
                for feed in wiring.feeds[port]:
                    stage = feed.node.stage
                    if stage in found or feed.node not in path.nodes:
                        continue
                    nodes = wiring.outputs(stage)
                    takers = [p.stage for node in nodes for p in wiring.ports_fed_by(node)]
                    speakers = tuple(dict.fromkeys(s for s in takers if isinstance(self.job.stages[s], Speaker)))
                    upstream = wiring.upstream(stage)
                    found[stage] = End(
                        stage,
                        nodes,
                        upstream,
                        path,
                        self._tone_hz(path, nodes[0]),
                        path.allowance_db(self.job),
                        speakers,
                    )
        return tuple(found[stage] for stage in wiring.order if stage in found)

    def _tone_hz(self, path: Path, node: Node) -> float:
        asked = path.asked_tone_hz(self.job)
        if asked is not None:
            return asked
        wiring = self.chain.wiring
        speaker = self.job.stages[path.speaker]
        assert isinstance(speaker, Speaker)  # noqa: S101  paths end at speakers
        protected = speaker.protect_below
        free = {f.control for f in series_filters(self.job, wiring, node) if f.open_setting() is not None}
        best = passed(self.job, wiring, node, np.geomspace(20, 20_000, 400), without=free).max()

        def passes(tone_hz: float) -> bool:
            found = passed(self.job, wiring, node, np.array([tone_hz]), without=free)[0]
            return bool(found > best * 10 ** (-FIXED_LOSS_DB / 20))

        return set_up_tone_hz(
            pass_band_hz(self.job, wiring, node),
            protect_below_hz=protected.nominal if protected is not None and protected.known else 0.0,
            limits_hz=tone_limits_hz(self.instruments.values()),
            passes=passes,
        )

    def _sort_filters(self) -> None:
        for end in self.ends:
            for f in series_filters(self.job, self.chain.wiring, end.nodes[0]):
                if not f.in_the_way(end.tone_hz, harmonics=self.looks_for_harmonics(end.tone_hz)):
                    continue
                text = f.open_setting()
                if text is not None and f.control not in self.moved_filters:
                    self.moved_filters[f.control] = (f, text)
                if text is None and f.loss_db(end.tone_hz) > LOSS_ALLOWED_DB:
                    self.stuck_filters.append((end, f))
