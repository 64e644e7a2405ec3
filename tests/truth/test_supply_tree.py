"""The supply tree against ngspice under the envelopes of real music, and against nodal equations solved by scipy."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy import optimize

from gainwright.solve import Branch, Source, SupplyTree, Taken

if TYPE_CHECKING:
    from pathlib import Path

TREES, POINTS, STEP_S = 50, 40, 0.5
MUSIC = "/usr/share/hyperrogue/music/hr3-caves.ogg"


def envelope() -> np.ndarray:
    """Return the mean square over half seconds of a piece of music, its largest 1; shape (points,)."""
    import soundfile

    samples, rate = soundfile.read(MUSIC, frames=int(POINTS * STEP_S * 44_100), always_2d=True)
    each = int(STEP_S * rate)
    power = np.mean(samples[: POINTS * each, 0].reshape(POINTS, each) ** 2, axis=1)
    return np.asarray(power / power.max())


def random_tree(rng: np.random.Generator) -> tuple[SupplyTree, Source, dict[str, float], set[str]]:
    """Return a tree of one to five cables, its source, device -> largest power, and the devices that are resistances."""
    count = int(rng.integers(1, 6))
    branches, powers, follow = [], {}, set()
    for i in range(count):
        source = "battery" if i == 0 or rng.random() < 0.3 else f"c{rng.integers(0, i)}"
        feeds = (f"d{i}",) if i == count - 1 or rng.random() < 0.7 else ()
        branches.append(Branch(f"c{i}", source, feeds, float(rng.uniform(0.001, 0.02))))
        for device in feeds:
            powers[device] = float(rng.uniform(30, 500))
            follow |= {device} if rng.random() < 0.4 else set()
    engine = rng.random() < 0.5
    source_of = Source(14.2, 12.6, float(rng.uniform(0.003, 0.012)), np.inf if engine else 0.0, 0.0)
    return SupplyTree(tuple(branches), ()), source_of, powers, follow


def load(watts: Any, *, follows: bool) -> Taken:
    """Return a device that takes constant power, or what it takes at 14.4 V like a resistance."""
    return Taken(0.0, watts, 14.4) if follows else Taken(watts)


def netlist(trees: list[Any], shape: np.ndarray, out: Path) -> str:
    """Return all trees as one circuit: an ideal source with the battery's resistance, cables, and sources that take P/V or P V/Vr2."""
    points = " ".join(f"{i * STEP_S:g} {p:.9g}" for i, p in enumerate(shape))
    lines, wanted = ["supplies", f"Vp p 0 PWL({points})"], []
    for t, (tree, source, powers, follow) in enumerate(trees):
        engine = np.isinf(source.alternator_a)
        lines += [f"V{t} e{t} 0 {source.running_v if engine else source.battery_v}"]
        lines += [f"R{t} e{t} n{t}_battery {1e-9 if engine else source.battery_ohm:.9g}"]
        for b in tree.branches:
            lines.append(f"R{t}{b.name} n{t}_{b.source} n{t}_{b.name} {b.ohm:.9g}")
            for d in b.feeds:
                node = f"v(n{t}_{b.name})"
                law = f"{powers[d]:.9g}*v(p)*{node}/207.36" if d in follow else f"{powers[d]:.9g}*v(p)/{node}"
                lines += [f"B{t}{d} n{t}_{b.name} 0 I={law}", f".nodeset {node}=12"]
                wanted.append(node)
    lines += [
        ".control",
        "set wr_singlescale",
        f"tran 0.05 {(POINTS - 1) * STEP_S:g}",
        f"wrdata {out} {' '.join(wanted)}",
    ]
    return "\n".join([*lines, ".endc", ".end", ""])


def test_fifty_trees_under_music_as_in_ngspice(tmp_path: Path) -> None:
    """Voltage at every device over 20 s of music within 0.5 % of the circuit; 2 % would do."""
    rng, shape, out = np.random.default_rng(4), envelope(), tmp_path / "out.txt"
    trees = [random_tree(rng) for _ in range(TREES)]
    path = tmp_path / "supplies.cir"
    path.write_text(netlist(trees, shape, out), encoding="ascii")
    subprocess.run(("ngspice", "-b", str(path)), capture_output=True, check=False)
    table = np.loadtxt(out)
    times = np.arange(POINTS - 1) * STEP_S
    columns = iter(range(1, table.shape[1]))
    lowest = 15.0
    for tree, source, powers, follow in trees:
        taken = {d: load(p * shape[:-1], follows=d in follow) for d, p in powers.items()}
        state = tree.solve(source, taken)
        for branch in tree.branches:
            for device in branch.feeds:
                circuit = np.interp(times, table[:, 0], table[:, next(columns)])
                np.testing.assert_allclose(state.devices_v[device], circuit, rtol=0.005)
                lowest = min(lowest, float(circuit.min()))
    assert lowest < 11  # some of them are loaded hard


