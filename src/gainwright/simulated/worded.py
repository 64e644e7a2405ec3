"""The rig's answers to tests that are answered by a word: another source or speaker, something unplugged, moved or felt."""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import is_subwoofer, leads_by_name, resolve, stages_of, unit_of

if TYPE_CHECKING:
    from gainwright.simulated.rig import Rig

FUSE_SHARE = 0.6
"""Share of lost supplies that are a blown fuse."""
LOOSE_SHARE = 0.5
"""Share of sagging supplies that are a loose ground."""
PROVOKED = {"lead_loose": "bumps", "amplifier_hot": "heat", "supply_sagging": "loud", "load_too_low": "loud"}
"""Fault -> what brings it, where it comes and goes."""
PARTS_HZ, PART = (45.0, 90.0, 1000.0, 3500.0, 9000.0), 0.3
"""Tones of the parts of music; those usually this share of the strongest are a speaker's own."""
TILT_DB, STRANGE_DB = 11.0, 20.0
HEARD_RATIO = 1.3
"""A change of the bass of more than this is heard, as a ratio."""


def word(rig: Rig, place: str, what: str) -> str:
    """Return a person's word for a test; music plays where the test wants some."""
    makers = {
        "fuse": _fuse,
        "main_fuse": _fuse,
        "ground": _ground,
        "unplugged": _unplugged,
        "unloaded": _unloaded,
        "travel": _travel,
        "one_side_reversed": _one_side_reversed,
        "sounds": _sounds,
        "mended": _mended,
    }
    if what == "provoked":
        found = {f.cause for f in rig.faults}
        return next((said for cause, said in PROVOKED.items() if cause in found), "by_itself")
    if what in makers:
        return makers[what](rig, place)
    sound, faulty, causes = {
        "heat": ("usual", "hot", ("amplifier_hot",)),
        "other_source": ("same", "better", ("tone_level_wrong", "player_equaliser_on")),
        "substitute": (
            "same",
            "better",
            ("speaker_open", "speaker_shorted", "speaker_damaged", "coil_open", "coil_reversed"),
        ),
        "moved": ("steady", "cuts_out", ("lead_loose",)),
    }[what]
    where = unit_of(rig.job, place) if what == "heat" else place
    return faulty if any(f.where == where and f.cause in causes for f in rig.faults) else sound


def _mended(rig: Rig, named: str) -> str:
    """Return what becomes of the repair of a cause: all is well if it was the only fault."""
    faults = [f"{f.cause}@{f.where}" for f in rig.faults]
    return "plays" if faults == [named] else "partly" if named in faults else "still_wrong"


def _fuse(rig: Rig, place: str) -> str:
    unit = unit_of(rig.job, place)
    if place == "vehicle":
        return "blown" if any(f.cause == "shared_no_supply" for f in rig.faults) else "good"
    lost = any(f.where == unit and f.cause in ("amplifier_no_supply", "box_no_power") for f in rig.faults)
    chance = np.random.default_rng([rig.seed, zlib.crc32(unit.encode()), 11]).random()
    return "blown" if lost and chance < FUSE_SHARE else "good"


def _ground(rig: Rig, place: str) -> str:
    """Return whether a ground is loose: it is behind some supplies that sag or are lost with a good fuse, and behind noise of a source."""
    unit = unit_of(rig.job, place)
    chance = np.random.default_rng([rig.seed, zlib.crc32(unit.encode()), 12]).random()
    sags = any(f.where == unit and f.cause == "supply_sagging" for f in rig.faults)
    lost = any(f.where == unit and f.cause == "amplifier_no_supply" for f in rig.faults) and _fuse(rig, place) == "good"
    noisy = any(f.where == place and f.cause == "source_ground_bad" for f in rig.faults)
    return "loose" if (sags or lost or noisy) and chance < LOOSE_SHARE else "tight"


def _unloaded(rig: Rig, place: str) -> str:
    unit = unit_of(rig.job, place)
    if any(f.where == unit and f.cause == "amplifier_protecting" for f in rig.faults):
        return "stays"
    return "recovers" if rig.lamps(unit)[1] else "was_off"


def _travel(rig: Rig, place: str) -> str:
    bypassed = any(f.where == place and f.cause == "control_bypassed" for f in rig.faults)
    return "nothing" if bypassed or _silent_behind(rig, place) else "works"


def _unplugged(rig: Rig, place: str) -> str:
    """Return whether noise is gone with the signal leads off: it is if it enters there or before."""
    wiring, unit = resolve(rig.job), unit_of(rig.job, place)
    leads = leads_by_name(wiring)
    before = {str(node) for stage in stages_of(rig.job, unit) for node in wiring.upstream(stage)}
    for fault in rig.faults:
        if fault.cause in ("ground_loop", "alternator_whine"):
            return "gone" if any(str(node) in before for node, _ in leads[fault.where]) else "stays"
        if fault.cause == "source_ground_bad":
            return "gone" if any(node.startswith(f"{fault.where}.") for node in before) else "stays"
    return "gone"


def _silent_behind(rig: Rig, control: str) -> bool:
    wiring = resolve(rig.job)
    path = next(path for path in wiring.paths if control in {node.stage for node in path.nodes})
    return rig.listen(path.speaker) == "silent"


def _sounds(rig: Rig, speaker: str) -> str:
    """Compare tones of the bass, of voices and of cymbals, as many as are usually heard of a speaker, against how they usually are."""
    sound, changed_db, usual_v = rig._sound(), [], []
    for tone_hz in PARTS_HZ:
        each = []
        for of in (rig, sound):
            of.play(tone_hz, rig._tone[1])
            each.append(max(float(np.std(of._at_cone(*wire)[0])) for wire in of._wires(of._chain(), speaker, "both")))
        usual_v.append(each[1])
        changed_db.append(20 * np.log10((each[0] + 1e-3) / (each[1] + 1e-3)))
    own = [i for i, volts in enumerate(usual_v) if volts > PART * max(usual_v)]
    wires = rig._wires(rig._chain(), speaker, "both")
    if is_subwoofer(rig.job, speaker, (node for node, _ in wires)):
        strange = 2 not in own and changed_db[2] - changed_db[0] > STRANGE_DB
        return "voices" if strange else "usual"
    tilt_db = changed_db[own[-1]] - changed_db[own[0]]
    return "dull" if tilt_db < -TILT_DB else "thin" if tilt_db > TILT_DB else "usual"


def _one_side_reversed(rig: Rig, speaker: str) -> str:
    """Compare the sum and the difference of both sides at the seat, for mono bass."""
    rig.play(80.0, rig._tone[1])
    wires = rig._wires(rig._chain(), speaker, "both")
    (left, _), (right, _) = (rig._at_cone(*wire) for wire in wires[:2])
    near, far = 1.0, 10 ** (-4.0 / 20)
    before, after = (float(np.std(near * left + sign * far * right)) for sign in (1, -1))
    if after > HEARD_RATIO * before:
        return "fuller"
    return "thinner" if after * HEARD_RATIO < before else "same"
