"""The size of a wire as people say it: an American wire gauge or an area."""

from __future__ import annotations

import re
from dataclasses import dataclass

from gainwright.errors import QuantityError
from gainwright.quantities import parse
from gainwright.texts import say

LARGEST_GAUGE = 30
_GAUGE = re.compile(
    r"(?P<zeros>[1-4])/0(?:\s*(?:awg|ga(?:uge)?)\.?)?|(?:(?P<noughts>0{1,4})|(?P<number>[0-9]{1,2}))\s*(?:awg|ga(?:uge)?)\.?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class WireSize:
    """The size of a wire: its gauge, or its area of metal, the other is None.

    Attributes
    ----------
    gauge : American wire gauge; 1/0 is 0, 2/0 is -1, 4/0 is -3.
    area_m2 : cross-section of the metal.
    """

    text: str
    gauge: int | None = None
    area_m2: float | None = None

    @classmethod
    def parse(cls, text: str) -> WireSize:
        """Read `4 AWG`, `1/0 AWG`, `00 AWG` or `21 mm2`."""
        match = _GAUGE.fullmatch(text.strip())
        if match:
            zeros = int(match["zeros"] or len(match["noughts"] or ""))
            gauge = 1 - zeros if zeros else int(match["number"])
            if gauge > LARGEST_GAUGE:
                raise QuantityError(
                    say("no supply cable is {text}", text=text.strip()),
                    code="out_of_bounds",
                    rule=say("the larger the gauge, the thinner the wire: it is 4/0 to {most}", most=LARGEST_GAUGE),
                    remedy=say("write, for example, 4 AWG or 21 mm2"),
                )
            return cls(text, gauge=gauge)
        area = parse(text, "area")
        if not area.known:
            raise QuantityError(
                say("a size of wire can't be unknown"),
                code="no_quantity",
                remedy=say("leave the key out, or write, for example, 4 AWG or 21 mm2"),
            )
        return cls(text, area_m2=area.nominal)

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text

    __str__ = as_written
