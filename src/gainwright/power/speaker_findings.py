"""What is wrong with the speakers: coils that the music may burn, cones that it may drive too far."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.model import Speaker, name_words
from gainwright.power.result import PowerFinding
from gainwright.solve.loads import LOWEST_SHARE
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Job
    from gainwright.power.result import SpeakerResult

HOT_SHARE = 0.5
"""Share of what a coil withstands from which its heat is reported (common practice, no published source)."""


def speaker_findings(job: Job, speakers: tuple[SpeakerResult, ...]) -> Iterator[PowerFinding]:
    """Yield the speakers that the music may burn or bottom, that are less than rated, and those of which nothing is known."""
    for s in speakers:
        if s.lowest_ohm is not None and s.lowest_ohm < LOWEST_SHARE * s.nominal_ohm:
            yield _low_impedance(job, s, s.lowest_ohm)
        if s.heat_share is not None and s.heat_share > HOT_SHARE:
            hot = s.heat_share > 1
            yield PowerFinding(
                "caution" if hot else "note",
                "coil_hot",
                s.name,
                say(
                    "the loudest track heats the coil of {name} to {share} % of what it withstands, and costs up to {db} dB",
                    name=name_words(s.name),
                    share=f"{100 * s.heat_share:.0f}",
                    db=f"{s.compression_db or 0.0:.1f}",
                ),
                say("A lower target, a smaller allowance, or a speaker of higher rating."),
            )
        if s.travel_bound_mm is not None and s.xmax_mm is not None and s.travel_bound_mm > s.xmax_mm:
            sure = s.travel_mm is not None and s.travel_mm > s.xmax_mm
            yield PowerFinding(
                "caution" if sure else "note",
                "cone_travel",
                s.name,
                say(
                    "the cone of {name} travels about {travel} mm in the worst second and at most {bound} mm, near {hz} Hz; it is linear to {xmax} mm",
                    name=name_words(s.name),
                    travel=f"{s.travel_mm or 0.0:.1f}",
                    bound=f"{s.travel_bound_mm:.1f}",
                    hz=f"{s.bound_hz or 0.0:.0f}",
                    xmax=f"{s.xmax_mm:g}",
                ),
                say("A high-pass below what it plays, a lower target, or a smaller box."),
            )
        if s.missing:
            yield PowerFinding(
                "note",
                "travel_unknown",
                s.name,
                say(
                    "the travel of {name} can't be computed without {keys}",
                    name=name_words(s.name),
                    keys=", ".join(s.missing),
                ),
                say("They are on its data sheet."),
            )


def _low_impedance(job: Job, s: SpeakerResult, lowest_ohm: float) -> PowerFinding:
    """Return the finding of a speaker whose impedance falls too low for its rating; with the remedy it doesn't."""
    rated = math.floor(10 * lowest_ohm / LOWEST_SHARE) / 10
    stage = job.stages[s.name]
    plain = isinstance(stage, Speaker) and stage.coils is None
    return PowerFinding(
        "note",
        "impedance_low",
        s.name,
        say(
            "the impedance of {name} falls to {lowest} ohm near {hz} Hz, below 80 % of its {nominal} ohm (IEC 60268-5): to an amplifier it is one of {rated} ohm",
            name=name_words(s.name),
            lowest=f"{lowest_ohm:.2g}",
            hz=f"{s.lowest_hz or 0.0:.0f}",
            nominal=f"{s.nominal_ohm:g}",
            rated=f"{rated:g}",
        ),
        say("Count it as {rated} ohm, and see whether its amplifier is rated for that.", rated=f"{rated:g}"),
        {f"stages.{s.name}.impedance": f"{rated:g} ohm"} if plain else {},
    )
