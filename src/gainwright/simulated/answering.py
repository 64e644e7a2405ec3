"""Answers of the rig: the result for an entry of the evidence, as a person would have read it."""

from __future__ import annotations

import math
import zlib
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from gainwright.jobfile import with_settings
from gainwright.metering import Recording, measure
from gainwright.model import (
    NO_MARK,
    WORDED,
    HeardSpeaker,
    Indicator,
    Multimeter,
    Reading,
    Recorder,
    Speaker,
    SwapTest,
    as_mapping,
    leads_by_name,
    stages_of,
)
from gainwright.simulated.rig import Rig
from gainwright.simulated.worded import word

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.model import Check, Entry, Job, Played

_Seen = TypeVar("_Seen")

QUIET_DBFS = -200.0
SIDES_DIFFER_DB = 3.0
OCTAVES_HZ = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Octaves (ISO 266:1997, table 1)."""
PASSES_DB = 3.0
THERE = 0.5
"""Share of the time in which a fault that comes and goes is there (common practice, no published source)."""
BELOW_SET_UP_DB = 3.0
"""How far below the set-up tone one listens (common practice, no published source)."""


def answer(rig: Rig, entry: Entry) -> dict[str, Any]:
    """Return an entry's mapping with its result read from the rig; the state of the rig isn't changed."""
    given = as_mapping(entry)
    digest = zlib.crc32(repr(sorted(given.items(), key=str)).encode())
    rig.there = bool(np.random.default_rng([rig.seed, digest]).random() < THERE)
    if isinstance(entry, Reading):
        return given | _played(rig, entry, lambda: _reading(rig, entry))
    if isinstance(entry, HeardSpeaker):
        return given | _played(rig, entry, lambda: {"is": rig.listen(entry.heard, entry.side)}, side="both")
    if isinstance(entry, SwapTest):
        return given | _played(rig, entry, lambda: {"fault": _swap(rig, entry.swap)})
    return given | _check(rig, entry)


def _played(rig: Rig, entry: Played, observe: Any, *, side: str = "") -> dict[str, Any]:
    """Play the tone of an entry with its settings, take the result, and restore everything."""
    job, truth, settings = rig.job, dict(rig.truth), dict(rig.settings)
    off, running = rig.off, rig.engine_running
    try:
        with_settings(job, entry.set)
        for control, text in entry.set.items():
            rig.set(control, text)
        rig.engine_running = entry.engine == "on"
        rig.disconnect(
            tuple(n for n, s in job.stages.items() if isinstance(s, Speaker)) if entry.speakers == "off" else ()
        )
        feed = getattr(entry, "feed", None)
        if feed is not None:
            rig.feed(feed.into, feed.volts.nominal)
        if isinstance(entry, HeardSpeaker) and entry.tone_hz is None and not entry.silence:
            rig.play(*_typical_stimulus(rig, entry.heard))
        else:
            level = QUIET_DBFS if entry.tone_hz is None else entry.level_dbfs
            rig.play(entry.tone_hz or 1000.0, level, sides=side or entry.side)
        return dict(observe())
    finally:
        rig.job, rig.truth, rig.settings = job, truth, settings
        rig.off, rig.engine_running = off, running
        rig.feed("", None)
        rig.swap("")


def _typical_stimulus(rig: Rig, speaker: str) -> tuple[float, float]:
    """Return the tone, Hz, and level, dBFS, that represent ordinary music at a speaker: in the middle of its band."""
    known = rig.typical.get(speaker)
    if known is None or known[0] != rig.job:
        known = rig.typical[speaker] = rig.job, _in_the_middle(rig.job, speaker)
    return known[1]


def _in_the_middle(job: Job, speaker: str) -> tuple[float, float]:
    sound = Rig(job, seed=0)
    wiring = sound._chain().wiring
    node = wiring.feeds[wiring.ports(speaker)[0]][0].node
    way = next(path for path in wiring.paths if path.speaker == speaker and node in path.nodes)
    level_dbfs = -way.allowance_db(job) - BELOW_SET_UP_DB
    reached = {}
    for tone_hz in OCTAVES_HZ:
        sound.play(tone_hz, level_dbfs)
        reached[tone_hz] = float(np.std(sound.period(str(node))[0]))
    best = max(reached.values())
    passing = [tone_hz for tone_hz, volts in reached.items() if volts >= best * 10 ** (-PASSES_DB / 20)]
    return passing[len(passing) // 2], level_dbfs


def _reading(rig: Rig, entry: Reading) -> dict[str, Any]:
    name = entry.with_ or next(iter(rig.instruments))
    instrument = rig.instruments[name]
    if isinstance(instrument, Indicator):
        return {"shows": list(rig.read_indicator(entry.at, name)) or NO_MARK}
    volts = rig.read_v(f"{entry.at}-{entry.against}" if entry.against else entry.at, name)
    if math.isnan(volts):
        return {"reads": "over_range"}
    found: dict[str, Any] = {"reads": f"{volts:.5g} V"}
    if isinstance(instrument, Recorder):
        samples, rate_hz = rig.record(entry.at, name, seconds=0.4)
        channel = measure(Recording(samples[:, None], rate_hz)).channels[0]
        if channel.thd_percent is not None and volts > 1e-3:
            found["thd"] = f"{channel.thd_percent:.3g} %"
    return found


def _swap(rig: Rig, place: str) -> str:
    """Compare the two sides of every speaker after a place, before and after they are exchanged."""
    before = _sides_db(rig, place)
    rig.swap(place)
    after = _sides_db(rig, place)
    speaker = max(before, key=lambda name: abs(before[name]))
    if abs(before[speaker]) <= SIDES_DIFFER_DB:
        return "none"
    return "moved" if after[speaker] * before[speaker] < 0 and abs(after[speaker]) > SIDES_DIFFER_DB else "stayed"


def _sides_db(rig: Rig, place: str) -> dict[str, float]:
    """Return speaker -> left over right, dB, for every stereo speaker after a place; 0 if both sides are silent."""
    chain = rig._chain()
    stage = place.rpartition("-")[2]
    found = {"": 0.0}
    for name, kind in rig.job.stages.items():
        before = {node.stage for node in chain.wiring.upstream(name)}
        if isinstance(kind, Speaker) and stage in (name, *before):
            volts = {}
            for port in chain.wiring.ports(name):
                node = chain.wiring.feeds[port][0].node
                silent = rig.listen(name, port.side) == "silent"
                period, _ = rig.period(str(node))
                share = 0.0 if silent else abs(chain.at_port(node, port))
                volts[port.side] = math.sqrt(float(np.mean(period**2))) * share + 1e-4
            if {"left", "right"} <= volts.keys():
                found[name] = 20 * math.log10(volts["left"] / volts["right"])
    return found


def _check(rig: Rig, entry: Check) -> dict[str, Any]:
    place = entry.check
    stage, _, what = place.rpartition(".")
    if place in rig.instruments or what == "function":
        return _instrument(rig, place, stage)
    if place in leads_by_name(rig._chain().wiring):
        return {
            "resistance": _ohm(rig, rig.lead_resistance(place)),
            "between_conductors": _ohm(rig, rig.between_conductors(place)),
        }
    if what in WORDED:
        return {"is": _worded(rig, stage, what)}
    if what in ("power_lamp", "protection_lamp"):
        lit = _while_playing(rig, stage, rig.lamps)[0 if what == "power_lamp" else 1]
        return {"is": "on" if lit else "off"}
    if what in ("supply_voltage", "turn_on_voltage"):
        volts = _while_playing(rig, stage, rig.supply_voltage if what == "supply_voltage" else rig.turn_on_voltage)
        return {"reads": f"{0.0 if _broken_lead(rig) else volts:.3g} V"}
    return _inspection_result(rig, place, stage, what)


def _worded(rig: Rig, place: str, what: str) -> str:
    speakers = [name for name, stage in rig.job.stages.items() if isinstance(stage, Speaker)]
    behind = next((p.speaker for p in rig._chain().wiring.paths if place in {n.stage for n in p.nodes}), speakers[0])
    tone = rig._tone
    try:
        rig.play(*_typical_stimulus(rig, place if place in speakers else behind))
        return word(rig, place, what)
    finally:
        rig.play(*tone)


def _while_playing(rig: Rig, unit: str, observe: Callable[[str], _Seen]) -> _Seen:
    """Return what is observed of an amplifier or a chassis while what is usually played plays."""
    wiring, behind = rig._chain().wiring, {*stages_of(rig.job, unit)}
    speaker = next(p.speaker for p in wiring.paths if behind & {node.stage for node in p.nodes})
    tone = rig._tone
    try:
        rig.play(*_typical_stimulus(rig, speaker))
        return observe(unit)
    finally:
        rig.play(*tone)


def _broken_lead(rig: Rig) -> str:
    """Return the fault of the measuring lead of the meter, with which ohms and DC volts are read too."""
    meter = next((name for name, i in rig.instruments.items() if isinstance(i, Multimeter)), "")
    chain = rig._chain()
    return next((c for c in ("measuring_lead_open", "measuring_lead_shorted") if chain.fault(c, meter)), "")


def _instrument(rig: Rig, place: str, stage: str) -> dict[str, Any]:
    wrong = {f.cause for f in rig.faults if f.where == (place if place in rig.instruments else stage)}
    if place not in rig.instruments:
        return {"is": "wrong" if "meter_wrong_function" in wrong else "right"}
    return {
        "resistance": "open" if "measuring_lead_open" in wrong else "0.2 ohm",
        "between_conductors": "0.1 ohm" if "measuring_lead_shorted" in wrong else "open",
    }


def _inspection_result(rig: Rig, place: str, stage: str, what: str) -> dict[str, Any]:
    speaker, _, side = stage.partition(".")
    if what == "resistance":
        return {"reads": _ohm(rig, rig.speaker_resistance(speaker, side or "both"))}
    if what == "cone":
        return {"is": rig.cone(speaker, side or "both")}
    return {"is": "right" if rig.looks_right(place) else "wrong"}


def _ohm(rig: Rig, value: float) -> str:
    """Return what the rig's ohmmeter shows."""
    broken = _broken_lead(rig)
    if broken:
        return "open" if broken == "measuring_lead_open" else "0.1 ohm"
    return "open" if math.isinf(value) or value > 1e7 else f"{value:.3g} ohm"
