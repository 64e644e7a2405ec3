"""Frequency response of the rig's outputs: equaliser, boost and filters as second-order sections."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.model import Amplifier, FilterSetting, HeadUnit, Processor
from gainwright.simulated.filters import band_section, crossover_sections, equaliser_sections

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import numpy.typing as npt

    from gainwright.model import AnyStage, Node
    from gainwright.simulated.faults import Fault

    Floats = npt.NDArray[np.float64]

PLAYER_EFFECT_HZ = 100.0
"""Centre of what a player's bass effect raises (common practice, no published source)."""
USUAL_BOOST_Q = 0.7
"""Q of a remote bass boost where the job gives none (common practice, no published source)."""


def response_sections(
    node: Node,
    stage: AnyStage,
    truth: Mapping[str, float],
    fault: Callable[..., Fault | None],
    *,
    rate_hz: float,
    tone_hz: float,
) -> Floats | None:
    """Return equaliser, boost and filters of an output as second-order sections, or None if there are none.

    Parameters
    ----------
    truth : fact path -> true value.
    fault : returns the fault of a cause at one of several names of a place.
    tone_hz : centre frequency of a boost that is a fault, or else the nearest one that the output's own filters pass.
    """
    path = f"{node.stage}.{node.output}"
    rows: list[Floats] = []
    holder: Any = stage
    if isinstance(stage, HeadUnit):
        holder, equaliser, key = stage.outputs[node.output], stage.tone, f"{node.stage}.tone"
    elif isinstance(stage, Processor):
        holder, key = stage.outputs[node.output], f"{path}.equaliser"
        equaliser = holder.equaliser
    elif isinstance(stage, Amplifier):
        equaliser, key = stage.boost, f"{node.stage}.boost"
    else:
        return None
    if equaliser is not None and not equaliser.flat:
        bands = [
            (truth[f"{key}.{i}.gain"], truth[f"{key}.{i}.corner"], truth[f"{key}.{i}.q"])
            for i in range(len(equaliser.bands))
        ]
        rows.append(equaliser_sections(equaliser, bands, rate_hz=rate_hz))
    remote = stage.remote_level if isinstance(stage, Amplifier) else None
    if remote is not None and remote.boosts is not None:
        q = remote.q.nominal if remote.q is not None and remote.q.known else USUAL_BOOST_Q
        gain_db = truth[f"{node.stage}.remote_level"]
        rows.append(band_section("peak", gain_db=gain_db, corner_hz=remote.boosts.nominal, q=q, rate_hz=rate_hz))
    effect = fault("player_equaliser_on", node.stage)
    if effect:
        rows.append(band_section("peak", gain_db=effect.size, corner_hz=PLAYER_EFFECT_HZ, q=0.7, rate_hz=rate_hz))
    boost = fault("boost_on", node.stage, path)
    if boost:
        rows.append(
            band_section("peak", gain_db=boost.size, corner_hz=_passed_hz(holder, tone_hz), q=0.7, rate_hz=rate_hz)
        )
    for control, kind in (("low_pass", "lowpass"), ("high_pass", "highpass")):
        setting = getattr(holder, control)
        moved = fault(f"{control}_in_the_way", node.stage, path)
        if moved:
            setting = FilterSetting.parse(f"butterworth 24 at {moved.size:g} Hz")
            rows.append(crossover_sections(setting, kind=kind, corner_hz=moved.size, rate_hz=rate_hz))
        elif setting is not None and not setting.off:
            corner = truth[f"{path}.{control}.corner"]
            rows.append(crossover_sections(setting, kind=kind, corner_hz=corner, rate_hz=rate_hz))
    return np.vstack(rows) if rows else None


def _passed_hz(holder: Any, tone_hz: float) -> float:
    """Return a tone, moved to the corner of an output's filter that stops it."""
    for control, bound in (("low_pass", min), ("high_pass", max)):
        setting = getattr(holder, control)
        if setting is not None and not setting.off and setting.corner.known:
            tone_hz = bound(tone_hz, setting.corner.nominal)
    return tone_hz
