"""Cases from a folder into the store: new ones are taken, none is written over."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import GainwrightError

if TYPE_CHECKING:
    from gainwright.app.ports import CaseStore
    from gainwright.app.store import Cases
    from gainwright.model import Case


@dataclass(frozen=True, slots=True)
class TakenCases:
    """What became of each case of a folder.

    Attributes
    ----------
    added : are in the store now.
    same : were in it, just so.
    differing : are in it otherwise; the store's own stay.
    unreadable : name and reason of those that are no case.
    """

    added: tuple[str, ...]
    same: tuple[str, ...]
    differing: tuple[str, ...]
    unreadable: tuple[tuple[str, str], ...]

    def as_json(self) -> dict[str, Any]:
        """Return it as one JSON object."""
        unreadable = [{"name": name, "why": why} for name, why in self.unreadable]
        return {
            "added": list(self.added),
            "same": list(self.same),
            "differing": list(self.differing),
            "unreadable": unreadable,
        }


def take_cases(folder: CaseStore, into: Cases) -> TakenCases:
    """Take every case of a folder into the store.

    Raises
    ------
    CallError : the folder can't be read, or the store can't be written; those taken before stay.
    """
    sorts: dict[str, list[str]] = {"added": [], "same": [], "differing": []}
    unreadable = []
    for name in folder.names():
        try:
            case = folder.load(name)
        except GainwrightError as error:
            unreadable.append((name, str(error)))
            continue
        sorts[_taken(name, case, into)].append(name)
    return TakenCases(tuple(sorts["added"]), tuple(sorts["same"]), tuple(sorts["differing"]), tuple(unreadable))


def _taken(name: str, case: Case, into: Cases) -> str:
    from gainwright.app.store import ConflictError

    try:
        into.write(name, case, seen=0)
    except ConflictError:
        return "same" if into.get(name).case == case else "differing"
    return "added"
