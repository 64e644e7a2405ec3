"""Compute the factors of the cells from the job's physical numbers: gain laws, ceilings, filters.

All results are arrays with a leading batch axis, or scalars where all cases are the same.
"""

from __future__ import annotations

from collections import ChainMap
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from gainwright import physics
from gainwright.model import Amplifier, Converter, HeadUnit, LevelControl, LineDriver, Processor
from gainwright.solve.alteration import ABSENT_HIGH_PASS_HZ, ABSENT_LOW_PASS_HZ, UNALTERED
from gainwright.solve.sources import bass_db, volume_gain

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from gainwright.model import AnyStage, Equaliser, FilterSetting, Node
    from gainwright.solve.alteration import Alteration

    Floats = npt.NDArray[np.float64]
    Values = Mapping[str, Any]

UNLOADED_SIEMENS = 1e-4
"""A load conductance under this (above 10 kohm) counts as unloaded."""
REMOTE_BOOST_Q = 0.7
"""Q of a remote bass boost where the job gives none (common practice, no published source)."""
SHELF_Q = np.sqrt(0.5)
MUTED_TRAVEL = 0.02
"""Share of its travel below which a gain control that mutes is silent (common practice, no published source)."""


def amplifier_rails(name: str, stage: Amplifier, values: Values, conductance: Any, supply_v: Any) -> Any:
    """Return an amplifier's ceiling as an EMF, rms of the largest clean sine, volts.

    Rated voltages are at the terminals with the rated load connected; rated at 1 % THD and `rated_at` volts (CTA-2006).
    """
    headroom = physics.ratio_from_db(db=values[f"{name}.headroom"])
    loads = np.array([rating.load.nominal for rating in stage.power])
    output_ohm = values[f"{name}.output_impedance"]
    clean = [
        physics.rated_clip_voltage(power_w=values[f"{name}.power.{i}"], load_ohm=load)
        * headroom
        * (load + output_ohm)
        / load
        for i, load in enumerate(loads)
    ]
    ratings_v = np.stack(np.broadcast_arrays(*[np.atleast_1d(v) for v in clean]), axis=-1)
    with np.errstate(divide="ignore"):
        load_ohm = np.atleast_1d(1 / np.asarray(conductance, dtype=np.float64))
    ceiling = physics.loaded_ceiling(ratings_load_ohm=loads, ratings_v=ratings_v, load_ohm=load_ohm)
    # below the lowest rated load the current is what is limited, also through the output impedance
    low, finite = float(loads.min()), np.maximum(load_ohm, 1e-9)
    below = (1 + output_ohm / finite) / (1 + output_ohm / low)
    ceiling = np.where(load_ohm < low, ceiling * below, ceiling)
    scale = physics.rail_scaling(supply_v=supply_v, rated_at_v=values[f"{name}.rated_at"], regulated=stage.regulated)
    return ceiling * scale


def rating_index(stage: Amplifier, siemens: float) -> int:
    """Return which rating the sensitivity belongs to: that of the load nearest to the job's by ratio, the highest without one."""
    loads = np.array([rating.load.nominal for rating in stage.power])
    if siemens <= UNLOADED_SIEMENS:
        return int(np.argmax(loads))
    return int(np.argmin(np.abs(np.log(siemens * loads))))


def amplifier_gain(name: str, stage: Amplifier, values: Values, position: Any, rating: int) -> Any:
    """Return the EMF gain of an amplifier at a gain position (0 fully down .. 1 fully up).

    The sensitivity is the input for rated power at one rating (`rating_index`), whatever is connected: a load changes
    the voltage by the output impedance alone (Ohm's law). Between its ends the sensitivity is geometric in the position,
    bent by `gain.bend`. Common practice, no published source.
    """
    load = stage.power[rating].load.nominal
    rated_emf = physics.voltage_for_power(power_w=values[f"{name}.power.{rating}"], resistance_ohm=load) * (
        (load + values[f"{name}.output_impedance"]) / load
    )
    travel = np.clip(position + values[f"{name}.gain.bend"] * 4 * position * (1 - position), 0, 1)
    down, up = values[f"{name}.sensitivity.down"], values[f"{name}.sensitivity.up"]
    sensitivity = np.asarray(down, dtype=np.float64) ** (1 - travel) * np.asarray(up, dtype=np.float64) ** travel
    silent = (np.asarray(position) <= MUTED_TRAVEL) & (np.asarray(values[f"{name}.gain.mutes"]) > 0.5)
    return np.where(silent, 0.0, rated_emf / sensitivity)


