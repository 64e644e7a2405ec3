"""Add, rename and remove cables of the supply, and keep what they feed up to date with the stages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile.editing.draft import Draft
from gainwright.jobfile.editing.references import chain_error
from gainwright.jobfile.editing.renaming import check_name
from gainwright.jobfile.editing.values import put_key, remove_key
from gainwright.model import BATTERY
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.jobfile.editing.scalars import Value


def add_cable(
    text: str, cable: str, *, source: str = BATTERY, feeds: Sequence[str] = (), values: Mapping[str, Value] | None = None,
    name: str = "job",
) -> str:  # fmt: skip
    """Return a job file's text with a cable added. JobError: an invalid name, or it can't be connected so."""
    draft = Draft(text, name)
    check_name(draft, cable, "supply")
    begins = {} if source in ("", BATTERY) else {"from": source}
    ends = {"feeds": list(feeds)} if feeds else {}
    put_key(draft, ("supply", cable), {**begins, **ends, **(values or {})})
    return draft.finished()


def rename_cable(text: str, old: str, new: str, *, name: str = "job") -> str:
    """Return a job file's text with a cable renamed everywhere. JobError: impossible."""
    draft = Draft(text, name)
    _check_cable(draft, old)
    check_name(draft, new, "supply")
    for other, says in draft.plain["supply"].items():
        if (says or {}).get("from") == old:
            draft.set(("supply", other, "from"), new)
    draft.rename(("supply", old), new)
    return draft.finished()


def remove_cable(text: str, cable: str, *, name: str = "job") -> str:
    """Return a job file's text without a cable; those that begin at its end begin where it did. JobError: there is none."""
    draft = Draft(text, name)
    _check_cable(draft, cable)
    source = (draft.plain["supply"][cable] or {}).get("from")
    for other, says in list(draft.plain["supply"].items()):
        if (says or {}).get("from") == cable:
            draft.set(("supply", other, "from"), source) if source else draft.unset(("supply", other, "from"))
    if len(draft.plain["supply"]) == 1:
        remove_key(draft, ("supply",))
    else:
        remove_key(draft, ("supply", cable))
    return draft.finished()


def _check_cable(draft: Draft, cable: str) -> None:
    if cable not in (draft.plain.get("supply") or {}):
        raise chain_error(say("there is no cable {cable}", cable=cable[:60]), where="supply")
