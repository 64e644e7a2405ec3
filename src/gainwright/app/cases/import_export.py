"""Import and export of cases as files; neither overwrites a case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.errors import GainwrightError
from gainwright.results import to_json

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.app.ports import CaseFolder
    from gainwright.app.store import Cases, Store, StoredCase
    from gainwright.model.case import Case


@dataclass(frozen=True, slots=True)
class UnreadableCase:
    """A file that isn't a valid case: the name the case would have, and why."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class ImportedCases:
    """The result of an import or export, case by case.

    Attributes
    ----------
    added : written.
    same : existed already, identical.
    differing : existed already and differ; not overwritten.
    unreadable : files that aren't valid cases.
    """

    added: tuple[str, ...]
    same: tuple[str, ...]
    differing: tuple[str, ...]
    unreadable: tuple[UnreadableCase, ...] = ()

    def left_out(self) -> list[str]:
        """Return a line for each case that wasn't imported."""
        lines = [f"{name}: the store has another of this name, which stays" for name in self.differing]
        return [*lines, *(f"{left.name}: left out; {left.why}" for left in self.unreadable)]


def import_cases(folder: CaseFolder, into: Cases) -> ImportedCases:
    """Import every case of a folder into the store.

    Raises
    ------
    CallError : the folder can't be read, or the store can't be written; cases imported before that stay.
    """
    sorts: dict[str, list[str]] = {"added": [], "same": [], "differing": []}
    unreadable = []
    for name in folder.names():
        try:
            case = folder.load(name)
        except GainwrightError as error:
            unreadable.append(UnreadableCase(name, str(error)))
            continue
        sorts[_imported(name, case, into)].append(name)
    return ImportedCases(tuple(sorts["added"]), tuple(sorts["same"]), tuple(sorts["differing"]), tuple(unreadable))


def _imported(name: str, case: Case, into: Cases) -> str:
    from gainwright.app.store import ConflictError

    try:
        into.write(name, case, seen=0)
    except ConflictError:
        return "same" if into.get(name).case == case else "differing"
    return "added"


def export_cases(cases: Iterable[StoredCase], folder: CaseFolder) -> ImportedCases:
    """Write cases into a folder, one file each; existing files aren't overwritten.

    Raises
    ------
    CallError : the folder can't be read or written; files written before that stay.
    """
    there = set(folder.names())
    sorts: dict[str, list[str]] = {"added": [], "same": [], "differing": []}
    for stored in cases:
        if stored.name not in there:
            folder.save(stored.name, stored.case)
            sorts["added"].append(stored.name)
        else:
            sorts["same" if _holds(folder, stored) else "differing"].append(stored.name)
    return ImportedCases(tuple(sorts["added"]), tuple(sorts["same"]), tuple(sorts["differing"]))


def _holds(folder: CaseFolder, stored: StoredCase) -> bool:
    try:
        return folder.load(stored.name) == stored.case
    except GainwrightError:
        return False


def import_summary(done: ImportedCases) -> str:
    """Return a summary of the import of the cases of 0.1, for the person who starts the program."""
    first = f"cases imported into the store from the folder of the version before: {len(done.added)}; the files stay"
    return "\n".join([first, *done.left_out()])


_OLD_FOLDER = "folder of cases of 0.1"


def import_old_folder(folder: CaseFolder, store: Store) -> ImportedCases | None:
    """Import, once, the folder where the command kept its cases up to 0.1; its files stay. None: nothing to import.

    Raises
    ------
    CallError : the folder can't be read, or the store can't be written; the next start tries again.
    """
    if store.documents.get(_OLD_FOLDER, "imported") is not None or not folder.names():
        return None
    done = import_cases(folder, store.cases)
    store.documents.put(_OLD_FOLDER, "imported", to_json(done))
    return done
