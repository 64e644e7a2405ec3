"""Changes to stored documents that several may change at once: each is made to the document as it then is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gainwright.app.store import ConflictError

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app.store import Documents

TRIES = 20


def change_document(
    documents: Documents, kind: str, key: str, change: Callable[[dict[str, Any] | None], dict[str, Any]]
) -> dict[str, Any]:
    """Change a document, which may not exist yet, and return it as it was written.

    Parameters
    ----------
    change : returns the new content from the present one; called again when somebody else was first.

    Raises
    ------
    ConflictError : somebody else was first every time; nothing was written.
    """
    tries = 0
    while True:
        found = documents.read(kind, key)
        content = change(None if found is None else found.content)
        try:
            documents.put(kind, key, content, seen=0 if found is None else found.revision)
        except ConflictError:
            tries += 1
            if tries == TRIES:
                raise
            continue
        return content
