"""Wires adapters to the app: a plain class, nothing at import, each part brought in when it is asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.adapters.store import StoreKeeper
    from gainwright.app import Benches, CaseStore, Charts, HiddenRigs, Printer, SoundInput
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
    def benches(self) -> Benches:
        """Simulated benches."""
        from gainwright.simulated import SimulatedBenches

        return SimulatedBenches()

    @property
    def hidden_rigs(self) -> HiddenRigs:
        """Simulated chains with hidden faults."""
        from gainwright.simulated import SimulatedHiddenRigs

        return SimulatedHiddenRigs()

    def cases(self, folder: Path | None) -> CaseStore:
        """Return the store of cases in a folder, the person's own when none is named."""
        from gainwright.adapters.case_folder import FolderCases, cases_folder

        return FolderCases(folder or cases_folder())

    def store(self, where: str | None = None) -> Store:
        """Open what the workshop keeps: at a file or address, else where `$GAINWRIGHT_STORE` says, else the person's own."""
        from gainwright.adapters.store import open_store, store_place

        return open_store(store_place(where))

    def store_keeper(self, where: str | None = None) -> StoreKeeper:
        """Return what backs up, restores and checks the store at a place; the same place as of `store`."""
        from gainwright.adapters.store import StoreKeeper, store_place

        return StoreKeeper(store_place(where))

    def installation(self) -> list[dict[str, object]]:
        """Return what is installed and what is missing."""
        from gainwright.adapters.installation import installation

        return installation()


def compose() -> World:
    """Return the adapters of this program."""
    return World()
