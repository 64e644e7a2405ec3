"""Inspection of the rig: what can be seen and heard, and measured with the power off."""

from __future__ import annotations

import math
import zlib
from copy import copy
from typing import TYPE_CHECKING, Self

import numpy as np

from gainwright.errors import CallError
from gainwright.jobfile import DC_SHARES
from gainwright.model import Amplifier, Powered, Speaker, link_place, stages_of, unit_of
from gainwright.simulated.chain import SimulatedChain
from gainwright.simulated.loads import OPEN_OHM

if TYPE_CHECKING:
    import numpy.typing as npt

    from gainwright.model import Job, Node, Port
    from gainwright.simulated.faults import Fault

    Floats = npt.NDArray[np.float64]

BASS_HZ, NEARER_DB = 200.0, 4.0
FAINT = 10 ** (-10 / 20)
"""Share of the usual volts below which somebody calls a speaker faint: half as loud."""
VISIBLE_FAULTS = {
    "mute": ("source_muted", "output_muted"),
    "player": ("tone_level_wrong", "player_equaliser_on"),
    "balance": ("balance_over", "fader_over"),
    "switch": ("output_switched_off",),
    "leads": ("outputs_crossed",),
    "input_mode": ("input_mode_wrong",),
    "level": ("level_control_down",),
    "at": ("level_control_down",),
    "volume": ("level_control_down",),
    "remote_level": ("level_control_down",),
    "input_range": ("input_range_wrong",),
    "gain": ("gain_muted", "gain_low", "gain_high", "level_control_down"),
    "low_pass": ("low_pass_in_the_way",),
    "high_pass": ("high_pass_in_the_way",),
    "boost": ("boost_on",),
    "equaliser": ("boost_on",),
    "routing": ("output_misrouted",),
    "inputs": ("leads_swapped",),
}
"""Inspected control -> faults that are visible there."""


