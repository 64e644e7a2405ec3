"""The page of power and heat gives the heat that the scan gives; speakers at a head unit's own outputs are judged too."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from programme_made import band_of_windows

from gainwright.app.music.allowances import allowances, job_bands
from gainwright.app.music.scan import Library, ScannedTrack
from gainwright.jobfile import read_job_text, with_changes
from gainwright.model import Job
from gainwright.power import evaluate_power
from gainwright.programme import Limits, TrackStatistics
from gainwright.programme.music_result import MusicResult
from gainwright.results import from_json, to_json

SHEET = "resonance: 70 Hz, qts: 0.6, vas: 20 L, cone_area: 130 cm2, xmax: 3 mm"
JOB = f"""
format: 1
title: Silver coupe
allowance: {{sub: 6 dB}}
stages:
  head:
    kind: head_unit
    rated_output: 9 V
    speaker_level: yes
    outputs:
      front: {{high_pass: butterworth 12 at 110 Hz}}
      rear: {{}}
      sub: {{sides: [mono]}}
  amp: {{kind: amplifier, from: head.sub, sides: [mono], power: 500 W @ 2 ohm, sensitivity: 1 .. 10 V, low_pass: butterworth 24 at 80 Hz}}
  doors: {{kind: speaker, from: head.front, impedance: 4 ohm, power: 30 W, {SHEET}}}
  shelf: {{kind: speaker, from: head.rear, impedance: 4 ohm, power: 2 W, {SHEET}}}
  sub: {{kind: speaker, from: amp, coils: 2 x 4 ohm parallel, power: 90 W}}
"""


def job() -> Job:
    """Return a car with a head unit's own power and an amplifier."""
    return read_job_text(JOB).job


def scanned(of: Job) -> MusicResult:
    """Return the scan of two tracks of beats, the same in every band; clipping limits nothing."""
    squares = np.where(np.arange(1200) % 4 == 0, 0.1, 0.01)
    bands, _ = job_bands(of)
    tracks = []
    for name, louder in (("soft", 0.05), ("loud", 1.0)):
        mean = louder * float(squares.mean())
        band = dataclasses.replace(band_of_windows(louder * squares, 0.9), samples=1000, energy=1000 * mean)
        parts = tuple(dataclasses.replace(band, name=b.name) for b in bands)
        tracks.append(ScannedTrack(name, TrackStatistics(120.0, 48_000, 2, -14.0, 6.0, None, None, parts)))
    return allowances(Library(tuple(tracks), (), 0, 2), of, limits=Limits(100.0, 0.0))


def test_a_head_units_own_speakers_are_judged() -> None:
    """Each at the band of its own output, rear's the whole programme; no allowance moves them, and they take none from the others."""
    found = scanned(job())
    figures = {s.speaker: s for s in found.speakers}
    assert set(figures) == {"doors", "shelf", "sub"}
    assert figures["shelf"].band == "full"
    assert figures["doors"].band != figures["shelf"].band
    for name in ("doors", "shelf"):
        own = figures[name]
        assert own.amplifier == "head"
        heats, travels = ([getattr(row, key) for row in own.by_allowance] for key in ("coil_percent", "travel_mm"))
        assert heats == pytest.approx([heats[0]] * len(heats))
        assert travels == pytest.approx([travels[0]] * len(travels))
        # 9 V rms at full scale into 4 ohm, in the worst second of the loud track: 2 x 81/4 x its mean square
        assert own.worst_1s_w == pytest.approx(2 * 81 / 4 * 0.037, rel=0.12)
    # the small one takes more than it withstands, which nobody was told before
    assert (figures["shelf"].coil_percent or 0.0) > 80 > (figures["doors"].coil_percent or 0.0)
    assert (figures["shelf"].travel_mm or 0.0) > (figures["doors"].travel_mm or 0.0) > 0
    assert found.recommended_db["sub"] > 0
    assert set(found.recommended_db) < {*found.distribution}


def test_the_page_gives_the_heat_that_the_scan_gives() -> None:
    """At the recommended allowance both are one figure; at a smaller one the page is lower, as the scan's own table there."""
    found = scanned(job())
    (sub,) = [s for s in found.speakers if s.speaker == "sub"]
    written = with_changes(job(), {f"allowance.{k}": f"{db:g} dB" for k, db in found.recommended_db.items()})
    shares = {s.name: s.heat_share for s in evaluate_power(written, found).speakers}
    for own in found.speakers:
        assert 100 * (shares[own.speaker] or 0.0) == pytest.approx(own.coil_percent, rel=1e-6)
    (at_3_db,) = [row for row in sub.by_allowance if row.db == 3]
    quieter = with_changes(job(), {"allowance.sub": "3 dB"})
    page = {s.name: s for s in evaluate_power(quieter, found).speakers}
    assert 100 * (page["sub"].heat_share or 0.0) == pytest.approx(at_3_db.coil_percent, rel=1e-6)
    assert page["shelf"].amplifier == "head"
    # half of the target's voltage counts like an allowance that is 6 dB smaller
    half = evaluate_power(with_changes(job(), {"allowance.sub": "10 dB"}), found, reached={"amp": 0.5})
    (less,) = [s for s in half.speakers if s.name == "sub"]
    near = [row.coil_percent or 0.0 for row in sub.by_allowance if row.db in (3.5, 4.0)]
    assert near[0] < 100 * (less.heat_share or 0.0) < near[1]


def test_travel_is_the_same_on_both() -> None:
    """The estimate of the page is that of the scan, at a head unit's outputs too."""
    found = scanned(job())
    page = {s.name: s for s in evaluate_power(job(), found).speakers}
    for own in found.speakers:
        if own.travel_mm is not None:
            assert page[own.speaker].travel_mm == pytest.approx(own.travel_mm, rel=1e-6)
            assert page[own.speaker].travel_bound_mm == pytest.approx(own.travel_bound_mm, rel=1e-6)


def test_results_of_before_have_no_table() -> None:
    """They are read, and the page falls back to the steady heat of the loudest track."""
    found = scanned(job())
    kept = to_json(found)
    for one in kept["speakers"]:
        del one["target_v"], one["by_allowance"]
    old = from_json(MusicResult, kept)
    (sub,) = [s for s in evaluate_power(job(), old).speakers if s.name == "sub"]
    (now,) = [s for s in evaluate_power(job(), found).speakers if s.name == "sub"]
    assert 0 < (sub.heat_share or 0.0) < (now.heat_share or 0.0)
