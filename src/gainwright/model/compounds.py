"""Values of more than one number, each parsed from one text: filters, equaliser bands, ratings, coils, accuracy."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import ClassVar

from gainwright.errors import QuantityError
from gainwright.model.filter_texts import FILTER_SLOPES, bare_corner, no_shape, read_filter
from gainwright.quantities import Exact, Quantity, Uniform, parse, with_dots, with_points
from gainwright.texts import say

_BAND = re.compile(
    r"(?P<kind>peak|low-shelf|high-shelf)\s+(?P<gain>.+?)\s+at\s+(?P<corner>.+?)\s+q\s+(?P<q>.+)", re.IGNORECASE
)
_COILS = re.compile(
    r"(?:(?P<number>[0-9]{1,2})\s*[x×]|dual|dvc)\s*(?P<each>.+?)(?:\s+(?:in\s+)?(?P<wiring>parallel|series|separate|series-parallel))?",
    re.IGNORECASE,
)
_INTO = re.compile(
    r"\s*@\s*|\s+(?:at|into|in|on|an|bei)\s+|\s*/\s*(?=[0-9])|(?:(?<=w)|(?<=watt)|(?<=watts)|(?<=rms))\s*,?\s+(?=[0-9])",
    re.IGNORECASE,
)
_CHANNELS = re.compile(
    r"^[0-9]+\s*[x×]\s*(?=[0-9])|\s*[x×]\s*[0-9]+(?=\s*(?:rms\s*)?(?:@|at\b|into\b|in\b|on\b|an\b|bei\b))",
    re.IGNORECASE,
)
"""`4 x 75 W` and `75 W x 4`: the number of channels and the rating of each."""
_REFERENCE = re.compile(r"\s*[@(/]\s*|,?\s+(?=1\s*W|2[.,]83\s*V)", re.IGNORECASE)
_AT = re.compile(r"(?:(?P<watt>1?W)|2[.,]83V)?(?:[/@,]?1?m)?\)?", re.IGNORECASE)
"""What a sensitivity refers to: `1 W/1 m`, `W/m`, `2.83 V`, `2.83 V / 1 m`."""
_ACCURACY = re.compile(r"(?P<ratio>[^+]+?%)?\s*\+?\s*(?:(?P<counts>[0-9]{1,6})\s*(?:counts|digits|count|digit))?")


def _wrong(text: str, name: str, example: str, rule: str = "") -> QuantityError:
    return QuantityError(
        say("{text} is not a valid {name}", text=repr(text), name=name),
        code="no_quantity",
        rule=rule,
        remedy=say("write, for example, {example}", example=example),
    )


def _above_zero(found: Quantity) -> Quantity | None:
    """Return a known quantity with draws above zero; None when it is unknown or reaches zero."""
    return found.above_zero() if found.known else None


@dataclass(frozen=True, slots=True)
class FilterSetting:
    """A crossover filter as set: shape, slope and corner, or `off`."""

    text: str
    shape: str = ""
    slope_db_per_octave: int = 0
    corner: Quantity | None = None

    @classmethod
    def parse(cls, text: str) -> FilterSetting:
        """Read `off` or `linkwitz-riley 24 at 80 Hz`."""
        if text.strip().lower() == "off":
            return cls(text)
        found = read_filter(text)
        if found is None:
            if (bare := bare_corner(text)) is not None:
                raise no_shape(text, bare)
            raise _wrong(
                text,
                say("filter"),
                say("linkwitz-riley 24 at 80 Hz, or off"),
                say("shapes are {listed}", listed=", ".join(FILTER_SLOPES)),
            )
        shape, slope, corner = found
        if slope not in FILTER_SLOPES[shape]:
            slopes = ", ".join(map(str, FILTER_SLOPES[shape]))
            raise _wrong(
                text,
                say("filter"),
                say("{shape} 24 at 80 Hz", shape=shape),
                say("{shape} slopes are {slopes} dB/octave", shape=shape, slopes=slopes),
            )
        if not (corner.known and corner.interval[0] > 0):
            rule = say("its corner must be known, if only as a span, and above zero")
            raise _wrong(
                text, say("filter"), say("{shape} {slope} at 60 .. 120 Hz, or off", shape=shape, slope=slope), rule
            )
        return cls(text, shape, slope, corner)

    @property
    def off(self) -> bool:
        """Whether it passes everything."""
        return self.corner is None

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text

    __str__ = as_written


@dataclass(frozen=True, slots=True)
class FilterRange:
    """The adjustment range of a filter: `fixed`, or the ends of its corner, and whether it can be switched off."""

    text: str
    low_hz: float = 0.0
    high_hz: float = 0.0
    can_be_off: bool = False

    @classmethod
    def parse(cls, text: str) -> FilterRange:
        """Read `fixed`, `50 .. 250 Hz`, `50 .. 250 Hz or off`, `free`."""
        plain = text.strip().lower()
        if plain == "fixed":
            return cls(text)
        if plain == "free":
            return cls(text, 1.0, 100e3, can_be_off=True)
        ends, _, rest = text.partition(" or ")
        ends = with_dots(with_points(ends))
        if rest.strip().lower() not in ("", "off") or ".." not in ends:
            raise _wrong(text, say("range of a filter"), say("50 .. 250 Hz or off"), say("fixed, free, or two ends"))
        spread = parse(ends, "frequency").spread
        if not isinstance(spread, Uniform):
            raise _wrong(text, say("range of a filter"), say("50 .. 250 Hz or off"))
        low, high = spread.low, spread.high
        return cls(text, low, high, can_be_off=bool(rest))

    @property
    def fixed(self) -> bool:
        """Whether it can't be adjusted."""
        return self.high_hz == 0.0 and not self.can_be_off

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text