class Inspection:
    """The part of the rig that is seen, heard or measured without reading a tone."""

    job: Job
    truth: dict[str, float]
    faults: tuple[Fault, ...]
    off: frozenset[str]
    seed: int
    _rng: np.random.Generator
    _tone: tuple[float, float]
    there: bool

    def _chain(self, probe: tuple[Node, float] | None = None) -> SimulatedChain:
        raise NotImplementedError

    def period(self, node: str, *, probe_ohm: float | None = None) -> tuple[Floats, float]:
        """Return one period of the voltage at a node; see the rig."""
        raise NotImplementedError

    def lead_resistance(self, lead: str) -> float:
        """Return the end-to-end resistance of one conductor of a lead, of the worse side, ohm; infinite if open."""
        chain = self._chain()
        found = [chain.lead_ohm(*wire) for wire, names in chain.lead_names.items() if lead in names]
        if not found:
            raise CallError(f"there is no lead {lead}", code="unknown_lead")
        return math.inf if max(found) >= OPEN_OHM else max(found) / 2

    def between_conductors(self, lead: str) -> float:
        """Return the resistance between the conductors of an unplugged lead, of the worse side, ohm."""
        chain = self._chain()
        named = [names for names in chain.lead_names.values() if lead in names]
        shorts = [fault for names in named if (fault := chain.fault("lead_shorted", *names))]
        return min((short.size for short in shorts), default=math.inf)

    def supply_voltage(self, amplifier: str) -> float:
        """Return the DC voltage at the supply terminals of an amplifier or a chassis."""
        chain = self._chain()
        member = _member(self.job, amplifier)
        return (
            0.0
            if chain.fault("amplifier_no_supply", unit_of(self.job, amplifier)) or chain.shared_dead(member) == "supply"
            else chain.supply_read_v(member, self._drawn(amplifier))
        )

    def _drawn(self, amplifier: str) -> float:
        """Return the current that an amplifier or a chassis draws with the tone that is played, over that of its full power.

        It goes with the output voltage, as in class B.
        """
        chain, shares = self._chain(), [0.0]
        for name in stages_of(self.job, amplifier):
            stage = self.job.stages[name]
            if isinstance(stage, Amplifier):
                nodes = list(chain.wiring.outputs(name))
                waves, _ = chain.periods(nodes, *self._tone)
                for node in nodes:
                    power, load = chain.rated(name, stage, node)
                    shares.append(float(np.std(waves[node])) / math.sqrt(power * load))
        return max(shares)

    def turn_on_voltage(self, amplifier: str) -> float:
        """Return the DC voltage at the turn-on terminal of an amplifier or a chassis."""
        chain = self._chain()
        dead = chain.fault("amplifier_no_turn_on", unit_of(self.job, amplifier)) is not None
        dead = dead or chain.shared_dead(_member(self.job, amplifier)) != ""
        return 0.0 if dead else self.truth[f"vehicle.{chain.supply}"] - 0.3

    def lamps(self, amplifier: str) -> tuple[bool, bool]:
        """Return whether the power and protection lamps of an amplifier or a chassis are lit."""
        chain, unit = self._chain(), unit_of(self.job, amplifier)
        dead = any(chain.fault(cause, unit) for cause in ("amplifier_no_supply", "amplifier_no_turn_on"))
        dead = dead or chain.fault("box_no_power", amplifier) is not None
        dead = dead or chain.shared_dead(_member(self.job, amplifier)) != ""
        woken = any(self._woken(name) for name in stages_of(self.job, unit))
        return woken and not dead, self._protects(unit)

    def _protects(self, unit: str) -> bool:
        chain = self._chain()
        hot = self.there and chain.fault("amplifier_hot", unit) is not None
        return hot or unit in self._switched_off() or chain.fault("amplifier_protecting", unit) is not None

    def _switched_off(self) -> frozenset[str]:
        """Return the amplifiers and chassis that switch themselves off into their load with the tone that is played."""
        chain = self._chain()
        chain.periods(chain.power_nodes(chain.wiring.nodes), *self._tone)
        return chain.switched_off

    def _woken(self, name: str) -> bool:
        """Return whether the tone that is played turns a stage on, if it is a signal that does."""
        stage = self.job.stages[name]
        if not isinstance(stage, Powered) or stage.turn_on != "signal":
            return True
        chain = self._chain()
        feeds = [(feed.node, port) for port in chain.wiring.ports(name) for feed in chain.wiring.feeds[port]]
        volts = [math.sqrt(float(np.mean(self.period(str(n))[0] ** 2))) * abs(chain.at_port(n, p)) for n, p in feeds]
        return max(volts) >= self.truth[f"{name}.turn_on_level"]

    def speaker_resistance(self, speaker: str, side: str = "both") -> float:
        """Return the DC resistance of a speaker through its lead, ohm, of the more unusual side."""
        chain = self._chain()
        found = []
        for node, port in self._wires(chain, speaker, side):
            lead = chain.lead_ohm(node, port)
            short = chain.fault("lead_shorted", *chain.lead_names[node, port])
            coil = self._dc_share(speaker) * chain.input_ohm(port)
            before = (short.along if short else 1.0) * lead
            behind = lead - before + coil
            ohm = before + (1 / (1 / short.size + 1 / behind) if short else behind)
            found.append(math.inf if ohm >= 0.5 * OPEN_OHM else ohm)
        usual = self._dc_share(speaker) * self.truth[f"{speaker}.impedance"]
        return max(found, key=lambda ohm: abs(math.log(min(ohm, 1e12) / usual)))

    def _dc_share(self, speaker: str) -> float:
        """Return a speaker's DC resistance over its impedance."""
        re_ohm = self.truth.get(f"{speaker}.re")
        if re_ohm is not None:
            return re_ohm / self.truth[f"{speaker}.impedance"]
        # a coil of its own for each speaker and rig, without a draw that would shift the rig's other numbers
        chance = np.random.default_rng([self.seed, zlib.crc32(speaker.encode())]).random()
        low, middle, high = DC_SHARES
        return float(np.interp(chance, [0.0, 0.05, 0.5, 0.95, 1.0], [0.95 * low, low, middle, high, 1.03 * high]))

    def _wires(self, chain: SimulatedChain, speaker: str, side: str) -> list[tuple[Node, Port]]:
        ports = [port for port in chain.wiring.ports(speaker) if side in ("both", port.side) or port.side == "mono"]
        return [(feed.node, port) for port in ports for feed in chain.wiring.feeds[port]]

    def cone(self, speaker: str, side: str = "both") -> str:
        """Return how a cone moves with a small battery at the amplifier's end of its lead: out, in, still.

        If two sides differ, the abnormal one is returned.
        """
        chain = self._chain()
        stage = self.job.stages[speaker]
        found = []
        for node, port in self._wires(chain, speaker, side):
            moves = chain.at_port(node, port)
            if chain.input_ohm(port) >= OPEN_OHM or chain.at_side("speaker_shorted", port):
                moves = 0.0
            if chain.fault("coil_reversed", speaker):
                apart = isinstance(stage, Speaker) and stage.coils is not None and stage.coils.wiring == "separate"
                moves = -moves if apart else 0.0
            found.append("still" if abs(moves) < 0.01 else "out" if moves > 0 else "in")
        return next((word for word in ("still", "in") if word in found), "out")

    def looks_right(self, place: str) -> bool:
        """Return whether a control (`amp.gain`), a routing or the inputs of a stage look as the job has them."""
        where, _, what = place.rpartition(".")
        if what == "link":
            runs = [run for run in self._chain().wiring.leads if link_place(run) == place]
            return not any(f.cause == "lead_open" and f.where in map(str, runs) for f in self.faults)
        if what == "settings":
            seen = {cause for key, causes in VISIBLE_FAULTS.items() if key != "inputs" for cause in causes}
            return not any(f.cause in seen and f.where.split(".")[0] == where for f in self.faults)
        causes = VISIBLE_FAULTS.get(what, ())
        wheres = {where, where.removesuffix(".out")}
        return not any(f.cause in causes and f.where in wheres for f in self.faults)

    def listen(self, speaker: str, side: str = "both") -> str:
        """Return how the louder side of a speaker sounds: silent, faint, normal, distorted, hum, whine.

        In the bass both sides are heard together: their pressures add at the seat, one of them nearer by 4 dB.
        """
        chain = self._chain()
        wires = self._wires(chain, speaker, side)
        if len(wires) == 2 and self._tone[0] < BASS_HZ and chain.wiring.pair(wires[0][1]) is None:
            return self._heard_together(wires)
        words = [
            self._heard(node, port, chain.wiring.pair(port))
            for node, port in self._wires(chain, speaker, side)
            if (pair := chain.wiring.pair(port)) is None or node == pair[0]
        ]
        order = ("whine", "hum", "distorted", "normal", "faint", "silent")
        return min(words, key=order.index)

    def _heard_together(self, wires: list[tuple[Node, Port]]) -> str:
        near = 10 ** (NEARER_DB / 20)
        weights = (near / (1 + near), 1 / (1 + near))

        def together(rig: Inspection) -> tuple[Floats, float]:
            parts = [rig._at_cone(node, port) for node, port in wires]
            period = sum(weight * wave for weight, (wave, _) in zip(weights, parts, strict=True))
            return np.asarray(period), max(floor for _, floor in parts)

        rough = self._chain().fault("speaker_damaged", wires[0][1].stage) is not None
        return self._word(*together(self), usual=together(self._sound())[0], rough=rough)

    def _heard(self, node: Node, port: Port, pair: tuple[Node, Node] | None = None) -> str:
        """Return how a speaker sounds on one port; between a strapped pair it gets the difference of two outputs."""
        rough = self._chain().fault("speaker_damaged", port.stage) is not None
        usual = self._sound()._at_cone(node, port, pair)[0]
        return self._word(*self._at_cone(node, port, pair), usual=usual, rough=rough)

    def _sound(self) -> Self:
        """Return the same rig without its faults."""
        sound = copy(self)
        sound.faults, sound.off, sound._rng = (), frozenset(), np.random.default_rng(self.seed)
        return sound

    def _at_cone(self, node: Node, port: Port, pair: tuple[Node, Node] | None = None) -> tuple[Floats, float]:
        """Return one period of what moves a cone, and the rms of noise with it, in volts; both 0 if it can't move."""
        chain = self._chain()
        ends = pair or (node,)
        still = port.stage in self.off or chain.input_ohm(port) >= OPEN_OHM
        still = still or chain.at_side("speaker_shorted", port) is not None
        if still or any(chain.lead_ohm(end, port) >= OPEN_OHM for end in ends):
            return np.zeros_like(self.period(str(node))[0]), 0.0
        coils = chain.moving_share(port)
        share = abs(chain.at_port(node, port)) * coils
        period = self.period(str(node))[0] * chain.at_port(node, port) * coils
        if pair is not None:
            period = period - self.period(str(pair[1]))[0] * chain.at_port(pair[1], port) * coils
        return period, float(np.std(chain.floor(node, 9600, 48_000.0, self._rng)[2400:])) * share

    def _word(self, period: Floats, floor: float, *, usual: Floats, rough: bool = False) -> str:
        """Return the word for a tone with noise, against how it usually is, from a speaker that may be damaged."""
        rms = math.sqrt(float(np.mean(period**2)))
        if floor > 0.03 and floor > 0.05 * rms:
            whining = any(f.cause in ("alternator_whine", "source_ground_bad") for f in self.faults)
            return "whine" if whining else "hum"
        if rms < 0.02:
            return "silent"
        if rms < FAINT * math.sqrt(float(np.mean(usual**2))):
            return "faint"
        lines = np.abs(np.fft.rfft(period))
        thd = math.sqrt(float(np.sum(lines[2:] ** 2))) / float(lines[1])
        return "distorted" if rough or thd > 0.05 else "normal"


def _member(job: Job, unit: str) -> str:
    return stages_of(job, unit)[0]
