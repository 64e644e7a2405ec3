"""What full-scale programme does at the highest clean volume: how far each amplifier clips, and what its speaker gets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.plan.clean_volume import searched_hz
from gainwright.plan.result import FullScale
from gainwright.plan.targets import first_at_rating, gain_position
from gainwright.solve import Conditions
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.result import Target
    from gainwright.plan.source import CleanLimit


ALIKE_DB = 0.1
"""Among frequencies that differ by less, the one nearest to the set-up tone is named."""


def full_scale(context: PlanContext, end: End, limit: CleanLimit, target: Target) -> FullScale:
    """Return an amplifier at the frequency where a full-scale tone drives it furthest, its speakers connected.

    At nominal values, with its gain where the set-up leaves it and the filters back.
    """
    tones_hz = np.unique(np.append(searched_hz(context, end)[::2], end.tone_hz))
    position = gain_position(context, end, limit, target.v_rms)
    solved = context.restored.solve(
        Conditions(tones_hz, 0.0, settings={f"{limit.head}.volume": limit.middle, f"{end.stage}.gain": position}),
        targets=end.nodes[:1],
    )
    column = solved.index(end.nodes[0])
    margin = solved.margins_db[:, column, 2]
    nearly = np.flatnonzero(margin < margin.min() + ALIKE_DB)
    worst = int(nearly[np.argmin(np.abs(np.log(tones_hz[nearly] / end.tone_hz)))])
    volts = float(solved.rms_v[worst, column])
    speaker, ohm, rating_w = first_at_rating(context, end)
    watts = volts**2 / ohm if speaker else None
    return FullScale(
        end.stage, float(tones_hz[worst]), float(-margin[worst]), volts, watts, speaker, rating_w, end.allowance_db
    )


def full_scale_text(found: FullScale) -> str:
    """Return what it means, in a sentence or two; empty where nothing clips and no rating is passed."""
    over = found.watts is not None and found.rating_w is not None and found.watts > 1.02 * found.rating_w
    if found.over_db <= 0 and not over:
        return ""
    parts = []
    if found.over_db > 0:
        parts.append(
            say(
                "{stage}: programme at full scale drives it {over_db} dB past its ceiling at the highest clean volume (worst at {tone_hz} Hz).",
                stage=sentence(found.where_text or found.stage),
                over_db=f"{found.over_db:.1f}",
                tone_hz=_hertz(found.tone_hz),
            )
        )
    if found.watts is not None:
        rated = (
            say("rated {rating_w} W", rating_w=f"{found.rating_w:.0f}") if found.rating_w else say("no rating given")
        )
        figures = {
            "tone_hz": _hertz(found.tone_hz),
            "v_rms": f"{found.v_rms:.3g}",
            "watts": f"{found.watts:.0f}",
            "speaker": found.speaker_text or found.speaker,
            "rated": rated,
        }
        parts.append(
            say(
                "A full-scale tone of {tone_hz} Hz gives {v_rms} V there, {watts} W into {speaker} ({rated}).",
                **figures,
            )
            if parts
            else say(
                "{stage}: a full-scale tone of {tone_hz} Hz gives {v_rms} V, {watts} W into {speaker} ({rated}).",
                stage=sentence(found.where_text or found.stage),
                **figures,
            )
        )
    if over:
        parts.append(say("That is more than the speaker is rated for: such a level must not last."))
    if found.over_db > 0:
        parts.append(
            say(
                "Recordings that stay {over_db} dB below full scale there play clean; louder ones clip: turn down for them.",
                over_db=f"{found.over_db:.1f}",
            )
        )
    return joined(parts, by="{a} {b}")


def _hertz(tone_hz: float) -> str:
    """Return a frequency with the three figures that the search has."""
    return f"{float(f'{tone_hz:.3g}'):.0f}"
