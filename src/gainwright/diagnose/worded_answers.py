"""Tests that are answered by a word: another source or speaker, something unplugged, moved or felt; what each hypothesis answers.

Probabilities have shape (answers, hypotheses, draws or 1); shares are common practice, no published source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.diagnose.ensemble import Stimulus
from gainwright.diagnose.heard_answers import AUDIBLE_V, BASS_HZ, HeardAnswers
from gainwright.diagnose.observer import normal_cdf
from gainwright.diagnose.unit_answers import SURE, Answers
from gainwright.model import WORDED, Played, is_subwoofer, leads_by_name, stages_at, stages_of, unit_of

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

OF_SPEAKER = ("speaker_open", "speaker_shorted", "speaker_damaged", "coil_open", "coil_reversed")
OF_PLAYER = ("tone_level_wrong", "player_equaliser_on")
FUSE = 0.5
"""Share of lost supplies that are a blown fuse; the others are a ground, a plug or a wire."""
LOOSE_SAGS, LOOSE_DEAD, LOOSE_SOUND = 0.5, 0.25, 0.02
"""Share of supplies that sag, or are lost, for a loose ground; how often a sound one is called loose."""
LOOSE_NOISY = 0.7
"""Share of bad grounds of a source that are loose or rusty where they are seen; the others are inside, or too far away."""
NOISE_LEFT = 0.3
"""How often noise is said to stay where it is gone from one of several units."""
RUNS_HOT, WARM = 0.9, 0.07
"""How often an amplifier that switches off from heat is felt to be hot, and any other."""
CUTS_OUT, CUTS_OUT_BAD, CUTS_OUT_SOUND = 0.85, 0.3, 0.02
"""How often moving it makes a loose lead cut out, one with a bad contact, and a sound one."""
CRACKLES = 0.03
PROVOKED = {
    "lead_loose": (0.25, 0.6, 0.08, 0.07),
    "amplifier_hot": (0.2, 0.04, 0.5, 0.26),
    "supply_sagging": (0.25, 0.05, 0.15, 0.55),
    "load_too_low": (0.25, 0.05, 0.25, 0.45),
}
"""Cause -> how often what comes and goes by it comes by itself, with bumps, with heat, in loud passages."""
PROVOKED_ELSE = (0.7, 0.1, 0.1, 0.1)
"""The same of any other cause."""
DOES_NOTHING, STILL_NOTHING = 0.95, 0.98
"""How often a control that does nothing is found to do nothing; the same where no sound comes whatever is turned."""
BADLY_MENDED = 0.08
"""How often the repair of the right cause doesn't help, since it was done badly."""
HEALS_ITSELF, GONE_BY_CHANCE = 0.03, 0.4
"""How often a fault is gone after the repair of something else: one that stays, and one that comes and goes."""
MENDED_AGAIN = 0.01
"""How likely a fault that was mended is what is still wrong, beside any other."""
HEARD_DB = 2.0
"""A change of the bass that is heard when one side is turned round."""
BASS_TONE_HZ = 80.0
PART_DB, PART_EDGE_DB = 10.0, 3.0
"""By how much one end of a speaker's band is quieter than the other, against how it usually is, to be missed; people differ."""
PART_ENDS = 2 / 3
"""How far from the middle of what is heard of a speaker, towards its ends, both parts lie."""
UNFILTERED = 0.5
"""Share of subwoofers from which voices come if they get another output's signal: the others' amplifiers have a low-pass on."""


