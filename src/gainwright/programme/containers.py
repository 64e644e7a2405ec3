"""Problems of a sound file's container that decoders don't report: truncation and encryption.

Only the beginning and end of a file and its headers are read. Problems are returned as sentences, an empty text if
there are none.
"""

from __future__ import annotations

import struct
from typing import IO, TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

HEAD_BYTES = 64
"""Bytes that `kind_of` needs."""
CUT_SHORT = "is cut short"
LOCKED = "is encrypted"
UNKNOWN_SIZES = {0, 0xFFFFFFFF}
"""Sizes in headers whose writer couldn't seek back to fill them in."""
LARGEST_INDEX = 64 << 20
PAGE_REACH = 1 << 17
"""Bytes at the end in which the last Ogg page begins; a page has 65,307 bytes at most."""


_MARKS = (
    (b"RIFF", b"WAVE", "wav"),
    (b"RF64", b"WAVE", "wav"),
    (b"FORM", b"AIF", "aiff"),
    (b"fLaC", b"", "flac"),
    (b"OggS", b"OpusHead", "opus"),
    (b"OggS", b"", "ogg"),
    (b"ID3", b"", "mp3"),
)
"""First bytes of a file, bytes that follow nearby, and the kind."""


def kind_of(head: bytes) -> str:
    """Return the kind of a file by its first bytes: wav, aiff, flac, ogg, opus, mp3, mp4, adts, or an empty text."""
    for start, later, kind in _MARKS:
        if head.startswith(start) and later in head:
            return kind
    if head[4:8] == b"ftyp":
        return "mp4"
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0:
        return "adts" if head[1] & 0x06 == 0 else "mp3"
    return ""


def container_problem(path: Path, kind: str) -> str:
    """Return the problem of a file's container, an empty text if there is none."""
    look = {"wav": _chunks, "aiff": _chunks, "ogg": _last_page, "opus": _last_page, "mp4": _boxes}.get(kind)
    if look is None:
        return ""
    with path.open("rb") as file:
        return look(file, path.stat().st_size)


def _chunks(file: IO[bytes], size: int) -> str:
    """Walk the chunks of a RIFF or IFF file to the samples and compare their size with that of the file."""
    head = file.read(12)
    order = ">" if head[:4] == b"FORM" else "<"
    while len(start := file.read(8)) == 8:
        name, length = start[:4], struct.unpack(order + "I", start[4:])[0]
        if name in (b"data", b"SSND"):
            return CUT_SHORT if length not in UNKNOWN_SIZES and file.tell() + length > size else ""
        file.seek(length + length % 2, 1)
    return f"{CUT_SHORT}: it ends before its samples"


def _last_page(file: IO[bytes], size: int) -> str:
    """Check that the last Ogg page is complete and marked as the last (RFC 3533)."""
    file.seek(max(0, size - PAGE_REACH))
    tail = file.read()
    at = tail.rfind(b"OggS")
    page = tail[at:] if at >= 0 else b""
    if len(page) < 27 or len(page) < 27 + page[26]:
        return CUT_SHORT
    whole = 27 + page[26] + sum(page[27 : 27 + page[26]])
    return "" if page[5] & 4 and len(page) >= whole else CUT_SHORT


def _boxes(file: IO[bytes], size: int) -> str:
    """Check the boxes of an MP4 file (ISO/IEC 14496-12): all within the file, an index, no encrypted audio."""
    at, index = 0, b""
    while at + 8 <= size:
        file.seek(at)
        length, name = struct.unpack(">I4s", file.read(8))
        head = 8
        if length == 1:
            length, head = struct.unpack(">Q", file.read(8))[0], 16
        length = length or size - at
        if length < head:
            return "is damaged"
        if at + length > size:
            return CUT_SHORT
        if name == b"moov":
            index = file.read(min(length - head, LARGEST_INDEX))
        at += length
    if not index:
        return CUT_SHORT
    return LOCKED if b"drms" in index or b"enca" in index else ""
