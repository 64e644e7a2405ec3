"""One physical number of a job, given or assumed, and what every kind of stage has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.model import HeadUnit, Speaker
from gainwright.quantities import Exact, Normal, Quantity, Uniform, parse, quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import AnyStage, Equaliser, FilterSetting

PRACTICE = "common practice, no published source"
DC_SHARES = (0.59, 0.75, 0.877)
"""DC resistance of a voice coil over its nominal impedance: 5, 50 and 95 % of 444 measured drivers (collected data, not
published)."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One physical number of a job.

    Attributes
    ----------
    path : `stage.key`, `stage.output.key` or `lead:FROM-TO.resistance`.
    quantity : value and spread in SI.
    given : whether the job gives it.
    reason : why it is assumed; empty when given.
    """

    path: str
    quantity: Quantity
    given: bool
    reason: str = ""


def fact_of(
    path: str, value: Quantity | None, default: str | Quantity, reason: str, dimension: str = "voltage"
) -> Fact:
    """Return the fact of a key: the value given in the job, else the assumed one with its reason."""
    if value is not None and value.known:
        return Fact(path, value, given=True)
    assumed = parse(default, dimension) if isinstance(default, str) else default
    return Fact(path, assumed, given=False, reason=reason)


def percent_of(value: float, percent: float) -> Quantity:
    """Return a voltage with a 95 % interval of plus or minus `percent` per cent."""
    return Quantity(f"{value:.4g} V ± {percent:g} %", "voltage", Normal(value, value * percent / 100, 0.0))


def scaled(value: Quantity, factor: float) -> Quantity:
    """Return a known quantity times a factor, with its spread."""
    spread, found = value.spread, Exact(value.nominal * factor)
    if isinstance(spread, Normal):
        found = Normal(spread.mean * factor, spread.half_width * factor, 0.0)  # type: ignore[assignment]
    elif isinstance(spread, Uniform):
        found = Uniform(spread.low * factor, spread.high * factor)  # type: ignore[assignment]
    return Quantity(f"{value.text} × {factor:.4g}", value.dimension, found)


def common(name: str, stage: AnyStage, *, input_ohm: str, output_ohm: str, noise_v: float, thd: str) -> Iterator[Fact]:
    """Yield what every stage has: impedances, noise and its own distortion."""
    if not isinstance(stage, HeadUnit | Speaker):
        yield fact_of(f"{name}.input_impedance", stage.input_impedance, input_ohm, PRACTICE, "resistance")
    yield fact_of(f"{name}.output_impedance", stage.output_impedance, output_ohm, PRACTICE, "resistance")
    yield fact_of(f"{name}.output_noise", stage.output_noise, quantity(noise_v, "voltage"), PRACTICE)
    yield fact_of(f"{name}.distortion", stage.distortion, thd, "below its ceiling; " + PRACTICE, "fraction")


def filter_facts(path: str, **filters: FilterSetting | None) -> Iterator[Fact]:
    """Yield the corner of each filter that is on."""
    for control, setting in filters.items():
        if setting is not None and setting.corner is not None:
            yield Fact(f"{path}.{control}.corner", setting.corner, given=True)


def equaliser_facts(path: str, equaliser: Equaliser | None) -> Iterator[Fact]:
    """Yield gain, corner and q of each band."""
    for i, band in enumerate(equaliser.bands if equaliser else ()):
        yield Fact(f"{path}.{i}.gain", band.gain, given=True)
        yield Fact(f"{path}.{i}.corner", band.corner, given=True)
        yield Fact(f"{path}.{i}.q", band.q, given=True)
