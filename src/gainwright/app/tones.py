"""The tones that a plan plays: the set, as files or as one archive; and one tone for a page."""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.plan import Plan
    from gainwright.signals import NumberedTone, Tone

STEPPED_RANGE_DB, STEPPED_BY_DB, STEPPED_SECONDS = 20, 1, 2.0
LONGEST_PLAYED_S = 120.0
"""Of a tone that is played from a page; longer ones are written as files."""
LONGEST_SET_S = 600.0


@dataclass(frozen=True, slots=True)
class WrittenTone:
    """A file with a tone, and what it is for; of a run of levels the first."""

    file: str
    what: str
    tone_hz: float
    level_dbfs: float
    seconds: float
    rate_hz: int


def written_tone(entry: NumberedTone) -> WrittenTone:
    """Return the description of a tone that was written."""
    tone = entry.tone
    return WrittenTone(entry.file, entry.what, tone.frequency_hz, tone.levels_dbfs[0], tone.seconds, tone.rate_hz)


def plan_tones(plan: Plan, *, seconds: float, rate_hz: int, bits: int) -> list[tuple[Tone, str]]:
    """Return the tones that a plan plays, each once, in the order of first use, and a stepped run for each frequency.

    Raises
    ------
    CallError : a blocker stops the plan, so it plays none.
    """
    from gainwright.plan import tone_uses
    from gainwright.signals import Tone

    if plan.blocked:
        raise CallError(
            say("a blocker stops the plan of this job, and no tone is played"),
            code="plan_blocked",
            remedy=say("change what its findings say first: gainwright check"),
        )
    uses = tone_uses(plan.steps)
    tones = [
        (Tone(hz, (level,), seconds, rate_hz, bits), f"for {', '.join(stages)}") for (hz, level), stages in uses.items()
    ]
    levels = tuple(float(v) for v in range(-STEPPED_RANGE_DB, 1, STEPPED_BY_DB))
    for hz in dict.fromkeys(hz for hz, _ in uses):
        what = f"a run of levels in steps of {STEPPED_BY_DB} dB, to hear or see where something begins to clip"
        tones.append((Tone(hz, levels, STEPPED_SECONDS, rate_hz, bits), what))
    return tones


def tone_wav(*, tone_hz: float, level_dbfs: float, seconds: float, sides: str = "both") -> bytes:
    """Return a tone as a 16-bit WAV file at 44.1 kHz.

    Raises
    ------
    CallError : an invalid tone, or one that is too long for a page.
    """
    from gainwright.signals import Tone, tone_bytes

    if not seconds <= LONGEST_PLAYED_S:
        raise CallError(
            say("a tone of {seconds} s is too long", seconds=f"{seconds:g}"),
            code="bad_tone",
            rule=say("on a page a tone lasts up to {longest_played_s} s", longest_played_s=f"{LONGEST_PLAYED_S:g}"),
        )
    return tone_bytes(Tone(tone_hz, (level_dbfs,), seconds, sides=sides), ".wav")  # type: ignore[arg-type]


def tone_archive(
    plan: Plan, *, seconds: float, flac: bool = False, on_progress: Callable[[float, str], None] | None = None
) -> bytes:
    """Return all tones of a plan with their list as a ZIP archive.

    Parameters
    ----------
    on_progress : called with the share that is done and the file that is next; may stop the work by raising.

    Raises
    ------
    CallError : a length out of its bounds.
    """
    from gainwright.signals import number_tones, set_files

    if not 1 <= seconds <= LONGEST_SET_S:
        raise CallError(
            say("a length of {seconds} s is out of range", seconds=f"{seconds:g}"),
            code="bad_tone",
            rule=say("tones last 1 to {longest_set_s} s", longest_set_s=f"{LONGEST_SET_S:g}"),
        )
    entries = number_tones(plan_tones(plan, seconds=seconds, rate_hz=44_100, bits=16), flac=flac)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED if flac else zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for done, (name, content) in enumerate(set_files(entries, title=plan.title)):
            if on_progress is not None and done < len(entries):
                on_progress(done / len(entries), entries[done].file)
            archive.writestr(name, content)
    return out.getvalue()
