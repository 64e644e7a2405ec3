"""What figures of devices sold for vehicles are usual, key by key, and the figures of a job to compare with it.

All ranges are common practice, no published source: wider than anything sold for a vehicle.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from gainwright.model import Amplifier, HeadUnit, LineDriver, Processor, Speaker, gives_power
from gainwright.quantities import Quantity, parse

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gainwright.model import AnyStage, Job
    from gainwright.model.compounds import Ends, Equaliser, FilterSetting


class Usual(NamedTuple):
    """A range of what is usual.

    Attributes
    ----------
    low, high : its ends.
    stops : whether a figure more than ten times outside can't be meant at all.
    """

    low: Quantity
    high: Quantity
    stops: bool


def _usual(dimension: str, low: str, high: str, *, stops: bool = False) -> Usual:
    return Usual(parse(low, dimension), parse(high, dimension), stops)


LINE = _usual("voltage", "0.1 V", "20 V", stops=True)
FOR_SPEAKERS = _usual("voltage", "1 V", "60 V", stops=True)
INPUT = _usual("voltage", "0.05 V", "100 V", stops=True)
POWER = _usual("power", "5 W", "10 kW", stops=True)
LOAD = _usual("resistance", "0.25 ohm", "64 ohm", stops=True)
SENSITIVITY = _usual("voltage", "20 mV", "50 V", stops=True)
CORNER = _usual("frequency", "5 Hz", "22 kHz", stops=True)
LEVEL = _usual("ratio", "-80 dB", "24 dB")
OF_POWER_OUTPUT = _usual("resistance", "0 ohm", "5 ohm")
OF_LINE_OUTPUT = _usual("resistance", "0 ohm", "50 kohm")
LEAD_LENGTH = _usual("length", "5 cm", "25 m", stops=True)

OF_ALL: Mapping[str, Usual] = {
    "output_noise": _usual("voltage", "0 V", "100 mV"),
    "distortion": _usual("fraction", "0 %", "10 %"),
    "input_impedance": _usual("resistance", "20 ohm", "10 Mohm"),
    "lead.length": LEAD_LENGTH,
    "lead.resistance": _usual("resistance", "0 ohm", "100 ohm"),
    "lead.area": _usual("area", "0.03 mm²", "150 mm²"),
    "volume.step": _usual("ratio", "0.1 dB", "8 dB"),
    "volume.top": _usual("ratio", "-40 dB", "20 dB"),
    "idle": _usual("current", "1 mA", "20 A"),
    "turn_on_level": _usual("voltage", "0.1 mV", "20 V"),
}
"""Keys of every kind of stage that has them."""
OF_KIND: Mapping[str, Mapping[str, Usual]] = {
    "processor": {
        "input_limit": INPUT,
        "output_limit": LINE,
        "gain": _usual("ratio", "-40 dB", "30 dB"),
        "digital_gain": _usual("ratio", "-40 dB", "20 dB"),
    },
    "line_driver": {"gain": _usual("ratio", "-20 dB", "30 dB"), "input_limit": INPUT, "output_limit": LINE},
    "converter": {
        "ratio": _usual("ratio", "-60 dB", "20 dB"),
        "input_impedance": _usual("resistance", "1 ohm", "10 Mohm"),
        "input_limit": INPUT,
        "output_limit": LINE,
    },
    "amplifier": {
        "minimum_load": LOAD,
        "input_limit": INPUT,
        "headroom": _usual("ratio", "-6 dB", "10 dB"),
        "remote_level.boosts": CORNER,
    },
    "speaker": {
        "impedance": LOAD,
        "re": LOAD,
        "power": POWER,
        "protect_below": CORNER,
        "resonance": _usual("frequency", "8 Hz", "10 kHz"),
        "vas": _usual("air volume", "0.001 L", "2000 L"),
        "cone_area": _usual("area", "1 cm2", "4000 cm2"),
        "xmax": _usual("length", "0.05 mm", "80 mm"),
        "inductance": _usual("inductance", "1 uH", "50 mH"),
        "distance": _usual("length", "5 cm", "20 m"),
        "box.volume": _usual("air volume", "0.05 L", "5000 L"),
        "box.tuned": _usual("frequency", "8 Hz", "300 Hz"),
    },
}
"""Kind of a stage -> its own keys."""
LOUDNESS = _usual("sound level", "70 dB", "115 dB")
ALLOWANCE = _usual("ratio", "0 dB", "24 dB")
DELAY = _usual("time", "0 ms", "500 ms")
BAND = _usual("ratio", "-40 dB", "20 dB")
OF_SUPPLY: Mapping[str, Usual] = {
    "vehicle.battery.capacity": _usual("charge", "1 Ah", "1000 Ah"),
    "vehicle.alternator.current": _usual("current", "10 A", "1000 A"),
    "thd_limit": _usual("fraction", "0.01 %", "10 %"),
}

Figure = tuple[str, Quantity, Usual]
"""Place, the figure, what is usual."""


def figures(job: Job) -> Iterator[Figure]:
    """Yield every known figure of a job, with what is usual there."""
    for where, found, usual in _all(job):
        if isinstance(found, Quantity) and found.known:
            yield where, found, usual


def _all(job: Job) -> Iterator[tuple[str, object, Usual]]:
    for path, usual in OF_SUPPLY.items():
        yield path, _at(job, path), usual
    for name, cable in job.supply.items():
        yield f"supply.{name}.length", cable.length, LEAD_LENGTH
    for name, allowance in job.allowance.items():
        yield f"allowance.{name}", allowance, ALLOWANCE
    for name, stage in job.stages.items():
        for path, usual in {**OF_ALL, **OF_KIND.get(stage.kind, {})}.items():
            yield f"{name}.{path}", _at(stage, path), usual
        yield from _of_outputs(name, stage)
        yield from _of_amplifier(name, stage) if isinstance(stage, Amplifier) else ()
        if isinstance(stage, HeadUnit):
            usual = FOR_SPEAKERS if stage.speaker_level else LINE
            yield f"{name}.rated_output", stage.rated_output, usual
            yield f"{name}.output_limit", stage.output_limit, usual
        if isinstance(stage, LineDriver):
            yield from _ends(f"{name}.range", stage.range, OF_KIND["line_driver"]["gain"])
        if isinstance(stage, Speaker):
            yield f"{name}.coils", stage.coils.each if stage.coils else None, LOAD
            yield f"{name}.sensitivity", stage.sensitivity.level if stage.sensitivity else None, LOUDNESS
        usual = OF_POWER_OUTPUT if gives_power(stage) else OF_LINE_OUTPUT
        yield f"{name}.output_impedance", stage.output_impedance, usual


def _of_outputs(name: str, stage: AnyStage) -> Iterator[tuple[str, object, Usual]]:
    """Yield the figures of the outputs of a head unit or a processor, and of a source's tone controls."""
    if not isinstance(stage, HeadUnit | Processor):
        return
    for key, out in stage.outputs.items():
        yield from _filters(f"{name}.{key}", out)
        yield f"{name}.{key}.level", out.level, LEVEL
        yield f"{name}.{key}.delay", getattr(out, "delay", None), DELAY
        yield from _bands(f"{name}.{key}.equaliser", getattr(out, "equaliser", None))
    yield from _bands(f"{name}.tone", getattr(stage, "tone", None))


