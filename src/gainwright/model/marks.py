"""One mark of a yes/no indicator: the condition under which it lights."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gainwright.errors import QuantityError
from gainwright.quantities import Quantity, parse
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

MarkOf = Literal["level", "fundamental", "thd"]
DIMENSION_OF: dict[str, str] = {"level": "voltage", "fundamental": "voltage", "thd": "fraction"}
"""What a mark monitors -> the dimension of its threshold."""
EXAMPLE = "thd over 3 %"
BAND_RATIO = 10 ** (3 / 10 / 6)
"""Edges of a one-third-octave band about its centre frequency (IEC 61260-1:2014, 5.2 and 5.6: G = 10^(3/10), G^(1/6))."""
_CONDITION = re.compile(
    r"(?P<of>[a-z]+)\s+over\s+(?P<threshold>.+?)(?:\s+at\s+(?P<tuned>[^@]+?))?\s*", re.IGNORECASE | re.DOTALL
)


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark lights when the quantity it monitors reaches a threshold.

    Attributes
    ----------
    of : `level`, the rms of the whole signal; `fundamental`, the tone without its harmonics; `thd`, its distortion.
    threshold : volts, or a ratio for `thd`; it may have a spread.
    tuned : the centre of the one-third-octave band that it is tuned to; None for any frequency.
    """

    text: str
    of: MarkOf
    threshold: Quantity
    tuned: Quantity | None = None

    @classmethod
    def parse(cls, text: str) -> Mark:
        """Read `level over 0.5 V`, `fundamental over 1 V at 1 kHz` or `thd over 3 %`.

        Raises
        ------
        QuantityError : not a condition.
        """
        match = _CONDITION.fullmatch(text.strip())
        of = match["of"].lower() if match else ""
        if not match or of not in DIMENSION_OF:
            raise _wrong(text, say("level over V, fundamental over V or thd over %, with at Hz if it is tuned"))
        threshold = parse(match["threshold"], DIMENSION_OF[of])
        if not threshold.known or not threshold.interval[0] > 0:
            raise _wrong(text, say("the threshold must be known and above zero"))
        tuned = parse(match["tuned"], "frequency") if match["tuned"] else None
        if tuned is not None and not (tuned.known and tuned.interval[0] == tuned.interval[1] > 0):
            raise _wrong(text, say("the frequency that it is tuned to must have no spread"))
        return cls(text, of, threshold, tuned)  # type: ignore[arg-type]

    def passes(self, frequency_hz: float) -> bool:
        """Return whether a frequency is in the band that the mark is tuned to; always True when it isn't tuned."""
        low_hz, high_hz = self.band_hz
        return low_hz <= frequency_hz <= high_hz

    @property
    def band_hz(self) -> tuple[float, float]:
        """The ends of that band in Hz; 0 and infinity for a mark that isn't tuned."""
        if self.tuned is None:
            return 0.0, math.inf
        return self.tuned.nominal / BAND_RATIO, self.tuned.nominal * BAND_RATIO

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text


def describe_marks(lit: Sequence[str]) -> str:
    """Return the lit marks of an indicator in words."""
    return joined([say("{mark} lit", mark=mark) for mark in lit], by="{a} and {b}") or say("no mark lit")


def _wrong(text: str, rule: str) -> QuantityError:
    return QuantityError(
        say("{text} is not a valid condition of a mark", text=repr(text[:60])),
        code="no_quantity",
        rule=rule,
        remedy=say("write, for example, {example}", example=EXAMPLE),
    )
