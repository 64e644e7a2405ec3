"""Damage to the log of a SQLite file (`-wal`) that a killed program left: SQLite takes a damaged part of it, and all that follows, for a write that was never finished, and drops it in silence.

The format is that of sqlite.org/fileformat2.html, section 4: a header of 32 bytes, then frames of 24 bytes and a page. Each has two checksums
of 32 bits that go on from those of the frame before it, and the salts of the header; the frame that ends a transaction gives the size of the file.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Any

from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from pathlib import Path

HEAD, FRAME_HEAD = 32, 24
PAGE = 4096
"""Size of a page of every store that SQLite makes for us, its default since 3.12."""


def refuse_damaged_log(file: Path) -> None:
    """Refuse a store whose log has lost transactions.

    Raises
    ------
    CallError : `store_damaged`; nothing was changed.
    """
    lost = lost_transactions(file)
    if lost:
        raise CallError(
            say("its log is damaged: the last {lost} changes can't be read", lost=lost),
            code="store_damaged",
            where=str(file),
            remedy=say("save what can be read with gainwright store backup, then restore that or an earlier backup"),
        )


def lost_transactions(file: Path) -> int:
    """Return how many transactions follow the first damage in the log of a file; 0 for a whole log, or none.

    Of one transaction, the last, damage looks like a write that was never finished: that counts as none.
    """
    # the store's own file isn't opened: closing it would drop the locks that SQLite holds on it in this process, and another
    # program would then take away the log into which this one still writes
    log = file.with_name(f"{file.name}-wal")
    try:
        content = log.read_bytes()
        lost = _lost(content)
        return lost if lost > 1 and content == log.read_bytes() else 0  # nobody is writing it just now
    except OSError:
        return 0


def _lost(content: bytes) -> int:
    """Return the same of a log's content."""
    if len(content) < HEAD:
        return 0
    magic, _, size, _, *salts = struct.unpack(">6I", content[:24])
    if not 512 <= size <= 65_536 or size & (size - 1):
        size = PAGE  # the header is damaged
    import numpy as np

    count = (len(content) - HEAD) // (FRAME_HEAD + size)
    if count < 2:
        return 0
    frames = np.frombuffer(content, np.uint8, count * (FRAME_HEAD + size), HEAD).reshape(count, FRAME_HEAD + size)
    heads = np.ascontiguousarray(frames[:, :FRAME_HEAD]).view(">u4").astype(np.uint32)
    order = ">u4" if magic & 1 else "<u4"  # of the words in the checksums
    first = np.frombuffer(content, ">u4", 2, 24).astype(np.uint32)
    summed = np.concatenate([frames[:, :8], frames[:, FRAME_HEAD:]], axis=1)
    words = np.ascontiguousarray(np.ascontiguousarray(summed).view(order).astype(np.uint32).T)
    ours = (heads[:, 2:4] == np.array(salts, np.uint32)).all(axis=1)
    before = np.concatenate([first[None], heads[:-1, 4:6]])
    sound = ours & (_checksums(words, before) == heads[:, 4:6]).all(axis=1)
    head = np.frombuffer(content, order, 6).astype(np.uint32)[:, None]
    header_sound = (_checksums(head, np.zeros((1, 2), np.uint32)) == first).all()
    if not header_sound:  # the first frame says what belongs together
        ours, sound[0] = (heads[:, 2:4] == heads[0, 2:4]).all(axis=1), False
    bad = int(np.argmin(sound)) if not sound.all() else count
    return int(np.count_nonzero(ours[bad:] & (heads[bad:, 1] > 0)))


def _checksums(words: Any, before: Any) -> Any:
    """Return the checksums of all frames at once, shape (frames, 2); `words` has shape (words, frames)."""
    one, two = before[:, 0].copy(), before[:, 1].copy()
    import numpy as np

    for a, b in zip(words[::2], words[1::2], strict=True):
        one += a + two
        two += b + one
    return np.stack([one, two], axis=1)
