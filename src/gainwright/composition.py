"""Wires adapters to the app: a plain class, nothing at import, each part brought in when it is asked for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gainwright.adapters.installation import InstalledPart
    from gainwright.adapters.store import StoreMaintenance
    from gainwright.app.cases.importing import ImportedCases
    from gainwright.app.music.ports import MusicCache, Workers
    from gainwright.app.ports import Benches, CaseFolder, Charts, HiddenRigs, Printer, SoundFiles, SoundInput
    from gainwright.app.store import Store


class World:
    """What the verbs need from outside."""

    @property
    def charts(self) -> Charts:
        """What draws."""
        from gainwright.adapters.charts import AltairCharts

        return AltairCharts()

    @property
    def printer(self) -> Printer:
        """What sets papers."""
        from gainwright.adapters.paper_pdf import TypstPrinter

        return TypstPrinter()

    @property
    def sound(self) -> SoundInput:
        """What brings sound in."""
        from gainwright.adapters.sound_input import PortAudioInput

        return PortAudioInput()

    @property
    def sound_files(self) -> SoundFiles:
        """What reads sound files that somebody else made."""
        from gainwright.adapters.guarded_decoding import GuardedSoundFiles

        return GuardedSoundFiles()

    @property
    def benches(self) -> Benches:
        """Simulated benches."""
        from gainwright.simulated import SimulatedBenches

        return SimulatedBenches()

    @property
    def hidden_rigs(self) -> HiddenRigs:
        """Simulated chains with hidden faults."""
        from gainwright.simulated import SimulatedHiddenRigs

        return SimulatedHiddenRigs()

    def case_folder(self, folder: Path) -> CaseFolder:
        """Return the case files in a folder."""
        from gainwright.adapters.case_folder import FolderCases

        return FolderCases(folder)

    def store(self, where: str | None = None, *, on_imported: Callable[[ImportedCases], None] | None = None) -> Store:
        """Open the store: at a file or address, else where `$GAINWRIGHT_STORE` says, else the person's own.

        The person's own store first imports, once, the folder in which the command kept its cases up to 0.1;
        `on_imported` is told what became of them.
        """
        from gainwright.adapters.store import open_store
        from gainwright.adapters.store_place import own_store_file, store_place

        place = store_place(where)
        store = open_store(place)
        if place == str(own_store_file()):
            try:
                done = self._import_old_folder(store)
            except BaseException:
                store.close()
                raise
            if done is not None and on_imported is not None:
                on_imported(done)
        return store

    def _import_old_folder(self, store: Store) -> ImportedCases | None:
        from gainwright.adapters.case_folder import FolderCases, cases_folder
        from gainwright.app.cases.importing import import_old_folder

        return import_old_folder(FolderCases(cases_folder()), store)

    def has_store(self, where: str | None = None) -> bool:
        """Whether there is a store, or cases of 0.1 that one would be made from; a database that is named counts as there."""
        from gainwright.adapters.case_folder import FolderCases, cases_folder
        from gainwright.adapters.store_place import own_store_file, store_place

        place = store_place(where)
        if "://" in place or Path(place).exists():
            return True
        return place == str(own_store_file()) and bool(FolderCases(cases_folder()).names())

    def store_maintenance(self, where: str | None = None) -> StoreMaintenance:
        """Return what backs up, restores and checks the store at a place; the same place as of `store`."""
        from gainwright.adapters.store import StoreMaintenance
        from gainwright.adapters.store_place import store_place

        return StoreMaintenance(store_place(where))

    def music_cache(self, folder: Path | None = None) -> MusicCache:
        """Return what keeps results of scanned music, in the person's cache folder when none is named. CallError: it can't be written."""
        from gainwright.adapters.music_cache import SqliteMusicCache
        from gainwright.programme import cache_folder

        return SqliteMusicCache(folder or cache_folder())

    def music_workers(self, number: int | None = None, scheduler: str = "") -> Workers:
        """Return who reads music: processes here, or a cluster's workers. CallError: the library for clusters is missing."""
        from gainwright.adapters.music_cluster import ClusterWorkers
        from gainwright.adapters.music_workers import LocalWorkers

        return ClusterWorkers(scheduler) if scheduler else LocalWorkers(number)

    def music_table(self, path: Path, columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> None:
        """Write a table of scanned music as .csv or .parquet. CallError: it can't be written."""
        from gainwright.adapters.music_tables import write_table

        write_table(path, columns, rows)

    def installation(self) -> list[InstalledPart]:
        """Return what is installed and what is missing."""
        from gainwright.adapters.installation import installation

        return installation()


def compose() -> World:
    """Return the adapters of this program."""
    return World()