def test_as_nodal_equations_say() -> None:
    """Node voltages of random trees from Kirchhoff's equations by scipy's root finder, to a millivolt."""
    rng = np.random.default_rng(8)
    for _ in range(30):
        tree, source, powers, follow = random_tree(rng)
        names = [b.name for b in tree.branches]

        def balance(
            volts: np.ndarray,
            tree: Any = tree,
            source: Any = source,
            powers: Any = powers,
            follow: Any = follow,
            names: Any = names,
        ) -> np.ndarray:
            at = dict(zip(["battery", *names], volts, strict=True))
            through = {b.name: (at[b.source] - at[b.name]) / b.ohm for b in tree.branches}
            first = sum(through[b.name] for b in tree.branches if b.source == "battery")
            wanted = (
                source.running_v if np.isinf(source.alternator_a) else source.battery_v - source.battery_ohm * first
            )
            found = [at["battery"] - wanted]
            for b in tree.branches:
                out = sum(through[c.name] for c in tree.branches if c.source == b.name)
                for d in b.feeds:
                    out += powers[d] * at[b.name] / 14.4**2 if d in follow else powers[d] / at[b.name]
                found.append(through[b.name] - out)
            return np.array(found)

        roots = optimize.root(balance, np.full(len(names) + 1, 12.0), tol=1e-10)
        assert roots.success
        state = tree.solve(source, {d: load(p, follows=d in follow) for d, p in powers.items()})
        for b, volts in zip(tree.branches, roots.x[1:], strict=True):
            for d in b.feeds:
                assert float(state.devices_v[d]) == pytest.approx(volts, abs=1e-3)


def test_battery_takes_over_where_the_alternator_ends() -> None:
    """Below its current the alternator holds its voltage; a resistive load may stand between both voltages at just that current."""
    tree = SupplyTree((Branch("c", "battery", ("d",), 1e-6),), ())
    source = Source(14.2, 12.6, 0.01, 60.0, 20.0)
    # 1000 W: V = 12.6 - 0.01 (1000/V + 20 - 60) is a quadratic, V^2 - 13 V + 10 = 0
    falls = (13.0 + np.sqrt(13.0**2 - 40)) / 2
    for taken, volts in ((Taken(500.0), 14.2), (Taken(0.0, 40 * 13.5, 13.5), 13.5), (Taken(1000.0), falls)):
        state = tree.solve(source, {"d": taken})
        assert float(state.devices_v["d"]) == pytest.approx(volts, abs=1e-3)


def test_collapse_is_no_number() -> None:
    """Beyond E^2/(4 R): 14.2 V over 20 milliohm gives 2520 W at most."""
    tree, source = SupplyTree((Branch("c", "battery", ("d",), 0.02),), ()), Source(14.2, 12.6, 0.0, np.inf, 0.0)
    state = tree.solve(source, {"d": Taken(np.array([2500.0, 2540.0]))})
    assert float(state.devices_v["d"][0]) == pytest.approx(7.1 + np.sqrt(7.1**2 - 0.02 * 2500), abs=1e-6)
    assert np.isnan(state.devices_v["d"][1])


def test_a_device_of_both_kinds() -> None:
    """A chassis of which 400 W are held and 600 W at 14.4 V follow: V = E - R (400/V + 600 V/14.4^2), roots by numpy; alone and in the tree."""
    tree, source = SupplyTree((Branch("c", "battery", ("d",), 0.02),), ()), Source(14.2, 12.6, 0.0, np.inf, 0.0)
    taken = Taken(400.0, 600.0, 14.4)
    by_hand = max(np.roots([1 + 0.02 * 600 / 14.4**2, -14.2, 0.02 * 400]).real)
    assert float(taken.voltage(np.array(14.2), 0.02)) == pytest.approx(by_hand, abs=1e-9)
    assert float(tree.solve(source, {"d": taken}).devices_v["d"]) == pytest.approx(by_hand, abs=1e-6)
    assert np.isnan(Taken(2600.0, 600.0, 14.4).voltage(np.array(14.2), 0.02))
