"""A job's chain as an ngspice netlist, written from the job and its wiring with its own arithmetic.

Every loading is resistors, every filter section two integrators (capacitors fed by controlled currents), every ceiling a
min/max source; ngspice's transient then finds the steady state by itself. Nothing here comes from `gainwright.solve` or
`gainwright.physics`.
"""

from __future__ import annotations

import math
import re
import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import optimize, signal

from gainwright.model import Amplifier, Converter, HeadUnit, LevelControl, LineDriver, Processor

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.model import FilterSetting, Job, Node, Port, Wiring

STEPS = 1000
"""Largest time step: this share of a period; twice as many change no rms by 0.0003 dB and no THD by 0.00015 of it."""


def depth_at_one_percent() -> float:
    """Return the rms of a sine clipped to 1 % THD over the sine that just touches, by brute force on 2^16 points."""
    turn = np.linspace(0, 2 * np.pi, 2**16, endpoint=False)

    def thd(drive: float) -> float:
        lines = np.abs(np.fft.rfft(np.clip(drive * np.sin(turn), -1, 1)))
        return float(np.sqrt(np.sum(lines[2:] ** 2)) / lines[1])

    drive = float(optimize.brentq(lambda d: thd(d) - 0.01, 1.001, 1.2))
    return float(np.sqrt(2 * np.mean(np.clip(drive * np.sin(turn), -1, 1) ** 2)))


