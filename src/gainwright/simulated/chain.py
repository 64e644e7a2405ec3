"""The rig's chain in the time domain: sources, loads, filters, ceilings and rails, computed in samples.

It doesn't use the solver: gains, loads and rails are computed independently from the true values, stage by stage.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import (
    Amplifier,
    Converter,
    HeadUnit,
    LevelControl,
    LineDriver,
    Node,
    Port,
    Processor,
    Speaker,
    gives_power,
    resolve,
)
from gainwright.simulated.faults import neighbours
from gainwright.simulated.filters import filter_on, filter_period
from gainwright.simulated.frequency_response import response_sections
from gainwright.simulated.line_levels import (
    against_engine,
    dithered,
    driver_turned_db,
    hum,
    level,
    levelling,
    limited,
    moved_by_volume,
    processor_gain,
    side_share,
    source_gain,
    source_peak_v,
    units,
)
from gainwright.simulated.loads import OPEN_OHM, SimulatedLoads
from gainwright.simulated.rating import CLIPPED_TO_ONE_PERCENT, declared_ohm
from gainwright.simulated.units import SimulatedUnits

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import numpy.typing as npt

    from gainwright.model import Job
    from gainwright.simulated.faults import Fault

    Floats = npt.NDArray[np.float64]

INNER_RATE_HZ = 768_000.0
"""Sixteen times 48 kHz: aliases of clipping products lie at least 60 dB below the first harmonics."""
CROSS_COUPLING = ("leads_swapped", "output_misrouted", "outputs_crossed")
"""Causes by which a place receives signal from nodes that aren't upstream of it."""


KeptWaves = dict[tuple[Node, bool, frozenset[str]], tuple[tuple[float, ...], "Floats"]]
"""Node, whether speakers load it, what has switched itself off -> the settings it depends on, and its period."""


