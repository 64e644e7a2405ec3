"""What was done to the sound of an input, so that its levels aren't reliable."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Sequence

FOUND = "automatic gain (found at two levels)"
"""What is noted as processing once the check at two levels has failed."""
PROCESSING = {
    "automatic gain": say("automatic gain"),
    "noise suppression": say("noise suppression"),
    "echo cancellation": say("echo cancellation"),
    FOUND: say("automatic gain (found at two levels)"),
}
"""What a browser may do to its input, as stored -> as shown."""


def processing_words(processing: Sequence[str]) -> str:
    """Return what was done to an input, in words that can be translated."""
    return joined([PROCESSING.get(p, p) for p in processing], by="{a} and {b}")
