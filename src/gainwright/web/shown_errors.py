"""Errors as other devices may see them, without folders of this machine and addresses of databases; their HTTP status."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.errors import GainwrightError
from gainwright.harmless import without_folders
from gainwright.texts import Text, say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

CONFLICT, NOT_FOUND, BUSY, FULL, FORBIDDEN, TOO_MANY = 409, 404, 503, 507, 403, 429
RETRY_LATER = {"retry-after": "20"}
"""Header of an answer that says to come again, in seconds (RFC 9110 section 10.2.3)."""
STATUSES = {
    "conflict": CONFLICT,
    "job_deleted": CONFLICT,
    "store_busy": BUSY,
    "uploads_busy": BUSY,
    "store_full": FULL,
    "own_machine_only": FORBIDDEN,
    "must_wait": TOO_MANY,
}
"""Error code -> HTTP status; codes that begin with `no_such_` are 404, those of a store that can't be used now 503, all others 422."""
NO_USABLE_STORE = ("store_", "no_store", "no_database", "newer_store")
"""How codes of a store that can't be read or written at all begin: what was sent isn't wrong, and may be sent again later."""


def shown(error: GainwrightError) -> GainwrightError:
    """Return an error for a page or the API: without folders, and of characters that can be sent."""
    where, rule, remedy = _sent(error.where), _sent(error.rule), _sent(error.remedy)
    return error.with_texts(_sent(error.what), where=where, rule=rule, remedy=remedy)


def shown_message(message: Mapping[str, Any], translate: Callable[[Any], Any] = lambda text: text) -> dict[str, Any]:
    """Return a message of a live measurement as it may be sent: translated; its notes, and the texts of an error, without folders."""
    found = {
        k: [translate(v) for v in value] if isinstance(value, list) else translate(value)
        for k, value in message.items()
    }
    if found["kind"] == "trouble":
        return {key: _sent(value) if isinstance(value, str) else value for key, value in found.items()}
    return {**found, "notes": [_sent(note) for note in found["notes"]]} if "notes" in found else found


def _sent(words: str) -> str:
    if isinstance(words, Text) and words.template:  # it is still translated
        return say(
            words.template, **{name: _sent(str(p) if not isinstance(p, str) else p) for name, p in words.parts.items()}
        )
    # what was typed may hold half of a character (a lone surrogate)
    return without_folders(words.encode("utf-8", "replace").decode())


def status_of(error: GainwrightError) -> int:
    """Return the HTTP status of an error."""
    if error.code in STATUSES:
        return STATUSES[error.code]
    if error.code.startswith(NO_USABLE_STORE):
        return BUSY
    return NOT_FOUND if error.code.startswith("no_such_") else 422
