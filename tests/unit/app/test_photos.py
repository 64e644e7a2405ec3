"""Photos lose the place, time and device that a camera writes in, and nothing of the picture; checked with Pillow."""

from __future__ import annotations

import io
import struct
import zlib
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from gainwright.app.set_up import photos
from gainwright.app.set_up.notes import add_note, note_of, remove_note
from gainwright.app.set_up.photos import read_photo
from gainwright.composition import Adapters
from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path

MAKER, ORIENTATION, GPS = 0x010F, 0x0112, 0x8825
TOLD = b"Workshop Street"


def picture(kind: str, *, turned: int = 6, progressive: bool = False) -> bytes:
    """Return a photo that tells its maker, place and a comment, as a camera writes it."""
    made = Image.effect_mandelbrot((64, 48), (-3, -2.5, 2, 2.5), 30).convert("RGB")
    exif = Image.Exif()
    exif[MAKER], exif[ORIENTATION] = TOLD.decode(), turned
    exif.get_ifd(GPS)[2] = (52.0, 31.0, 12.5)
    out = io.BytesIO()
    more: dict[str, object] = {"exif": exif.tobytes()}
    if kind == "PNG":
        told = PngImagePlugin.PngInfo()
        told.add_text("Location", TOLD.decode())
        more["pnginfo"] = told
    elif kind == "JPEG":
        more |= {"comment": TOLD, "progressive": progressive}
    made.save(out, kind, **more)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("progressive", [False, True])
def test_a_photo_tells_nothing_but_its_picture(kind: str, *, progressive: bool) -> None:
    """Pillow finds the same pixels and size, and neither maker nor place nor text; a JPEG still says how it is turned."""
    given_ = picture(kind, progressive=progressive)
    assert TOLD in given_
    kept = read_photo(given_)
    before, after = Image.open(io.BytesIO(given_)), Image.open(io.BytesIO(kept.content))
    assert (kept.width, kept.height) == after.size == (64, 48)
    assert kept.media_type == f"image/{kind.lower()}"
    assert after.convert("RGB").tobytes() == before.convert("RGB").tobytes()
    assert TOLD not in kept.content
    assert dict(after.getexif()) == ({ORIENTATION: 6} if kind == "JPEG" else {})
    assert not after.getexif().get_ifd(GPS)
    assert read_photo(kept.content) == kept, "a second time changes nothing"


@pytest.mark.parametrize("turned", [1, 3, 6, 8])
def test_how_a_photo_is_turned_is_known(turned: int) -> None:
    """It can be left out of the file, where whoever draws it turns it."""
    kept = read_photo(picture("JPEG", turned=turned), keep_orientation=False)
    assert kept.orientation == turned
    assert dict(Image.open(io.BytesIO(kept.content)).getexif()) == {}


def test_what_follows_the_picture_is_left_out() -> None:
    """Phones append more pictures and videos, with their own data."""
    assert TOLD not in read_photo(picture("JPEG") + TOLD).content
    assert TOLD not in read_photo(picture("PNG") + TOLD).content
    assert TOLD not in read_photo(picture("WEBP") + TOLD).content


@pytest.mark.parametrize(
    "content", [b"", b"GIF89a" + bytes(40), b"%PDF-1.7", b"<svg xmlns='x'/>", b"\xff\xd8\xff", b"RIFF0000WEBP"]
)
def test_other_files_are_refused(content: bytes) -> None:
    """Also those that only begin like a photo."""
    with pytest.raises(CallError) as caught:
        read_photo(content)
    assert caught.value.code == "no_photo"


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@settings(max_examples=40)
@given(cut=st.floats(0, 1), flipped=st.floats(0, 1))
def test_a_damaged_photo_is_kept_or_refused(kind: str, cut: float, flipped: float) -> None:
    """Nothing else happens, whatever byte is missing or wrong."""
    whole = bytearray(picture(kind))
    whole[int(flipped * (len(whole) - 1))] ^= 0x5A
    for content in (bytes(whole), bytes(whole[: int(cut * len(whole))])):
        try:
            read_photo(content)
        except CallError as error:
            assert error.code in ("no_photo", "too_large")


def test_too_large_a_photo_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """In bytes, and in pixels, which the file only claims."""
    huge = bytearray(picture("PNG"))
    struct.pack_into(">II", huge, 16, 50_000, 50_000)
    struct.pack_into(">I", huge, 29, zlib.crc32(bytes(huge[12:29])))
    with pytest.raises(CallError, match="50000 x 50000") as caught:
        read_photo(bytes(huge))
    assert caught.value.code == "too_large"
    monkeypatch.setattr(photos, "MOST_BYTES", 100)
    with pytest.raises(CallError, match="larger"):
        read_photo(picture("JPEG"))


def test_notes_of_a_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A note needs words or a photo; its photo is cleaned; another job can't reach it; all photos together have a limit."""
    from gainwright.app.set_up import notes

    store = Adapters().store(str(tmp_path / "store.sqlite"))
    job, other = (store.jobs.add(title=title, text="").id for title in ("one", "two"))
    for text, photo, code in ((" ", b"", "no_note"), ("x" * 2001, b"", "too_long"), ("", b"GIF", "no_photo")):
        with pytest.raises(CallError) as caught:
            add_note(store, job, step="a", text=text, by="phone", photo=photo)
        assert caught.value.code == code
    kept = add_note(store, job, step="a", text=" loose plug ", by="phone", photo=picture("JPEG"), key="k")
    assert (kept.text, kept.media_type) == ("loose plug", "image/jpeg")
    assert TOLD not in store.notes.photo(kept.id)
    for call in (note_of, remove_note):
        with pytest.raises(CallError, match="no such note"):
            call(store, other, kept.id)
    monkeypatch.setattr(notes, "MOST_BYTES_OF_JOB", kept.size + 100)
    with pytest.raises(CallError, match="come to over"):
        add_note(store, job, step="a", text="", by="phone", photo=picture("JPEG"))
    remove_note(store, job, kept.id)
    assert store.notes.of(job) == []
    store.close()
