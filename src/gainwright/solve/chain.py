"""A job compiled once and solved for many draws, settings and tones in one call."""

from __future__ import annotations

import zlib
from collections import ChainMap
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from gainwright import physics
from gainwright.jobfile import facts, settings
from gainwright.model import Amplifier, Converter, HeadUnit, LineDriver, Processor, resolve, supply_path
from gainwright.quantities import draw
from gainwright.solve.alteration import UNALTERED, Alteration
from gainwright.solve.electrics import (
    amplifier_extra_gain,
    amplifier_gain,
    amplifier_rails,
    in_input_range,
    line_gain,
    rating_index,
    response,
    volume_response,
)
from gainwright.solve.impedance_curves import MIDDLE, curve_path, impedance_curves
from gainwright.solve.loads import Loading, lead_names
from gainwright.solve.solution import HARMONICS_KEPT, CellPlace, Solution
from gainwright.solve.sources import PEAK, digital_input_v, levelled, plays_into, source_gain
from gainwright.solve.steady_state import IDLE, Cell, run
from gainwright.solve.supply_drop import supply_shares

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import numpy.typing as npt

    from gainwright.model import AnyStage, Job, Node, Port
    from gainwright.solve.electrics import StageResponse

    Floats = npt.NDArray[np.float64]
    Values = Mapping[str, Any]

