"""The filters and equalisers of a chain as controls: their place, their loss at a tone, how far they open."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright import physics
from gainwright.model import Amplifier, HeadUnit, Processor

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from gainwright.model import Equaliser, FilterRange, FilterSetting, Job, Node

LOSS_ALLOWED_DB = 0.1
"""A filter is open far enough when its loss at the tone is less than this."""
HARMONIC_LOSS_ALLOWED_DB = 1.0
"""The same for the third harmonic, where an instrument looks for distortion (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class FilterControl:
    """One crossover filter of one output."""

    control: str
    node: Node
    kind: Literal["low", "high"]
    setting: FilterSetting
    range: FilterRange | None

    def loss_db(self, tone_hz: float) -> float:
        """Return its loss at a tone, dB."""
        return -float(self.response_db(np.array([tone_hz]))[0])

    def response_db(self, frequency_hz: np.ndarray) -> np.ndarray:
        """Return its gain at frequencies, dB."""
        return np.asarray(20 * np.log10(np.maximum(np.abs(self.response(frequency_hz)), 1e-20)))

    def response(self, frequency_hz: np.ndarray) -> np.ndarray:
        """Return its complex gain at frequencies."""
        assert self.setting.corner is not None  # noqa: S101  filters that are off are not controls
        return np.asarray(
            physics.filter_response(
                shape=self.setting.shape,
                slope_db_per_octave=self.setting.slope_db_per_octave,
                kind=self.kind,
                corner_hz=self.setting.corner.nominal,
                frequency_hz=frequency_hz,
            )
        )

    def in_the_way(self, tone_hz: float, *, harmonics: bool) -> bool:
        """Return whether it takes too much from a tone, or from its third harmonic where that is looked for."""
        hides = harmonics and self.kind == "low" and self.loss_db(3 * tone_hz) > HARMONIC_LOSS_ALLOWED_DB
        return hides or self.loss_db(tone_hz) > LOSS_ALLOWED_DB

    def corner_needed_hz(self, tone_hz: float, *, harmonics: bool) -> float:
        """Return the corner at which it is just out of the way of a tone, Hz."""
        wanted = [(tone_hz, LOSS_ALLOWED_DB)]
        wanted += [(3 * tone_hz, HARMONIC_LOSS_ALLOWED_DB)] if harmonics and self.kind == "low" else []
        found = [
            float(
                physics.corner_for_loss(
                    shape=self.setting.shape,
                    slope_db_per_octave=self.setting.slope_db_per_octave,
                    kind=self.kind,
                    frequency_hz=frequency_hz,
                    loss_db=loss_db,
                )
            )
            for frequency_hz, loss_db in wanted
        ]
        return max(found)

    def opens_to(self, corner_hz: float) -> bool:
        """Return whether its range reaches a corner, or it can be switched off."""
        if self.range is None or self.range.can_be_off:
            return True
        return self.range.high_hz >= corner_hz if self.kind == "low" else self.range.low_hz <= corner_hz

    def open_setting(self) -> str | None:
        """Return its most open setting as a job file writes it, None if it is fixed."""
        if self.range is None or self.range.can_be_off:
            return "off"
        if self.range.fixed:
            return None
        corner = self.range.high_hz if self.kind == "low" else self.range.low_hz
        return f"{self.setting.shape} {self.setting.slope_db_per_octave} at {corner:g} Hz"


def filters_of(job: Job, node: Node) -> Iterator[FilterControl]:
    """Yield the active filters of an output."""
    stage = job.stages[node.stage]
    if isinstance(stage, HeadUnit | Processor):
        holder, prefix = stage.outputs[node.output], f"{node.stage}.{node.output}"
    elif isinstance(stage, Amplifier):
        holder, prefix = stage, node.stage  # type: ignore[assignment]
    else:
        return
    kinds: dict[str, Literal["low", "high"]] = {"low_pass": "low", "high_pass": "high"}
    for name, kind in kinds.items():
        setting = getattr(holder, name)
        if setting is not None and not setting.off:
            yield FilterControl(f"{prefix}.{name}", node, kind, setting, getattr(holder, f"{name}_range"))


def equalisers_of(job: Job, nodes: Iterable[Node]) -> dict[str, tuple[str, Equaliser]]:
    """Return control -> (stage, equaliser) for every equaliser along nodes that isn't flat."""
    found: dict[str, tuple[str, Equaliser]] = {}
    for node in nodes:
        stage = job.stages[node.stage]
        if isinstance(stage, HeadUnit) and stage.tone is not None and not stage.tone.flat:
            found[f"{node.stage}.tone"] = (node.stage, stage.tone)
        elif isinstance(stage, Processor):
            equaliser = stage.outputs[node.output].equaliser
            if equaliser is not None and not equaliser.flat:
                found[f"{node.stage}.{node.output}.equaliser"] = (node.stage, equaliser)
        elif isinstance(stage, Amplifier) and stage.boost is not None and not stage.boost.flat:
            found[f"{node.stage}.boost"] = (node.stage, stage.boost)
    return found


def equaliser_gain_db(equaliser: Equaliser, frequency_hz: np.ndarray) -> np.ndarray:
    """Return the gain of all its bands together at frequencies, dB."""
    total = np.ones(len(frequency_hz), dtype=np.complex128)
    for band in equaliser.bands:
        common = {"frequency_hz": frequency_hz, "gain_db": band.gain.nominal, "q": band.q.nominal}
        if band.kind == "peak":
            total = total * physics.peak_response(centre_hz=band.corner.nominal, **common)
        elif band.kind == "low-shelf":
            total = total * physics.low_shelf_response(corner_hz=band.corner.nominal, **common)
        else:
            total = total * physics.high_shelf_response(corner_hz=band.corner.nominal, **common)
    return np.asarray(20 * np.log10(np.abs(total)))