class WordedAnswers(HeardAnswers):
    """The part of the answers that is given by a word of its own."""

    def worded(self, place: str, what: str) -> Answers:
        """Return the probability of each of a test's words."""
        makers = {
            "fuse": self._fuse,
            "main_fuse": self._main_fuse,
            "ground": self._ground,
            "heat": self._heat,
            "unplugged": self._unplugged,
            "unloaded": self._unloaded,
            "other_source": self._other_source,
            "substitute": self._substitute,
            "travel": self._travel,
            "moved": self._moved,
            "one_side_reversed": self._one_side_reversed,
            "sounds": self._sounds,
            "provoked": self._provoked,
            "mended": self._mended,
        }
        return Answers(WORDED[what], makers[what](place))

    def _either(self, yes: Any) -> Floats:
        """Return both probabilities from that of the second word, shape (2, hypotheses, draws or 1)."""
        share = np.asarray(yes, dtype=np.float64)
        share = share[:, None] if share.ndim == 1 else share
        return np.stack([1 - share, share])

    def _fuse(self, name: str) -> Floats:
        unit = unit_of(self.chain.job, name)
        shared = [any(cause.id.startswith("shared") for cause in h) for h in self.ensemble.hypotheses]
        lost = [c.dead.get(unit) == "supply" for c in self.changes]
        return self._either([FUSE if at and not s else 0.01 for at, s in zip(lost, shared, strict=True)])

    def _main_fuse(self, name: str) -> Floats:
        del name
        lost = [any(cause.id == "shared_no_supply" for cause in h) for h in self.ensemble.hypotheses]
        return self._either([FUSE if hit else 0.01 for hit in lost])

    def _ground(self, name: str) -> Floats:
        unit = unit_of(self.chain.job, name)
        sags = [unit in c.supply for c in self.changes]
        lost = [c.dead.get(unit) == "supply" for c in self.changes]
        shares = [LOOSE_SAGS if s else LOOSE_DEAD if d else LOOSE_SOUND for s, d in zip(sags, lost, strict=True)]
        noisy = self._caused(("source_ground_bad",), name)
        return self._either([LOOSE_NOISY if n else share for n, share in zip(noisy, shares, strict=True)])

    def _heat(self, name: str) -> Floats:
        unit = unit_of(self.chain.job, name)
        hot = [unit in c.comes_and_goes for c in self.changes]
        return self._either([RUNS_HOT if h else WARM for h in hot])

    def _unplugged(self, name: str) -> Floats:
        """Return whether noise stays with the signal leads of a unit off: what comes in before it is gone."""
        members = stages_of(self.chain.job, name)
        outputs = [node for stage in members for node in self.chain.wiring.outputs(stage)]
        stays = []
        for c in self.changes:
            leads = {*c.hum, *c.whine}
            before = [any(self._reaches({p for _, p in self.leads[lead]}, node) for node in outputs) for lead in leads]
            stays.append(0.5 if not leads else 0.05 if all(before) else NOISE_LEFT if any(before) else 0.95)
        return self._either(stays)

    def _unloaded(self, name: str) -> Floats:
        unit = unit_of(self.chain.job, name)
        shape = (len(self.changes), self.ensemble.draws)
        recovers, stays = np.full(shape, 0.01), np.full(shape, 0.01)
        for i, c in enumerate(self.changes):
            tripped = np.broadcast_to(np.asarray(c.protecting.get(unit, False)), shape[1:])
            by_load = unit not in c.comes_and_goes
            recovers[i] = np.where(tripped, 0.95 if by_load else 0.3, recovers[i])
            stays[i] = np.where(tripped, 0.03 if by_load else 0.6, stays[i])
            if c.dead.get(unit) == "protecting":
                recovers[i], stays[i] = 0.04, 0.93
        return np.stack([recovers, stays, 1 - recovers - stays])

    def _caused(self, ids: tuple[str, ...], where: str) -> list[bool]:
        return [any(c.id in ids and c.where == where for c in h) for h in self.ensemble.hypotheses]

    def _other_source(self, name: str) -> Floats:
        return self._either([SURE["look"] - 0.05 if hit else 0.04 for hit in self._caused(OF_PLAYER, name)])

    def _substitute(self, name: str) -> Floats:
        return self._either([SURE["look"] - 0.03 if hit else 0.04 for hit in self._caused(OF_SPEAKER, name)])

    def _travel(self, name: str) -> Floats:
        """Return what a control does that is moved to and fro; nothing either where no sound comes anyway."""
        speaker = next(p.speaker for p in self.chain.wiring.paths if name in {node.stage for node in p.nodes})
        heard = self.heard(speaker, self.usual(speaker, Played())).chance[0]
        silent = np.broadcast_to(heard, (len(self.changes), heard.shape[-1]))
        idle = np.array([[name in c.idle] for c in self.changes])
        nothing = np.where(idle, DOES_NOTHING, np.clip(silent, 0.03, STILL_NOTHING))
        return np.stack([1 - nothing - CRACKLES * (1 - nothing), nothing, CRACKLES * (1 - nothing)])

    def _moved(self, lead: str) -> Floats:
        names = {n for n, pairs in leads_by_name(self.chain.wiring).items() if set(pairs) <= set(self.leads[lead])}
        shares = []
        for h in self.ensemble.hypotheses:
            here = {cause.id for cause in h if cause.where in names}
            bad = CUTS_OUT_BAD if here & {"lead_resistive", "lead_open", "lead_shorted"} else CUTS_OUT_SOUND
            shares.append(CUTS_OUT if "lead_loose" in here else bad)
        return self._either(shares)

    def _provoked(self, speaker: str) -> Floats:
        """Return what brings a fault that comes and goes: where its cause lies before a speaker, what brings that cause."""
        names = leads_by_name(self.chain.wiring)
        before = {speaker, *(node.stage for node in self.chain.wiring.upstream(speaker))}

        def lies_before(place: str) -> bool:
            ends = stages_at(place) if place in names else stages_of(self.chain.job, place)
            return ends[-1] in before

        told = []
        for h in self.ensemble.hypotheses:
            shares = [PROVOKED[c.id] for c in h if c.id in PROVOKED and lies_before(c.where)]
            told.append(shares[0] if shares else PROVOKED_ELSE)
        return np.array(told).T[:, :, None]

    def _mended(self, named: str) -> Floats:
        """Return what became of a repair: it left all as it was if the cause was another, or one of two.

        That one of two faults is mended leaves the other to be found: it is no answer that weighs among the others, and
        only says that it isn't the mended one.
        """
        cause, _, where = named.partition("@")
        stays = []
        for h, c in zip(self.ensemble.hypotheses, self.changes, strict=True):
            others = [found for found in h if (found.id, found.where) != (cause, where)]
            away = HEALS_ITSELF if not c.comes_and_goes else GONE_BY_CHANCE
            stays.append(BADLY_MENDED if not others else 1 - away)
        alone = [[(c.id, c.where) for c in h] == [(cause, where)] for h in self.ensemble.hypotheses]
        another = np.where(alone, MENDED_AGAIN, 1.0)[:, None] / len(WORDED["mended"])
        return np.concatenate([self._either(stays), another[None]])

    def _sounds(self, speaker: str) -> Floats:
        """Return which part of the music a speaker plays: its ends against each other, and against how they usually are."""
        shape = (len(self.changes), self.ensemble.draws)
        dull, thin, voices = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        if is_subwoofer(self.chain.job, speaker, (node for node, _ in self._speakers[speaker])):
            before = {*self.chain.wiring.ports(speaker)} | {
                p for node in self.chain.wiring.upstream(speaker) for p in self.chain.wiring.ports(node.stage)
            }
            nodes = {*self.chain.wiring.upstream(speaker)}
            strange = [
                any(port in before for port, _ in c.taken) or any(node in nodes for node in c.misrouted)
                for c in self.changes
            ]
            voices[strange] = UNFILTERED
        else:
            tilt_db = np.subtract(*(self._over_usual_db(speaker, way * PART_ENDS) for way in (1, -1)))
            dull, thin = (normal_cdf((way * tilt_db - PART_DB) / PART_EDGE_DB) for way in (-1, 1))
        parts = np.stack([1 - dull - thin - voices, dull, thin, voices])
        return SURE["heard"] * parts + (1 - SURE["heard"]) / len(parts)

    def _over_usual_db(self, speaker: str, way: float) -> Floats:
        """Return how loud music is at a place of a speaker's band, over how it usually is there, shape (hypotheses, draws).

        Parameters
        ----------
        way : -1 is the low end of what is heard of the speaker, 1 the high end.
        """
        middle_hz, level_dbfs, octaves = self._usual_of(speaker)
        stimulus = Stimulus(middle_hz * 2 ** (way * octaves), level_dbfs)
        nodes = tuple(node for node, _ in self._speakers[speaker])
        sides, usual = [], np.zeros(self.ensemble.draws)
        for node, port in self._speakers[speaker]:
            ends = self.chain.wiring.pair(port)
            if ends is not None and node != ends[0]:
                continue
            volts = (
                self.observer.phasor_v(stimulus, node, nodes) * self.arriving(node, port) * self._turned((node, port))
            )
            sides.append(volts if ends is None else self._across(stimulus, ends, port, nodes))
            usual = np.maximum(usual, self._usual_v(stimulus, node, ends, nodes))
        together = len(sides) == 2 and stimulus.tone_hz < BASS_HZ
        loud = self._together(*sides) if together else np.max(np.abs(sides), axis=0)
        return 20 * np.log10(np.maximum(loud, AUDIBLE_V / 10) / np.maximum(usual, AUDIBLE_V / 10))

    def _one_side_reversed(self, speaker: str) -> Floats:
        """Return what mono bass becomes if the conductors of one side are exchanged: pressures that added cancel."""
        _, level_dbfs, _ = self._usual_of(speaker)
        stimulus = Stimulus(BASS_TONE_HZ, level_dbfs)
        nodes = tuple(node for node, _ in self._speakers[speaker])
        sides = []
        for wire in self._speakers[speaker][:2]:
            phasor = self.observer.phasor_v(stimulus, wire[0], nodes) * self.arriving(*wire)
            sides.append(phasor * self._turned(wire))
        before, after = self._together(sides[0], sides[1]), self._together(sides[0], -sides[1])
        change_db = 20 * np.log10((after + AUDIBLE_V) / (before + AUDIBLE_V))  # what isn't audible doesn't change
        which = np.where(change_db < -HEARD_DB, 0, np.where(change_db > HEARD_DB, 1, 2))
        wrong = (1 - SURE["heard"]) / 2
        return np.stack([np.where(which == i, SURE["heard"], wrong) for i in range(3)])
