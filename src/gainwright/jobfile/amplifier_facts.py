"""The facts of what amplifiers have in some cars only: input ranges, a fixed gain, high-level inputs, a supply of their own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile.assumed_values import PRACTICE, Fact, fact_of, scaled
from gainwright.quantities import Quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Amplifier, Powered

HIGH_LEVEL_OHM = "1 kohm ± 30 %"
"""Load of a high-level input (common practice, no published source)."""
JUST_ABOVE_MUTING = 0.05
"""Just above the place where a gain control may mute (common practice, no published source)."""
RESTING_SHARE = 12.6 / 13.8
"""Battery at rest over battery charged, 12.6 V over 13.8 V (common practice, no published source)."""
_ASSUMED = {
    (False, False): ("0.2 V ± 10 %", "5 V ± 10 %"),
    (False, True): ("0.8 V ± 10 %", "16 V ± 10 %"),
    (True, False): ("1 V ± 20 %", "1 V ± 20 %"),
    (True, True): ("5 V ± 20 %", "5 V ± 20 %"),
}
"""(fixed gain, high-level input) -> sensitivity fully up and fully down."""


def input_range(stage: Amplifier) -> str:
    """Return the position of an amplifier's input range switch, the first when not given; empty without a switch."""
    return (stage.input_range or next(iter(stage.input_ranges))) if stage.input_ranges else ""


def sensitivity_facts(name: str, stage: Amplifier) -> Iterator[tuple[str, tuple[Fact, Fact]]]:
    """Yield input range -> the facts of its sensitivity, gain fully up and fully down; the range is empty without a switch."""
    for position, ends in (stage.input_ranges or {"": stage.sensitivity}).items():
        wide = ends is not None and not ends.first.known and not stage.gain.fixed and not stage.high_level
        assumed_up, assumed_down = (
            ("0.1 .. 0.6 V", "2 .. 10 V") if wide else _ASSUMED[stage.gain.fixed, stage.high_level]
        )
        path = f"{name}.input_ranges.{position}" if position else f"{name}.sensitivity"
        up = fact_of(f"{path}.up", ends.first if ends else None, assumed_up, PRACTICE)
        down = fact_of(f"{path}.down", ends.second if ends else None, assumed_down, PRACTICE)
        yield position, (up, down)


def powered_facts(name: str, stage: Powered) -> Iterator[Fact]:
    """Yield the supply of a stage that has its own, and the level that turns it on when a signal does."""
    running, resting = stage.supply.running, stage.supply.resting
    if running is not None and stage.supply.is_own:
        yield Fact(f"{name}.supply.running", running, given=True)
        rests = scaled(running, RESTING_SHARE)
        rests = Quantity(f"{rests.nominal:.3g} V", "voltage", rests.spread)
        yield fact_of(
            f"{name}.supply.resting",
            resting,
            rests,
            "a battery at rest has 12.6 V for 13.8 V when charged; " + PRACTICE,
        )
    if stage.turn_on == "signal":
        level = "50 .. 200 mV" if stage.high_level else "2 .. 20 mV"
        reason = "a signal-sensing turn-on answers to some millivolts at line level, ten times that at speaker level; "
        yield fact_of(f"{name}.turn_on_level", stage.turn_on_level, level, reason + PRACTICE)


def lowest_passing_gain(stage: Amplifier) -> float:
    """Return the lowest place of a gain that surely passes: its lowest end, or just above it if it mutes there."""
    return JUST_ABOVE_MUTING if stage.gain.mutes_at_minimum == "yes" else 0.0


def amplifier_settings(name: str, stage: Amplifier) -> dict[str, float]:
    """Return the positions of an amplifier's controls.

    `amp.gain` is a fraction of its travel (1 when fixed), `amp.remote_level` in dB, `amp.input_range` the number of its
    position.
    """
    at = stage.gain.at
    stands = at.nominal if at is not None and at.known else lowest_passing_gain(stage)
    found = {f"{name}.gain": 1.0 if stage.gain.fixed else stands}
    if stage.remote_level is not None:
        found[f"{name}.remote_level"] = remote_level_db(stage)
    if stage.input_ranges:
        found[f"{name}.input_range"] = float(list(stage.input_ranges).index(input_range(stage)))
    return found


def remote_level_db(stage: Amplifier) -> float:
    """Return the setting of an amplifier's remote level control, dB: as given, else fully up; one that boosts a band, off."""
    remote = stage.remote_level
    if remote is None:
        return 0.0
    if remote.at is not None and remote.at.known:
        return float(remote.at.nominal)
    return remote_top_db(stage) if remote.boosts is None else 0.0


def remote_top_db(stage: Amplifier) -> float:
    """Return the upper end of an amplifier's remote level control, dB; 0 dB when its range isn't given."""
    remote = stage.remote_level
    return float(remote.range.high) if remote is not None and remote.range is not None else 0.0
