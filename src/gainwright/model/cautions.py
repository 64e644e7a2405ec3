"""Cautions that plan and fault finding say alike, where a hand or an instrument comes near what can hurt."""

from __future__ import annotations

from gainwright.texts import say

VOLTS_ONLY = say("Meter on AC volts, leads in the volts sockets.")
OHMS_DEAD = say("Everything off, the lead unplugged at both ends.")
COIL_DEAD = say("Everything off, the speaker disconnected.")
HOT_OUTPUT = say(
    "Outputs for speakers carry tens of volts at power and may be bridged: no bare ends, no fingers, nothing grounded across them."
)
RECORDER_VOLTS = say(
    "A recorder only through a divider made for it and the output: a resistor in each conductor, one across its input (gainwright attenuator designs it)."
)
DC_VOLTS = say("Meter on DC volts, red lead in the volts socket: in the amps socket it shorts the battery.")
METAL = say("A battery welds tools and burns hands: rings and watch off, no tool across two terminals.")
SUPPLY_REPAIR = say(
    "Repairs of supply and fuses: engine and charger off, battery disconnected as the vehicle's maker says, a new fuse of the same rating; when unsure, a licensed technician."
)
AIRBAG_DASH = say("Behind the dash: ignition off and wait as the maker says; leave yellow plugs closed.")
OUTDOORS = say(
    "Engine only outdoors or with its exhaust extracted; keep clear of belts and fan; never disconnect the battery while it runs."
)
