"""Texts of causes, plain enough for the telephone: what is wrong, and how to repair it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import checked_words, the_place
from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from gainwright.diagnose.causes import Cause
    from gainwright.model import Job

CAUSE_TEXTS: dict[str, tuple[str, str]] = {
    "nothing_wrong": ("The chain works as it should with these settings", "No repair is needed."),
    "lead_open": ("{place} is broken or unplugged: the stages after it get no signal", "Plug it in firmly or put in another lead."),
    "lead_resistive": ("{place} has far too much resistance, from corrosion or a broken strand", "Clean its plugs or put in another lead."),
    "lead_shorted": ("The two conductors of {place} touch", "Find where they touch, or put in another lead."),
    "leads_swapped": ("Left and right are exchanged at the inputs of {place}", "Exchange the two plugs."),
    "polarity_reversed": ("Plus and minus of {place} are exchanged", "Exchange the two conductors at one end."),
    "source_muted": ("{place} is muted", "Turn the mute off."),
    "source_low": ("{place} delivers far less than its specification", "Look for a level setting in its menu; otherwise it needs a line driver after it."),
    "balance_over": ("Balance or fader of {place} is set to one side", "Set balance and fader to the middle."),
    "tone_level_wrong": ("The tone that {place} plays is lower than stated, the player's own volume is down, or it adjusts its level automatically", "Use the tone file of this job, switch off volume levelling and equaliser of the player, and set its own volume as the job says."),
    "level_control_down": ("{place} is turned down", "Turn it up to where the job has it for setting and measuring."),
    "gain_muted": ("The gain of {place} is at the end of its travel where it mutes", "Turn it up just out of that end, then set it again."),
    "gain_low": ("The gain of {place} stands lower than was noted", "Set it as it was noted, or set it up again."),
    "gain_high": ("The gain of {place} stands higher than was noted", "Turn it down and set it up again."),
    "input_range_wrong": ("The input range switch of {place} is in another position than in the job", "Set it as in the job, or set up again."),
    "low_pass_in_the_way": ("A low-pass of {place} is set below the tone and stops it", "Open it, or set it as in the job."),
    "high_pass_in_the_way": ("A high-pass of {place} is set above the tone and stops it", "Open it, or set it as in the job."),
    "boost_on": ("A boost or equaliser of {place} is on that the job doesn't have", "Set it flat, or enter it in the job and set up again."),
    "output_muted": ("{place} is muted", "Turn the mute off."),
    "output_misrouted": ("{place} is fed from another input than the job says", "Correct its routing."),
    "wrong_tone_for_path": ("The tone can't get through: a filter of {place} stops it, and nothing is wrong with the chain", "Play a tone that this path passes."),
    "measuring_lead_open": ("The measuring lead of {place} is broken: it shows nothing anywhere", "Use another measuring lead."),
    "measuring_lead_shorted": ("The conductors of the measuring lead of {place} touch", "Use another measuring lead, and check what it was connected to."),
    "meter_wrong_function": ("{place} is set to another function than AC volts", "Set it to AC volts, its leads in the volts sockets."),
    "indicator_below_threshold": ("The level is below what {place} needs to show anything, and nothing is wrong with the chain", "Turn up until it shows something, or measure with a meter."),
    "amplifier_no_turn_on": ("{place} gets no turn-on voltage and stays off", "Find where the turn-on lead is interrupted."),
    "amplifier_no_supply": ("{place} has no supply: fuse, ground or plus", "Look for a blown fuse and a loose ground, and for what blew it."),
    "amplifier_protecting": ("{place} is in protection and plays nothing", "Disconnect its speakers and see whether it recovers; then look for a short or a hot amplifier."),
    "side_dead": ("{place} is dead", "Exchange the sides to be sure, then have the amplifier repaired."),
    "load_too_low": ("The load on {place} is lower than the job says", "Count the speakers and how their coils are wired."),
    "supply_sagging": ("The supply of {place} drops too far under load", "Look for a thin cable, a bad ground, a loose terminal or a weak battery."),
    "speaker_open": ("{place} is open: coil, terminal or the wire in between", "Measure it at its own terminals; replace it if it is open there."),
    "speaker_shorted": ("The coil of {place} is shorted", "Disconnect it and replace it before it damages the amplifier."),
    "coil_reversed": ("One coil of {place} is connected with reversed polarity, so the coils work against each other", "Exchange the two conductors of one coil."),
    "ground_loop": ("Hum enters at {place}: its two ends have different grounds", "Ground all devices at one point, and route signal leads away from supply."),
    "alternator_whine": ("Alternator whine enters at {place}", "Route signal leads away from supply, and improve the grounds."),
    "source_ground_bad": ("The ground of {place} is bad: alternator whine enters at all of its leads", "Clean and tighten its ground, or give it a wire of its own to the point where the amplifiers are grounded; if that is sound, have the shields of its outputs checked inside."),
    "box_no_power": ("{place} has no power and passes nothing: fuse, ground, plus or turn-on", "Look for a blown fuse, a loose ground and a dead turn-on lead, and for what blew the fuse."),
    "shared_no_supply": ("The fuse, ground or plus that several devices share has failed: none of them has supply", "Look at the fuse at the battery, the distribution block and the common ground, and for what blew the fuse."),
    "shared_no_turn_on": ("The turn-on lead that several devices share is dead: none of them switches on", "Find where the turn-on lead from the source is interrupted."),
    "fader_over": ("The fader takes level from {place}", "Set the fader to the middle."),
    "output_switched_off": ("{place} is switched off in the menu", "Switch it on."),
    "outputs_crossed": ("The leads of {place} and of the output beside it are exchanged", "Exchange the plugs."),
    "speaker_damaged": ("{place} is damaged: its coil rubs or its cone is torn", "Replace it, and look for what was too much for it."),
    "coil_open": ("One coil of {place} is open, and the others move the cone alone", "Measure each coil at its own terminals; replace the speaker if one is open."),
    "input_mode_wrong": ("The input mode switch of {place} is in another position than the inputs in use need", "Set it to the inputs that are in use, at the level that is connected."),
    "player_equaliser_on": ("An equaliser or sound effect of the player on {place} is on", "Switch off equaliser and effects of the player."),
    "control_bypassed": ("{place} does nothing: it is bypassed, or not connected", "Plug it in, or switch off what bypasses it."),
    "lead_loose": ("{place} makes contact now and then only", "Move it and its plugs until it cuts out, then mend or replace that end."),
    "amplifier_hot": ("{place} gets too hot and switches off until it has cooled", "Give it air, and check its load, its gain and its supply."),
}  # fmt: skip
"""Cause id -> what is wrong, and how to repair it."""


_SHORT_NAMES = {
    "lead_open": "{place} open",
    "lead_resistive": "{place} bad",
    "lead_shorted": "{place} shorted",
    "polarity_reversed": "{place} reversed",
    "ground_loop": "hum in {place}",
    "alternator_whine": "whine in {place}",
    "lead_loose": "{place} loose",
}


_AT_A_LEAD = {
    "lead_open": say("open"),
    "lead_resistive": say("bad contact"),
    "lead_shorted": say("shorted"),
    "polarity_reversed": say("reversed"),
    "ground_loop": say("hum"),
    "alternator_whine": say("whine"),
    "lead_loose": say("loose contact"),
}


def cause_name(cause: str) -> str:
    """Return the name of a cause beside its place."""
    return _AT_A_LEAD.get(cause) or say(cause.replace("_", " "))


def describe_cause(cause: Cause, job: Job) -> str:
    """Return what is wrong, a clause without a full stop."""
    template = CAUSE_TEXTS[cause.id][0]
    if "{place}" not in template:
        return say(template)
    place = the_place(job, cause.where)
    return say(template, place=sentence(place) if template.startswith("{place}") else place)


def repair_text(cause: Cause) -> str:
    """Return how to repair a cause, a sentence."""
    return say(CAUSE_TEXTS[cause.id][1])


def short_name(cause: Cause, job: Job) -> str:
    """Return a short name of a cause, for lists."""
    if cause.id in _SHORT_NAMES:
        return say(_SHORT_NAMES[cause.id], place=checked_words(job, cause.where))
    name = say(cause.id.replace("_", " "))
    return say("{place}: {name}", place=the_place(job, cause.where), name=name) if cause.where else name
