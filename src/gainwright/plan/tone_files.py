"""The names under which a plan's tones are written, so that each step can name its file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.signals import Tone, number_tones

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.plan.result import Step


def tone_uses(steps: Iterable[Step]) -> dict[tuple[float, float], list[str]]:
    """Return (Hz, dBFS) -> the stages that it is played for, in the order of first use."""
    uses: dict[tuple[float, float], list[str]] = {}
    for step in steps:
        for hz, dbfs in ((step.tone_hz, step.level_dbfs), (step.load_tone_hz, step.load_tone_dbfs)):
            if hz is not None and dbfs is not None:
                stages = uses.setdefault((hz, dbfs), [])
                stages += [step.stage] if step.stage not in stages else []
    return uses


def tone_files(steps: Iterable[Step]) -> dict[tuple[float, float], str]:
    """Return (Hz, dBFS) -> name of the WAV file in the plan's numbered set."""
    uses = tone_uses(steps)
    numbered = number_tones([(Tone(hz, (level,), 1.0), "") for hz, level in uses])
    return {use: entry.file for use, entry in zip(uses, numbered, strict=True)}
