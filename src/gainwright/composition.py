"""Connects the adapters to the app; each is imported only when it is first used."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gainwright.adapters.installation import InstalledPart
    from gainwright.adapters.store import StoreMaintenance
    from gainwright.app.cases.import_export import ImportedCases
    from gainwright.app.music.ports import MusicCache, MusicFiles, MusicFolders, Workers
    from gainwright.app.ports import (
        Benches,
        Calibrations,
        CaseFolder,
        Charts,
        HiddenRigs,
        Printer,
        SoundFiles,
        SoundInput,
    )
    from gainwright.app.store import Store


class Adapters:
    """The adapters of this program, one for each port of the app."""

    @property
    def charts(self) -> Charts:
        """The renderer of charts."""
        from gainwright.adapters.charts import VegaCharts

        return VegaCharts()

    @property
    def printer(self) -> Printer:
        """The renderer of papers."""
        from gainwright.adapters.paper_pdf import TypstPrinter

        return TypstPrinter()

    @property
    def sound(self) -> SoundInput:
        """The sound input."""
        from gainwright.adapters.sound_input import PortAudioInput

        return PortAudioInput()

    @property
    def calibrations(self) -> Calibrations:
        """The person's calibrations of sound inputs."""
        from gainwright.adapters.calibrations import FileCalibrations

        return FileCalibrations()

    @property
    def sound_files(self) -> SoundFiles:
        """The reader of untrusted sound files."""
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
        """Open the store: at a file or address, else where `$GAINWRIGHT_STORE` says, else the user's own.

        The user's own store first imports, once, the folder in which the command kept its cases up to 0.1;
        `on_imported` is called with the result.
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
        from gainwright.app.cases.import_export import import_old_folder

        return import_old_folder(FolderCases(cases_folder()), store)

    def has_store(self, where: str | None = None) -> bool:
        """Return whether there is a store, or cases of 0.1 to make one from; a named database counts as existing."""
        from gainwright.adapters.case_folder import FolderCases, cases_folder
        from gainwright.adapters.store_place import own_store_file, store_place

        place = store_place(where)
        if "://" in place or Path(place).exists():
            return True
        return place == str(own_store_file()) and bool(FolderCases(cases_folder()).names())

    def store_maintenance(self, where: str | None = None) -> StoreMaintenance:
        """Return the maintenance of a store (backup, restore, check); the place is chosen as for `store`."""
        from gainwright.adapters.store import StoreMaintenance
        from gainwright.adapters.store_place import store_place

        return StoreMaintenance(store_place(where))

    @property
    def music_files(self) -> MusicFiles:
        """Where recordings are found."""
        from gainwright.adapters.music_files import DiskMusicFiles

        return DiskMusicFiles()

    @property
    def music_folders(self) -> MusicFolders:
        """Where the folders that may be scanned are found."""
        from gainwright.adapters.music_folders import DiskMusicFolders

        return DiskMusicFolders()

    def music_cache(self, folder: Path | None = None) -> MusicCache:
        """Return the cache of scanned music, in the user's cache folder unless one is named. CallError: it can't be written."""
        from gainwright.adapters.music_cache import SqliteMusicCache
        from gainwright.programme import cache_folder

        return SqliteMusicCache(folder or cache_folder())

    def music_workers(self, number: int | None = None, scheduler: str = "") -> Workers:
        """Return the workers that read music: local processes or a cluster. CallError: the library for clusters is missing."""
        from gainwright.adapters.music_cluster import ClusterWorkers
        from gainwright.adapters.music_workers import LocalWorkers

        return ClusterWorkers(scheduler) if scheduler else LocalWorkers(number)

    def music_table(self, path: Path, columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> None:
        """Write a table of scanned music as .csv or .parquet. CallError: it can't be written."""
        from gainwright.adapters.music_tables import write_table

        write_table(path, columns, rows)

    def places(self) -> list[tuple[str, str]]:
        """Return what of the user's is where: the store, other data, settings and the cache, each with its path or address."""
        from gainwright.adapters.store_place import shown_store_place
        from gainwright.adapters.user_folders import config_path, data_path
        from gainwright.programme import cache_folder

        try:
            return [
                ("store", shown_store_place()),
                ("data", str(data_path(""))),
                ("settings", str(config_path(""))),
                ("cache", str(cache_folder())),
            ]
        except RuntimeError:
            return [("data", "nowhere: this account has no home folder")]

    def installation(self) -> list[InstalledPart]:
        """Return what is installed and what is missing."""
        from gainwright.adapters.installation import installation

        return installation()


def compose() -> Adapters:
    """Return the adapters of this program."""
    return Adapters()
