"""The allowance is the smaller of what clipping, coils and cones allow; what isn't known limits nothing, and is said."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import numpy as np
import pytest
from programme_made import band_of_windows as of_windows

from gainwright.jobfile import example_text, read_job_text
from gainwright.model import Speaker
from gainwright.power import evaluate_power
from gainwright.power.music_limits import coil_shares, music_speakers, speaker_figures, speaker_limits
from gainwright.power.travel import ConeTravel
from gainwright.programme import BandAllowance, Limits, TrackBand, evaluate_allowances
from gainwright.programme.music_result import BandChoice, MusicResult, SpeakerFigures
from gainwright.report.music import choice_text
from gainwright.report.music_speakers import speaker_notes, speaker_table
from gainwright.results import from_json, to_json

JOB = """
format: 1
title: Red pick-up
allowance: 6 dB
stages:
  head: {kind: head_unit, rated_output: 4 V}
  amp: {kind: amplifier, from: head, sides: [mono], power: 500 W @ 2 ohm, sensitivity: 0.2 .. 5 V, low_pass: butterworth 24 at 80 Hz}
  sub: {kind: speaker, from: amp, coils: 2 x 4 ohm parallel, SUB}
"""
DATA = "resonance: 30 Hz, qts: 0.5, vas: 70 L, cone_area: 330 cm2, box: {volume: 30 L}"


def music() -> list[TrackBand]:
    """Return two tracks of two minutes: a quiet one, and one of beats at -6 dBFS 12 dB over what is between them."""
    at = np.arange(1200)
    beats = np.where(at % 5 == 0, 0.125, 0.008)
    return [TrackBand(name, 120.0, of_windows(squares)) for name, squares in (("soft", beats / 50), ("beats", beats))]


def judged(sub: str, *, most: float = 100.0) -> tuple[BandAllowance, SpeakerFigures, str]:
    """Return the allowance of the music for a subwoofer, its figures, and the sentence on it."""
    job = read_job_text(JOB.replace("SUB", sub)).job
    ((key, (speaker,)),) = music_speakers(job).items()
    tracks = [dataclasses.replace(t, band=dataclasses.replace(t.band, name=key, peak=0.6)) for t in music()]
    limits = speaker_limits(speaker, tracks)
    clipping = Limits(most, 0.0)
    found = evaluate_allowances(tracks, limits=clipping, speakers=limits)
    return found, speaker_figures(speaker, tracks, limits, found.choice.db), choice_text(found, clipping)


def test_a_short_cone_decides() -> None:
    """Between Xmax 5 mm and 40 mm the cone allows more and more; with more it is no limit any more."""
    allowed = []
    for xmax in (5, 8, 12, 40):
        found, figures, words = judged(f"power: unknown, xmax: {xmax} mm, {DATA}")
        allowed.append(found.choice.db)
        assert figures.travel_mm is not None
        assert figures.travel_mm_low is not None
        assert figures.travel_mm_high is not None
        assert figures.travel_mm_low <= figures.travel_mm <= figures.travel_mm_high
        assert figures.travel_mm_low < figures.travel_mm_high or xmax == 40  # there the steady tone bounds all
        assert figures.travel_mm <= (figures.travel_bound_mm or 0.0)
        if xmax < 40:
            assert found.choice.decided_by == "cone_travel"
            assert (found.choice.speaker, found.choice.tracks) == ("sub", ("beats",))
            assert figures.travel_mm <= xmax or not found.choice.kept
            assert figures.travel_allows_db in (found.choice.db, None)
            assert "the cone of sub" in words
            assert f"Clipping alone would allow {found.choice.clipping_db:g} dB." in words
        assert figures.coil_percent is None
    assert allowed == sorted(allowed)
    assert allowed[0] < allowed[-1] == 20


def test_a_small_coil_decides() -> None:
    """A coil of 60 W is the limit before clipping; one of 2000 W isn't; its interval holds the median, its share grows."""
    hot, figures, words = judged("power: 60 W", most=100.0)
    assert (hot.choice.decided_by, hot.choice.speaker, hot.choice.tracks) == ("coil_heat", "sub", ("beats",))
    assert figures.coil_percent_high is not None
    assert figures.coil_percent_low is not None
    assert figures.coil_percent is not None
    assert figures.coil_percent_low < figures.coil_percent < figures.coil_percent_high <= 100
    assert figures.coil_track == "beats"
    assert figures.coil_allows_db == hot.choice.db
    assert "the coil of sub might get hotter than it can bear" in words
    cool, figures, _ = judged("power: 2000 W")
    assert cool.choice.decided_by == "range"
    assert figures.coil_allows_db == 20
    assert (hot.choice.clipping_db, cool.choice.clipping_db) == (20, 20)


