"""Impedance and cone travel against an electromechanical circuit in ngspice, published alignments and closed forms."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from driver_data import drivers

from gainwright import physics

if TYPE_CHECKING:
    from pathlib import Path

FREQUENCIES = (10, 1000, 20)
"""First and last frequency, Hz, and points a decade."""
KINDS = ("baffle", "sealed", "vented")
TUNED_SHARE = 0.9
"""Tuning of the vented box over the resonance of its unit."""


def complete() -> dict[str, Any]:
    """Return the units with all six parameters of the circuit and a known Xmax."""
    data = drivers()
    needed = ("re", "fs", "qms", "qes", "vas", "sd", "xmax")
    there = np.all([data[name] > 0 for name in needed], axis=0)
    return {name: values[there] for name, values in data.items()}


def unit(data: dict[str, Any], *, exponent: float = 1.0) -> physics.Driver:
    """Return the units as circuits."""
    return physics.driver_from_parameters(
        re_ohm=data["re"],
        resonance_hz=data["fs"],
        q_mechanical=data["qms"],
        q_electrical=data["qes"],
        equivalent_volume_m3=data["vas"] / 1000,
        area_m2=data["sd"],
        inductance_h=data["le"] / 1000,
        inductance_exponent=exponent,
    )


def by_ngspice(data: dict[str, Any], kind: str, tmp_path: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return frequencies (points), impedance and peak travel for 1 V rms (points, units), by ngspice's AC analysis.

    Coil: resistor and inductor. Motor: two coupled sources. Cone: velocity is the current in a loop of mass (L),
    compliance (C) and losses (R), with the box's air, port and leaks in the same loop. Element values by the textbook's
    other road: from the motional resistance Res = Re Qms/Qes, with Cmes = Qes/(2 pi fs Re) and (Bl)^2 = Mms/Cmes.
    """
    lines = ["units", "Vs in 0 dc 0 ac 1"]
    stiffness = 1.4 * 101325.0
    for i in range(len(data["re"])):
        re, fs, qms, qes, sd = (float(data[k][i]) for k in ("re", "fs", "qms", "qes", "sd"))
        vas = float(data["vas"][i]) / 1000
        compliance = vas / stiffness / sd**2
        mass = 1 / ((2 * np.pi * fs) ** 2 * compliance)
        bl = np.sqrt(mass / (qes / (2 * np.pi * fs * re)))
        losses = bl**2 / (re * qms / qes)
        lines += [
            f"V{i} in a{i} 0",
            f"R{i} a{i} b{i} {re:.12g}",
            f"L{i} b{i} c{i} {max(data['le'][i], 1e-9) / 1000:.12g}",
        ]
        lines += [f"Hb{i} c{i} 0 Vm{i} {bl:.12g}", f"Hf{i} f{i} 0 V{i} {bl:.12g}", f"Vm{i} f{i} g{i} 0"]
        lines += [
            f"Lm{i} g{i} h{i} {mass:.12g}",
            f"Cm{i} h{i} k{i} {compliance:.12g}",
            f"Rm{i} k{i} m{i} {losses:.12g}",
        ]
        volume = vas / 2
        if kind == "baffle":
            lines.append(f"Re{i} m{i} 0 1e-9")
            continue
        lines.append(f"Cb{i} m{i} 0 {volume / stiffness / sd**2:.12g}")
        if kind == "vented":
            wb, cab = 2 * np.pi * TUNED_SHARE * fs, volume / stiffness
            lines += [f"Lp{i} m{i} 0 {sd**2 / (wb**2 * cab):.12g}", f"Rp{i} m{i} 0 {7 * sd**2 / (wb * cab):.12g}"]
    out = tmp_path / f"{kind}.txt"
    low, high, points = FREQUENCIES
    wanted = " ".join(f"i(V{i}) i(Vm{i})" for i in range(len(data["re"])))
    lines += [
        ".control",
        "set wr_singlescale",
        f"ac dec {points} {low} {high}",
        f"wrdata {out} {wanted}",
        ".endc",
        ".end",
    ]
    netlist = tmp_path / f"{kind}.cir"
    netlist.write_text("\n".join(lines) + "\n", encoding="ascii")
    subprocess.run(("ngspice", "-b", str(netlist)), capture_output=True, check=False)
    table = np.loadtxt(out)
    pairs = table[:, 1::2] + 1j * table[:, 2::2]
    frequency = table[:, 0]
    travel = np.sqrt(2) * np.abs(pairs[:, 1::2]) / (2 * np.pi * frequency[:, None])
    return frequency, 1 / pairs[:, 0::2], travel


