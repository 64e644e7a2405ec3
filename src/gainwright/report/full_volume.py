"""What recordings at full scale do at the highest clean volume, for a customer's page: short, in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.plan import FullScale


def at_full_volume(found: Sequence[FullScale]) -> tuple[str, ...]:
    """Return a text for each amplifier that clips or passes a speaker's rating, and what to do; empty if none does."""
    clipping = [f for f in found if f.over_db > 0]
    over = [f for f in found if f.watts is not None and f.rating_w is not None and f.watts > 1.02 * f.rating_w]
    texts = [_amplifier(f) for f in found if f in clipping or f in over]
    then = [say("Such recordings distort: turn the volume down for them.")] if clipping else []
    then += [say("Above its rating a speaker overheats: such a level must not last.")] if over else []
    return (*texts, joined(then, by="{a} {b}")) if texts else ()


def _amplifier(found: FullScale) -> str:
    stage = sentence(found.where_text or found.stage)
    beyond = say("clean")
    if found.over_db > 0:
        beyond = say("{over_db} dB beyond clean", over_db=f"{found.over_db:.1f}")
    if found.watts is None:
        return say("{stage}: {beyond}.", stage=stage, beyond=beyond)
    rated = say("rated {rating_w} W", rating_w=f"{found.rating_w:.0f}") if found.rating_w else say("no rating given")
    return say(
        "{stage}: {beyond}, up to {v_rms} V, {watts} W into {speaker} ({rated}).",
        stage=stage,
        beyond=beyond,
        v_rms=f"{found.v_rms:.3g}",
        watts=f"{found.watts:.0f}",
        speaker=found.speaker_text or found.speaker,
        rated=rated,
    )