class Netlist:
    """One chain, one tone, one set of settings.

    Parameters
    ----------
    values, stand : fact path -> value, control -> place; all of them.
    """

    def __init__(
        self,
        job: Job,
        wiring: Wiring,
        values: Mapping[str, float],
        stand: Mapping[str, float],
        *,
        tone_hz: float,
        level_dbfs: float,
    ) -> None:
        self.job, self.wiring, self.values, self.stand = job, wiring, values, stand
        self.tone_hz, self.level_dbfs = tone_hz, level_dbfs
        peak = 10 ** (level_dbfs / 20)
        self.lines = [f"Vsrc src 0 DC 0 AC {peak!r} SIN(0 {peak!r} {tone_hz!r})"]
        self._count = 0
        self._leads = {(node, port): str(run) for run, pairs in wiring.leads.items() for node, port in pairs}
        for name in wiring.order:
            self._stage(name)

    def run(self, *, periods: int) -> dict[Node, np.ndarray]:
        """Settle for `periods`; return one more of each output node, volts, shape (STEPS,)."""
        period = 1 / self.tone_hz
        step = period / STEPS
        commands = [
            f"tran {step!r} {(periods + 1) * period!r} {periods * period!r} {step!r} uic",
            f"linearize {self._saved}",
        ]
        columns = self._table(commands)
        assert len(columns) >= STEPS, "ngspice stopped early"
        return {node: columns[:STEPS, i + 1] for i, node in enumerate(self.wiring.nodes)}

    def phasors(self) -> dict[Node, complex]:
        """Return each output node's phasor as long as nothing clips, peak volts: ngspice's small-signal analysis at rest."""
        (row,) = np.atleast_2d(self._table([f"ac lin 1 {self.tone_hz!r} {self.tone_hz!r}"]))
        return {node: complex(row[2 * i + 1], row[2 * i + 2]) for i, node in enumerate(self.wiring.nodes)}

    @property
    def _saved(self) -> str:
        return " ".join(f"v({_name(n)})" for n in self.wiring.nodes)

    def _text(self, commands: Sequence[str], save: Path) -> str:
        return "\n".join(
            [
                "chain",
                *self.lines,
                ".options reltol=1e-5 abstol=1e-9 vntol=1e-8 method=trap",
                ".control",
                "set wr_singlescale",
                "set numdgt=10",
                *commands,
                f"wrdata {save} {self._saved}",
                "quit",
                ".endc",
                ".end",
                "",
            ]
        )

    def _table(self, commands: Sequence[str]) -> np.ndarray:
        """Run ngspice; return what the commands leave of each output node as a table, the scale first."""
        with tempfile.TemporaryDirectory() as folder:
            netlist, table = Path(folder, "chain.cir"), Path(folder, "chain.txt")
            netlist.write_text(self._text(commands, table), encoding="utf-8")
            done = subprocess.run(("ngspice", "-b", str(netlist)), capture_output=True, text=True, check=False)
            assert table.is_file(), done.stdout + done.stderr
            return np.loadtxt(table)

    # ---- stages ------------------------------------------------------------------------------------------------

    def _stage(self, name: str) -> None:
        stage = self.job.stages[name]
        for port in self.wiring.ports(name):
            self._port(port, speaker=not self.wiring.outputs(name))
        for node in self.wiring.outputs(name):
            if isinstance(stage, HeadUnit):
                into = "V(src)"
            else:
                into = "+".join(f"{r.share!r}*V({_name(r.port)})" for r in self.wiring.routes[node])
            emf = self._through(node, stage, into)
            if getattr(stage, "balanced", False):
                self._two_legs(node, emf)
                continue
            self._b(f"emf_{_name(node)}", emf)
            digital = node in self.wiring.digital
            ohm = 1e-6 if digital else max(self.values[f"{name}.output_impedance"], 1e-6)
            self.lines.append(f"R{self._next()} emf_{_name(node)} {_name(node)} {ohm!r}")
            self.lines.append(f"R{self._next()} {_name(node)} 0 1e12")

    def _two_legs(self, node: Node, emf: str) -> None:
        """Lay out a balanced output: half of the EMF on each leg, of opposite sign, behind half of the impedance."""
        half_ohm = self.values[f"{node.stage}.output_impedance"] / 2
        for leg, sign in (("hot", 0.5), ("cold", -0.5)):
            self._b(f"emf_{leg}_{_name(node)}", f"{sign}*({emf})")
            self.lines.append(f"R{self._next()} emf_{leg}_{_name(node)} {leg}_{_name(node)} {half_ohm!r}")
            self.lines.append(f"R{self._next()} {leg}_{_name(node)} 0 1e12")
            for port in self.wiring.ports_fed_by(node):
                if self.values[f"{port.stage}.balanced_input"] <= 0.5 and leg == "cold":
                    self.lines.append(f"R{self._next()} cold_{_name(node)} 0 1e-6")
        self._b(_name(node), f"V(hot_{_name(node)})-V(cold_{_name(node)})")

    def _port(self, port: Port, *, speaker: bool) -> None:
        name = port.stage
        if any(feed.node in self.wiring.digital for feed in self.wiring.feeds[port]):
            # a digital link: samples, not volts; full scale stands at 1 V rms
            self._b(_name(port), f"V({_name(self.wiring.feeds[port][0].node)})")
            return
        if len(self.wiring.feeds[port]) == 2 and any(feed.share < 0 for feed in self.wiring.feeds[port]):
            self._between(port)
            return
        ohm = self.values[f"{name}.impedance" if speaker else f"{name}.input_impedance"]
        parts = []
        for feed in self.wiring.feeds[port]:
            at = f"at_{_name(port)}_{_name(feed.node)}"
            lead = max(self.values[f"{self._leads[feed.node, port]}.resistance"], 1e-6)
            balanced = getattr(self.job.stages[feed.node.stage], "balanced", False)
            hot, cold = (
                f"{leg}_{_name(feed.node)}" if balanced else alone
                for leg, alone in (("hot", _name(feed.node)), ("cold", "0"))
            )
            self.lines.append(f"R{self._next()} {hot} {at} {lead!r}")
            self.lines.append(f"R{self._next()} {at} {cold} {ohm!r}")
            parts.append(f"{feed.share!r}*(V({at})-V({cold}))" if balanced else f"{feed.share!r}*V({at})")
        if not speaker:
            limit = self.values.get(f"{name}.input_limit", math.inf)
            self._b(_name(port), _clipped("+".join(parts), math.sqrt(2) * limit))

    def _between(self, port: Port) -> None:
        """A load between two outputs: one conductor of each lead, and no ground anywhere."""
        ends = []
        for feed in self.wiring.feeds[port]:
            ends.append(f"at_{_name(port)}_{_name(feed.node)}")
            lead = max(self.values[f"{self._leads[feed.node, port]}.resistance"] / 2, 1e-6)
            self.lines.append(f"R{self._next()} {_name(feed.node)} {ends[-1]} {lead!r}")
        self.lines.append(f"R{self._next()} {ends[0]} {ends[1]} {self.values[f'{port.stage}.impedance']!r}")

    def _through(self, node: Node, stage: Any, into: str) -> str:
        """Return the expression of an output's EMF."""
        name, values = node.stage, self.values
        if isinstance(stage, HeadUnit):
            out = stage.outputs[node.output]
            shaped = self._shape(into, f"{name}.tone", stage.tone, f"{name}.{node.output}", out.low_pass, out.high_pass)
            if stage.tone is not None and not stage.tone.flat:
                shaped = _clipped(shaped, 1.0)
            if f"{name}.factory.bass_at_top" in values:
                along = (self.stand[f"{name}.volume"] - 1) / ((stage.volume.steps or 40) - 1)
                ends = (values[f"{name}.factory.bass_at_bottom"], values[f"{name}.factory.bass_at_top"])
                section = equaliser_section("low-shelf", ends[0] + (ends[1] - ends[0]) * along, math.sqrt(0.5))
                shaped = self._section(shaped, *section, values[f"{name}.factory.bass_corner"])
            db = self.stand[f"{name}.{node.output}.level"] + self._volume_db(name, stage.volume)
            peak = math.sqrt(2) * (1.0 if node in self.wiring.digital else values[f"{name}.output_limit"])
            return _clipped(f"{peak * 10 ** (db / 20)!r}*({shaped})", peak)
        if isinstance(stage, Processor):
            return self._processor(node, stage, into)
        if isinstance(stage, Amplifier):
            return self._amplifier(node, stage, into)
        if isinstance(stage, LineDriver | Converter):
            key = "gain" if isinstance(stage, LineDriver) else "ratio"
            gained = f"{10 ** (values[f'{name}.{key}'] / 20)!r}*({into})"
            return _clipped(gained, math.sqrt(2) * values[f"{name}.output_limit"])
        assert isinstance(stage, LevelControl)
        return f"{10 ** (self.stand[f'{name}.level'] / 20)!r}*({into})"

    def _processor(self, node: Node, stage: Processor, into: str) -> str:
        name, path, out = node.stage, f"{node.stage}.{node.output}", stage.outputs[node.output]
        shaped = self._shape(into, f"{path}.equaliser", out.equaliser, path, out.low_pass, out.high_pass)
        fed_digitally = f"{name}.digital_gain" in self.values
        assert not (fed_digitally and f"{name}.gain" in self.values), "no processor here has both kinds of inputs"
        if stage.digital:
            shaped = _clipped(shaped, math.sqrt(2) * (1.0 if fed_digitally else self.values[f"{name}.input_limit"]))
        sign = 0.0 if out.mute else -1.0 if out.polarity == "reversed" else 1.0
        db = self.stand[f"{path}.level"] + (self._volume_db(name, stage.volume) if stage.volume is not None else 0.0)
        if fed_digitally:
            gain = sign * self.values[f"{name}.output_limit"] * 10 ** ((self.values[f"{name}.digital_gain"] + db) / 20)
        else:
            gain = sign * 10 ** ((self.values[f"{name}.gain"] + db) / 20)
        return _clipped(f"{gain!r}*({shaped})", math.sqrt(2) * self.values[f"{name}.output_limit"])

    def _amplifier(self, node: Node, stage: Amplifier, into: str) -> str:
        name, values = node.stage, self.values
        shaped = self._shape(into, f"{name}.boost", stage.boost, f"{name}.out", stage.low_pass, stage.high_pass)
        load = self._load_ohm(node)
        ratings = [(values[f"{name}.power.{i}"], r.load.nominal) for i, r in enumerate(stage.power)]
        inside = values[f"{name}.output_impedance"]
        # gain: rated power of the nearest load from the sensitivity at this place of the gain control
        power, ohm = min(ratings, key=lambda r: abs(math.log(r[1] / load)) if math.isfinite(load) else -r[1])
        place = self.stand[f"{name}.gain"]
        place = min(1.0, max(0.0, place + 4 * values[f"{name}.gain.bend"] * place * (1 - place)))
        switch = list(stage.input_ranges)
        ends = (
            f"{name}.input_ranges.{switch[int(self.stand[f'{name}.input_range'])]}" if switch else f"{name}.sensitivity"
        )
        sensitivity = values[f"{ends}.down"] ** (1 - place) * values[f"{ends}.up"] ** place
        gain = math.sqrt(power * ohm) * (ohm + inside) / ohm / sensitivity
        gain *= 10 ** (self.stand.get(f"{name}.remote_level", 0.0) / 20) * (-1 if stage.polarity == "reversed" else 1)
        # ceiling: linear in the load's conductance between ratings, current of the lowest load below it
        clean = 10 ** (values[f"{name}.headroom"] / 20) / depth_at_one_percent()
        points = sorted((1 / r, math.sqrt(p * r) * clean * (r + inside) / r) for p, r in ratings)
        siemens = 1 / load
        ceiling = float(np.interp(siemens, [p[0] for p in points], [p[1] for p in points]))
        if siemens > points[-1][0]:
            ceiling = points[-1][1] / (1 / points[-1][0] + inside) * (load + inside)  # that current, through both
        if not stage.regulated:
            beside = [n for n, s in self.job.stages.items() if n == name or getattr(s, "chassis", 0) == stage.chassis]
            supplies = [values[f"{n}.supply.running"] for n in beside if f"{n}.supply.running" in values]
            ceiling *= (supplies or [values["vehicle.running"]])[0] / values[f"{name}.rated_at"]
        return _clipped(f"{gain!r}*({shaped})", math.sqrt(2) * ceiling)

    def _volume_db(self, name: str, volume: Any) -> float:
        down = (volume.steps or 40) - self.stand[f"{name}.volume"]
        return self.values[f"{name}.volume.top"] - down * self.values[f"{name}.volume.step"]

    def _load_ohm(self, node: Node) -> float:
        siemens = 0.0
        for port in self.wiring.ports_fed_by(node):
            lead = self.values[f"{self._leads[node, port]}.resistance"]
            loop = self.values[f"{port.stage}.impedance"] + lead
            siemens += (1 if len(self.wiring.feeds[port]) == 1 else 2) / loop
        return 1 / siemens if siemens else math.inf

    # ---- parts -------------------------------------------------------------------------------------------------

    def _shape(
        self, into: str, bands: str, equaliser: Any, path: str, low: FilterSetting | None, high: FilterSetting | None
    ) -> str:
        for i, band in enumerate(equaliser.bands if equaliser else ()):
            gain, corner, q = (self.values[f"{bands}.{i}.{key}"] for key in ("gain", "corner", "q"))
            into = self._section(into, *equaliser_section(band.kind, gain, q), corner)
        for kind, setting in (("low", low), ("high", high)):
            if setting is not None and not setting.off:
                for numerator, denominator in filter_sections(setting, kind):
                    into = self._section(into, numerator, denominator, self.values[f"{path}.{kind}_pass.corner"])
        return into

    def _section(self, into: str, numerator: np.ndarray, denominator: np.ndarray, corner_hz: float) -> str:
        """Lay out (b2 s^2 + b1 s + b0)/(s^2 + a1 s + a0), s in units of the corner, as two integrators."""
        b2, b1, b0 = (float(x) / float(denominator[0]) for x in numerator)
        _, a1, a0 = (float(x) / float(denominator[0]) for x in denominator)
        n = self._next()
        farad = 1 / (2 * math.pi * corner_hz)
        self._b(f"u{n}", into)
        self._b(f"e{n}", f"V(u{n})-{a1!r}*V(x{n})-{a0!r}*V(y{n})")
        self.lines += [f"C{n}x x{n} 0 {farad!r}", f"G{n}x 0 x{n} e{n} 0 1", f"R{n}x x{n} 0 1e12"]
        self.lines += [f"C{n}y y{n} 0 {farad!r}", f"G{n}y 0 y{n} x{n} 0 1", f"R{n}y y{n} 0 1e12"]
        return f"({b2!r}*V(e{n})+{b1!r}*V(x{n})+{b0!r}*V(y{n}))"

    def _b(self, at: str, expression: str) -> None:
        self.lines.append(f"B{self._next()} {at} 0 V={expression}")

    def _next(self) -> int:
        self._count += 1
        return self._count


