"""What is wrong with the fuses of a supply: a fuse protects the wire behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model import BATTERY, Amplifier, name_words, stages_of
from gainwright.power.cable_remedies import as_words, carries, fuse_for, thicker
from gainwright.power.cables import guard_of
from gainwright.power.result import PowerFinding
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.power.cable_remedies import Evaluated
    from gainwright.power.result import CableResult

FUSE_WITHIN_M = 0.45
"""A main fuse is no further from the battery (common practice, no published source)."""


def fuse_findings(found: Evaluated, cable: CableResult) -> Iterator[PowerFinding]:
    """Yield what is wrong with the fuse of a cable: none, far from the battery, above its wire, too small for the music."""
    if cable.source == BATTERY:
        yield from _at_the_battery(found, cable)
    guard = guard_of(found.job, cable.name)
    if guard is not None and cable.ampacity_a is not None and guard > cable.ampacity_a:
        sets = fuse_for(cable) or thicker(found, cable, lambda c: (c.ampacity_a or 0.0) >= guard)
        yield PowerFinding(
            "caution",
            "fuse_above_wire",
            f"supply.{cable.name}",
            say(
                "{name} is behind a fuse of {fuse} A, its wire may carry {most} A: the wire can burn before the fuse blows",
                name=name_words(cable.name),
                fuse=f"{guard:g}",
                most=f"{cable.ampacity_a:.0f}",
            ),
            as_words(sets) or say("A thicker wire, or a smaller fuse at its beginning."),
            sets,
        )
    yield from _slow(found, cable)
    if cable.fuse_a is not None and cable.amps["worst_second"] is not None and not carries(cable.fuse_a, cable):
        yield _small(cable, cable.fuse_a)
        if cable.short_a is not None and _feeds_amplifiers(found, cable):
            yield _at_start(cable, cable.short_a)


def _at_the_battery(found: Evaluated, cable: CableResult) -> Iterator[PowerFinding]:
    where = f"supply.{cable.name}"
    if cable.fuse_a is None:
        yield PowerFinding(
            "caution",
            "no_fuse",
            where,
            say(
                "no fuse is given at the beginning of {name}: nothing ends a short circuit", name=name_words(cable.name)
            )
            if cable.short_a is None
            else say(
                "no fuse is given at the beginning of {name}: a short circuit has {amps} A",
                name=name_words(cable.name),
                amps=f"{cable.short_a:.0f}",
            ),
            say("A fuse for this wire, as near to the battery as can be."),
            fuse_for(cable),
        )
    distance = found.job.supply[cable.name].fuse_distance
    if distance is not None and distance.known and distance.nominal > FUSE_WITHIN_M:
        yield PowerFinding(
            "caution",
            "fuse_far",
            where,
            say(
                "the fuse of {name} is {metres} m from the battery: nothing protects the wire before it",
                name=name_words(cable.name),
                metres=f"{distance.nominal:.2g}",
            ),
            say("Move it to within {most} m of the battery.", most=f"{FUSE_WITHIN_M:g}"),
            {f"{where}.fuse_distance": f"{FUSE_WITHIN_M:g} m"},
        )


def _small(cable: CableResult, fuse_a: float) -> PowerFinding:
    sets = fuse_for(cable)
    return PowerFinding(
        "caution",
        "fuse_small",
        f"supply.{cable.name}",
        say(
            "the fuse of {name} is {fuse} A; the music takes {mean} A on average and {worst} A in its worst second",
            name=name_words(cable.name),
            fuse=f"{fuse_a:g}",
            mean=f"{cable.amps['music'] or 0.0:.0f}",
            worst=f"{cable.amps['worst_second'] or 0.0:.0f}",
        ),
        as_words(sets) or say("A thicker wire first, then a larger fuse: never a larger fuse alone."),
        sets,
    )


def _at_start(cable: CableResult, most_a: float) -> PowerFinding:
    """Return what empty capacitors take through a fuse; only the resistances of battery and cables limit it (Ohm's law)."""
    return PowerFinding(
        "note",
        "capacitors_at_start",
        f"supply.{cable.name}",
        say(
            "when {name} is connected, the empty capacitors of its amplifiers take up to {amps} A for a moment: a fuse that blows then, and not later, doesn't say that it is too small",
            name=name_words(cable.name),
            amps=f"{most_a:.0f}",
        ),
        say("Fit the fuse last, and charge an added capacitor through a resistor first: never a larger fuse for it."),
    )


def _feeds_amplifiers(found: Evaluated, cable: CableResult) -> bool:
    """Return whether an amplifier is anywhere behind a cable."""
    behind, devices = {cable.name}, list(cable.feeds)
    for branch in found.states.tree.branches:
        if branch.source in behind:
            behind.add(branch.name)
            devices += branch.feeds
    job = found.job
    return any(isinstance(job.stages[stage], Amplifier) for unit in devices for stage in stages_of(job, unit))


def _slow(found: Evaluated, cable: CableResult) -> Iterator[PowerFinding]:
    """Yield a wire that stands a short circuit at its end for less time than its fuse may take to open it."""
    opens, stands, guard = cable.opens_within_s, cable.withstands_s, guard_of(found.job, cable.name)
    if opens is None or stands is None or guard is None or not _is_slow(cable):
        return
    sets = fuse_for(cable) if cable.fuse_a is not None else {}
    if not sets or _is_slow(found.with_changes(sets).cable(cable.name)):
        sets = thicker(found, cable, lambda c: not _is_slow(c))
    yield PowerFinding(
        "caution",
        "fuse_slow",
        f"supply.{cable.name}",
        say(
            "a short circuit at the end of {name} takes {amps} A: a blade fuse of {fuse} A opens it within {opens} s, its wire withstands it for {stands} s",
            name=name_words(cable.name),
            amps=f"{cable.short_a or 0.0:.0f}",
            fuse=f"{guard:g}",
            opens=f"{opens:.2g}",
            stands=f"{stands:.2g}",
        ),
        as_words(sets) or say("A smaller fuse at its beginning, or a thicker wire."),
        sets,
    )


def _is_slow(cable: CableResult) -> bool:
    opens, stands = cable.opens_within_s, cable.withstands_s
    return opens is not None and stands is not None and opens > stands
