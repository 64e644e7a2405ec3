"""What a reading outside its interval suggests, for the side on which it lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from gainwright.app.set_up.run import Verdict
    from gainwright.plan import Step


def advice(step: Step, verdict: Verdict, value: Mapping[str, Any]) -> str:
    """Return what a reading suggests; empty for one that fits.

    Parameters
    ----------
    value : of the entry, as the run keeps it.
    """
    if verdict == "off":
        return _of_another_kind(step, value)
    own = {"low": step.if_low, "high": step.if_high}.get(verdict)
    if own is None:
        return ""
    if own:
        return sentence(own)
    if step.outside and not (step.if_low or step.if_high):
        return step.outside
    return _usual(str(value.get("quantity", "")), verdict)


def _of_another_kind(step: Step, value: Mapping[str, Any]) -> str:
    number = value.get("value")
    if number is not None and number < 0:
        return say(
            "Negative: the leads of the meter are swapped, or plus and minus of the supply are. Swap the leads of the meter and read again; if the supply itself is reversed, switch everything off and have it put right before anything is connected."
        )
    if "between" in value:
        return say("Not open between its conductors: shorted. Use another lead, or mend it.")
    return step.outside


def _usual(quantity: str, verdict: Verdict) -> str:
    """Return what is usual for a quantity where the step has no sentence for the side (common practice, no published source)."""
    return {
        ("v_rms", "low"): say("Check the level of the tone, the volume, the leads and the range of the meter."),
        ("v_rms", "high"): say("A control stands higher than it should, or the meter is on another range."),
        ("supply_v", "low"): say("A weak battery, a charger too small, a thin cable or a loose terminal."),
        ("supply_v", "high"): say("A charger or alternator that gives too much, or the meter is on another range."),
        ("ohm", "low"): say("A short, or two in parallel; the meter's own leads count as well."),
        ("ohm", "high"): say("A poor contact, or an open conductor."),
        ("step", "low"): say("A level before or after the volume is higher than in the job."),
        ("step", "high"): say(
            "A level before or after the volume is lower than in the job, or distortion was overlooked."
        ),
    }.get((quantity, verdict), "")