class SimulatedChain(SimulatedLoads, SimulatedUnits):
    """A chain with true values and faults, which gives the rig its waveforms.

    Parameters
    ----------
    job : with the present settings of its controls.
    truth : fact path -> true value.
    settings : present values of the numeric controls.
    faults : faults of the chain.
    off : disconnected speakers.
    probe : node and input resistance of the instrument connected there.
    grounded : whether that instrument is grounded.
    supply : state of the supply, running or resting.
    engine : whether the engine idles.
    fed : stage -> volts rms that an external source feeds into it.
    swapped : stage or lead whose two sides are exchanged.
    there : whether a fault that comes and goes is there now.
    limiting : amplifiers and chassis that limit their current into a short; the others switch off.
    kept : periods and the settings that they depend on, of chains that differ in settings and probe only.
    """

    def __init__(
        self,
        job: Job,
        truth: dict[str, float],
        settings: dict[str, float],
        faults: tuple[Fault, ...],
        *,
        off: frozenset[str] = frozenset(),
        probe: tuple[Node, float] | None = None,
        grounded: bool = False,
        supply: str = "running",
        engine: bool = True,
        sides: str = "both",
        fed: Mapping[str, float] | None = None,
        swapped: str = "",
        limiting: frozenset[str] = frozenset(),
        kept: KeptWaves | None = None,
        there: bool = True,
    ) -> None:
        self.job = job
        self.wiring = resolve(job)
        self.truth = truth
        self.settings = settings
        self.faults = faults
        self.off = off
        self.probe = probe
        self.grounded = grounded
        self.supply = supply
        self.engine = engine
        self.sides = sides
        self.fed = fed or {}
        self.swapped = swapped
        self.limiting = limiting
        self.kept = kept
        self.there = there
        self.switched_off: frozenset[str] = frozenset()

    def fault(self, cause: str, *wheres: str) -> Fault | None:
        """Return the fault of a cause at one of several names of a place."""
        for fault in self.faults:
            if fault.cause == cause and fault.where in wheres:
                return fault
        return None

    # Amplifiers

    def rated(self, name: str, stage: Amplifier, node: Node) -> tuple[float, float]:
        """Return power, W, and load, ohm, of the rating that the sensitivity belongs to: nearest to the job's speakers."""
        fed = [(self.job.stages[port.stage], port) for port in self.wiring.ports_fed_by(node)]
        siemens = sum(
            (1 if self.wiring.pair(port) is None else 2) / declared_ohm(s) for s, port in fed if isinstance(s, Speaker)
        )
        pairs = [(self.truth[f"{name}.power.{i}"], r.load.nominal) for i, r in enumerate(stage.power)]
        if siemens == 0:
            return max(pairs, key=lambda pair: pair[1])
        return min(pairs, key=lambda pair: abs(math.log(pair[1] * siemens)))

    def amplifier_gain(self, name: str, stage: Amplifier, node: Node) -> float:
        """Return volts out per volt in, before the output impedance."""
        place = self.settings[f"{name}.gain"]
        for cause in ("gain_low", "gain_high"):
            turned = self.fault(cause, name)
            place = turned.size if turned else place
        if self.fault("gain_muted", name) or self.fault("side_dead", str(node)):
            return 0.0
        if place <= 0.02 and self.truth[f"{name}.gain.mutes"] > 0.5:
            return 0.0
        power, load = self.rated(name, stage, node)
        turned_by = place + 4 * place * (1 - place) * self.truth[f"{name}.gain.bend"]
        turned_by = min(max(turned_by, 0.0), 1.0)
        ends_db = [20 * math.log10(self.truth[f"{self.sensitivity(name, stage)}.{end}"]) for end in ("down", "up")]
        needed_v = 10 ** ((ends_db[0] + turned_by * (ends_db[1] - ends_db[0])) / 20)
        mode = self.fault("input_mode_wrong", name)
        needed_v *= 10 ** (mode.size / 20) if mode else 1.0
        rated_v = math.sqrt(power * load) * (1 + self.truth[f"{name}.output_impedance"] / load)
        return rated_v / needed_v

    def rails_peak_v(self, name: str, stage: Amplifier, real: float) -> float:
        """Return the peak voltage at which an amplifier's output clips into a load, before its output impedance."""
        zout = self.truth[f"{name}.output_impedance"]
        rated = []
        for i, rating in enumerate(stage.power):
            load = rating.load.nominal
            volts = math.sqrt(self.truth[f"{name}.power.{i}"] * load) * 10 ** (self.truth[f"{name}.headroom"] / 20)
            rated.append((load, volts * (1 + zout / load) / CLIPPED_TO_ONE_PERCENT))
        rated.sort()
        if real <= rated[0][0]:
            rms = rated[0][1] / (rated[0][0] + zout) * (real + zout)
        else:
            siemens = [1 / load for load, _ in rated][::-1]
            rms = float(np.interp(1 / real, siemens, [v for _, v in rated][::-1]))
        if not stage.regulated:
            rms *= self.supply_v(name) / self.truth[f"{name}.rated_at"]
        return rms * math.sqrt(2)

    # Waves

    def periods(self, targets: Iterable[Node], tone_hz: float, level_dbfs: float) -> tuple[dict[Node, Floats], float]:
        """Return one period of the voltage at nodes (and at all upstream of them), and its sampling rate."""
        count = max(256, 2 ** math.ceil(math.log2(INNER_RATE_HZ / tone_hz)))
        rate_hz = count * tone_hz
        wrong = next((f for f in self.faults if f.cause == "tone_level_wrong"), None)
        level = level_dbfs - (wrong.size if wrong else 0.0)
        source = 10 ** (level / 20) * np.sin(2 * np.pi * np.arange(count) / count)

        def shaped(node: Node, wave: Floats) -> Floats:
            found = self._sections(node, rate_hz, tone_hz)
            return wave if found is None else filter_period(found, wave)

        power = self.power_nodes(targets := list(targets))
        if power:
            self.switched_off = frozenset()
            found = self._through(power, source, shaped, clip=True, rate_hz=rate_hz, loaded=False)
            self.switched_off = self.overloaded({node: float(np.max(np.abs(found[node]))) for node in power})
        return self._through(targets, source, shaped, clip=True, rate_hz=rate_hz), rate_hz

    def floor(self, target: Node, count: int, rate_hz: float, rng: np.random.Generator) -> Floats:
        """Return a signal of noise (and hum, if that is the fault) at a node, without clipping."""

        def shaped(node: Node, wave: Floats) -> Floats:
            found = self._sections(node, rate_hz, 1000.0)
            return wave if found is None else filter_on(found, wave)

        return self._through([target], np.zeros(count), shaped, clip=False, rate_hz=rate_hz, rng=rng)[target]

    def _sections(self, node: Node, rate_hz: float, tone_hz: float) -> Floats | None:
        stage = self.job.stages[node.stage]
        truth = self.truth
        if isinstance(stage, Amplifier) and stage.remote_level is not None:
            truth = truth | {f"{node.stage}.remote_level": self.settings[f"{node.stage}.remote_level"]}
        return response_sections(node, stage, truth, self.fault, rate_hz=rate_hz, tone_hz=tone_hz)

    def _through(
        self,
        targets: Iterable[Node],
        source: Floats,
        shaped: Any,
        *,
        clip: bool,
        rate_hz: float,
        rng: np.random.Generator | None = None,
        loaded: bool = True,
    ) -> dict[Node, Floats]:
        """Return a wave at nodes, computed from the source stage by stage; outputs for speakers alone if not `loaded`."""
        at: dict[Node, Floats] = {}
        self._count = len(source)
        needed = {node for target in targets for node in (*self.wiring.upstream(target.stage), target)}
        if self.swapped or any(f.cause in CROSS_COUPLING for f in self.faults):
            needed = set(self.wiring.nodes)
        keeps = self.kept if clip else None
        for node in self.wiring.nodes:
            if node in needed:
                key = node, loaded, self.switched_off
                known = None if keeps is None or self._probed(node) else keeps.get(key)
                if known is not None and known[0] == self._settings_before(node):
                    at[node] = known[1]
                    continue
                emf = self._emf(node, at, source, shaped, clip, rate_hz, loaded=loaded)
                if rng is not None and node in self.wiring.digital:
                    emf = dithered(emf, rng)
                elif rng is not None:
                    emf = emf + against_engine(self, node.stage, len(emf), rate_hz)
                    spread = math.sqrt(rate_hz / 2 / (20_000 - 20))
                    emf = emf + rng.normal(0, self.truth[f"{node.stage}.output_noise"] * spread, len(emf))
                alone = not loaded and gives_power(self.job.stages[node.stage])
                at[node] = emf * (1.0 if alone else self.at_node(node))
                if keeps is not None and not self._probed(node):
                    keeps[key] = (self._settings_before(node), at[node])
        return at

    def _settings_before(self, node: Node) -> tuple[float, ...]:
        """Return the settings of a node's stage and of those before it."""
        stages = {node.stage, *(n.stage for n in self.wiring.upstream(node.stage))}
        return tuple(value for key, value in self.settings.items() if key.split(".", 1)[0] in stages)

    def _probed(self, node: Node) -> bool:
        return self.probe is not None and self.probe[0] == node

    def _arriving(self, port: Port, at: dict[Node, Floats], rate_hz: float, running: bool) -> Floats:
        if port.stage in self.fed:
            sine = np.sin(2 * np.pi * np.arange(self._count) / self._count)
            return sine * (0.0 if running else math.sqrt(2) * self.fed[port.stage])
        feeds = self.wiring.feeds[port]
        crossed = [f for f in self.faults if f.cause == "outputs_crossed"]
        if crossed and (taken := self._from_the_other(crossed[0].where, port, at)) is not None:
            return np.asarray(taken if running else taken - np.mean(taken))
        exchanged = (self.fault("leads_swapped", port.stage) is not None) != (self.swapped == port.stage)
        if exchanged and port.side in ("left", "right"):
            other = "right" if port.side == "left" else "left"
            feeds = self.wiring.feeds[Port(port.stage, port.input, other)]
            pairs = [(f, Port(port.stage, port.input, other)) for f in feeds]
        else:
            pairs = [(f, port) for f in feeds]
        total: Any = 0.0
        for feed, via in pairs:
            wave = feed.share * at[feed.node] * self.at_port(feed.node, via)
            if running:
                wave = wave + hum(self, self.lead_names[feed.node, via][0], len(wave), rate_hz)
            total = total + wave
        # Inputs are AC-coupled.
        return np.asarray(total if running else total - np.mean(total))

    def _from_the_other(self, where: str, port: Port, at: dict[Node, Floats]) -> Floats | None:
        """Return what reaches a port whose lead is plugged into the neighbouring output; None for a port that isn't concerned."""
        name, _, first = where.rpartition(".")
        second = neighbours(self.wiring, name)[first]
        for feed in self.wiring.feeds[port]:
            if feed.node.stage == name and feed.node.output in (first, second):
                other = second if feed.node.output == first else first
                nodes = [n for n in self.wiring.outputs(name) if n.output == other]
                node = next((n for n in nodes if n.side == port.side), nodes[0])
                return at[node] * self.at_port(node, self.wiring.ports_fed_by(node)[0])
        return None

    def _emf(
        self,
        node: Node,
        at: dict[Node, Floats],
        source: Floats,
        shaped: Any,
        clip: bool,
        rate_hz: float,
        *,
        loaded: bool = True,
    ) -> Floats:
        name, stage = node.stage, self.job.stages[node.stage]

        def cut(wave: Floats, peak: float) -> Floats:
            return np.clip(wave, -peak, peak) if clip else wave

        if isinstance(stage, HeadUnit):
            off = gives_power(stage) and name in self.switched_off
            return self._source_emf(node, stage, source * (0.0 if off else 1.0), shaped, clip, rate_hz)
        limit = self.truth.get(f"{name}.input_limit")
        total = np.zeros_like(source)
        for route in self._routes(node, stage):
            wave = self._arriving(route.port, at, rate_hz, not clip)
            if self.wiring.is_fed_digitally(route.port):
                total = total + route.share * wave * units(self, name)
                continue
            total = total + route.share * (wave if limit is None else cut(wave, limit * math.sqrt(2)))
        off = self.off_by_fault(name) or (clip and self.not_woken(name, stage, total))
        wave = np.zeros_like(total) if off else shaped(node, total)
        if isinstance(stage, Processor):
            if stage.digital:
                wave = cut(wave, (units(self, name) if limit is None else limit) * math.sqrt(2))
            wave = wave * processor_gain(self, node, stage)
            return cut(self._distorted(name, wave), self.truth[f"{name}.output_limit"] * math.sqrt(2))
        if isinstance(stage, Amplifier):
            wave = self._distorted(name, wave * self.amplifier_gain(name, stage, node) * self.remote_gain(name, stage))
            return cut(wave, self.rails_peak_v(name, stage, self.load_ohm(node) if loaded else OPEN_OHM))
        if isinstance(stage, LevelControl):
            return self._distorted(name, wave * level(self, name, stage))
        gain_db = self.truth[f"{name}.gain" if isinstance(stage, LineDriver) else f"{name}.ratio"]
        gain_db += driver_turned_db(self, name, stage)
        assert isinstance(stage, LineDriver | Converter)  # noqa: S101  the kinds are closed
        return cut(
            self._distorted(name, wave * 10 ** (gain_db / 20)), self.truth[f"{name}.output_limit"] * math.sqrt(2)
        )

    def _source_emf(
        self, node: Node, stage: HeadUnit, source: Floats, shaped: Any, clip: bool, rate_hz: float
    ) -> Floats:
        """Return the EMF of a source's output: levelling, tone controls, full scale, volume, and its ceiling."""
        name, full = node.stage, 1.0 if clip else math.inf
        wave = shaped(node, source * levelling(self, name, source) * side_share(self, node))
        wave = np.clip(wave, -full, full)
        moved = moved_by_volume(self, node, stage, rate_hz)
        if moved is not None:
            wave = filter_period(moved, wave) if clip else filter_on(moved, wave)
        wave = wave * source_gain(self, node, stage)
        if node in self.wiring.digital:
            return np.asarray(math.sqrt(2) * np.clip(wave, -full, full))
        detects = stage.factory.load_detection == "yes"
        if detects and self.load_ohm(node) > self.truth[f"{name}.factory.needs_load"]:
            return np.zeros_like(source)
        wave, peak = self._distorted(name, wave), source_peak_v(self, node)
        return np.clip(limited(self, name, wave, peak), -peak, peak) if clip else wave

    def _distorted(self, name: str, wave: Floats) -> Floats:
        """Add the stage's own distortion: Chebyshev polynomials of the normalised wave give 2nd and 3rd harmonic."""
        swing = float(np.max(np.abs(wave)))
        share = self.truth[f"{name}.distortion"]
        if swing == 0 or share == 0:
            return wave
        x = wave / swing
        square = x * x
        return np.asarray(wave + swing * share * (0.6 * (2 * square - 1) + 0.8 * x * (4 * square - 3)))

    def _routes(self, node: Node, stage: Any) -> Any:
        if isinstance(stage, Processor) and self.fault("output_misrouted", f"{node.stage}.{node.output}"):
            others = [n for n in self.wiring.outputs(node.stage) if n.output != node.output]
            different = [n for n in others if self.wiring.routes[n] != self.wiring.routes[node]]
            return self.wiring.routes[different[0]] if different else ()
        return self.wiring.routes[node]
