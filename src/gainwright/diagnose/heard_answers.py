"""What is heard from a speaker under each hypothesis: the tone, its distortion, hum and whine.

Probabilities have shape (answers, hypotheses, draws or 1). Thresholds and shares are common practice, no published source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np

from gainwright.diagnose.ensemble import Stimulus
from gainwright.diagnose.observer import normal_cdf
from gainwright.diagnose.played_paths import BELOW_SET_UP_DB, played_paths
from gainwright.diagnose.unit_answers import LEAD_OPEN_OHM, Answers, UnitAnswers
from gainwright.model import HeadUnit
from gainwright.solve import Alteration, Conditions

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

    from gainwright.diagnose.change import Change
    from gainwright.diagnose.kept_answers import KeptAnswers
    from gainwright.model import Node, Played, Port
    from gainwright.solve import Chain, Wire

    Floats = npt.NDArray[np.float64]

AUDIBLE_V = 0.02
"""Volts at a speaker below which it is silent."""
FAINT_DB = 9.5
"""By how much quieter than usual a speaker is called faint: twice as quiet, about; people differ by 2 dB (practice)."""
HEARD_EDGE_DB, FAINT_EDGE_DB = 3.0, 2.0
HEARD_THD = 0.05
HUM_HEARD_V, HUM_BESIDE = 0.03, 0.05
HUM_HZ, WHINE_HZ = 100.0, 700.0
ENGINE_HZ = 40.0
"""Within what noise cancelling plays against an idling engine (common practice, no published source)."""
WORDS = ("silent", "faint", "normal", "distorted", "hum", "whine")
BASS_HZ = 200.0
"""Below, a car is small against the wavelength, and the sides add as pressures (common practice; 1.7 m at 200 Hz)."""
MUSIC_SHARE = 0.5
"""Share of a speaker's band, in octaves about its middle, in which the weight of a piece of music lies (practice)."""
NEARER_DB = (2.0, 8.0)
"""By how much one side is louder at a seat (common practice, no published source)."""
MORE_BENT = 1.3
"""Ratio of distortions from which music that is known is called distorted (common practice, no published source)."""
MISHEARD = 0.04
"""How often somebody takes one speaker's sound for a neighbouring word, each time the same."""
MISHEARD_MUSIC = 0.01
"""The same of music that somebody knows in this car."""
SLIP, SLIP_MUSIC = 0.01, 0.003
"""How often a word is wrong by itself; the same of music that somebody knows, which is why they ask."""
_GAINS: WeakKeyDictionary[Chain, dict[tuple[str, Node, float], float]] = WeakKeyDictionary()
"""Gains from leads to nodes of chains in use: they don't depend on the hypotheses."""
_TURNED_UP: WeakKeyDictionary[Chain, dict[str, float]] = WeakKeyDictionary()
"""How much louder sources of chains in use play at a speaker than at their assumed volume, dB."""
TAKEN_FOR = {
    "silent": ("faint",),
    "faint": ("silent", "normal"),
    "normal": ("faint", "distorted"),
    "distorted": ("normal", "hum"),
    "hum": ("whine", "distorted"),
    "whine": ("hum", "normal"),
}
"""Word -> the words that it may be mistaken for; any other is a slip (common practice, no published source)."""


