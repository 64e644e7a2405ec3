"""Answers for every entry of the evidence, from the circuit and what a person would see, hear and read of it."""

from __future__ import annotations

import math
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.jobfile import instruments, settings
from gainwright.model import (
    NO_MARK,
    Amplifier,
    HeardSpeaker,
    Indicator,
    Multimeter,
    Reading,
    Recorder,
    SwapTest,
    as_mapping,
)
from third_world.faults import coil_open_factor, comes_and_goes, turned
from third_world.lead_circuit import State
from third_world.people import Person, draw_person
from third_world.world import Waves, World, rms, thd, world_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Check, Entry, Node, Played, Port
    from third_world.car import Car
    from third_world.faults import Fault

NOISE_HZ = {"ground_loop": 100.0, "alternator_whine": 640.0, "source_ground_bad": 640.0}
BASS_HZ = 200.0
"""Below, the sides of a car add in one pressure, or cancel; above, only their powers add."""
NEARER_DB = 4.0
"""By how much one side is louder at a seat, so that a reversed side never cancels wholly."""
MOVES = 0.3
THERE = 0.6
"""How often a fault that comes and goes is there when something is asked."""
LOOKS: dict[str, tuple[str, ...]] = {
    "mute": ("source_muted", "output_muted"),
    "player": ("tone_level_wrong", "player_equaliser_on"),
    "balance": ("balance_over", "fader_over"),
    "switch": ("output_switched_off",),
    "input_mode": ("input_mode_wrong",),
    "leads": ("outputs_crossed",),
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
"""What is looked at -> the faults that are seen there."""


class Oracle:
    """Answers about one car with its faults; the same car without them says what is usual.

    Parameters
    ----------
    quiet : whether instruments and people make no small errors either.
    """

    def __init__(self, car: Car, faults: tuple[Fault, ...], *, quiet: bool = False) -> None:
        self.faulty, self.sound = world_of(car, faults), world_of(car)
        self.world = self.faulty
        self.car, self.job, self.wiring = car, car.job, car.wiring
        self.every, self.faults = faults, faults
        self.instruments = instruments(car.job)
        self.quiet = quiet
        self.person: Person = draw_person(car.rng(31))
        self._stands = settings(car.job) | car.true_gains
        self._turned = {c: at for f in faults for c, at in turned(f, car.job, self._stands).items()}

    def answer(self, entry: Entry) -> dict[str, Any]:
        """Return an entry's mapping with its result.

        Raises
        ------
        LookupError : an entry of a kind that this world can't answer.
        """
        given: Mapping[str, Any] = as_mapping(entry)
        there = not any(comes_and_goes(f) for f in self.every) or self._rng("there", str(given)).random() < THERE
        self.world, self.faults = (self.faulty, self.every) if there else (self.sound, ())
        return self.answered(entry)

    def answered(self, entry: Entry) -> dict[str, Any]:
        """Return an entry's mapping with its result, from the world as it is now."""
        given: Mapping[str, Any] = as_mapping(entry)
        if isinstance(entry, Reading):
            return {**given, **self._reading(entry)}
        if isinstance(entry, HeardSpeaker):
            return {**given, "is": self.word(entry)}
        if isinstance(entry, SwapTest):
            return {**given, "fault": self._swap(entry)}
        return {**given, **self._check(entry)}

    def _rng(self, *what: object) -> np.random.Generator:
        """Return a generator that gives the same errors to the same question."""
        return self.car.rng(zlib.crc32(repr(what).encode()))

    def _state(self, entry: Played, *, side: str = "") -> State:
        feed = getattr(entry, "feed", None)
        return State(
            entry.tone_hz or 1000.0,
            None if entry.tone_hz is None else entry.level_dbfs,
            side or entry.side,
            tuple(sorted(entry.set.items())),
            entry.engine == "on",
            entry.speakers == "on",
            None if feed is None else (feed.into, feed.volts.nominal),
        )

    # ---- read --------------------------------------------------------------------------------------------------

    def _reading(self, entry: Reading) -> dict[str, Any]:
        name = entry.with_ or next(iter(self.instruments))
        instrument, state = self.instruments[name], self._state(entry)
        node = next(n for n in self.wiring.nodes if str(n) == entry.at)
        rng = self._rng("read", entry.at, name, state)
        wave = self.world.waves(state).node[node]
        noise = self.noise_at(node, state)
        broken = {f.cause for f in self.faults if f.where == name}
        if isinstance(instrument, Indicator):
            return {"shows": self._marks(instrument, wave if not broken else 0 * wave, noise, state.tone_hz) or NO_MARK}
        stray = 0.0 if self.quiet else float(np.exp(rng.uniform(np.log(1e-4), np.log(2e-3))))
        if isinstance(self.job.stages[node.stage], Amplifier) and not self.quiet:
            stray *= 3
        if broken:
            stray = 0.0 if "measuring_lead_shorted" in broken else stray
            return {"reads": f"{stray:.3g} V"}
        if isinstance(instrument, Recorder):
            down = instrument.attenuator
            full = instrument.full_scale.nominal * 10 ** ((abs(down.nominal) if down is not None else 0.0) / 20)
            if float(np.max(np.abs(wave))) > math.sqrt(2) * full:
                return {"reads": "over_range"}
            found: dict[str, Any] = {"reads": f"{math.hypot(rms(wave), noise, stray):.4g} V"}
            if rms(wave) > 0.01:
                found["thd"] = f"{100 * math.hypot(thd(wave), 2e-4):.3g} %"
            return found
        assert isinstance(instrument, Multimeter)
        return {"reads": self._meter(instrument, name, wave, math.hypot(noise, stray), state.tone_hz, rng)}

    def _meter(
        self, meter: Multimeter, name: str, wave: Any, beside_v: float, tone_hz: float, rng: np.random.Generator
    ) -> str:
        """Return what a handheld meter shows: its bandwidth, its law, its error, its last digit."""
        lines = np.fft.rfft(wave)
        own = self.car.rng(zlib.crc32(name.encode()))
        if meter.bandwidth is not None:
            corner = meter.bandwidth.nominal * float(own.uniform(6, 15))
            lines = lines / (1 + 1j * np.arange(len(lines)) * tone_hz / corner)
        seen = np.fft.irfft(lines, len(wave))
        volts = rms(seen) if meter.true_rms else float(np.pi / (2 * np.sqrt(2)) * np.mean(np.abs(seen)))
        volts = math.hypot(volts, beside_v)
        accuracy, counts = meter.accuracy, meter.counts or 4000
        top = next((t for t in (counts * 1e-4, counts * 1e-3, counts * 1e-2, counts * 1e-1) if volts < t), counts)
        digit = top / counts
        if not self.quiet and accuracy is not None:
            ratio = getattr(accuracy, "ratio", 0.01) or 0.0
            volts *= 1 + ratio * float(own.uniform(-0.8, 0.8)) + 0.002 * float(rng.normal())
            volts += (getattr(accuracy, "counts", 0) or 0) * digit * float(rng.uniform(-0.5, 0.5))
        return f"{max(round(volts / digit), 0) * digit:.5g} V"

    def _marks(self, indicator: Indicator, wave: Any, noise_v: float, tone_hz: float) -> list[str]:
        lines = np.abs(np.fft.rfft(wave)) / len(wave) * math.sqrt(2)
        tone_v, all_v = float(lines[1]), math.hypot(rms(wave), noise_v)
        lit = []
        for name, mark in indicator.marks.items():
            bent = float(np.sqrt(np.sum(lines[2:40] ** 2))) / max(tone_v, 1e-9) if tone_v > 2e-3 else 0.0
            value = {"level": all_v, "fundamental": tone_v, "thd": bent}[mark.of]
            if mark.tuned is not None and not mark.passes(tone_hz):
                value = 0.0
            lit += [name] if value >= mark.threshold.nominal else []
        return lit

    def noise_at(self, place: Node | tuple[Node, Port], state: State) -> float:
        """Return hum and whine at an output or a loudspeaker, volts rms."""
        total = 0.0
        for fault in self.faults:
            if fault.cause in NOISE_HZ:
                silent = State(
                    NOISE_HZ[fault.cause], None, "both", state.sets, state.running, state.speakers, None, "", noise=True
                )
                waves = self.world.waves(silent)
                total = math.hypot(total, rms(waves.coil[place] if isinstance(place, tuple) else waves.node[place]))
        return total

    # ---- heard -------------------------------------------------------------------------------------------------

    def word(self, entry: HeardSpeaker) -> str:
        """Return what a person calls what comes from a loudspeaker, against how it usually is."""
        state = self._music(entry) if entry.tone_hz is None and not entry.silence else self._state(entry, side="both")
        heard = self.level(self.world, entry.heard, entry.side, state)
        wires = self._wires(entry.heard, entry.side)
        noise = max(self.noise_at(w, state) * self._moves(w[1]) for w in wires)
        if state.level_dbfs is None:
            return self._noise_word() if noise > self.person.noise_v else "silent"
        usual = self.level(self.sound, entry.heard, entry.side, state)
        if noise > self.person.noise_v and 20 * math.log10(noise / max(heard, 1e-4)) > self.person.noise_db:
            return self._noise_word()
        if heard < self.person.silent_v:
            return "silent"
        if 20 * math.log10(heard / max(usual, 1e-6)) < -self.person.faint_db:
            return "faint"
        if entry.tone_hz is None:
            state = self._music(entry, loud=True)
        waves, before = self.world.waves(state), self.sound.waves(state)
        wire = max(wires, key=lambda w: rms(waves.coil[w]))
        bent, usually = thd(waves.coil[wire]), thd(before.coil[wire])
        sides = ("both", entry.side) if entry.side != "both" else ("both", "left", "right", "mono")
        if any(f.cause == "speaker_damaged" and f.where == entry.heard and f.side in sides for f in self.faults):
            return "distorted"
        return "distorted" if bent > max(self.person.distorted, 1.3 * usually) else "normal"

    def _music(self, entry: HeardSpeaker, *, loud: bool = False) -> State:
        """Return ordinary music as an entry has it, softer where it gives a level."""
        sets = tuple(sorted(entry.set.items()))
        state = self.world.music(entry.heard, running=entry.engine == "on", sets=sets, loud=loud)
        softer_db = entry.level_dbfs if entry.level is not None else 0.0
        return replace(state, level_dbfs=(state.level_dbfs or 0.0) + softer_db)

    def _noise_word(self) -> str:
        return "hum" if all(NOISE_HZ.get(f.cause, 0.0) < 200 for f in self.faults) else "whine"

    def _wires(self, speaker: str, side: str) -> list[tuple[Node, Port]]:
        """Return the loudspeaker's terminals of a side."""
        wires = [(self.wiring.feeds[p][0].node, p) for p in self.wiring.ports(speaker)]
        return [w for w in wires if side in ("both", w[1].side) or w[1].side == "mono"]

    def _moves(self, port: Port) -> float:
        """Return what share of its terminals' voltage moves a cone."""
        for fault in self.faults:
            if fault.where == port.stage:
                if fault.cause == "coil_reversed":
                    return fault.amount
                if fault.cause == "coil_open":
                    return 0.0 if math.isinf(coil_open_factor(port, self.job, self.wiring)) else 0.6
                if fault.cause in ("speaker_open", "speaker_shorted") and fault.side in ("both", port.side):
                    return 0.0
        return 1.0

    def level(self, world: World, speaker: str, side: str, state: State) -> float:
        """Return the loudness of a loudspeaker as volts: its sides add as pressures in the bass, as powers above."""
        waves = world.waves(state)
        sides: dict[str, complex] = {}
        for wire in self._wires(speaker, side):
            lines = np.fft.rfft(waves.coil[wire]) / spice_points(waves) * math.sqrt(2)
            share = self._moves(wire[1]) if world is self.world else 1.0
            size = rms(waves.coil[wire]) * share
            sides[str(wire)] = size * np.exp(1j * np.angle(lines[1]))
        each = list(sides.values())
        if len(each) == 1:
            return float(abs(each[0]))
        far = [10 ** (-NEARER_DB / 20) if i else 1.0 for i in range(len(each))]
        if state.tone_hz < BASS_HZ:
            return float(abs(sum(f * v for f, v in zip(far, each, strict=True))) / sum(far))
        powers = sum((f * abs(v)) ** 2 for f, v in zip(far, each, strict=True))
        return float(math.sqrt(powers / sum(f * f for f in far)))

    def _swap(self, entry: SwapTest) -> str:
        before, after = (self._sides_db(entry, swapped) for swapped in ("", entry.swap))
        speaker = max(before, key=lambda s: abs(before[s]), default="")
        if not speaker or abs(before[speaker]) <= self.person.sides_db:
            return "none"
        moved = after[speaker] * before[speaker] < 0 and abs(after[speaker]) > self.person.sides_db
        return "moved" if moved else "stayed"

    def _sides_db(self, entry: SwapTest, swapped: str) -> dict[str, float]:
        plain = self._state(entry, side="both")
        state = State(plain.tone_hz, plain.level_dbfs, "both", plain.sets, plain.running, swapped=swapped)
        stage = entry.swap.rpartition("-")[2].split(".")[0]
        found = {}
        waves = self.world.waves(state)
        for speaker in self.world.speakers():
            before = {n.stage for n in self.wiring.upstream(speaker)} | {speaker}
            sides = {w[1].side: w for w in waves.coil if w[1].stage == speaker}
            if stage in before and {"left", "right"} <= sides.keys():
                left, right = (
                    max(rms(waves.coil[sides[s]]) * self._moves(sides[s][1]), self.person.silent_v / 2)
                    for s in ("left", "right")
                )
                found[speaker] = 20 * math.log10(left / right)
        return found

    # ---- looked at, and measured with the power off ------------------------------------------------------------

    def _check(self, entry: Check) -> dict[str, Any]:
        raise NotImplementedError


def spice_points(waves: Waves) -> int:
    """Return the number of points of a period."""
    return len(next(iter(waves.node.values())))
