"""Numbers and units as people write them in a job file: `0,5 V`, `75 Watts`, `75 W RMS`, `AWG 4`."""

from __future__ import annotations

import math
import re

from gainwright.errors import QuantityError
from gainwright.texts import say

_COMMA = re.compile(r"(?<![0-9.,])(?P<whole>[0-9]*),(?P<part>[0-9]+)(?![0-9.,])")
_MEAN = re.compile(
    r"(?:(?:\s+|(?<=[wv]))(?:rms|continuous|cont\.?|nominal|nom\.|sine|sinus|(?:per|pro|je)\s(?:channel|side|kanal|seite)|each))+$",
    re.IGNORECASE,
)
_PEAK = re.compile(r"\b(?:max(?:imum)?|peak|pk|pmpo|music)\b\.?|\bv\s?p(?:-?p|k)?$", re.IGNORECASE)
_SEPARATED = re.compile(
    r"(?P<low>[+\-−]?[0-9][0-9.,]*(?:\s*(?![eE]-?[0-9])[A-Za-zµμΩΩ%]{1,5})?)\s*(?:-|–|—|~|\bto\b|\bbis\b)\s*(?P<high>[+\-−]?[0-9.].*)",
    re.IGNORECASE,
)
"""Two ends with a dash or a word between them; not the minus of an exponent."""
_SPELT = {
    "voltage": (re.compile(r"(?P<prefix>[numkµμ]?)\s?v(?:olts?)?", re.IGNORECASE), "V"),
    "resistance": (re.compile(r"(?P<prefix>[mkKM]?)\s?(?:[Oo][Hh][Mm][Ss]?|Ω|Ω)"), "ohm"),
    "power": (re.compile(r"(?P<prefix>[mkK]?)\s?[Ww](?:atts?)?"), "W"),
    "frequency": (re.compile(r"(?P<prefix>[kKM]?)\s?(?:[Hh](?:[Zz]|ertz)|(?<=[kK]))"), "Hz"),
    "current": (re.compile(r"(?P<prefix>[mu]?)\s?[Aa](?:mps?|mperes?)?"), "A"),
    "area": (re.compile(r"(?P<prefix>)(?:sq\.?\s?mm|mm\s?sq\.?|qmm)", re.IGNORECASE), "mm2"),
    "fraction": (re.compile(r"(?P<prefix>)(?:per\s?cent|prozent)", re.IGNORECASE), "%"),
    "ratio": (re.compile(r"(?P<prefix>)[Dd][Bb]"), "dB"),
    "sound level": (re.compile(r"(?P<prefix>)[Dd][Bb]"), "dB"),
}
_GAUGE = re.compile(
    r"(?:(?:awg|gauge)\s*(?P<after>[0-9]{1,2}|[1-4]/0)|(?P<before>[0-9]{1,2})\s*(?:awg|ga(?:uge)?\.?)|(?P<zeros>[1-4]/0)(?:\s*(?:awg|ga(?:uge)?\.?))?)",
    re.IGNORECASE,
)
THINNEST_GAUGE = 40


def with_points(text: str) -> str:
    """Return text with decimal points for decimal commas.

    Raises
    ------
    QuantityError : the comma may group thousands, as in `1,500 W`.
    """

    def point(match: re.Match[str]) -> str:
        whole, part = match["whole"], match["part"]
        if len(part) == 3 and whole.strip("0"):
            raise QuantityError(
                say("the comma in {text} may be a decimal comma or group thousands", text=repr(text)),
                code="no_quantity",
                rule=say("the decimal sign is a point; thousands have no sign"),
                remedy=say(
                    "write {whole}{part} or {whole}.{part2}", whole=whole, part=part, part2=part.rstrip("0") or "0"
                ),
            )
        return f"{whole or '0'}.{part}"

    return _COMMA.sub(point, text)


def with_dots(text: str) -> str:
    """Return text with two dots between the ends of a range that has a dash or a word there: `0.2 - 5 V`, `200 mV to 5 V`."""
    match = None if ".." in text else _SEPARATED.fullmatch(text.strip())
    return text if match is None else f"{match['low'].strip()} .. {match['high'].strip()}"


def standard_unit(unit: str, dimension: str) -> str:
    """Return a unit in its standard spelling, as it is when it has no other.

    A voltage or a power is a mean one (rms, continuous) unless it is said otherwise.

    Raises
    ------
    QuantityError : it is a peak figure.
    """
    if dimension in ("voltage", "power"):
        if _PEAK.search(unit):
            raise QuantityError(
                say("{unit} is a peak figure", unit=repr(unit)),
                code="wrong_unit",
                rule=say("a job has continuous power and rms volts"),
                remedy=say("write the continuous (RMS) figure, or unknown where it isn't given"),
            )
        unit = _MEAN.sub("", unit)
    if dimension not in _SPELT:
        return unit
    pattern, standard = _SPELT[dimension]
    match = pattern.fullmatch(unit)
    return unit if match is None else match["prefix"].replace("K", "k") + standard


def gauge_area_m2(text: str) -> float | None:
    """Return the cross-section of a wire gauge, square metres; None for any other text.

    `AWG 4`, `4 AWG`, `1/0 AWG`. Diameter 0.127 mm x 92^((36 - n)/39), with n = 0, -1, -2, -3 for 1/0 to 4/0 (ASTM B258,
    standard nominal diameters; the formula from memory). Solid wire; a stranded conductor has about the same metal.
    """
    match = _GAUGE.fullmatch(text.strip())
    if match is None:
        return None
    number = match["after"] or match["before"] or match["zeros"]
    n = 1 - int(number[0]) if "/" in number else int(number)
    if n > THINNEST_GAUGE:
        return None
    diameter_m = 0.127e-3 * 92.0 ** ((36 - n) / 39)
    return float(math.pi / 4 * diameter_m**2)
