"""Things that are tried: another source or speaker, something unplugged, moved, felt, or turned round."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import is_subwoofer, leads_by_name, stages_of, unit_of
from third_world.checking import Checks
from third_world.faults import units_off
from third_world.lead_circuit import State
from third_world.oracle import NEARER_DB

if TYPE_CHECKING:
    from third_world.faults import Fault

FUSE_SHARE = 0.6
"""Share of lost supplies that are a blown fuse."""
OF_PLAYER = ("tone_level_wrong", "player_equaliser_on")
OF_SPEAKER = ("speaker_open", "speaker_shorted", "speaker_damaged", "coil_open", "coil_reversed")
BASS_HZ = 80.0
CHANGED_DB = 2.0
PARTS_HZ = (50.0, 120.0, 900.0, 3000.0, 8000.0)
PART_DB, VOICES_DB = 9.0, 25.0
"""By how much one end of a speaker's band is missed against the other; by how much voices come up from a subwoofer."""


class World3(Checks):
    """The oracle with everything that it can answer."""

    def tried(self, place: str, what: str) -> str:
        """Return the word for something that is tried."""
        return str(getattr(self, f"_{what}")(place))

    def _chance(self, *what: object) -> float:
        return float(self._rng(*what).random())

    def _of(self, causes: tuple[str, ...], place: str) -> bool:
        return any(f.cause in causes and f.where == place for f in self.every)

    def _fuse(self, place: str) -> str:
        unit = unit_of(self.job, place)
        lost = self._of(("amplifier_no_supply", "box_no_power"), unit)
        return "blown" if lost and self._chance("fuse", unit) < FUSE_SHARE else "good"

    def _main_fuse(self, place: str) -> str:
        lost = any(f.cause == "shared_no_supply" for f in self.every)
        return "blown" if lost and self._chance("fuse", place) < FUSE_SHARE else "good"

    def _ground(self, place: str) -> str:
        """Return whether a ground is loose, as it is behind some of the thin supplies and of those lost with a good fuse."""
        unit = unit_of(self.job, place)
        if self._of(("source_ground_bad",), place):
            return "loose" if self._chance("ground", place) < 0.6 else "tight"
        lost = self._of(("amplifier_no_supply",), unit) and self._fuse(place) == "good"
        return (
            "loose" if (lost or self._of(("supply_sagging",), unit)) and self._chance("ground", unit) < 0.5 else "tight"
        )

    def _heat(self, place: str) -> str:
        hot = self._of(("amplifier_hot",), unit_of(self.job, place))
        return "hot" if self._chance("heat", place) < (0.88 if hot else 0.05) else "usual"

    def _unplugged(self, place: str) -> str:
        """Return whether noise is gone with the signal leads of a chassis off: it is if it enters there or before."""
        members = stages_of(self.job, unit_of(self.job, place))
        before = {n for member in members for n in self.wiring.upstream(member)}
        noisy = [f for f in self.every if f.cause in ("ground_loop", "alternator_whine")]
        after = any(not {n for n, _ in leads_by_name(self.wiring)[f.where]} <= before for f in noisy)
        sources = [f.where for f in self.every if f.cause == "source_ground_bad"]
        after = after or any(source not in {n.stage for n in before} for source in sources)
        return "stays" if after else "gone"

    def _unloaded(self, place: str) -> str:
        unit = unit_of(self.job, place)
        if any(
            f.cause in ("amplifier_protecting", "amplifier_hot") and unit in units_off(f, self.job) for f in self.faults
        ):
            return "stays"
        return "recovers" if unit in self.world.waves(self._usual(unit)).tripped else "was_off"

    def _other_source(self, place: str) -> str:
        return "better" if self._of(OF_PLAYER, place) else "same"

    def _substitute(self, place: str) -> str:
        return "better" if self._of(OF_SPEAKER, place) else "same"

    def _travel(self, place: str) -> str:
        """Return what a control does that is moved to and fro; nothing where no sound comes anyway."""
        path = next(p for p in self.wiring.paths if place in {n.stage for n in p.nodes})
        silent = self.level(self.world, path.speaker, "both", self.world.music(path.speaker)) < self.person.silent_v
        return "nothing" if self._of(("control_bypassed",), place) or silent else "works"

    def _moved(self, place: str) -> str:
        """Return whether a lead that is moved cuts out: a loose one mostly, a bad or broken one at times."""
        chance = self._chance("moved", place)
        mine = [f for f in self.every if self._same_lead(f, place)]
        loose = any(f.cause == "lead_loose" for f in mine)
        bad = any(f.cause in ("lead_resistive", "lead_open", "lead_shorted") for f in mine)
        return "cuts_out" if chance < (0.85 if loose else 0.2 if bad else 0.01) else "steady"

    def _same_lead(self, fault: Fault, place: str) -> bool:
        leads = leads_by_name(self.wiring)
        return bool({*leads.get(fault.where, ())} & {*leads[place]})

    def _provoked(self, place: str) -> str:
        """Return what seems to bring a fault: a bump a loose contact mostly, warmth an amplifier that gets too hot."""
        del place
        chance = self._chance("provoked")
        by = {"lead_loose": "bumps", "amplifier_hot": "heat", "supply_sagging": "loud", "load_too_low": "loud"}
        said = next((by[f.cause] for f in self.every if f.cause in by), "by_itself")
        return said if chance < 0.6 else "by_itself"

    def _sounds(self, place: str) -> str:
        """Return which part of the music a loudspeaker plays, from tones of the bass, of voices and of cymbals."""
        level = self.world.music(place).level_dbfs
        usual, now = (
            np.array([max(self.level(w, place, "both", State(hz, level)), 1e-3) for hz in PARTS_HZ])
            for w in (self.sound, self.world)
        )
        own = np.flatnonzero(usual > usual.max() / 4)
        changed_db = 20 * np.log10(now / usual)
        if is_subwoofer(self.job, place, self.wiring.upstream(place)):
            return "voices" if 2 not in own and changed_db[2] - changed_db[0] > VOICES_DB else "usual"
        tilt_db = changed_db[own[-1]] - changed_db[own[0]]
        return "dull" if tilt_db < -PART_DB else "thin" if tilt_db > PART_DB else "usual"

    def _one_side_reversed(self, place: str) -> str:
        """Return what mono bass becomes when one side is turned round, at a seat that is nearer to the other."""
        level = self.world.music(place).level_dbfs
        waves = self.world.waves(State(BASS_HZ, level))
        sides = []
        for wire in self._wires(place, "both")[:2]:
            wave = waves.coil[wire]
            sides.append(complex(np.fft.rfft(wave)[1]) / len(wave) * self._moves(wire[1]))
        far = 10 ** (-NEARER_DB / 20)
        before, after = (abs(sides[0] + sign * far * sides[1]) + 1e-4 for sign in (1, -1))
        change_db = 20 * math.log10(after / before)
        return "thinner" if change_db < -CHANGED_DB else "fuller" if change_db > CHANGED_DB else "same"
