"""Dividers: preferred values against the published lists, ratio and power against ngspice, and no overload."""

from __future__ import annotations

import math
import subprocess
from pathlib import Path

import pytest

from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.model import Amplifier, Job, gives_power
from gainwright.physics import preferred_mantissas
from gainwright.plan import Attenuator, design_attenuators

RECORDER = "instruments:\n  rec: {kind: recorder, full_scale: 1 V, input_impedance: 20 kohm}\n"


def job(name: str) -> Job:
    """Return an example with a recorder of 1 V and 20 kohm."""
    return read_job_text(example_text(name).replace("instruments:\n", RECORDER)).job


def test_preferred_values_are_the_published_ones() -> None:
    """IEC 60063: E6 and E12 whole, E24 by its count, the beginning and end of E96, and 9.20 of E192."""
    assert preferred_mantissas(series=6) == (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
    assert preferred_mantissas(series=12) == (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
    assert [len(preferred_mantissas(series=n)) for n in (3, 24, 48, 96, 192)] == [3, 24, 48, 96, 192]
    e96 = preferred_mantissas(series=96)
    assert e96[:8] == (1.00, 1.02, 1.05, 1.07, 1.10, 1.13, 1.15, 1.18)
    assert e96[-8:] == (8.25, 8.45, 8.66, 8.87, 9.09, 9.31, 9.53, 9.76)
    assert 9.20 in preferred_mantissas(series=192)
    assert set(preferred_mantissas(series=48)) <= set(e96)


def by_ngspice(a: Attenuator, tmp_path: Path) -> tuple[float, float, float]:
    """Return the recorder's volts and the power of each resistor at the highest peak, by ngspice's operating point."""
    bottom = f"Rb minus out_minus {a.series_ohm}" if a.balanced else "Rb minus out_minus 1e-6"
    netlist = tmp_path / "divider.cir"
    netlist.write_text(
        f"divider\nVamp plus minus {a.highest_v_peak}\nRgnd minus 0 1\nRa plus out_plus {a.series_ohm}\n{bottom}\n"
        f"Rs out_plus out_minus {a.shunt_ohm}\nRin out_plus out_minus 20k\n.control\nop\n"
        "print v(out_plus)-v(out_minus) @Ra[p] @Rs[p]\nquit\n.endc\n.end\n"
    )
    said = subprocess.run(("ngspice", "-b", str(netlist)), capture_output=True, text=True, check=False).stdout
    values = [float(line.split("=")[1]) for line in said.splitlines() if " = " in line and line.strip()[0] in "v@"]
    assert len(values) == 3, said
    return values[0], values[1], values[2]


@pytest.mark.parametrize("name", list(examples()))
def test_every_amplifier_of_every_example(name: str, tmp_path: Path) -> None:
    """At most full scale less 3 dB, resistors cool, bridged ones balanced; ratio and power as in ngspice."""
    found = design_attenuators(job(name), recorder="rec")
    stages = job(name).stages
    assert [a.stage for a in found] == [n for n, s in stages.items() if gives_power(s)]
    for a in found:
        volts, series_w, shunt_w = by_ngspice(a, tmp_path)
        assert 20 * math.log10(a.highest_v_peak / volts) == pytest.approx(a.attenuation_db, abs=1e-3)
        assert (series_w, shunt_w) == pytest.approx((a.series_w, a.shunt_w), rel=1e-3)
        assert volts <= math.sqrt(2) * 10 ** (-3 / 20)
        assert a.attenuation_db < a.needed_db + 1.0
        assert max(series_w, shunt_w) < 0.125
        assert a.low_db < a.attenuation_db < a.high_db
        stage = stages[a.stage]
        assert a.balanced == (not isinstance(stage, Amplifier) or stage.bridged)
        assert any("neither terminal is ground" in c for c in a.cautions) == a.balanced
        if not isinstance(stage, Amplifier):
            continue
        # an honest rating at 1 % THD, half a dB of headroom, unloaded and at running voltage: never less than rated peak
        rated_v = max(math.sqrt(2 * r.power.nominal * r.load.nominal) for r in stage.power)
        assert a.highest_v_peak > rated_v * 10 ** (-1.2 / 20)


def test_a_head_unit_of_four_times_22_watts(tmp_path: Path) -> None:
    """9.4 V rms are 13.3 V peak, and clipped it swings to its supply of 13.8 V and more: balanced, as nearly all are bridged."""
    text = (
        "format: 1\ninstruments:\n  rec: {kind: recorder, full_scale: 1 V, input_impedance: 20 kohm}\nstages:\n"
        "  head: {kind: head_unit, rated_output: 9.4 V, speaker_level: yes, outputs: {front: {}}}\n"
        "  front: {kind: speaker, from: head.front, impedance: 4 ohm}\n"
    )
    (a,) = design_attenuators(read_job_text(text).job)
    assert a.balanced
    assert 13.8 < a.highest_v_peak < 16.0
    volts, _, _ = by_ngspice(a, tmp_path)
    assert volts <= math.sqrt(2) * 10 ** (-3 / 20)
    assert any("neither terminal is ground" in c for c in a.cautions)
