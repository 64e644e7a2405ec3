"""The usual caution at each step where the work can hurt someone. Maker's manuals, local codes and licensed practice come first."""

from __future__ import annotations

from gainwright.texts import say

STANDING_VEHICLE = say(
    "The vehicle stands still, handbrake on, out of gear. With the engine running: outdoors or with the exhaust led away."
)
BATTERY = say(
    "A battery can weld a tool and burn a hand: rings and watch off, take the negative terminal off before touching supply wiring, and keep the fuse at the battery pulled until the wiring is whole."
)
AIRBAG = say(
    "Keep off airbag and belt-tensioner wiring (usually yellow): no meter, no probe, no splice. Leave it to licensed hands."
)
HEARING = say(
    "Volume right down before a speaker is connected; wear hearing protection at power. Nobody in the cabin during power tests."
)
HOT_OUTPUT = say(
    "Amplifier outputs carry tens of volts at power: no bare ends, no hand on the terminals, and nothing with a ground of its own across them."
)
BRIDGED = say(
    "A bridged output: neither terminal is ground. A grounded recorder or a scope's ground clip there shorts half of the amplifier."
)
OHMS_DEAD = say(
    "Resistance is measured with everything switched off and the lead unplugged at both ends; on a live part it harms the meter."
)
VOLTS_ONLY = say("Meter on AC volts, leads in the volts sockets: on amps or ohms it is a dead short across an output.")
TWEETER_OPEN = say(
    "With its high-pass open a tone can burn a tweeter at once: it stays disconnected until the filter is back."
)
RECORDER_VOLTS = say(
    "A recorder's input takes a few volts: attenuate before it and never bare onto an amplifier's output."
)
MAKER_FIRST = say("Maker's manuals, local codes and licensed practice come first.")
