"""Every possible test of a chain with the given instruments, with its minutes, access and cautions.

Minutes and access are common practice, no published source; a job overrides access with its key `access`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

from gainwright.diagnose.access import ACCESS_MINUTES, SETTLING_MINUTES, SHARED, stages_entered
from gainwright.diagnose.answers import INSPECTED, inspected_places
from gainwright.diagnose.asked_entries import check_at, entry_of
from gainwright.diagnose.cautions import CELL, LOUD, OFF_FIRST
from gainwright.diagnose.played_paths import PlayedPath, played_paths
from gainwright.diagnose.tried_places import MINUTES_TRIED, softer, tried_places
from gainwright.diagnose.unknown_gains import unknown_gains
from gainwright.jobfile import at_hand
from gainwright.model import (
    AIRBAG_DASH,
    COIL_DEAD,
    DC_VOLTS,
    HOT_OUTPUT,
    METAL,
    NO_INSTRUMENT,
    OHMS_DEAD,
    OUTDOORS,
    RECORDER_VOLTS,
    SUPPLY_REPAIR,
    VOLTS_ONLY,
    WITH_NAMED_OUTPUTS,
    Amplifier,
    Check,
    HeadUnit,
    HeardSpeaker,
    Indicator,
    Multimeter,
    Reading,
    Recorder,
    Speaker,
    SwapTest,
    gives_power,
    is_built_in,
    is_tweeter,
    leads_by_name,
    link_place,
    may_connect,
    stages_of,
    unit_of,
)
from gainwright.solve import recorder_full_scale_v

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from gainwright.model import Entry, Instrument, Job, Node
    from gainwright.solve import Chain

MINUTES = {
    "measure": 2.0,
    "record": 3.0,
    "indicate": 1.5,
    "check_lead": 3.0,
    "check_measuring_lead": 1.5,
    "look_at_meter": 0.5,
    "look_at_lamp": 1.0,
    "look_at_control": 1.5,
    "read_off_gain": 1.5,
    "look_at_settings": 2.5,
    "look_at_inputs": 1.5,
    "look_at_link": 2.0,
    "measure_supply": 2.0,
    "measure_speaker": 3.0,
    "move_cone": 3.0,
    "listen": 1.0,
    "swap_sides": 3.0,
    "swap_leads": 5.0,
    "feed": 6.0,
    **MINUTES_TRIED,
}
"""Minutes that a test takes, without access."""
_ENTERED: WeakKeyDictionary[Chain, dict[str, set[str]]] = WeakKeyDictionary()
"""Place -> the stages that are entered for it, of chains in use."""
_LOOKED_AT: WeakKeyDictionary[Chain, tuple[set[str], tuple[str, ...]]] = WeakKeyDictionary()
"""All places of checks, and those of controls that are looked at, of chains in use."""
FED_V = 0.5
"""Headphone output of a telephone, volts, measured before it is used."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One test.

    Attributes
    ----------
    test : its kind, a key of `MINUTES`.
    where : the place, as evidence names it.
    minutes : including access to stages that weren't reached yet.
    entry : the evidence entry without its result.
    cautions : for this test.
    also_solve : further nodes to solve in the same run.
    again : whether it was made before and is asked for once more.
    """

    test: str
    where: str
    minutes: float
    entry: Entry
    cautions: tuple[str, ...] = ()
    also_solve: tuple[Node, ...] = field(default=())
    again: bool = False


class Catalogue:
    """The tests that are possible on a job's chain.

    Parameters
    ----------
    instruments : those that there may be; tests need one that is at hand, or that was read with.
    entries : tests already made; places that they reached need no more access time.
    unreachable : stages and places that the person can't reach; `instruments` where there is nothing to measure with.
    declined : tests that the person can't make.
    past : indices of entries about a fault that is mended since: they may be made again.
    """

    def __init__(
        self,
        job: Job,
        chain: Chain,
        instruments: Mapping[str, Instrument],
        entries: Iterable[Entry],
        unreachable: frozenset[str] = frozenset(),
        declined: Iterable[Entry] = (),
        *,
        past: frozenset[int] = frozenset(),
    ) -> None:
        self.job, self.chain = job, chain
        self.entries = tuple(entries)
        used = at_hand(job).keys() | {entry.with_ for entry in self.entries if isinstance(entry, Reading)}
        used = set() if NO_INSTRUMENT in unreachable else used
        self.instruments = {name: instrument for name, instrument in instruments.items() if name in used}
        self.unreachable = unreachable
        self.declined = tuple(declined)
        self.past = past
        self.reached = {stage for entry in self.entries for stage in self.entered(entry)}
        self.paths = played_paths(job, chain, instruments, self.entries)

    def entered(self, entry: Entry) -> set[str]:
        """Return the stages whose terminals an entry needs access to."""
        if not isinstance(entry, Check | SwapTest):
            return stages_entered(entry, self.job)
        place = entry.check if isinstance(entry, Check) else f"swap {entry.swap}"
        known = _ENTERED.setdefault(self.chain, {})
        if place not in known:
            known[place] = stages_entered(entry, self.job)
        return known[place]

    def access(self, stage: str) -> float:
        """Return the minutes to reach a stage's terminals; 0 if they were reached before."""
        if stage in self.reached:
            return 0.0
        own = self.job.access.get(stage)
        if own is not None and own.known:
            return float(own.nominal / 60)
        return ACCESS_MINUTES[self.job.stages[stage].kind]

    def _minutes(self, test: str, entry: Entry) -> float:
        return MINUTES[test] + sum(map(self.access, self.entered(entry)))

    def _settling(self, stage: str) -> float:
        kind = self.job.stages[stage].kind
        return SETTLING_MINUTES[kind] if kind in SETTLING_MINUTES else self.access(stage)

    def all(self) -> list[Candidate]:
        """Return every test that is possible, reachable and not made yet."""
        count = [entry for i, entry in enumerate(self.entries) if i not in self.past]
        made = {question(entry, self.job) for entry in (*count, *self.declined)}
        found = [c for c in self.possible if question(c.entry, self.job) not in made and not self.out_of_reach(c)]
        return found + [
            Candidate("listen", e.heard, MINUTES["listen"], e) for e in softer(self.entries) if e not in self.declined
        ]

    @cached_property
    def possible(self) -> list[Candidate]:
        """Every test of the chain with these instruments, made or not, reachable or not."""
        found = [*self._instruments(), *self._looks(), *self._listening(), *self._supplies()]
        for path in self.paths:
            found += self._along(path)
        return [*found, *self._links(), *self._leads(), *self._speakers(), *self._swaps(), *self._tried()]

    def _tried(self) -> Iterator[Candidate]:
        delicate = frozenset(n for n, s in self.job.stages.items() if isinstance(s, Speaker) and self._delicate(n))
        for test, place, told in tried_places(
            self.job, self.chain.wiring, self.entries, delicate, ears=not self.instruments
        ):
            entry = check_at(place)
            yield Candidate(test, place, self._minutes(test, entry), entry, told)

    def out_of_reach(self, candidate: Candidate) -> bool:
        """Return whether a test needs a place that can't be reached."""
        stages = self.entered(candidate.entry)
        at = candidate.where if candidate.where.startswith("lead:") else candidate.where.split(".", maxsplit=1)[0]
        if self.unreachable and {candidate.where, at, *stages} & self.unreachable:
            return True
        if any(is_built_in(self.job.stages[stage]) for stage in stages if stage in self.job.stages):
            return True
        probing = candidate.test in ("measure", "record", "indicate", "check_lead", "feed")
        return probing and any(not self.job.stages[s].reachable for s in stages)

    def _instruments(self) -> Iterator[Candidate]:
        for name, instrument in self.instruments.items():
            yield Candidate("check_measuring_lead", name, MINUTES["check_measuring_lead"], check_at(name))
            if isinstance(instrument, Multimeter):
                entry = check_at(f"{name}.function")
                yield Candidate("look_at_meter", name, MINUTES["look_at_meter"], entry, (VOLTS_ONLY,))

    def _looked_at(self) -> tuple[set[str], tuple[str, ...]]:
        """Return all places of checks, and those of controls that are looked at."""
        from gainwright.jobfile import controls, instruments
        from gainwright.model import check_places

        if self.chain not in _LOOKED_AT:
            known = set(check_places(self.job, self.chain.wiring, controls(self.job), instruments(self.job)))
            sources = {f"{name}.volume" for name, stage in self.job.stages.items() if isinstance(stage, HeadUnit)}
            wanted: dict[str, None] = {}
            for cause in INSPECTED:
                for where in self._places():
                    # a control with several names is listed once
                    there = [p for p in inspected_places(cause, where) if p in known and p not in sources]
                    wanted |= dict.fromkeys(there[:1])
            _LOOKED_AT[self.chain] = known, tuple(wanted)
        return _LOOKED_AT[self.chain]

    def _looks(self) -> Iterator[Candidate]:
        known, wanted = self._looked_at()
        unknown = unknown_gains(self.job)
        for place in wanted:
            stage = place.split(".")[0]
            if place.endswith((".inputs", ".leads")):
                minutes = MINUTES["look_at_inputs"] + self.access(stage)
                yield Candidate("look_at_inputs", place, minutes, check_at(place), (AIRBAG_DASH,))
            else:
                test = "read_off_gain" if place in unknown else "look_at_control"
                knob = place.endswith(".remote_level")
                minutes = MINUTES[test] + (SETTLING_MINUTES["level_control"] if knob else self._settling(stage))
                yield Candidate(test, place, minutes, check_at(place))
        for stage in dict.fromkeys(place.split(".")[0] for place in wanted):
            if f"{stage}.settings" in known and sum(place.startswith(f"{stage}.") for place in wanted) > 1:
                minutes = MINUTES["look_at_settings"] + self._settling(stage)
                yield Candidate("look_at_settings", f"{stage}.settings", minutes, check_at(f"{stage}.settings"))

    def _places(self) -> list[str]:
        several = [n for n in self.chain.nodes if self.job.stages[n.stage].kind in WITH_NAMED_OUTPUTS]
        return [*self.job.stages, *dict.fromkeys(f"{n.stage}.{n.output}" for n in several)]

    def _supplies(self) -> Iterator[Candidate]:
        has_meter = any(isinstance(i, Multimeter) for i in self.instruments.values())
        units: dict[str, str] = {}
        for name, stage in self.job.stages.items():
            if isinstance(stage, Amplifier):
                units.setdefault(unit_of(self.job, name), name)
        for unit, name in units.items():
            lit = any(getattr(self.job.stages[s], "lamps", False) for s in stages_of(self.job, unit))
            for lamp in ("power_lamp", "protection_lamp") if lit else ():
                minutes = MINUTES["look_at_lamp"] + self.access(name)
                yield Candidate("look_at_lamp", f"{unit}.{lamp}", minutes, check_at(f"{unit}.{lamp}"))
            woken = getattr(self.job.stages[name], "turn_on", "") == "signal"
            terminals = ("supply_voltage",) if woken else ("supply_voltage", "turn_on_voltage")
            for what in terminals if has_meter else ():
                minutes = MINUTES["measure_supply"] + self.access(name)
                entry = check_at(f"{unit}.{what}")
                yield Candidate(
                    "measure_supply", f"{unit}.{what}", minutes, entry, (DC_VOLTS, METAL, SUPPLY_REPAIR, OUTDOORS)
                )

    def _listening(self) -> Iterator[Candidate]:
        for path in self.paths:
            for speaker in path.speakers:
                sides = {p.side for p in self.chain.wiring.ports(speaker)} - {"mono"}
                silent = any(
                    isinstance(e, HeardSpeaker) and e.heard == speaker and e.is_ == "silent" for e in self.entries
                )
                for side in ("both", *(() if silent else sorted(sides))):
                    # who has nothing to measure with has no tones either, but music
                    played = path.played() if self.instruments else {}
                    played |= {} if side == "both" else {"side": side}
                    entry = entry_of(HeardSpeaker, {"heard": speaker, **played})
                    loud = (LOUD,) if entry.tone_hz is not None else ()
                    yield Candidate("listen", speaker, MINUTES["listen"], entry, loud, path.nodes)
                yield Candidate(
                    "listen", speaker, MINUTES["listen"], entry_of(HeardSpeaker, {"heard": speaker, "tone": "off"})
                )

    def _along(self, path: PlayedPath) -> Iterator[Candidate]:
        for node in [node for node in path.nodes if node not in self.chain.wiring.digital]:
            for name, instrument in self.instruments.items():
                test = self._usable(instrument, node, path)
                if test:
                    entry = entry_of(Reading, {"at": str(node), "with": name, **path.played()})
                    minutes = MINUTES[test] + self.access(node.stage)
                    power = gives_power(self.job.stages[node.stage])
                    cautions = ((VOLTS_ONLY,) if test == "measure" else ()) + ((HOT_OUTPUT, LOUD) if power else ())
                    cautions += (RECORDER_VOLTS,) if power and test == "record" else ()
                    yield Candidate(test, str(node), minutes, entry, cautions, path.nodes)
        if path.stage and path.upstream and self.job.stages[path.stage].kind != "head_unit":
            name = next((n for n, i in self.instruments.items() if isinstance(i, Multimeter)), "")
            if name:
                feed = {"feed": {"into": path.stage, "volts": f"{FED_V:g} V"}}
                played = {key: v for key, v in path.played().items() if key != "level"}
                entry = entry_of(Reading, {"at": str(path.ends[0]), "with": name, **played, **feed})
                minutes = MINUTES["feed"] + self.access(path.stage)
                yield Candidate("feed", path.stage, minutes, entry, (OFF_FIRST, VOLTS_ONLY, HOT_OUTPUT, LOUD))

    def _usable(self, instrument: Instrument, node: Node, path: PlayedPath) -> str:
        """Return the kind of test that an instrument makes at a node, empty if it can't."""
        if isinstance(instrument, Multimeter):
            return "measure"
        if isinstance(instrument, Indicator):
            return "indicate"
        assert isinstance(instrument, Recorder)  # noqa: S101  the kinds are closed
        fits = recorder_full_scale_v(instrument) > path.healthy_v.get(node, 0.0)
        fits = fits and may_connect(instrument, self.job.stages[node.stage])
        return "record" if fits and node in path.ends else ""

    def _links(self) -> Iterator[Candidate]:
        wiring = self.chain.wiring
        for run in wiring.leads:
            if wiring.is_digital(run):
                minutes = MINUTES["look_at_link"] + self.access(run.target)
                place = link_place(run)
                yield Candidate("look_at_link", place, minutes, check_at(place), (AIRBAG_DASH,))

    def _leads(self) -> Iterator[Candidate]:
        if not any(isinstance(i, Multimeter) for i in self.instruments.values()):
            return
        for name, pairs in leads_by_name(self.chain.wiring).items():
            node, port = pairs[0]
            if node in self.chain.wiring.digital:
                continue
            minutes = MINUTES["check_lead"] + self.access(node.stage) + self.access(port.stage)
            yield Candidate("check_lead", name, minutes, check_at(name), (OHMS_DEAD, AIRBAG_DASH))

    def _speakers(self) -> Iterator[Candidate]:
        if not any(isinstance(i, Multimeter) for i in self.instruments.values()):
            return
        for name, stage in self.job.stages.items():
            if isinstance(stage, Speaker):
                ports = self.chain.wiring.ports(name)
                minutes = self._minutes("measure_speaker", check_at(f"{name}.resistance"))
                sides = [f".{p.side}" for p in ports if p.side != "mono"]
                for side in ("", *sides):
                    place = f"{name}{side}.resistance"
                    yield Candidate("measure_speaker", place, minutes, check_at(place), (COIL_DEAD,))
                    if self._delicate(name):
                        continue
                    cone = f"{name}{side}.cone"
                    yield Candidate("move_cone", cone, minutes, check_at(cone), (CELL,))

    def _delicate(self, speaker: str) -> bool:
        """Return whether even a cell would harm a speaker: a tweeter, or one that must be protected from low tones."""
        below = getattr(self.job.stages[speaker], "protect_below", None)
        nodes = [node for path in self.chain.wiring.paths if path.speaker == speaker for node in path.nodes]
        return (below is not None and below.known) or is_tweeter(self.job, speaker, nodes)

    def _swaps(self) -> Iterator[Candidate]:
        wiring = self.chain.wiring
        for name, stage in self.job.stages.items():
            if wiring.has_sides(name) and not isinstance(stage, Speaker):
                path = next(p for p in self.paths if any(n.stage == name for n in (*p.upstream, *p.ends)))
                entry = entry_of(SwapTest, {"swap": name, **path.played()})
                yield Candidate(
                    "swap_sides", name, MINUTES["swap_sides"] + self.access(name), entry, (OFF_FIRST, LOUD), path.nodes
                )
        for run, pairs in wiring.leads.items():
            if (
                len(pairs) > 1
                and not wiring.is_digital(run)
                and not isinstance(self.job.stages[run.target], Speaker | HeadUnit)
            ):
                path = next(p for p in self.paths if pairs[0][0] in p.nodes)
                minutes = MINUTES["swap_leads"] + self.access(run.source_stage) + self.access(run.target)
                entry = entry_of(SwapTest, {"swap": str(run), **path.played()})
                yield Candidate("swap_leads", str(run), minutes, entry, (OFF_FIRST, LOUD, AIRBAG_DASH), path.nodes)


def question(entry: Entry, job: Job) -> tuple[Any, ...]:
    """Return what an entry asks, whatever the answer; a lamp or supply of one stage is that of its chassis."""
    if isinstance(entry, Check):
        stage, _, what = entry.check.rpartition(".")
        return ("check", f"{unit_of(job, stage)}.{what}" if what in SHARED else entry.check)
    if isinstance(entry, Reading):
        fed = None if entry.feed is None else entry.feed.into
        played = (entry.tone_hz, entry.level_dbfs, tuple(sorted(entry.set.items())))
        return ("at", entry.at, entry.against, entry.with_, *played, fed)
    if isinstance(entry, HeardSpeaker):
        return ("heard", entry.heard, entry.tone_hz, entry.silence, entry.side)
    return ("swap", entry.swap)
