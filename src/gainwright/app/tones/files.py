"""Tones for a phone or a stick: one as a WAV file in memory, or all that a plan plays as one archive."""

from __future__ import annotations

import io
import tempfile
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.plan import Plan

LONGEST_PLAYED_S = 120.0
"""A tone that is played from a page; longer ones come as files."""
LONGEST_SET_S = 600.0


def tone_wav(*, tone_hz: float, level_dbfs: float, seconds: float, sides: str = "both") -> bytes:
    """Return a tone as a 16-bit WAV file at 44.1 kHz.

    Raises
    ------
    CallError : a tone that can't be, or is too long for a page.
    """
    import soundfile

    from gainwright.signals import Tone, quantised, render

    if not seconds <= LONGEST_PLAYED_S:
        raise CallError(
            f"a tone of {seconds:g} s", code="bad_tone", rule=f"on a page a tone lasts up to {LONGEST_PLAYED_S:g} s"
        )
    tone = Tone(tone_hz, (level_dbfs,), seconds, sides=sides)  # type: ignore[arg-type]
    samples = quantised(render(tone), bits=tone.bits, seed=tone.seed)
    out = io.BytesIO()
    soundfile.write(out, samples, tone.rate_hz, format="WAV", subtype="PCM_16")
    return out.getvalue()


def tone_archive(
    plan: Plan, *, seconds: float, flac: bool = False, tell: Callable[[float, str], None] | None = None
) -> bytes:
    """Return all tones of a plan with their list as a ZIP archive.

    Parameters
    ----------
    tell : is told the share that is done, and the file that is being written; may stop it by raising.

    Raises
    ------
    CallError : a length that can't be.
    """
    from gainwright.app.tones.sets import plan_tones
    from gainwright.signals import LIST_NAME, list_text, numbered, write_tone

    if not 1 <= seconds <= LONGEST_SET_S:
        raise CallError(f"tones of {seconds:g} s", code="bad_tone", rule=f"they last 1 to {LONGEST_SET_S:g} s")
    entries = numbered(plan_tones(plan, seconds=seconds, rate_hz=44_100, bits=16), flac=flac)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED if flac else zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr(LIST_NAME, list_text(entries, title=plan.title))
        with tempfile.TemporaryDirectory() as folder:
            for i, entry in enumerate(entries):
                if tell is not None:
                    tell(i / len(entries), entry.file)
                path = Path(folder) / entry.file
                write_tone(path, entry.tone)
                archive.write(path, entry.file)
                path.unlink()
    return out.getvalue()
