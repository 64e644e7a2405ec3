"""Wires adapters to the app: a plain function, nothing at import."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gainwright.app import Benches, CaseStore, Charts, HiddenRigs, SoundInput


@dataclass(frozen=True, slots=True)
class World:
    """What the verbs need from outside."""

    charts: Charts
    benches: Benches
    sound: SoundInput
    installation: Callable[[], list[dict[str, object]]]
    hidden_rigs: HiddenRigs
    cases: Callable[[Path | None], CaseStore]


def compose() -> World:
    """Return the adapters of this program."""
    from gainwright.adapters import AltairCharts, FolderCases, PortAudioInput, cases_folder, installation
    from gainwright.simulated import SimulatedBenches, SimulatedHiddenRigs

    return World(
        AltairCharts(),
        SimulatedBenches(),
        PortAudioInput(),
        installation,
        SimulatedHiddenRigs(),
        lambda folder: FolderCases(folder or cases_folder()),
    )
