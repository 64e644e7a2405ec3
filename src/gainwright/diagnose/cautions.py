"""Cautions of the tests and repairs of fault finding. Makers' manuals, local codes and licensed practice come first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.diagnose.causes import Cause

VOLTS_ONLY = say("Meter on AC volts, leads in the volts sockets.")
OHMS_DEAD = say("Everything off, the lead unplugged at both ends.")
COIL_DEAD = say("Everything off, the speaker disconnected.")
OFF_FIRST = say("Plugs and bare wires are moved with everything off.")
LOUD = say("Begin with the volume down: a tone at full level is loud and heats a speaker; a few seconds at a time.")
HOT = say(
    "Outputs for speakers carry tens of volts at power and may be bridged: no bare ends, no fingers, nothing grounded across them."
)
DIVIDER = say(
    "A recorder only through a divider made for it and the output: a resistor in each conductor, one across its input (gainwright attenuator designs it)."
)
DC_VOLTS = say("Meter on DC volts, red lead in the volts socket: in the amps socket it shorts the battery.")
METAL = say("A battery welds tools and burns hands: rings and watch off, no tool across two terminals.")
REPAIR = say(
    "Repairs of supply and fuses: engine and charger off, battery disconnected as the vehicle's maker says, a new fuse of the same rating; when unsure, a licensed technician."
)
AIRBAG = say("Behind the dash: ignition off and wait as the maker says; leave yellow plugs closed.")
CELL = say("A 1.5 V cell for an instant, everything off and the speaker disconnected; never on a tweeter.")
STANDING = say(
    "Engine only outdoors or with its exhaust extracted; keep clear of belts and fan; never disconnect the battery while it runs."
)

_SUPPLY = ("amplifier_no_turn_on", "amplifier_no_supply", "supply_sagging", "ground_loop", "alternator_whine")
_HANDS = (
    *("lead_open", "lead_resistive", "lead_shorted", "leads_swapped", "polarity_reversed", "output_misrouted"),
    *("amplifier_protecting", "side_dead", "load_too_low", "speaker_open", "speaker_shorted", "coil_reversed"),
)


def repair_cautions(cause: Cause) -> tuple[str, ...]:
    """Return the cautions of repairing a cause: those of the supply, or that plugs and wires move with everything off."""
    if cause.id in _SUPPLY:
        return (REPAIR, METAL)
    return (OFF_FIRST,) if cause.id in _HANDS else ()
