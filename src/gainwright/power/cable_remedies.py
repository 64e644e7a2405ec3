"""A job with its supply solved, and other wires and fuses for it, each solved again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.jobfile import with_changes
from gainwright.model import WireSize, name_words
from gainwright.power.cables import GAUGES, cable_result, gauge_of
from gainwright.power.supply_states import supply_states
from gainwright.solve import area_m2
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gainwright.model import Job
    from gainwright.plan import AmplifierLoad
    from gainwright.power.programmes import Programme
    from gainwright.power.result import CableResult
    from gainwright.power.supply_states import SupplyStates

LONG_SHARE = 0.75
"""A fuse carries this share of its rating for as long as one likes (common practice, no published source)."""
SHORT_SHARE = 1.10
"""A fuse carries this share of its rating for at least 100 hours (ISO 8820-3, blade fuses, as makers' data sheets print it)."""
FUSES_A = (5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 100, 125, 150, 175, 200, 225, 250, 300, 350, 400, 500)
"""Fuses that are sold for vehicles (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Evaluated:
    """A job with its supply solved, ready to be solved again with other cables."""

    job: Job
    amplifiers: Mapping[str, AmplifierLoad]
    programmes: Mapping[str, Programme]
    states: SupplyStates

    def with_changes(self, sets: Mapping[str, str]) -> Evaluated:
        """Return the same with some keys of the job changed."""
        changed = with_changes(self.job, sets)
        return Evaluated(
            changed, self.amplifiers, self.programmes, supply_states(changed, self.amplifiers, self.programmes)
        )

    def cable(self, name: str) -> CableResult:
        """Return one of its cables."""
        return cable_result(self.job, name, self.states)


def fuse_for(cable: CableResult) -> dict[str, str]:
    """Return the smallest fuse that the music doesn't blow, if the wire withstands it; empty if there is none."""
    if cable.ampacity_a is None:
        return {}
    fitting = [amps for amps in FUSES_A if carries(amps, cable) and amps <= cable.ampacity_a]
    return {f"supply.{cable.name}.fuse": f"{fitting[0]:g} A"} if fitting else {}


def carries(fuse_a: float, cable: CableResult) -> bool:
    """Return whether a fuse carries the music in a cable: on average, and in its worst second."""
    mean, worst = cable.amps["music"], cable.amps["worst_second"]
    return mean is not None and worst is not None and mean <= LONG_SHARE * fuse_a and worst <= SHORT_SHARE * fuse_a


def thicker(found: Evaluated, cable: CableResult, fits: Callable[[CableResult], bool]) -> dict[str, str]:
    """Return the thinnest wire of the table with which a condition holds, solved again; empty if there is none."""
    gauge = gauge_of(found.job.supply[cable.name])
    sizes = GAUGES if gauge is None else GAUGES[GAUGES.index(gauge) + 1 :]
    for size in sizes:
        sets = {f"supply.{cable.name}.wire": gauge_text(size)}
        if fits(found.with_changes(sets).cable(cable.name)):
            return sets
    return {}


def gauge_text(gauge: int) -> str:
    """Return a gauge as people write it: `4 AWG`, `2/0 AWG`."""
    return f"{gauge} AWG" if gauge > 0 else f"{1 - gauge}/0 AWG"


def as_words(sets: Mapping[str, str]) -> str:
    """Return changes of cables as a sentence, empty without any."""
    said = []
    for path, text in sets.items():
        name, key = path.split(".")[1:]
        if key == "wire":
            area = f"{1e6 * (area_m2(WireSize.parse(text)) or 0.0):.0f}"
            said.append(say("{name}: wire of {size} ({area} mm²)", name=name_words(name), size=text, area=area))
        else:
            said.append(say("{name}: fuse of {size}", name=name_words(name), size=text))
    return say("{changes}.", changes=joined(said, by="{a}; {b}")) if said else ""