CHUNK = 2048
"""Cases solved at a time, so that the working arrays stay in cache and memory doesn't grow with the draws."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """The conditions of a solve.

    Attributes
    ----------
    tone_hz, level_dbfs : scalar or (cases,).
    values : fact path -> scalar or (cases,); missing ones are nominal.
    settings : control path -> scalar or (cases,); missing ones are as in the job.
    unloaded : disconnected speakers.
    probes : node -> input resistance of the instrument there, ohm.
    grounded : nodes at which that instrument is grounded, which halves a balanced output.
    supply : "running" or "resting".
    alter : deviations from the job.
    """

    tone_hz: Any
    level_dbfs: Any
    values: Values | None = None
    settings: Values | None = None
    unloaded: frozenset[str] = frozenset()
    probes: Mapping[Node, float] | None = None
    grounded: frozenset[Node] = frozenset()
    supply: str = "running"
    alter: Alteration = UNALTERED


class Chain:
    """A job's chain, ready to solve.

    Parameters
    ----------
    learned : fact path -> draws used instead of its spread; the same index of all paths belongs to one draw.

    Raises
    ------
    JobError : the wiring can't be resolved.
    """

    def __init__(self, job: Job, *, learned: Mapping[str, Floats] | None = None) -> None:
        self.job = job
        self.learned = dict(learned or {})
        self.wiring = resolve(job)
        self.facts = facts(job, self.wiring)
        self.settings = settings(job)
        self.nodes = self.wiring.nodes
        self.places = self._places()
        self._index = {place.key: i for i, place in enumerate(self.places)}
        self._leads = lead_names(self.wiring)
        self.curves = impedance_curves(job, self.wiring)
        """Speaker -> its impedance over frequency."""

    def nominal(self) -> dict[str, float]:
        """Return every physical number at the middle of its spread."""
        return dict(self._middle)

    @cached_property
    def _middle(self) -> dict[str, float]:
        middle = {path: fact.quantity.nominal for path, fact in self.facts.items()}
        middle |= {curve_path(speaker): MIDDLE for speaker in self.curves}
        return middle | {path: float(np.median(drawn)) for path, drawn in self.learned.items() if path in middle}

    @cached_property
    def _ratings(self) -> dict[str, int]:
        """Return amplifier -> the rating its sensitivity belongs to, with every speaker connected as in the job."""
        loading = Loading(self.wiring, self._middle, probes={})
        return {
            name: rating_index(stage, float(np.squeeze(loading.conductance(self.wiring.outputs(name)[0]))))
            for name, stage in self.job.stages.items()
            if isinstance(stage, Amplifier)
        }

    @cached_property
    def supply_shares(self) -> dict[str, float]:
        """Amplifier -> what the job's cables leave of its supply at its ceiling; 1 for those not in it."""
        return supply_shares(self.job, self.wiring, self._middle)

    def draws(self, *, draws: int, seed: int, quick: bool = False) -> dict[str, Any]:
        """Return every physical number drawn from its spread, shape (draws,) where it has one; `quick` as in `draw`."""
        spread = {path: fact.quantity for path, fact in self.facts.items()}
        drawn = draw(spread, draws=draws, seed=seed, quick=quick)
        found: dict[str, Any] = {path: v if np.ptp(v) > 0 else float(v[0]) for path, v in drawn.items()}
        for speaker in self.curves:
            # a stream of its own, so that the other numbers stay what they were
            rng = np.random.default_rng([seed, zlib.crc32(speaker.encode())])
            found[curve_path(speaker)] = (rng.permutation(draws) + rng.uniform(0.01, 0.99, draws)) / draws
        return found | {path: np.resize(v, draws) for path, v in self.learned.items() if path in found}

    def solve(
        self,
        conditions: Conditions,
        *,
        targets: Iterable[Node] | None = None,
        harmonics: int = HARMONICS_KEPT,
        margins: bool = True,
    ) -> Solution:
        """Solve the nodes of every case: all of them, or those that some targets need.

        `harmonics` of them are kept; margins to ceilings are optional.

        All arrays in the conditions have the same length, the number of cases.
        """
        needed = self.needed(targets, conditions.alter)
        values = {**self.nominal(), **(conditions.values or {})}
        settings_now = {**self.settings, **(conditions.settings or {})}
        arrays = [*values.values(), *settings_now.values(), conditions.tone_hz, conditions.level_dbfs]
        cases = max([1, *(np.size(a) for a in arrays if not isinstance(a, float)), *conditions.alter.sizes()])
        parts = []
        for start in range(0, cases, CHUNK):
            rows = slice(start, min(start + CHUNK, cases))

            def cut(mapping: Values, rows: slice = rows) -> Values:
                if cases <= CHUNK:
                    return mapping
                return {k: v if np.size(v) == 1 else np.asarray(v)[rows] for k, v in mapping.items()}

            now = cut({"tone": conditions.tone_hz, "level": conditions.level_dbfs})
            here = replace(conditions, level_dbfs=now["level"], tone_hz=now["tone"])
            here = here if cases <= CHUNK else replace(here, alter=conditions.alter.cut(rows))
            count = rows.stop - rows.start
            parts.append(self._chunk(count, cut(values), cut(settings_now), now, here, needed, harmonics, margins))
        return Solution.join(parts)

    def needed(self, targets: Iterable[Node] | None, alter: Alteration = UNALTERED) -> frozenset[tuple[str, Any]]:
        """Return the keys of the cells that some nodes depend on; of all cells for None."""
        if targets is None:
            return frozenset(self._index)
        found: set[tuple[str, Any]] = set()
        waiting: list[tuple[str, Any]] = [("output", node) for node in targets]
        while waiting:
            key = waiting.pop()
            if key not in found:
                found.add(key)
                waiting += [self.places[i].key for i, _ in self.sources(key, alter)]
        return frozenset(found)

    def _chunk(
        self,
        cases: int,
        values: Values,
        stand: Values,
        now: Values,
        conditions: Conditions,
        needed: frozenset[tuple[str, Any]],
        harmonics: int,
        margins: bool,
    ) -> Solution:
        loading, cells = self.cells(values, stand, conditions, needed)
        tone_hz = np.atleast_1d(np.asarray(now["tone"], dtype=np.float64))
        peak = np.broadcast_to(10 ** (np.asarray(now["level"], dtype=np.float64) / 20), (cases,))
        states = run(cells, tone_hz=tone_hz, source_peak=peak)
        nodes = tuple(node for node in self.nodes if ("output", node) in needed)
        factors = {node: loading.node_factor(node) for node in nodes}
        return Solution.collect(
            self.wiring,
            self.places,
            cells,
            states,
            factors,
            tone_hz=tone_hz,
            cases=cases,
            harmonics=harmonics,
            margins=margins,
        )

    def cells(
        self, values: Values, stand: Values, conditions: Conditions, needed: frozenset[tuple[str, Any]] | None = None
    ) -> tuple[Loading, list[Cell]]:
        """Return the loading and the cells in the order of `places`, idle where they aren't needed; `values`, `stand` in full."""
        loading = self.loading(values, conditions)
        return loading, [
            self.cell(place, values, stand, loading, conditions) if needed is None or place.key in needed else IDLE
            for place in self.places
        ]

    def loading(self, values: Values, conditions: Conditions) -> Loading:
        """Return what loads the outputs under some conditions; `values` in full."""
        return Loading(
            self.wiring,
            values,
            unloaded=conditions.unloaded,
            probes=conditions.probes or {},
            grounded=conditions.grounded,
            alter=conditions.alter,
            curves=self.curves,
            tone_hz=conditions.tone_hz,
            leads=self._leads,
        )

    def depends_on(self, place: CellPlace, alter: Alteration) -> frozenset[tuple[str, Any]]:
        """Return the keys of cells by whose deviations from the job the numbers of a cell deviate: its own and those of its loads."""
        at: Any = place.at
        vias = self._feeding(at, alter) if place.role == "port" else []
        nodes = {feed.node for via in vias for feed in self.wiring.feeds[via]} if vias else {at}
        pairs = [self.wiring.pair(port) or () for node in nodes for port in self.wiring.ports_fed_by(node)]
        nodes |= {node for pair in pairs for node in pair}
        return frozenset({*(("port", via) for via in vias), *(("output", node) for node in nodes)})

    def _places(self) -> tuple[CellPlace, ...]:
        """Lay out the cells in signal order: ports, what clips inside, outputs."""
        places: list[CellPlace] = []
        for name in self.wiring.order:
            stage = self.job.stages[name]
            places += [CellPlace("port", name, port) for port in self.wiring.ports(name) if self.wiring.outputs(name)]
            for node in self.wiring.outputs(name):
                if _clips_inside(stage):
                    places.append(CellPlace("inside", name, node))
                places.append(CellPlace("output", name, node))
        return tuple(places)

    def sources(self, key: tuple[str, Any], alter: Alteration) -> list[tuple[int, Any]]:
        """Return the cells that feed one, with the shares that don't depend on loading."""
        role, at = key
        if role == "port":
            if at in alter.fed_v:
                return []
            feeds = [(port, feed) for port in self._feeding(at, alter) for feed in self.wiring.feeds[port]]
            return [(self._index["output", feed.node], (port, feed)) for port, feed in feeds]
        if role == "output" and ("inside", at) in self._index:
            return [(self._index["inside", at], 1.0)]
        return self._routed(at, alter)

    def _feeding(self, port: Port, alter: Alteration) -> list[Port]:
        found = [port]
        if port in alter.crossed:
            found.append(_other_side(port))
        return found + [other for at, other in alter.taken if at == port and other not in found]

    def cell(self, place: CellPlace, values: Values, stand: Values, loading: Loading, conditions: Conditions) -> Cell:
        """Return one cell; `values`, `stand` in full."""
        alter = conditions.alter
        if place.role == "port":
            return self._port_cell(place, values, loading, alter)
        node: Node = place.at  # type: ignore[assignment]
        name, stage = place.stage, self.job.stages[place.stage]
        inputs = self.sources(place.key, alter)
        if place.role == "inside":
            ceiling = 1.0 if isinstance(stage, HeadUnit) else PEAK * self._full_scale_v(node, values)
            gain = levelled(name, values, conditions.level_dbfs) if isinstance(stage, HeadUnit) else 1.0
            return Cell(inputs, response(stage, node, values, alter) or None, gain, 0.0, ceiling)
        inside = ("inside", node) in self._index
        soft: Any = False
        either: Any = ChainMap(cast("Any", values), cast("Any", stand))
        shape = None if inside else response(stage, node, either, alter) or None
        if isinstance(stage, HeadUnit):
            gain = source_gain(node, stage, values, stand)
            if node not in self.wiring.digital:
                gain = gain * plays_into(name, values, loading.conductance(node))
            gain = gain if inside else gain * levelled(name, values, conditions.level_dbfs)
            shape = _joined(shape, volume_response(node, stage, values, stand))
            ceiling = PEAK * (1.0 if node in self.wiring.digital else values[f"{name}.output_limit"])
            if f"{name}.factory.limiter_threshold" in values:
                threshold = physics.ratio_from_db(db=values[f"{name}.factory.limiter_threshold"])
                soft, ceiling = threshold < 1.0, ceiling * np.minimum(threshold, 1.0)
        elif isinstance(stage, Amplifier):
            here = in_input_range(name, stage, values, stand)
            gain = amplifier_gain(name, stage, here, stand[f"{name}.gain"], self._ratings[name])
            gain = gain * amplifier_extra_gain(name, stage, stand)
            supply_v = values[supply_path(self.job, name, conditions.supply)]
            if any(port.stage not in conditions.unloaded for port in self.wiring.ports_fed_by(node)):
                supply_v = supply_v * self.supply_shares.get(name, 1.0)
            ceiling = PEAK * amplifier_rails(name, stage, values, loading.rated_siemens(node), supply_v)
        else:
            gain = line_gain(stage, node, values, stand)
            limited = isinstance(stage, Processor | LineDriver | Converter)
            ceiling = PEAK * values[f"{name}.output_limit"] if limited else np.inf
        gain = gain * alter.gain.get(node, 1.0)
        own = 0.0 if node in self.wiring.digital else values[f"{name}.distortion"]
        return Cell(inputs, shape, gain, own, ceiling * alter.ceiling.get(node, 1.0), soft=soft)

    def _full_scale_v(self, node: Node, values: Values) -> Any:
        """Return the input for full scale inside a digital processor, volts rms."""
        ports = [route.port for route in self.wiring.routes[node]]
        if all(self.wiring.is_fed_digitally(port) for port in ports):
            return digital_input_v(node.stage, values)
        return values[f"{node.stage}.input_limit"]

    def _port_cell(self, place: CellPlace, values: Values, loading: Loading, alter: Alteration) -> Cell:
        port: Port = place.at  # type: ignore[assignment]
        limit = values.get(f"{place.stage}.input_limit")
        ceiling = np.inf if limit is None else PEAK * limit
        if port in alter.fed_v:
            return Cell([], None, PEAK * alter.fed_v[port], 0.0, ceiling)
        inputs = []
        digital = self.wiring.is_fed_digitally(port)
        volts = digital_input_v(place.stage, values) if digital else 1.0
        ceiling = PEAK * volts if digital else ceiling
        for i, (via, feed) in self.sources(place.key, alter):
            factor = volts * feed.share * loading.node_factor(feed.node) * loading.port_factor(feed.node, via)
            inputs.append((i, factor * _taken_share(port, via, alter)))
        return Cell(inputs, None, 1.0, 0.0, ceiling)

    def _routed(self, node: Node, alter: Alteration) -> list[tuple[int, Any]]:
        own = [(self._index["port", route.port], route.share) for route in self.wiring.routes[node]]
        if node not in alter.misrouted:
            return own
        share = alter.misrouted[node]
        other = self.wiring.routes[alter.instead[node]] if node in alter.instead else ()
        taken = [(self._index["port", route.port], route.share * share) for route in other]
        return [(i, part * (1 - share)) for i, part in own] + taken


