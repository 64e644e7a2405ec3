"""Short texts and headers of files, mutated by the hundred thousand: typed answers, lines of readings, values of job files, WAV headers, YAML.

Each takes well under a millisecond, so a million can be tried in some minutes; what lies behind them (fits, plans, diagnoses) is tried
by the other kinds, less often.
"""

from __future__ import annotations

import io
import math
import struct
from typing import TYPE_CHECKING, Any

from hostile_files import damaged

from gainwright.app.cases.complaints import complaint_entries, is_complaint
from gainwright.app.measuring.knee import parse_readings
from gainwright.app.measuring.typed_readings import read_answer
from gainwright.errors import AnswerError
from gainwright.jobfile import example_text, read_job_text
from gainwright.jobfile.yaml_reading import document
from gainwright.metering import opened_recording
from gainwright.metering.steady_stretch import levels_along
from gainwright.quantities import (
    DIMENSIONS,
    Quantity,
    parse,
    read_choice,
    read_lead,
    read_measured,
    read_ohms,
    read_plain_number,
    read_position,
    read_row,
    read_step,
    read_volts,
    whole_number,
)

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

PIECES = (
    "0", "1", "12", "350", "13,8", ".5", "-", "+", "4k7", "R47", "1e400", "9" * 40, "1/2", "٣", "１", "mV", "V", "ohm", "Ω", "kHz", "dB", "dBFS", "%",
    " ", "  ", "\t", "±", "+-", "..", "to", "at", "@", "unknown", "over range", "open", "silent", "nicht", "no bass", "the doors play", "left", "sub",
    ",", ";", ":", "(", ")", "\x00", "\x1b[2J", "\ud800", "\u202e", "½", "nan", "inf", "x" * 300, "ja", "1.2.3", "1,2,3", "1'000", "à", "\n",
)  # fmt: skip
SOUND = (
    "13.8 V ± 2 %", "4 ohm", "0.2 .. 6 V", "-6 dB", "75 Hz", "30 %", "2.5 m", "4 mm2", "300 W", "12 mV", "0,62 V bei 30 %", "31 V at 24", "12 1.09",
    "0.4 / open", "no bass, the doors play", "links ist leise", "1.5 ms", "88 dB", "-8 dBFS", "40 A", "55 l", "it's green",
)  # fmt: skip
LINES = "step,v_rms\n# louder\n10,0.62\n11;0,70\n12 0.78 V\n13\t880 mV\n14,0.99\n15: 1.1\n"
YAML = "format: 1\nstages:\n  head: {kind: head_unit, volume: {steps: 40, at: 28}}\n  amp: &a [4 ohm, 'x', \"y\"]\n  sub: *a\n"


def _text(draw: random.Random) -> str:
    """Return pieces in any order, or something sound with a piece put into it."""
    if draw.random() < 0.5:
        return "".join(draw.choice(PIECES) for _ in range(draw.randint(0, 7)))
    text = draw.choice(SOUND)
    at = draw.randrange(len(text) + 1)
    return text[:at] + draw.choice(PIECES) + text[at + draw.randrange(3) :]


def _typed(draw: random.Random) -> tuple[str, Any]:
    return "typed", _text(draw)


def use_typed(text: str) -> None:
    """Read a text in every way that something typed is read; each gives a value or one sentence."""
    refusals, read_as = [], 0
    for read in READERS:
        try:
            found = read(text)
        except AnswerError as error:
            refusals.append(error)
            continue
        read_as += found not in (None, False)
        if isinstance(found, Quantity) and found.known:
            assert not math.isnan(found.nominal), text
    if refusals and not read_as:
        raise max(refusals, key=lambda error: len(str(error)))


_JOB = read_job_text(example_text("two_way_and_sub")).job
READERS: tuple[Callable[[str], Any], ...] = (
    read_volts, read_ohms, read_lead, read_step, read_row, read_plain_number, whole_number, is_complaint,
    lambda text: read_volts(text, second="distortion"),
    lambda text: read_position(text, "fraction"),
    lambda text: read_position(text, "ratio"),
    lambda text: read_choice(text, ("silent", "faint", "both right")),
    lambda text: read_measured(text, "voltage", exact=False, words=("over_range",)),
    lambda text: read_answer(text, "volts"),
    lambda text: read_answer(text, "lead"),
    lambda text: complaint_entries(text, _JOB),
)  # fmt: skip
"""What reads a typed text."""


def _value(draw: random.Random) -> tuple[str, Any]:
    return "value", (_text(draw), draw.choice(_NAMES))


_NAMES = tuple(DIMENSIONS)


def use_value(content: tuple[str, str]) -> None:
    """Read a value of a job file, in one of its dimensions."""
    found = parse(*content)
    if found.known:
        assert all(math.isfinite(x) for x in (found.nominal, *found.interval)), content


def use_lines(text: str) -> None:
    """Read lines of readings."""
    for step, volts in parse_readings(text.splitlines(), "attacked"):
        assert math.isfinite(step), text
        assert math.isfinite(volts), text


def use_yaml(text: str) -> None:
    """Read a small YAML text within its limits."""
    document(text, "attacked")


def _header(draw: random.Random) -> tuple[str, Any]:
    """Return a WAV file of a few samples, its header changed in up to three places."""
    rate, channels = draw.choice((8_000, 48_000, 192_000, 0, 1, 2**31)), draw.choice((0, 1, 2, 8, 255, 65_535))
    bits, code = draw.choice((8, 16, 24, 32, 64, 0, 3)), draw.choice((1, 3, 6, 7, 17, 0x55, 0xFFFE))
    count = draw.randrange(64)
    head = struct.pack(
        "<HHIIHH", code, channels, rate, rate * channels * bits // 8 % 2**32, channels * bits // 8 % 65_536, bits
    )
    body = b"WAVEfmt " + struct.pack("<I", 16) + head + b"data" + struct.pack("<I", count) + draw.randbytes(count)
    found = bytearray(b"RIFF" + struct.pack("<I", len(body)) + body)
    for _ in range(draw.randrange(4)):
        found[draw.randrange(12, min(len(found), 48))] = draw.randrange(256)
    return "header", bytes(found)


def use_header(content: bytes) -> None:
    """Open a recording and look at its levels."""
    with opened_recording(_Bytes(content), name="attacked.wav") as recording:
        levels_along(recording)


class _Bytes(io.BytesIO):
    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Stay where it is when asked for a place before the beginning."""
        try:
            return super().seek(offset, whence)
        except (ValueError, OSError):
            return self.tell()


KINDS: dict[str, tuple[Callable[[random.Random], tuple[str, Any]], Callable[[Any], None], float]] = {
    "typed answers": (_typed, use_typed, 1.0),
    "values of job files": (_value, use_value, 1.5),
    "lines of readings": (lambda draw: ("damaged", damaged(draw, LINES)), use_lines, 1.0),
    "WAV headers": (_header, use_header, 1.0),
    "YAML texts": (lambda draw: ("damaged", damaged(draw, YAML)), use_yaml, 0.5),
}
"""What is attacked -> how one is drawn, what is done with it, its share of the time."""