def in_input_range(name: str, stage: Amplifier, values: Values, settings: Values) -> Values:
    """Return the values with an amplifier's sensitivity in the position of its input range switch, as it stands."""
    if not stage.input_ranges:
        return values
    stands = np.asarray(settings[f"{name}.input_range"], dtype=np.intp)
    found = ChainMap[str, Any]({}, cast("Any", values))
    for end in ("up", "down"):
        each = np.broadcast_arrays(
            *(values[f"{name}.input_ranges.{position}.{end}"] for position in stage.input_ranges)
        )
        found[f"{name}.sensitivity.{end}"] = np.choose(stands, each)
    return found


def amplifier_extra_gain(name: str, stage: Amplifier, settings: Values) -> Any:
    """Return the factor of an amplifier's remote level control and phase switch on its gain."""
    sign = -1.0 if stage.polarity == "reversed" else 1.0
    if stage.remote_level is None or stage.remote_level.boosts is not None:
        return sign
    level = np.asarray(settings[f"{name}.remote_level"], dtype=np.float64)
    if stage.remote_level.range is not None:
        level = np.clip(level, stage.remote_level.range.low, stage.remote_level.range.high)
    return sign * physics.ratio_from_db(db=level)


def line_gain(stage: AnyStage, node: Node, values: Values, settings: Values) -> Any:
    """Return the EMF gain of a processor output, line driver, converter or level control."""
    name = node.stage
    if isinstance(stage, Processor):
        output = stage.outputs[node.output]
        sign = 0.0 if output.mute else -1.0 if output.polarity == "reversed" else 1.0
        level = values.get(f"{name}.gain", 0.0) + settings[f"{name}.{node.output}.level"]
        gain = sign * physics.ratio_from_db(db=level)
        if stage.volume is not None:
            gain = gain * volume_gain(name, stage.volume, values, settings, top=values[f"{name}.volume.top"])
        return gain
    if isinstance(stage, LineDriver):
        stands = stage.gain.nominal if stage.gain.known else 0.0
        moved = settings.get(f"{name}.gain", stands) - stands
        return physics.ratio_from_db(db=values[f"{name}.gain"] + moved)
    if isinstance(stage, Converter):
        return physics.ratio_from_db(db=values[f"{name}.ratio"])
    assert isinstance(stage, LevelControl)  # noqa: S101  the kinds are closed
    level = np.minimum(settings[f"{name}.level"], 0.0)
    if stage.range is not None:
        level = np.maximum(level, stage.range.low)
    return physics.ratio_from_db(db=level)