def test_clipping_decides_where_it_asks_for_less() -> None:
    """The smaller of the three: with a strict limit on clipping neither cone nor coil is named."""
    found, figures, words = judged(f"power: 60 W, xmax: 12 mm, {DATA}", most=1e-6)
    free, _, _ = judged("power: unknown", most=1e-6)
    assert found.choice.db == min(
        x for x in (free.choice.db, figures.coil_allows_db, figures.travel_allows_db) if x is not None
    )
    assert "Clipping alone" not in words or found.choice.decided_by in ("coil_heat", "cone_travel")


def test_steady_music_at_the_rating_is_at_the_limit() -> None:
    """By construction of the prior: a coil that takes its rating on and on, V^2 over the nominal impedance, is at what it stands."""
    job = read_job_text(JOB.replace("SUB", "power: 400 W")).job
    ((_, (speaker,)),) = music_speakers(job).items()
    steady = TrackBand("steady", 120.0, of_windows(np.full(1200, 0.2)))
    mean_w = speaker.full_scale_v2(np.array([0.0]))[0] * 0.2 / speaker.unit.impedance_ohm
    shares = coil_shares(speaker, steady, np.array([10 * np.log10(400 / mean_w)]))[0]
    # the windows' upper edges and a grid of lengths add under 3 % of the power
    assert float(np.median(shares)) == pytest.approx(1.0, abs=0.03)
    assert float(np.ptp(shares)) < 0.05


def test_below_its_high_pass_a_tone_moves_a_cone_as_far_as_full_scale_reaches() -> None:
    """Where the filter passes 0.3 of 10 V, 3 V come out, not 0.3 of the 4 V at which the amplifier clips."""
    cone = ConeTravel(np.array([1.0]), np.array([20.0, 60.0]), np.array([5e-3, 2e-3]), np.array([0.3, 1.0]))
    assert cone.bound(10.0, 4.0) == pytest.approx((15e-3, 20.0))
    assert cone.bound(10.0, 2.0) == pytest.approx((10e-3, 20.0))
    assert cone.bound(1.0, 4.0) == pytest.approx((2e-3, 60.0))


def test_a_strapped_pairs_speaker_stands_once_with_both_voltages() -> None:
    """Its power is that of twice one amplifier's voltage; it was judged at each of the two with a quarter of it."""
    job = read_job_text(example_text("strapped_pair")).job
    listed = [s.name for s in evaluate_power(job).speakers]
    assert len(listed) == len(set(listed))
    speakers = [s for found in music_speakers(job).values() for s in found]
    assert sorted(s.name for s in speakers) == sorted(listed)
    (paired,) = [s for s in speakers if s.name in s.load.paired]
    (shown,) = [s for s in evaluate_power(job).speakers if s.name == paired.name]
    stage = job.stages[paired.name]
    assert isinstance(stage, Speaker)
    assert shown.mean_w == pytest.approx(
        (2 * paired.load.target_v * paired.unit.share) ** 2 / paired.unit.impedance_ohm / 8
    )


def test_results_from_before_are_read() -> None:
    """A stored result without speakers and without what clipping alone would allow; a table of nothing then."""
    choice = BandChoice("clipped_time", (), True, 13.0, -1.0, 4.0, 50.0, "sub", 80.0, 100.0)
    found: Any = MusicResult("", (), {}, {"sub": 3.0}, {"sub": choice}, {}, Limits(), 1.0, 0, ())
    kept = json.loads(json.dumps(to_json(found)))
    del kept["speakers"]
    del kept["choice"]["sub"]["limited_by"], kept["choice"]["sub"]["clipping_db"]
    read = from_json(MusicResult, kept)
    assert read == found
    assert speaker_table(read) == ((), [])
    assert speaker_notes(read) == []


def test_what_is_unknown_is_said() -> None:
    """Without a rating and without a data sheet neither heat nor travel can be told."""
    _, figures, _ = judged("power: unknown")
    found: Any = MusicResult("", (), {}, {}, {}, {}, Limits(), 1.0, 0, (), speakers=(figures,))
    notes = " ".join(speaker_notes(found))
    assert "Heat can't be computed for sub" in notes
    assert "the job lacks resonance, vas, cone_area, qts, xmax" in notes
    columns, (row,) = speaker_table(found)
    assert columns == ("Speaker", "Worst second", "Worst 100 ms")
    assert row[0] == "sub"