class HeardAnswers(UnitAnswers):
    """The part of the answers that is heard."""

    leads: dict[str, tuple[Wire, ...]]
    lead_ohm: dict[Wire, float]
    _speakers: dict[str, list[Wire]]
    _about: dict[Wire | Port, list[int]]
    _kept: KeptAnswers
    _usual: dict[str, tuple[float, float, float]]
    _whole: tuple[HeardAnswers, npt.NDArray[np.intp]] | None
    _drawn: dict[tuple[object, ...], Floats]

    def _affecting(self, pairs: Sequence[Wire]) -> list[int]:
        """Return the hypotheses that affect leads or the ports at their ends."""
        return sorted({i for wire in pairs for place in (wire, wire[1]) for i in self._about.get(place, ())})

    def heard(
        self,
        speaker: str,
        stimulus: Stimulus | None,
        *,
        side: str = "both",
        running: bool = True,
        familiar: bool = False,
    ) -> Answers:
        """Return the probability of each of `WORDS` for a speaker, by somebody who hears well; see `as_told`.

        Parameters
        ----------
        familiar : whether it is music as always, and distorted is only what distorts more than it always did.
        """
        return self._answered(
            ("heard", speaker, stimulus, side, running, familiar),
            lambda: self._heard_answers(speaker, stimulus, side=side, running=running, familiar=familiar),
        )

    def _answered(self, key: tuple[object, ...], make: Callable[[], Answers]) -> Answers:
        """Return answers that are kept here, or for the hypotheses that these are some of; else make and keep them."""
        found = self._kept.get(key)
        if found is None:
            found = self._known(key) or make()
            self._kept.keep(key, found)
        return found

    def _known(self, key: tuple[object, ...]) -> Answers | None:
        found = self._kept.get(key)
        if found is None and self._whole is not None:
            whole, rows = self._whole
            theirs = whole._known(key)
            found = None if theirs is None else Answers(theirs.labels, np.take(theirs.chance, rows, axis=1))
        return found

    def _of_each(self, key: tuple[object, ...], make: Callable[[], Floats]) -> Floats:
        """Return values that don't depend on what is played, shape (hypotheses, draws), made once."""
        if key not in self._drawn:
            self._drawn[key] = make()
        return self._drawn[key]

    def usual(self, speaker: str, played: Played) -> Stimulus:
        """Return a tone that represents music at a speaker, one that its path passes: at its ordinary level, or so much lower."""
        tone_hz, level_dbfs, octaves = self._usual_of(speaker)
        sets = tuple(sorted(played.set.items()))
        return Stimulus(
            tone_hz,
            level_dbfs + self._turned_up_db(speaker, played) + played.level_dbfs,
            sets,
            running=played.engine == "on",
            speakers=played.speakers == "on",
            octaves=octaves,
        )

    def _turned_up_db(self, speaker: str, played: Played) -> float:
        """Return how much louder than at its assumed volume a source that drives a speaker itself is usually played, dB.

        Without a gain behind it the volume sets the level: it is turned up until a sound source is as far below its
        ceiling as in a chain that was set up.
        """
        end = next(path.nodes[-1] for path in self.chain.wiring.paths if path.speaker == speaker)
        source = self.chain.job.stages[end.stage]
        if not isinstance(source, HeadUnit) or source.volume.at is not None or f"{end.stage}.volume" in played.set:
            return 0.0
        known = _TURNED_UP.setdefault(self.chain, {})
        if speaker not in known:
            tone_hz, level_dbfs, _ = self._usual_of(speaker)
            solved = self.chain.solve(Conditions(tone_hz, level_dbfs), targets=(end,))
            known[speaker] = max(float(solved.margin_db[0, solved.index(end)]) - BELOW_SET_UP_DB, 0.0)
        return known[speaker]

    def _usual_of(self, speaker: str) -> tuple[float, float, float]:
        """Return the tone, Hz, the level, dBFS, and the width in octaves that represent ordinary music at a speaker."""
        if not self._usual:
            for path in played_paths(self.chain.job, self.chain, self.observer.instruments, ()):
                low_hz, high_hz = path.band_hz
                octaves = MUSIC_SHARE * float(np.log2(high_hz / low_hz))
                middle_hz = float(np.sqrt(low_hz * high_hz))
                self._usual |= dict.fromkeys(path.speakers, (middle_hz, path.level_dbfs, octaves))
        return self._usual[speaker]

    def _heard_answers(
        self, speaker: str, stimulus: Stimulus | None, *, side: str, running: bool, familiar: bool
    ) -> Answers:
        pairs = self._speakers[speaker]
        shape = (len(self.changes), self.ensemble.draws)
        loudest, thd, hum, whine = np.zeros(shape), np.zeros(shape), np.zeros(shape), np.zeros(shape)
        usual = np.zeros(self.ensemble.draws)
        nodes = tuple(node for node, _ in pairs)
        in_bass = np.asarray(stimulus is not None and self.ensemble.tone_hz(stimulus) < BASS_HZ)
        sides: list[npt.NDArray[np.complex128]] = []
        for node, port in pairs:
            ends = self.chain.wiring.pair(port)
            if (ends is not None and node != ends[0]) or not (side in ("both", port.side) or port.side == "mono"):
                continue
            arriving = self.arriving(node, port)
            if stimulus is not None:
                volts, bent = self.observer.level_v(stimulus, node, nodes)
                volts = volts * arriving if ends is None else self._across(stimulus, ends, port, nodes)
                usual = np.maximum(usual, self._usual_v(stimulus, node, ends, nodes))
                louder = volts > loudest
                loudest = np.where(louder, volts, loudest)
                before = MORE_BENT * self.observer.usual_thd(stimulus, node, nodes) if familiar else 0.0
                bent = np.nan_to_num(bent)
                thd = np.where(louder, np.where(bent > before, bent, 0.0), thd)
                if ends is None and np.any(in_bass):
                    sides.append(self.observer.phasor_v(stimulus, node, nodes) * arriving * self._turned((node, port)))
            engine = self._engine_v(node) if running and not familiar else 0.0
            hum = np.maximum(hum, np.hypot(self._noise_v("hum", node), engine) * arriving)
            whine = np.maximum(whine, self._noise_v("whine", node) * arriving * running)
        if len(sides) == 2:
            loudest = np.where(in_bass, self._together(*sides), loudest)
        for i, c in enumerate(self.changes):
            for port in (port for _, port in pairs if side in ("both", port.side) or port.side == "mono"):
                thd[i] = np.maximum(thd[i], c.damaged.get(port, 0.0))
        noisy = np.maximum(hum, whine)
        noise = normal_cdf(_db_over(noisy, np.maximum(HUM_HEARD_V, HUM_BESIDE * loudest)) / HEARD_EDGE_DB)
        alive = normal_cdf(_db_over(loudest, AUDIBLE_V) / HEARD_EDGE_DB)
        quieter_db = _db_over(np.maximum(loudest, AUDIBLE_V / 10), np.maximum(usual, AUDIBLE_V / 10))
        plain = normal_cdf((quieter_db + FAINT_DB) / FAINT_EDGE_DB)
        bent_share = normal_cdf(np.log(np.maximum(thd, 1e-6) / HEARD_THD) / 0.4)
        tone = [1 - alive, alive * (1 - plain), alive * plain * (1 - bent_share), alive * plain * bent_share]
        whining = (whine > hum).astype(np.float64)
        parts = np.stack([*(t * (1 - noise) for t in tone), noise * (1 - whining), noise * whining])
        return Answers(WORDS, parts)

    def _usual_v(
        self, stimulus: Stimulus, node: Node, ends: tuple[Node, Node] | None, nodes: tuple[Node, ...]
    ) -> Floats:
        """Return the volts that move the cone in a sound chain, those of both ends of a strapped pair together."""
        return sum(np.asarray(self.observer.usual_v(stimulus, end, nodes)) for end in ends or (node,))  # type: ignore[return-value]

    def _turned(self, wire: Wire) -> Floats:
        """Return -1 where a speaker's own lead is reversed, 1 elsewhere, shape (hypotheses, draws)."""
        return self._of_each(("turned", wire), lambda: self._turned_of(wire))

    def _turned_of(self, wire: Wire) -> Floats:
        found = np.ones((len(self.changes), self.ensemble.draws))
        for i, change in enumerate(self.changes):
            if wire in change.sign:
                found[i] = change.sign[wire]
        return found

    def _together(self, left: npt.NDArray[Any], right: npt.NDArray[Any]) -> Floats:
        """Return the level of two sides in the bass, where their pressures add at the seat; one of them is nearer.

        As volts at both that would give the same; with one of them reversed they cancel, but for the nearer one's lead.
        """
        low, high = NEARER_DB
        nearer = 10 ** ((low + (high - low) * self.ensemble.doubt[:, 5]) / 20)
        one, other = (
            np.where(self.ensemble.doubt[:, 4] < 0.5, 1.0, nearer),
            np.where(self.ensemble.doubt[:, 4] < 0.5, nearer, 1.0),
        )
        return np.asarray(np.abs(one * left + other * right) / (one + other))

    def _across(self, stimulus: Stimulus, ends: tuple[Node, Node], port: Port, nodes: tuple[Node, ...]) -> Floats:
        """Return the voltage across a load between a strapped pair, volts rms: none where either lead is open."""
        plus, minus = (self.observer.phasor_v(stimulus, end, nodes) * self.arriving(end, port) for end in ends)
        cut = [any(np.min(c.series_ohm.get((end, port), 0.0)) >= LEAD_OPEN_OHM for end in ends) for c in self.changes]
        return np.where(np.array(cut)[:, None], 0.0, np.abs(plus - minus))

    def arriving(self, node: Node, port: Port) -> Floats:
        """Return the share of a node's voltage that moves the cone at the end of a lead, shape (hypotheses, draws)."""
        return self._of_each(("arriving", node, port), lambda: self._moving(node, port))

    def _moving(self, node: Node, port: Port) -> Floats:
        speaker_ohm = self.chain.nominal()[f"{port.stage}.impedance"]
        found = np.ones((len(self.changes), self.ensemble.draws))
        for i in {*self._affecting([(node, port)]), *(k for k, c in enumerate(self.changes) if c.coil)}:
            c = self.changes[i]
            load = np.asarray(c.load.get(port, 1.0))
            # an open or shorted coil doesn't move, whatever its voltage
            works = np.where((load > 1e6) | np.asarray(c.burnt.get(port, False)), 0.0, 1.0) * c.coil.get(
                port.stage, 1.0
            )
            lead_ohm = self.lead_ohm[node, port] + np.asarray(c.series_ohm.get((node, port), 0.0))
            before = lead_ohm * np.asarray(c.short_place.get((node, port), 0.5))
            behind = speaker_ohm * np.minimum(load, 1e6) + lead_ohm - before
            at_short = 1 + before * np.asarray(c.shorted.get((node, port), 0.0)) + before / behind
            found[i] = works * (behind - lead_ohm + before) / behind / at_short
        return found

    def _noise_v(self, kind: str, node: Node) -> Floats:
        """Return hum or whine at a node, volts rms, shape (hypotheses, draws)."""
        return self._of_each((kind, node), lambda: self._noise_of(kind, node))

    def _noise_of(self, kind: str, node: Node) -> Floats:
        found = np.zeros((len(self.changes), self.ensemble.draws))
        for i, change in enumerate(self.changes):
            for lead, volts in getattr(change, kind).items():
                found[i] = np.hypot(found[i], volts * self._gain(lead, node, HUM_HZ if kind == "hum" else WHINE_HZ))
        return found

    def _engine_v(self, node: Node) -> Floats:
        """Return what sources with noise cancelling play at a node while the engine idles, volts rms, as `_noise_v`."""
        return self._of_each(("engine", node), lambda: self._engine_of(node))

    def _engine_of(self, node: Node) -> Floats:
        found = np.zeros((len(self.changes), self.ensemble.draws))
        drawn, leads = self.ensemble.values, self.chain.wiring.leads
        levels = {run: drawn.get(f"{run.source_stage}.factory.cancelling_level", 0.0) for run in leads}
        levels = {run: level for run, level in levels.items() if np.any(level)}
        if not levels:
            return found
        passing = np.array([[self._passes(change, node)] for change in self.changes])
        for run, level in levels.items():
            found = np.hypot(found, level * self._gain(str(run), node, ENGINE_HZ) * passing)
        return found

    def _passes(self, change: Change, node: Node) -> float:
        """Return 0 where a change cuts the way to a node, 1 elsewhere."""
        way = {node, *self.chain.wiring.upstream(node.stage)}
        cut = any(np.max(np.abs(gain)) == 0 for at, gain in change.gain.items() if at in way)
        cut = cut or any(np.min(ohm) >= LEAD_OPEN_OHM for (at, _), ohm in change.series_ohm.items() if at in way)
        return 0.0 if cut or any(at in way for at, _ in change.shorted) else 1.0

    def _gain(self, lead: str, node: Node, tone_hz: float) -> float:
        """Return the gain from a lead to a node, with all numbers at their nominal values and far below any ceiling.

        Those to all speakers are worked out at once.
        """
        known = _GAINS.setdefault(self.chain, {})
        if (lead, node, tone_hz) not in known:
            ports = {port for _, port in self.leads[lead]}
            every = {node, *(at for at, port in self.lead_ohm if self.chain.job.stages[port.stage].kind == "speaker")}
            known |= dict.fromkeys(((lead, at, tone_hz) for at in every), 0.0)
            ends = [at for at in every if self._reaches(ports, at)]
            if ends:
                fed = Alteration(fed_v=dict.fromkeys(ports, 1.0))
                solved = self.chain.solve(Conditions(tone_hz, -60.0, alter=fed), targets=ends, margins=False)
                known |= {(lead, at, tone_hz): float(solved.rms_v[0, solved.index(at)]) * 1e3 for at in ends}
        return known[lead, node, tone_hz]

    def _reaches(self, ports: set[Port], node: Node) -> bool:
        keys = self.chain.needed([node])
        return any(("port", port) in keys for port in ports)


def _db_over(value: Any, bound: Any) -> Floats:
    return np.asarray(20 * np.log10(np.maximum(value, 1e-9) / bound))


def as_told(parts: Floats, *, misheard: bool, slip: float = SLIP) -> Floats:
    """Return the probability of each word as it is told, from that of what is there to hear; the words are the first axis.

    Parameters
    ----------
    misheard : whether the speaker's sound is taken for a neighbouring word; else only slips happen.
    slip : how often they do.
    """
    told = np.full_like(parts, slip / len(WORDS))
    for i, word in enumerate(WORDS):
        others = TAKEN_FOR[word] if misheard else (word,)
        each = (1 - slip) * parts[i] / len(others)
        for other in others:
            told[WORDS.index(other)] += each
    return told
