"""Voice-coil temperature against published figures of small drive units, ngspice's thermal circuit and closed forms."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gainwright import physics

if TYPE_CHECKING:
    from pathlib import Path

SMALL = physics.CoilHeat(coil_kelvin_per_watt=28.1, magnet_kelvin_per_watt=34.4, coil_s=3.05, magnet_s=192.0)
"""A small drive unit of open data (public repository AsahiLinux/speakersafetyd, conf/apple)."""
LIMIT_K = 90.0
"""Rise at its limit: 62.5 K/W times the 1.44 W that it takes for ever."""


def test_open_figures_of_a_small_unit() -> None:
    """The same data: 3 W reaches the limit in 13 s, 1.44 W never does."""
    assert physics.seconds_to_rise(heat=SMALL, power_w=3.0, rise_k=LIMIT_K) == pytest.approx(13, abs=0.5)
    assert physics.seconds_to_rise(heat=SMALL, power_w=1.44, rise_k=LIMIT_K) == np.inf
    assert physics.coil_rise(heat=SMALL, power_w=1.44, seconds=1e6) == pytest.approx(90.0, rel=0.001)


def test_steady_rise_and_compression_against_an_iteration() -> None:
    """A fixed-point iteration of T = R P/(1 + a T); and 2.32 dB less power at 200 degrees C (copper, IEC 60028)."""
    for power in (1.0, 5.0, 50.0):
        rise = 0.0
        for _ in range(500):
            rise = (rise + 62.5 * power / (1 + 0.00393 * rise)) / 2
        assert physics.steady_rise(heat=SMALL, cold_power_w=power) == pytest.approx(rise, rel=1e-6)
    assert physics.compression_db(rise_k=180.0) == pytest.approx(4.65, abs=0.005)


def in_ngspice(folder: Path, heating: list[str], *, tran: str) -> tuple[np.ndarray, np.ndarray]:
    """Return times, s, and the coil's rise, K, of `SMALL` as two RC sections in series that some elements heat at node a."""
    out, netlist = folder / "rise.txt", folder / "rise.cir"
    sections = ["R1 a b 28.1", f"C1 a b {3.05 / 28.1!r} ic=0", "R2 b 0 34.4", f"C2 b 0 {192 / 34.4!r} ic=0"]
    control = [".control", "set wr_singlescale", f"tran {tran} uic", f"wrdata {out} v(a)", "quit", ".endc", ".end"]
    netlist.write_text("\n".join(["coil", *heating, *sections, *control]) + "\n", encoding="ascii")
    subprocess.run(("ngspice", "-b", str(netlist)), capture_output=True, check=False)
    table = np.loadtxt(out)
    return table[:, 0], table[:, 1]


def test_rise_in_time_against_ngspice(tmp_path: Path) -> None:
    """Two RC sections in series under a current of 3 (watts): ngspice's transient at 1, 13 and 200 s."""
    times, rise = in_ngspice(tmp_path, ["I1 0 a 3"], tran="0.05 200 0 0.05")
    for seconds in (1.0, 13.0, 200.0):
        circuit = np.interp(seconds, times, rise)
        assert physics.coil_rise(heat=SMALL, power_w=3.0, seconds=seconds) == pytest.approx(circuit, rel=0.002)


@pytest.mark.parametrize(("power", "on"), [(3.0, 5.0), (2.0, 20.0), (20.0, 0.5)])
def test_share_of_time_against_an_integration(power: float, on: float) -> None:
    """Pulses at the share that is allowed, integrated over an hour, reach the rise to within 1 %, and not more."""
    share = float(physics.share_on(heat=SMALL, power_w=power, rise_k=LIMIT_K, seconds_on=on))
    assert 0 < share < 1
    period = on / share
    state, highest = np.zeros(2), 0.0
    for _ in range(int(3600 / period)):
        for seconds, watts in ((on, power), (period - on, 0.0)):

            def slope(_t: float, x: np.ndarray, watts: float = watts) -> list[float]:
                return [(watts * 28.1 - x[0]) / 3.05, (watts * 34.4 - x[1]) / 192.0]

            state = solve_ivp(slope, (0, seconds), state, rtol=1e-8).y[:, -1]
            highest = max(highest, float(state.sum()))
    assert highest == pytest.approx(LIMIT_K, rel=0.01)


def windows(kind: str) -> np.ndarray:
    """Return watts over 600 windows of 100 ms: a programme played again and again."""
    rng, at = np.random.default_rng(5), np.arange(600)
    made = {
        "steady": np.full(600, 2.0),
        "noise": rng.exponential(1.5, 600),
        "loud end": np.where(at > 480, 5.0, 0.3),
        "beats": np.where(at % 5 == 0, 6.0, 0.2),
        "loud passages": np.where(at % 200 < 60, 3.5, 0.4),
    }
    return np.asarray(made[kind])


def worst_order(watts: np.ndarray, seconds: np.ndarray) -> np.ndarray:
    """Return the most energy of any windows that last so long, of a minute that is played again and again."""
    sums = np.concatenate([[0.0], np.cumsum(np.sort(watts)[::-1]) / 10])
    repeats = np.floor(seconds / 60)
    return np.asarray(repeats * sums[-1] + np.interp(seconds - 60 * repeats, np.arange(601) / 10, sums))


@pytest.mark.parametrize("kind", ["steady", "noise", "loud end", "beats", "loud passages"])
def test_hottest_rise_bounds_an_integration(kind: str) -> None:
    """Both heat capacities and copper's resistance integrated window by window over 15 minutes never get hotter, steady power as hot."""
    watts, cold, hottest = windows(kind), np.exp(-0.1 / np.array([3.05, 192.0])), 0.0
    state = np.zeros(2)
    for power in np.tile(watts, 15):
        taken = power / (1 + 0.00393 * state.sum())  # at the temperature before: more than a warming coil takes
        state = state * cold + taken * np.array([28.1, 34.4]) * (1 - cold)
        hottest = max(hottest, float(state.sum()))
    seconds = np.geomspace(0.1, 1e4, 72)
    rise = physics.stretch_rise(heat=SMALL, seconds=seconds, energy_j=worst_order(watts, seconds))
    found = float(physics.hottest_rise(heat=SMALL, cold_rise_k=rise, mean_w=watts.mean())[0])
    assert found >= hottest
    assert found < 3 * hottest
    if kind == "steady":
        assert found == pytest.approx(hottest, rel=0.01)


def test_stretches_of_a_pulse_against_ngspice(tmp_path: Path) -> None:
    """8 s of 4 W after a long 0.5 W, with copper's resistance, in an electrothermal circuit: no less, and at most a quarter more, since what is hotter takes less."""
    heating = ["Vp p 0 PWL(0 0.5 2000 0.5 2000.01 4 2008.01 4 2008.02 0.5)", "B1 0 a I=v(p)/(1+0.00393*v(a))"]
    circuit = float(in_ngspice(tmp_path, heating, tran="0.5 2020 0 0.5")[1].max())
    seconds = np.geomspace(0.1, 1e4, 72)
    energy = 0.5 * seconds + 3.5 * np.minimum(seconds, 8.0)
    rise = physics.stretch_rise(heat=SMALL, seconds=seconds, energy_j=energy)
    found = float(physics.hottest_rise(heat=SMALL, cold_rise_k=rise, mean_w=0.5)[0])
    assert circuit <= found <= 1.25 * circuit