@pytest.mark.parametrize("kind", KINDS)
def test_impedance_and_travel_as_in_the_circuit(kind: str, tmp_path: Path) -> None:
    """Some hundred published units in a baffle, a sealed and a vented box: within 0.5 % of ngspice from 10 Hz to 1 kHz."""
    data = complete()
    assert len(data["re"]) > 370
    frequency, impedance, travel = by_ngspice(data, kind, tmp_path)
    tuned = TUNED_SHARE * data["fs"] if kind == "vented" else None
    box = None if kind == "baffle" else physics.Enclosure(volume_m3=data["vas"] / 2000, tuned_hz=tuned)
    hz = frequency[:, None]
    ours = physics.driver_impedance(driver=unit(data), box=box, frequency_hz=hz)
    moved = physics.cone_travel(driver=unit(data), box=box, voltage_v=1.0, frequency_hz=hz)
    assert np.max(np.abs(ours / impedance - 1)) < 0.005
    np.testing.assert_allclose(moved, travel, rtol=0.005)


def test_small_signal_parameters_are_found_again() -> None:
    """Thiele 1961 and Small 1972: the peak is Re (1 + Qms/Qes) at fs; the half-width points give Qms and Qes back."""
    data = complete() | {"le": np.zeros(len(complete()["re"]))}
    driver = unit(data)
    peak = physics.driver_impedance(driver=driver, frequency_hz=data["fs"])
    np.testing.assert_allclose(peak, data["re"] * (1 + data["qms"] / data["qes"]), rtol=1e-9)
    # |Z| = Re sqrt(r0) on either side of fs, r0 = Zmax/Re; f2 f1 = fs^2 and Qms = fs sqrt(r0)/(f2 - f1)
    r0 = 1 + data["qms"] / data["qes"]
    half = data["fs"] / (2 * data["qms"]) * np.sqrt(r0)
    for hz in (-half + np.hypot(half, data["fs"]), half + np.hypot(half, data["fs"])):
        z = physics.driver_impedance(driver=driver, frequency_hz=hz)
        np.testing.assert_allclose(np.abs(z), data["re"] * np.sqrt(r0), rtol=1e-6)


def test_travel_of_published_alignments() -> None:
    """Small 1972, part I: travel in a closed box is the low-pass function 1/(s^2 + s/Qtc + 1), at fc Qtc times that at 0 Hz.

    So a Butterworth system (Qtc = 0.7071) travels 1/sqrt(2) of it there. The box raises fs and Qts alike by
    sqrt(1 + Vas/Vb).
    """
    volume, fs, qms, area = 0.05, 30.0, 1e6, 0.05
    for qtc, at_fc in ((np.sqrt(0.5), np.sqrt(0.5)), (1.0, 1.0), (0.5, 0.5)):
        ratio = np.sqrt(1 + 1 / 0.5)
        driver = physics.driver_from_parameters(
            re_ohm=4.0,
            resonance_hz=fs,
            q_mechanical=qms,
            q_electrical=qtc / ratio,
            equivalent_volume_m3=volume,
            area_m2=area,
        )
        box = physics.Enclosure(volume_m3=0.5 * volume)
        hz = np.array([0.01, fs * ratio])
        still, resonant = physics.cone_travel(driver=driver, box=box, voltage_v=10.0, frequency_hz=hz)
        assert resonant / still == pytest.approx(at_fc, rel=1e-4)


def test_a_vented_cone_stands_nearly_still_at_its_tuning() -> None:
    """Small 1973: travel has a minimum at the tuning of the box; without leaks it vanishes there."""
    driver = physics.driver_from_parameters(
        re_ohm=5.5, resonance_hz=32.0, q_mechanical=5.0, q_electrical=0.4, equivalent_volume_m3=0.08, area_m2=0.05
    )
    hz = np.geomspace(20, 60, 401)
    tuned = physics.Enclosure(volume_m3=0.06, tuned_hz=34.0, leakage_q=1e9)
    travel = physics.cone_travel(driver=driver, box=tuned, voltage_v=10.0, frequency_hz=hz)
    assert hz[np.argmin(travel)] == pytest.approx(34.0, rel=0.005)
    assert physics.cone_travel(driver=driver, box=tuned, voltage_v=10.0, frequency_hz=34.0) < 1e-6


def test_a_lossy_coil() -> None:
    """Leach 2002: phase n 90 degrees, magnitude growing with f^n; at 1 kHz the stated reactance."""
    driver = physics.Driver(
        re_ohm=0.0,
        force_factor_tm=1.0,
        mass_kg=1.0,
        compliance_m_n=1.0,
        mechanical_losses=1.0,
        area_m2=1.0,
        inductance_h=1e-3,
        inductance_exponent=0.6,
    )
    at = physics.coil_impedance(driver=driver, frequency_hz=np.array([1e3, 1e4]))
    np.testing.assert_allclose(np.degrees(np.angle(at)), 54.0)
    assert at[0].imag == pytest.approx(2 * np.pi)
    assert abs(at[1] / at[0]) == pytest.approx(10**0.6)