def _other_side(port: Port) -> Port:
    return type(port)(port.stage, port.input, "right" if port.side == "left" else "left")


def _taken_share(port: Port, via: Port, alter: Alteration) -> Any:
    """Return the share of a port's signal that comes by the leads of another port, or of itself."""
    crossed = alter.crossed.get(port, 0.0)
    if via == port:
        return 1 - crossed - sum(share for (at, _), share in alter.taken.items() if at == port)
    return alter.taken.get((port, via), 0.0) + (crossed if via == _other_side(port) else 0.0)


def _joined(first: StageResponse | None, second: StageResponse | None) -> Any:
    """Return the response of both together, None for neither."""
    if first is None or second is None:
        return second if first is None else first
    return lambda hz, rows=slice(None): first(hz, rows) * second(hz, rows)


def _clips_inside(stage: AnyStage) -> bool:
    """Return whether a digital stage can clip internally before its input does: only a boost exceeds full scale."""
    if isinstance(stage, HeadUnit):
        return stage.tone is not None and not stage.tone.flat
    return isinstance(stage, Processor) and stage.digital


def amplifier_ceiling_v(chain: Chain, name: str, values: Values, *, unloaded: bool, supply: str = "running") -> Any:
    """Return an amplifier's ceiling at its terminals, rms of the largest clean sine, for its first output.

    Into speakers of nominal impedance, with the supply that the job's cables leave it at that level.
    """
    stage = chain.job.stages[name]
    assert isinstance(stage, Amplifier)  # noqa: S101  callers pass an amplifier
    node = chain.wiring.outputs(name)[0]
    off = frozenset(port.stage for port in chain.wiring.ports_fed_by(node)) if unloaded else frozenset()
    loading = Loading(chain.wiring, values, unloaded=off, probes={})
    supply_v = values[supply_path(chain.job, name, supply)] * (1.0 if unloaded else chain.supply_shares.get(name, 1.0))
    rails = amplifier_rails(name, stage, values, loading.conductance(node), supply_v)
    return rails * loading.node_factor(node)