@dataclass(frozen=True, slots=True)
class EqualiserBand:
    """One band: `peak +3 dB at 50 Hz q 1.2`; gain, corner and q as in the W3C Audio EQ Cookbook."""

    text: str
    kind: str
    gain: Quantity
    corner: Quantity
    q: Quantity

    @classmethod
    def parse(cls, text: str) -> EqualiserBand:
        """Read one band."""
        match = _BAND.fullmatch(text.strip())
        if not match:
            raise _wrong(
                text, say("equaliser band"), "peak +3 dB at 50 Hz q 1.2", say("peak, low-shelf or high-shelf, or flat")
            )
        return cls(
            text,
            match["kind"].lower(),
            parse(match["gain"], "ratio"),
            parse(match["corner"], "frequency"),
            parse(match["q"], "number"),
        )


@dataclass(frozen=True, slots=True)
class Equaliser:
    """Any number of equaliser bands, or none."""

    bands: tuple[EqualiserBand, ...]
    text: str | tuple[str, ...] = "flat"

    @classmethod
    def parse(cls, text: str | list[str]) -> Equaliser:
        """Read `flat`, one band, or a list of bands."""
        items = [text] if isinstance(text, str) else list(text)
        bands = tuple(EqualiserBand.parse(t) for t in items if t.strip().lower() not in ("flat", "off"))
        return cls(bands, text if isinstance(text, str) else tuple(text))

    @property
    def flat(self) -> bool:
        """Whether it changes nothing."""
        return not self.bands

    def as_written(self) -> str | list[str]:
        """Return the text or texts as written."""
        return self.text if isinstance(self.text, str) else list(self.text)


UNKNOWN_AT = "4 ohm"
"""Load of a rating that is given as `unknown`, the most usual speaker (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class PowerRating:
    """Rated power into a load: `500 W ± 5 % @ 2 ohm`; the power may be unknown."""

    text: str
    power: Quantity
    load: Quantity

    @classmethod
    def parse(cls, text: str) -> PowerRating:
        """Read one rating, or `unknown`: of unknown power, asked into 4 ohm."""
        if text.strip().lower() == "unknown":
            return cls(text, parse(text, "power"), parse(UNKNOWN_AT, "resistance"))
        parts = _INTO.split(_CHANNELS.sub("", text.strip()), maxsplit=1)
        if len(parts) < 2:
            said = parse(parts[0], "power")
            raise QuantityError(
                say("{text} doesn't say into which load", text=repr(text)),
                code="no_quantity",
                rule=say("a rating is a power into a load"),
                remedy=say("write, for example, {said} @ 4 ohm", said=said if said.known else "300 W"),
            )
        load = _above_zero(parse(parts[1], "resistance"))
        if load is None:
            raise _wrong(text, say("power rating"), "300 W @ 4 ohm", say("the load must be known and above zero"))
        return cls(text, parse(parts[0], "power"), load)

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text


_NEXT_RATING = re.compile(
    r"(?<=[A-Za-zΩΩ])\s*(?:[,;/]|\band\b|\bund\b)\s*(?=[0-9]+(?:[.,][0-9]+)?\s*[mk]?W)", re.IGNORECASE
)


def several_ratings(value: object) -> list[object]:
    """Return the ratings that stand in one text, as in `75 W @ 4 ohm, 110 W @ 2 ohm`; else what it is."""
    return list(_NEXT_RATING.split(value)) if isinstance(value, str) else [value]


@dataclass(frozen=True, slots=True)
class Ends:
    """The two ends of a control's travel, in the order written; those of a sensitivity may be unknown."""

    text: str
    first: Quantity
    second: Quantity
    dimension: ClassVar[str] = ""
    may_be_single: ClassVar[bool] = False

    @classmethod
    def of(cls, dimension: str) -> type[Ends]:
        """Return the type of ends of one dimension."""
        return _ENDS[dimension]

    @classmethod
    def parse(cls, text: str) -> Ends:
        """Read `0.2 .. 5 V`; a unit written once applies to both ends. A fixed gain has a sensitivity of one value."""
        dotted = with_dots(with_points(text))
        if cls.may_be_single and ".." not in dotted:
            only = parse(text, cls.dimension).above_zero()
            if only is None:
                raise _wrong(text, say("pair of ends"), "0.2 .. 5 V", say("both ends are above zero"))
            return cls(text, only, only)
        if dotted.count("..") != 1 or "..." in dotted:
            raise _wrong(text, say("pair of ends"), "0.2 .. 5 V" if cls.dimension == "voltage" else "-40 .. 0 dB")
        first, _, second = (part.strip() for part in dotted.partition(".."))
        unit = re.sub(r"^[+\-−]?[0-9.eE]+\s*", "", second).split("±")[0].split("+-")[0].strip()
        if re.fullmatch(r"[+\-−]?[0-9.]+(?:[eE][+\-]?[0-9]+)?", first):
            first = f"{first} {unit}"
        ends = cls(text, parse(first, cls.dimension), parse(second, cls.dimension))
        if cls.dimension == "voltage":
            low, high = _above_zero(ends.first), _above_zero(ends.second)
            if low is None or high is None:
                raise _wrong(text, say("pair of ends"), "0.2 .. 5 V", say("both ends are above zero"))
            ends = cls(text, low, high)
        if not (ends.first.known and ends.second.known):
            raise _wrong(text, say("pair of ends"), "-40 .. 0 dB", say("both ends must be known"))
        if ends.first.nominal == ends.second.nominal:
            raise QuantityError(
                say("the ends {text} are the same", text=repr(text)),
                code="empty_range",
                remedy=say("write the lower and the higher end"),
            )
        return ends

    @property
    def single(self) -> bool:
        """Whether it is one value, not two ends."""
        return self.first is self.second

    @property
    def low(self) -> float:
        """The lower end, nominal, in SI."""
        return min(self.first.nominal, self.second.nominal)

    @property
    def high(self) -> float:
        """The higher end, nominal, in SI."""
        return max(self.first.nominal, self.second.nominal)

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text