def _name(place: Any) -> str:
    return re.sub(r"[^a-z0-9]+", "_", str(place).lower())


def _clipped(expression: str, peak: float) -> str:
    return f"max(min({expression},{peak!r}),{-peak!r})" if math.isfinite(peak) else expression


def filter_sections(setting: FilterSetting, kind: str) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return second-order sections (numerator, denominator in s, unit corner) by scipy.signal's analogue designs."""
    order = setting.slope_db_per_octave // 6
    if setting.shape == "linkwitz-riley":
        half = _designed(signal.butter(order // 2, 1, kind, analog=True, output="zpk"))
        return half + half
    if setting.shape == "bessel":
        return _designed(signal.bessel(order, 1, kind, analog=True, output="zpk", norm="mag"))
    return _designed(signal.butter(order, 1, kind, analog=True, output="zpk"))


def _designed(zpk: Any) -> list[tuple[np.ndarray, np.ndarray]]:
    zeros, poles, gain = zpk
    found = []
    waiting = sorted(poles, key=lambda p: (abs(p.imag) < 1e-9, p.real, abs(p.imag), p.imag))
    zeros = list(zeros)
    while waiting:
        taken = waiting[:2] if len(waiting) > 1 and abs(waiting[0].imag) > 1e-9 else waiting[:1]
        waiting = waiting[len(taken) :]
        numerator = np.atleast_1d(np.poly(zeros[: len(taken)]).real)
        zeros = zeros[len(taken) :]
        denominator = np.poly(taken).real
        if len(taken) == 1:  # a first-order section, made second order by a pole and a zero that cancel at s = -1
            numerator, denominator = np.polymul(numerator, [1, 1]), np.polymul(denominator, [1, 1])
        found.append((np.pad(numerator, (3 - len(numerator), 0)), denominator))
    first, rest = found[0], found[1:]
    return [(first[0] * gain.real, first[1]), *rest]


def equaliser_section(kind: str, gain_db: float, q: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the analogue prototypes of the published audio equaliser cookbook (W3C note, 8 June 2021)."""
    a = 10 ** (gain_db / 40)
    if kind == "peak":
        return np.array([1, a / q, 1]), np.array([1, 1 / (a * q), 1])
    root = math.sqrt(a) / q
    low = a * np.array([1, root, a]), np.array([a, root, 1])
    if kind == "low-shelf":
        return low
    return a * np.array([a, root, 1]), np.array([1, root, a])
