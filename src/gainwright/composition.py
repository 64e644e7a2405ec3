"""Wires adapters to the app: a plain function, nothing at import."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.app import Benches, Charts, SoundInput


@dataclass(frozen=True, slots=True)
class World:
    """What the verbs need from outside."""

    charts: Charts
    benches: Benches
    sound: SoundInput
    installation: Callable[[], list[dict[str, object]]]


def compose() -> World:
    """Return the adapters of this program."""
    from gainwright.adapters import AltairCharts, PortAudioInput, installation
    from gainwright.simulated import SimulatedBenches

    return World(AltairCharts(), SimulatedBenches(), PortAudioInput(), installation)