class _VoltageEnds(Ends):
    dimension = "voltage"
    may_be_single = True


class _RatioEnds(Ends):
    dimension = "ratio"


_ENDS: dict[str, type[Ends]] = {"voltage": _VoltageEnds, "ratio": _RatioEnds}


@dataclass(frozen=True, slots=True)
class Coils:
    """The voice coils of one speaker: `2 x 4 ohm parallel`; `separate` when each has its own amplifier."""

    text: str
    number: int
    each: Quantity
    wiring: str

    @classmethod
    def parse(cls, text: str) -> Coils:
        """Read the number of coils, the resistance of each and the wiring."""
        match = _COILS.fullmatch(text.strip())
        if not match or not 1 <= int(match["number"] or 2) <= 16:
            raise _wrong(text, say("set of coils"), "2 x 4 ohm parallel", say("wirings are parallel, series, separate"))
        wiring = (match["wiring"] or "").lower()
        number = int(match["number"] or 2)
        if number > 1 and not wiring:
            raise _wrong(text, say("set of coils"), f"{text.strip()} parallel", say("give the wiring of several coils"))
        if wiring == "series-parallel" and number != 4:
            raise _wrong(
                text, say("set of coils"), "4 x 4 ohm series-parallel", say("series-parallel is two pairs of coils")
            )
        each = _above_zero(parse(match["each"], "resistance"))
        if each is None:
            raise _wrong(
                text, say("set of coils"), "2 x 4 ohm parallel", say("the resistance of a coil must be above zero")
            )
        return cls(text, number, each, wiring or "parallel")

    @property
    def factor(self) -> float:
        """Impedance at one amplifier's terminals over that of one coil."""
        return {"parallel": 1 / self.number, "series": float(self.number), "separate": 1.0, "series-parallel": 1.0}[
            self.wiring
        ]

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Accuracy of a meter: `1.2 % + 3 counts` (per cent of the reading plus counts of the last digit)."""

    text: str
    ratio: float
    counts: int

    @classmethod
    def parse(cls, text: str) -> Accuracy:
        """Read per cent, counts, or both."""
        match = _ACCURACY.fullmatch(text.strip())
        if not match or not (match["ratio"] or match["counts"]):
            raise _wrong(text, say("accuracy"), "1.2 % + 3 counts")
        ratio = parse(match["ratio"], "fraction") if match["ratio"] else None
        if ratio is not None and not isinstance(ratio.spread, Exact):
            raise _wrong(text, say("accuracy"), "1.2 % + 3 counts", say("an accuracy has no spread of its own"))
        return cls(text, ratio.nominal if ratio else 0.0, int(match["counts"] or 0))

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text


@dataclass(frozen=True, slots=True)
class SpeakerSensitivity:
    """Sound pressure level at 1 m: `88 dB` for 2.83 V, `88 dB @ 1 W` for one watt (IEC 60268-5)."""

    text: str
    level: Quantity
    per_watt: bool

    @classmethod
    def parse(cls, text: str) -> SpeakerSensitivity:
        """Read the level and its reference."""
        level, *reference = _REFERENCE.split(text.strip(), maxsplit=1)
        match = _AT.fullmatch("".join("".join(reference).split()))
        if match is None:
            raise _wrong(text, say("speaker sensitivity"), say("88 dB or 88 dB @ 1 W"))
        return cls(text, parse(level, "sound level"), bool(match["watt"]))

    def as_written(self) -> str:
        """Return the text as written."""
        return self.text
