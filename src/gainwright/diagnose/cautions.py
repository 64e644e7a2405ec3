"""Cautions of the tests and repairs of fault finding. Makers' manuals, local codes and licensed practice come first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import METAL, SUPPLY_REPAIR
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.diagnose.causes import Cause

OFF_FIRST = say("Plugs and bare wires are moved with everything off.")
LOUD = say("Begin with the volume down: a tone at full level is loud and heats a speaker; a few seconds at a time.")
CELL = say("A 1.5 V cell for an instant, everything off and the speaker disconnected; never on a tweeter.")

_SUPPLY = (
    *("amplifier_no_turn_on", "amplifier_no_supply", "supply_sagging", "ground_loop", "alternator_whine"),
    *("source_ground_bad", "box_no_power", "shared_no_supply", "shared_no_turn_on"),
)
_HANDS = (
    *("lead_open", "lead_resistive", "lead_shorted", "leads_swapped", "polarity_reversed", "output_misrouted"),
    *("amplifier_protecting", "side_dead", "load_too_low", "speaker_open", "speaker_shorted", "coil_reversed"),
    *("outputs_crossed", "speaker_damaged", "coil_open", "control_bypassed", "lead_loose"),
)


def repair_cautions(cause: Cause) -> tuple[str, ...]:
    """Return the cautions of repairing a cause: those of the supply, or that plugs and wires move with everything off."""
    if cause.id in _SUPPLY:
        return (SUPPLY_REPAIR, METAL)
    return (OFF_FIRST,) if cause.id in _HANDS else ()
