"""Photos as they are kept: recognised by their content, and without the place, time and device that a camera writes in.

The pixels aren't decoded: the parts of a file that say how to draw it are copied, all others are left out. JPEG: ISO/IEC
10918-1 (T.81) annex B, Exif 2.32 (CIPA DC-008) for the orientation; PNG: ISO/IEC 15948; WebP: RFC 9649.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_BYTES = 12_000_000
"""Of one photo: what a phone's camera makes of it at most."""
MOST_PIXELS = 60_000_000
_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"bKGD", b"pHYs"}
_WEBP_KEPT = {b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP"}
_WEBP_EXIF_XMP_ANIMATION = 0x08 | 0x04 | 0x02
_FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
"""JPEG markers of a frame, with its size."""
_ALONE = {0x01, *range(0xD0, 0xD8)}
_APP0, _APP1, _APP2, _APP14, _APP15, _COMMENT, _SCAN, _END = 0xE0, 0xE1, 0xE2, 0xEE, 0xEF, 0xFE, 0xDA, 0xD9


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo without what it needn't tell.

    Attributes
    ----------
    orientation : how it is turned, 1 to 8 as in Exif; 1 is upright.
    """

    content: bytes
    media_type: str
    width: int
    height: int
    orientation: int = 1


def read_photo(content: bytes, *, keep_orientation: bool = True) -> Photo:
    """Return a photo with nothing but its picture.

    Parameters
    ----------
    keep_orientation : whether a JPEG file still says how it is turned; otherwise only `orientation` does.

    Raises
    ------
    CallError : it is not a whole JPEG, PNG or WebP file, or too large.
    """
    if len(content) > MOST_BYTES:
        raise CallError(
            say("the photo is larger than {part} MB", part=MOST_BYTES // 1000000),
            code="too_large",
            remedy=say("let the camera take smaller ones"),
        )
    try:
        if content.startswith(b"\xff\xd8\xff"):
            photo = _jpeg(content, keep_orientation=keep_orientation)
        elif content.startswith(_PNG):
            photo = _png(content)
        elif content[:4] == b"RIFF" and content[8:12] == b"WEBP":
            photo = _webp(content)
        else:
            raise CallError(
                say("this isn't a photo"),
                code="no_photo",
                rule=say("JPEG, PNG and WebP can be kept"),
                remedy=say("choose another file"),
            )
    except (struct.error, IndexError, ValueError):
        raise CallError(say("the photo isn't complete"), code="no_photo", remedy=say("send it again")) from None
    if not 0 < photo.width * photo.height <= MOST_PIXELS:
        raise CallError(
            say("the photo has {width} x {height} pixels", width=photo.width, height=photo.height),
            code="too_large",
            rule=say("at most {part} million", part=MOST_PIXELS // 1000000),
            remedy=say("send a smaller one"),
        )
    return photo


def _jpeg(content: bytes, *, keep_orientation: bool) -> Photo:
    kept, at, size, orientation = [b"\xff\xd8"], 2, (0, 0), 1
    while True:
        if content[at] != 0xFF:
            raise ValueError
        while content[at + 1] == 0xFF:  # fill bytes
            at += 1
        marker = content[at + 1]
        if marker == _END:
            break
        if marker in _ALONE:
            kept.append(content[at : at + 2])
            at += 2
            continue
        (length,) = struct.unpack_from(">H", content, at + 2)
        segment, body = content[at : at + 2 + length], content[at + 4 : at + 2 + length]
        if length < 2 or len(segment) != 2 + length:
            raise ValueError
        at += 2 + length
        if marker in _FRAMES:
            size = (int.from_bytes(body[3:5]), int.from_bytes(body[1:3]))
        if marker == _APP1 and body.startswith(b"Exif\0\0"):
            orientation = _orientation(body[6:]) or orientation
        if _is_drawn(marker, body):
            kept.append(segment)
        if marker == _SCAN:
            end = _end_of_scan(content, at)
            kept.append(content[at:end])
            at = end
    if keep_orientation and orientation != 1:
        kept.insert(1, _orientation_segment(orientation))
    return Photo(b"".join([*kept, b"\xff\xd9"]), "image/jpeg", *size, orientation)


def _is_drawn(marker: int, body: bytes) -> bool:
    """Return whether a segment is needed to draw: all but comments and those of applications, of which few are."""
    if marker == _APP2:
        return body.startswith(b"ICC_PROFILE\0")
    return marker in (_APP0, _APP14) or not (_APP0 <= marker <= _APP15 or marker == _COMMENT)


def _end_of_scan(content: bytes, at: int) -> int:
    """Return where the next marker stands that ends the compressed data. ValueError: none does."""
    while True:
        at = content.index(b"\xff", at)
        if content[at + 1] != 0 and content[at + 1] not in _ALONE:
            return at
        at += 2


def _orientation(tiff: bytes) -> int:
    """Return the orientation of Exif data; 0 when they don't say."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2], "")
    if not order:
        return 0
    try:
        (first,) = struct.unpack_from(f"{order}I", tiff, 4)
        (count,) = struct.unpack_from(f"{order}H", tiff, first)
        for i in range(count):
            tag, _, _, value = struct.unpack_from(f"{order}HHIH", tiff, first + 2 + 12 * i)
            if tag == 0x0112:
                return int(value) if 1 <= value <= 8 else 0
    except struct.error:
        return 0
    return 0


def _orientation_segment(orientation: int) -> bytes:
    """Return an Exif segment that holds the orientation and nothing else."""
    entry = struct.pack(">HHIHH", 0x0112, 3, 1, orientation, 0)
    body = b"Exif\0\0MM\0*" + struct.pack(">IH", 8, 1) + entry + bytes(4)
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _png(content: bytes) -> Photo:
    kept, size, last = [_PNG], (0, 0), b""
    for kind, body, whole in _png_chunks(content):
        if kind == b"IHDR":
            size = struct.unpack_from(">II", body)
        if kind in _PNG_KEPT:
            kept.append(whole)
        last = kind
        if kind == b"IEND":
            break
    if last != b"IEND":
        raise ValueError
    return Photo(b"".join(kept), "image/png", *size)


def _png_chunks(content: bytes) -> Iterator[tuple[bytes, bytes, bytes]]:
    at = len(_PNG)
    while at < len(content):
        (length,) = struct.unpack_from(">I", content, at)
        whole = content[at : at + 12 + length]
        (check,) = struct.unpack_from(">I", content, at + 8 + length)
        if zlib.crc32(whole[4:-4]) != check:
            raise ValueError
        yield whole[4:8], whole[8:-4], whole
        at += 12 + length


def _webp(content: bytes) -> Photo:
    (length,) = struct.unpack_from("<I", content, 4)
    if length + 8 > len(content):
        raise ValueError
    kept, size, at = [], (0, 0), 12
    while at < length + 8:
        kind = content[at : at + 4]
        (part,) = struct.unpack_from("<I", content, at + 4)
        body = content[at + 8 : at + 8 + part]
        if len(body) != part:
            raise ValueError
        at += 8 + part + part % 2
        size = _webp_size(kind, body) or size
        if kind == b"VP8X":
            body = bytes([body[0] & ~_WEBP_EXIF_XMP_ANIMATION]) + body[1:]
        if kind in _WEBP_KEPT:
            kept.append(kind + struct.pack("<I", part) + body + bytes(part % 2))
    if not any(chunk[:4] in (b"VP8 ", b"VP8L") for chunk in kept):
        raise ValueError
    inside = b"WEBP" + b"".join(kept)
    return Photo(b"RIFF" + struct.pack("<I", len(inside)) + inside, "image/webp", *size)


def _webp_size(kind: bytes, body: bytes) -> tuple[int, int] | None:
    if kind == b"VP8X":
        return 1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little")
    if kind == b"VP8L":
        bits = int.from_bytes(body[1:5], "little")
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if kind == b"VP8 ":
        width, height = struct.unpack_from("<HH", body, 6)
        return width & 0x3FFF, height & 0x3FFF
    return None
