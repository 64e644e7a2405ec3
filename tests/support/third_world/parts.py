"""Parts of a circuit as ngspice lines: soft ceilings, filters, voice coils, potentiometers.

Each ceiling is soft: it bends before its asymptote, by a tanh or by x/(1 + x^n)^(1/n). What it gives at 1 % THD, the usual
condition of a rating (CTA-2006), is found from the curve itself by brute force.
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, Any

import numpy as np
from netlist import equaliser_section, filter_sections
from scipy import optimize

if TYPE_CHECKING:
    from gainwright.model import FilterSetting

SHAPES = ("tanh", "4", "8", "16")
"""From the softest to the hardest."""


def curve(shape: str, x: Any) -> Any:
    """Return a ceiling's output over its asymptote for an input over its asymptote."""
    if shape == "tanh":
        return np.tanh(x)
    n = int(shape)
    return x / (1 + np.abs(x) ** n) ** (1 / n)


@functools.cache
def at_one_percent(shape: str) -> float:
    """Return the rms of a sine at 1 % THD over the asymptote's peak."""
    turn = np.linspace(0, 2 * np.pi, 4096, endpoint=False)

    def thd(drive: float) -> float:
        lines = np.abs(np.fft.rfft(curve(shape, drive * np.sin(turn))))
        return float(np.sqrt(np.sum(lines[2:] ** 2)) / lines[1])

    drive = float(optimize.brentq(lambda d: thd(d) - 0.01, 0.05, 3.0))
    return float(np.sqrt(np.mean(curve(shape, drive * np.sin(turn)) ** 2)))


class Parts:
    """Collects the lines of a netlist; every method that adds a voltage returns the node that has it."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.over: dict[str, str] = {}
        self._count = 0

    def new(self, kind: str = "n") -> str:
        """Return a new name."""
        self._count += 1
        return f"{kind}{self._count}"

    def ohm(self, a: str, b: str, value: float) -> None:
        """Add a resistor; nothing is below 10 micro-ohm."""
        self.lines.append(f"R{self.new()} {a} {b} {max(value, 1e-5)!r}")

    def farad(self, a: str, b: str, value: float) -> None:
        """Add a capacitor."""
        self.lines.append(f"C{self.new()} {a} {b} {value!r}")

    def henry(self, a: str, b: str, value: float) -> None:
        """Add an inductor."""
        self.lines.append(f"L{self.new()} {a} {b} {value!r}")

    def volts(self, expression: str, at: str = "") -> str:
        """Add a voltage to ground."""
        at = at or self.new()
        self.lines.append(f"B{self.new()} {at} 0 V={expression}")
        return at

    def amps(self, a: str, b: str, expression: str) -> None:
        """Add a current that flows from `a` through the source to `b`."""
        self.lines.append(f"B{self.new()} {a} {b} I={expression}")

    def soft(self, node: str, peak: str, shape: str) -> str:
        """Add a soft ceiling after a node; `peak` is an expression of the asymptote."""
        over = self.volts(f"V({node})/({peak})")
        self.over[over] = shape
        return self.volts(f"({peak})*({bent(over, shape)})")

    def filtered(self, node: str, kind: str, setting: FilterSetting | None, corner_hz: float) -> str:
        """Add a crossover filter, low or high."""
        if setting is None or setting.off:
            return node
        for numerator, denominator in filter_sections(setting, kind):
            node = self.section(node, numerator, denominator, corner_hz)
        return node

    def butterworth(self, node: str, kind: str, corner_hz: float) -> str:
        """Add a second-order Butterworth filter."""
        root = math.sqrt(2)
        numerator = np.array([0, 0, 1.0]) if kind == "low" else np.array([1.0, 0, 0])
        return self.section(node, numerator, np.array([1.0, root, 1.0]), corner_hz)

    def band(self, node: str, kind: str, gain_db: float, corner_hz: float, q: float) -> str:
        """Add a band of an equaliser."""
        return self.section(node, *equaliser_section(kind, gain_db, q), corner_hz)

    def section(self, node: str, numerator: Any, denominator: Any, corner_hz: float) -> str:
        """Add (b2 s^2 + b1 s + b0)/(s^2 + a1 s + a0), s in units of the corner, as two integrators."""
        b2, b1, b0 = (float(x) / float(denominator[0]) for x in numerator)
        _, a1, a0 = (float(x) / float(denominator[0]) for x in denominator)
        x, y = self.new("x"), self.new("y")
        each = 1 / (2 * math.pi * corner_hz)
        inside = self.volts(f"V({node})-({a1!r})*V({x})-({a0!r})*V({y})")
        for source, at in ((inside, x), (x, y)):
            self.farad(at, "0", each)
            self.lines.append(f"G{self.new()} 0 {at} {source} 0 1")
            self.ohm(at, "0", 1e9)
        return self.volts(f"({b2!r})*V({inside})+({b1!r})*V({x})+({b0!r})*V({y})")

    def voice_coil(self, a: str, b: str, coil: VoiceCoil) -> None:
        """Add a loudspeaker: resistance, lossy inductance, resonance."""
        one, two, c = self.new(), self.new(), coil
        self.ohm(a, one, c.re_ohm)
        self.henry(one, two, c.le_henry)
        self.ohm(one, two, c.loss_ohm)
        omega = 2 * math.pi * c.resonance_hz
        self.ohm(two, b, c.re_ohm * c.qms / c.qes)
        self.farad(two, b, c.qes / (c.re_ohm * omega))
        self.henry(two, b, c.re_ohm / (c.qes * omega))


class VoiceCoil:
    """The numbers of a loudspeaker's impedance (the usual equivalent circuit: Small, J. AES 20, 1972, figure 4)."""

    def __init__(
        self, re_ohm: float, le_henry: float, loss_ohm: float, *, resonance_hz: float, qms: float, qes: float
    ) -> None:
        self.re_ohm, self.le_henry, self.loss_ohm = re_ohm, le_henry, loss_ohm
        self.resonance_hz, self.qms, self.qes = resonance_hz, qms, qes

    def scaled(self, factor: float) -> VoiceCoil:
        """Return the same with every impedance times a factor."""
        return VoiceCoil(
            self.re_ohm * factor,
            self.le_henry * factor,
            self.loss_ohm * factor,
            resonance_hz=self.resonance_hz,
            qms=self.qms,
            qes=self.qes,
        )


def bent(node: str, shape: str) -> str:
    """Return the expression of a ceiling's curve of the voltage at a node."""
    if shape == "tanh":
        return f"tanh(V({node}))"
    power = f"V({node})*V({node})"
    for _ in range(int(math.log2(int(shape))) - 1):
        power = f"({power})*({power})"
    root = f"1+{power}"
    for _ in range(int(math.log2(int(shape)))):
        root = f"sqrt({root})"
    return f"V({node})/{root}"
