"""The memory that a recording takes while it is stored and read: that of its file once, whatever else is done with it."""

from __future__ import annotations

import io
import tracemalloc
from contextlib import closing
from types import SimpleNamespace
from typing import TYPE_CHECKING

from store_writers import MEASURED

from gainwright.adapters.store import open_store
from gainwright.app.measuring import stored_recordings
from gainwright.app.measuring.recording_limits import MOST_SAMPLES
from gainwright.app.measuring.stored_result import Origin
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pytest

LENGTH = 12_000_000
FEW = 2_000_000
"""What pieces and the database take, at most, in bytes."""


def _peak(act: Callable[[], object]) -> int:
    tracemalloc.start()
    try:
        act()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_a_recording_is_in_memory_once_while_it_is_stored_and_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The checksum and the database take pieces of it, so the longest takes 50 MB of the 200 that an upload may."""
    monkeypatch.setattr("gainwright.metering.opened_recording", lambda *_args, **_named: closing(io.BytesIO()))
    monkeypatch.setattr(
        "gainwright.metering.measure", lambda *_args, **_named: SimpleNamespace(rate_hz=8000, channels=())
    )
    with closing(open_store(tmp_path / "store.sqlite")) as store:
        job = store.jobs.add(title="", text=example_text("one_amplifier")).id
        content = bytes(LENGTH)
        assert _peak(lambda: store.recordings.add(job, name="a", content=content, measured=MEASURED)) < FEW
        wav = io.BytesIO(content)
        about = Origin("uploaded")
        assert _peak(lambda: stored_recordings.add_recording(store, job, wav, name="b", about=about)) < LENGTH + FEW
        kept = store.recordings.of(job)[0].id
        assert _peak(lambda: store.recordings.content(kept)) < LENGTH + FEW
        pieces = store.recordings.pieces(kept)
        next(pieces)
        assert _peak(lambda: max(map(len, pieces))) < 2 * FEW
    assert 4 * MOST_SAMPLES + FEW < 0.3 * 200e6
