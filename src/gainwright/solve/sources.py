"""What sources and volumes make of full scale: gains, and what a factory source does by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright import physics
from gainwright.jobfile import volume_steps

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import HeadUnit, Node, Volume

    Values = Mapping[str, Any]

PEAK = np.sqrt(2.0)
"""Peak over rms of a sine."""

ANY_LOAD_OHM = 1e12
"""A source with load detection that takes as much as this for a speaker plays into anything."""


def source_gain(node: Node, stage: HeadUnit, values: Values, settings: Values) -> Any:
    """Return a head unit's gain from digital full scale (peak 1) to volts peak at its output, as an EMF.

    At a digital output 1 rms is full scale, and a volume only attenuates unless all of its outputs are digital.
    """
    name, output = node.stage, stage.outputs[node.output]
    digital = output.digital is not None
    limit = 1.0 if digital else values[f"{name}.output_limit"]
    level = physics.ratio_from_db(db=settings[f"{name}.{node.output}.level"])
    if output.fixed_level:
        return PEAK * limit * level
    top = 0.0 if digital and not stage.all_digital else values[f"{name}.volume.top"]
    return PEAK * limit * level * volume_gain(name, stage.volume, values, settings, top=top)


def volume_gain(name: str, volume: Volume, values: Values, settings: Values, *, top: Any) -> Any:
    """Return the gain of a volume control: `top` dB at its highest step, a step less for each below it, none at 0."""
    at = np.asarray(settings[f"{name}.volume"], dtype=np.float64)
    db = top - (volume_steps(volume) - at) * values[f"{name}.volume.step"]
    return np.where(at > 0, physics.ratio_from_db(db=db), 0.0)


def digital_input_v(name: str, values: Values) -> Any:
    """Return what full scale at a processor's digital input is as volts rms at an analogue one.

    Through the processor's gain it becomes its largest clean output times `digital_gain`.
    """
    out = values[f"{name}.output_limit"] * physics.ratio_from_db(db=values[f"{name}.digital_gain"])
    return out / physics.ratio_from_db(db=values.get(f"{name}.gain", 0.0))


def levelled(name: str, values: Values, level_dbfs: Any) -> Any:
    """Return what a player's volume levelling leaves of a tone on both sides, as a ratio.

    A tone of 0 dBFS on both sides has 0 LUFS near 1 kHz (ITU-R BS.1770-4, annex 1); levelling takes off what is over its
    aim and raises nothing.
    """
    if f"{name}.levelling" not in values:
        return 1.0
    return physics.ratio_from_db(db=np.minimum(values[f"{name}.levelling"] - np.asarray(level_dbfs), 0.0))


def bass_db(name: str, stage: HeadUnit, values: Values, settings: Values) -> Any:
    """Return what an equaliser that moves with the volume adds to the bass, dB: evenly from the lowest step to the highest."""
    along = (np.asarray(settings[f"{name}.volume"], dtype=np.float64) - 1) / max(volume_steps(stage.volume) - 1, 1)
    low, high = values[f"{name}.factory.bass_at_bottom"], values[f"{name}.factory.bass_at_top"]
    return low + (high - low) * np.clip(along, 0.0, 1.0)


def plays_into(name: str, values: Values, conductance: Any) -> Any:
    """Return 1 where a source with load detection finds a load, 0 where it mutes; 1 without it."""
    bound = values.get(f"{name}.factory.needs_load")
    if bound is None:
        return 1.0
    return np.where((np.asarray(conductance) * bound >= 1.0) | (np.asarray(bound) >= ANY_LOAD_OHM), 1.0, 0.0)