def _of_amplifier(name: str, stage: Amplifier) -> Iterator[tuple[str, object, Usual]]:
    for rating in stage.power:
        yield f"{name}.power", rating.power, POWER
        yield f"{name}.power", rating.load, LOAD
    yield from _ends(f"{name}.sensitivity", stage.sensitivity, SENSITIVITY)
    for position, ends in stage.input_ranges.items():
        yield from _ends(f"{name}.input_ranges.{position}", ends, SENSITIVITY)
    yield from _filters(name, stage)
    yield from _bands(f"{name}.boost", stage.boost)


def _filters(where: str, holder: object) -> Iterator[tuple[str, object, Usual]]:
    for key in ("low_pass", "high_pass"):
        setting: FilterSetting | None = getattr(holder, key)
        yield f"{where}.{key}", setting.corner if setting else None, CORNER


def _bands(where: str, equaliser: Equaliser | None) -> Iterator[tuple[str, object, Usual]]:
    for band in equaliser.bands if equaliser else ():
        yield where, band.gain, BAND
        yield where, band.corner, CORNER


def _ends(where: str, ends: Ends | None, usual: Usual) -> Iterator[tuple[str, object, Usual]]:
    for end in dict.fromkeys((ends.first, ends.second)) if ends else ():
        yield where, end, usual


def _at(holder: object, path: str) -> object:
    """Return what is at a path of attributes; None where one is missing."""
    for key in path.split("."):
        holder = getattr(holder, key, None)
    return holder
