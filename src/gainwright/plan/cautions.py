"""Cautions for steps that can hurt someone. Manufacturers' manuals, local codes and licensed practice come first."""

from __future__ import annotations

from gainwright.texts import say

STANDING_VEHICLE = say(
    "Vehicle parked, handbrake on, out of gear. With the engine running: outdoors, or with the exhaust extracted."
)
BATTERY = say(
    "A battery can weld a tool and burn a hand: take off rings and watch, disconnect the negative terminal before touching supply wiring, and leave the fuse at the battery out until the wiring is complete."
)
AIRBAG = say(
    "Keep off airbag and belt-tensioner wiring (usually yellow): no meter, no probe, no splice. Leave it to a licensed technician."
)
HEARING = say(
    "Turn the volume right down before connecting a speaker. Wear hearing protection during power tests, with nobody in the cabin."
)
HOT_OUTPUT = say(
    "Amplifier outputs carry tens of volts at power: no bare wire ends, no hands on the terminals, and no grounded instrument across them."
)
BRIDGED = say(
    "A bridged output: neither terminal is ground. A grounded recorder or a scope's ground clip there shorts half of the amplifier."
)
OHMS_DEAD = say(
    "Measure resistance with everything switched off and the lead unplugged at both ends; a live circuit damages the meter."
)
VOLTS_ONLY = say("Set the meter to AC volts, leads in the volts sockets: on amps or ohms it can short an output.")
TWEETER_OPEN = say(
    "With its high-pass off, a tone can destroy a tweeter at once: leave it disconnected until the filter is restored."
)
RECORDER_VOLTS = say(
    "A recorder's input accepts a few volts: use an attenuator, and never connect it directly to an amplifier's output."
)
MAKER_FIRST = say("Manufacturers' manuals, local codes and licensed practice come first.")