class StageResponse:
    """The frequency response of one output: filters, equaliser bands, delay. Called with Hz of (rows, harmonics)."""

    def __init__(self) -> None:
        self._parts: list[tuple[str, dict[str, Any], dict[str, Any]]] = []

    def __bool__(self) -> bool:
        return bool(self._parts)

    def add_filter(self, kind: str, setting: FilterSetting | None, path: str, values: Values) -> None:
        """Add a crossover filter unless it is off; `kind` is low or high."""
        if setting is not None and not setting.off:
            fixed = {"shape": setting.shape, "slope_db_per_octave": setting.slope_db_per_octave, "kind": kind}
            self._parts.append(("filter_response", fixed, {"corner_hz": values[f"{path}.corner"]}))

    def add_equaliser(self, equaliser: Equaliser | None, path: str, values: Values) -> None:
        """Add every band."""
        for i, band in enumerate(equaliser.bands if equaliser else ()):
            function = {"peak": "peak_response", "low-shelf": "low_shelf_response", "high-shelf": "high_shelf_response"}
            corner = "centre_hz" if band.kind == "peak" else "corner_hz"
            varying = {
                key: values[f"{path}.{i}.{name}"] for key, name in ((corner, "corner"), ("gain_db", "gain"), ("q", "q"))
            }
            self._parts.append((function[band.kind], {}, varying))

    def add_remote_boost(self, name: str, stage: Amplifier, values: Values) -> None:
        """Add the band that an amplifier's remote level control boosts."""
        remote = stage.remote_level
        if remote is not None and remote.boosts is not None:
            q = remote.q.nominal if remote.q is not None and remote.q.known else REMOTE_BOOST_Q
            varying = {"gain_db": values.get(f"{name}.remote_level", 0.0), "centre_hz": remote.boosts.nominal}
            self._parts.append(("peak_response", {"q": q}, varying))

    def add_altered(self, alter: Alteration, node: Node) -> None:
        """Add the filters and the boost that aren't in the job, in the cases that have them."""
        for kind, corners, absent in (
            ("low", alter.low_pass_hz, ABSENT_LOW_PASS_HZ),
            ("high", alter.high_pass_hz, ABSENT_HIGH_PASS_HZ),
        ):
            if node in corners:
                for slope in (12, 24):
                    fixed = {"shape": "butterworth", "slope_db_per_octave": slope, "kind": kind}
                    where = (corners[node] != absent) & (np.asarray(alter.slope.get(node, 24.0)) == slope)
                    self._add_some("filter_response", fixed, {"corner_hz": corners[node]}, where)
        if node in alter.boost:
            gain_db, centre_hz = alter.boost[node]
            self._add_some("peak_response", {"q": 0.7}, {"gain_db": gain_db, "centre_hz": centre_hz}, gain_db != 0)

    def _add_some(self, name: str, fixed: dict[str, Any], varying: dict[str, Any], where: Any) -> None:
        if np.any(where):
            self._parts.append((name, fixed, varying | {"where": where}))

    def add_shelf(self, gain_db: Any, corner_hz: Any) -> None:
        """Add a low shelf of q 0.71."""
        self._parts.append(("low_shelf_response", {"q": SHELF_Q}, {"gain_db": gain_db, "corner_hz": corner_hz}))

    def add_delay(self, delay_s: float) -> None:
        """Add a pure delay."""
        if delay_s > 0:
            self._parts.append(("delay_response", {}, {"delay_s": delay_s}))

    def __call__(self, frequency_hz: Floats, rows: Any = slice(None)) -> npt.NDArray[np.complex128]:
        """Return H at frequencies of shape (rows or 1, harmonics)."""
        total = np.ones(1, dtype=np.complex128)
        for name, fixed, varying in self._parts:
            chosen = {k: v if np.size(v) == 1 else np.asarray(v)[rows, None] for k, v in varying.items()}
            chosen = {k: v if np.ndim(v) != 1 else v[:, None] for k, v in chosen.items()}
            where = np.reshape(chosen.pop("where", True), -1)
            if not np.all(where):
                total = self._with_some(total, name, fixed, chosen, frequency_hz, where)
                continue
            if name == "delay_response":
                part = np.exp(-2j * np.pi * frequency_hz * chosen["delay_s"])
            else:
                part = getattr(physics, name)(frequency_hz=frequency_hz, **fixed, **chosen)
            total = total * part
        return np.asarray(total)

    @staticmethod
    def _with_some(
        total: Any, name: str, fixed: dict[str, Any], varying: dict[str, Any], frequency_hz: Floats, where: Any
    ) -> npt.NDArray[np.complex128]:
        """Multiply one part into the cases that have it."""
        cases, some = len(where), np.flatnonzero(where)
        if len(total) != cases or total.ndim < 2:
            total = np.broadcast_to(total, (cases, frequency_hz.shape[1])).copy()
        at_hz = frequency_hz if len(frequency_hz) == 1 else frequency_hz[some]
        total[some] *= getattr(physics, name)(
            frequency_hz=at_hz, **fixed, **{k: v if np.size(v) == 1 else v[some] for k, v in varying.items()}
        )
        return np.asarray(total)


def response(stage: AnyStage, node: Node, values: Values, alter: Alteration = UNALTERED) -> StageResponse:
    """Return the response of an output of a stage."""
    found = StageResponse()
    found.add_altered(alter, node)
    path = f"{node.stage}.{node.output}"
    if isinstance(stage, HeadUnit):
        filters: Any = stage.outputs[node.output]
        found.add_equaliser(stage.tone, f"{node.stage}.tone", values)
    elif isinstance(stage, Processor):
        filters = stage.outputs[node.output]
        found.add_equaliser(filters.equaliser, f"{path}.equaliser", values)
        if filters.delay is not None and filters.delay.known:
            found.add_delay(filters.delay.nominal)
    elif isinstance(stage, Amplifier):
        filters = stage
        found.add_equaliser(stage.boost, f"{node.stage}.boost", values)
        found.add_remote_boost(node.stage, stage, values)
    else:
        return found
    found.add_filter("low", filters.low_pass, f"{path}.low_pass", values)
    found.add_filter("high", filters.high_pass, f"{path}.high_pass", values)
    return found


def volume_response(node: Node, stage: HeadUnit, values: Values, settings: Values) -> StageResponse | None:
    """Return the response of an equaliser that moves with the volume, None where there is none."""
    if f"{node.stage}.factory.bass_at_top" not in values or stage.outputs[node.output].fixed_level:
        return None
    found = StageResponse()
    found.add_shelf(bass_db(node.stage, stage, values, settings), values[f"{node.stage}.factory.bass_corner"])
    return found
