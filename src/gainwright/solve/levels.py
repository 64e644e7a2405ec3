"""The corridor: at every node the level between its floor and its ceiling, with its 95 % interval."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from gainwright.results import Number
from gainwright.solve.chain import Chain, Conditions
from gainwright.solve.noise import noise_v

if TYPE_CHECKING:
    from gainwright.model import Node, Path
    from gainwright.solve.solution import Solution

DRAWS = 512
SEED = 1
CEILING_OF: tuple[Literal["input", "inside", "output"], ...] = ("input", "inside", "output")


@dataclass(frozen=True, slots=True)
class NodeLevel:
    """One node: level, 95 % interval and ceiling in volts rms, margin in dB, THD in per cent, noise in volts rms.

    A node without a ceiling has an infinite one, and an infinite margin. A digital one has no volts: there its level
    and noise are in dBFS, its ceiling is 0 dBFS, and the volts are NaN; at all others the dBFS are NaN.
    """

    node: str
    v_rms: Number
    v_rms_low: Number
    v_rms_high: Number
    ceiling_v_rms: Number
    ceiling_of: Literal["input", "inside", "output"]
    margin_db: Number
    thd_percent: Number
    noise_v_rms: Number
    dbfs: Number = math.nan
    dbfs_low: Number = math.nan
    dbfs_high: Number = math.nan
    noise_dbfs: Number = math.nan


@dataclass(frozen=True, slots=True)
class PathLevels:
    """One path, its nodes in signal order, and the node that limits first (empty when no signal passes)."""

    path: str
    limits_first: str
    nodes: tuple[NodeLevel, ...]


@dataclass(frozen=True, slots=True)
class Levels:
    """The corridor of a chain for one tone."""

    tone_hz: float
    level_dbfs: float
    paths: tuple[PathLevels, ...]


def levels(chain: Chain, *, tone_hz: float, level_dbfs: float, draws: int = DRAWS, seed: int = SEED) -> Levels:
    """Return the corridor of every path.

    The level, ceiling, margin and THD are for every number at the middle of its spread; the
    interval contains 95 % of the draws.
    """
    middle = chain.solve(Conditions(tone_hz=tone_hz, level_dbfs=level_dbfs))
    spread = chain.solve(
        Conditions(tone_hz=tone_hz, level_dbfs=level_dbfs, values=chain.draws(draws=draws, seed=seed, quick=True))
    )
    low, high = np.quantile(spread.rms_v, [0.025, 0.975], axis=0)
    floor = noise_v(chain)
    at = {
        node: NodeLevel(
            str(node),
            float(middle.rms_v[0, i]),
            float(low[i]),
            float(high[i]),
            float(middle.ceiling_v[0, i]),
            CEILING_OF[middle.ceiling_of[0, i]],
            float(middle.margin_db[0, i]),
            100 * float(middle.thd[0, i]),
            float(floor[i]),
        )
        for i, node in enumerate(chain.nodes)
    }
    at |= {node: _in_full_scale(at[node]) for node in chain.wiring.digital}
    return Levels(tone_hz, level_dbfs, tuple(_path_levels(path, at, middle) for path in chain.wiring.paths))


def _in_full_scale(node: NodeLevel) -> NodeLevel:
    """Return a digital node with its levels in dBFS, where 1 is a full-scale sine."""
    found = [node.v_rms, node.v_rms_low, node.v_rms_high, node.noise_v_rms]
    dbfs = [20 * math.log10(level) if level > 0 else -math.inf for level in found]
    nan = math.nan
    volts = replace(node, v_rms=nan, v_rms_low=nan, v_rms_high=nan, noise_v_rms=nan, ceiling_v_rms=nan)
    return replace(volts, dbfs=dbfs[0], dbfs_low=dbfs[1], dbfs_high=dbfs[2], noise_dbfs=dbfs[3])


def _path_levels(path: Path, at: dict[Node, NodeLevel], middle: Solution) -> PathLevels:
    first = limits_first(path, middle)
    return PathLevels(path.name, str(first) if first else "", tuple(at[node] for node in path.nodes))


def limits_first(path: Path, solution: Solution, case: int = 0) -> Node | None:
    """Return the node of a path with the smallest margin, None when none of its nodes has a finite one."""
    margins = {node: solution.margin_db[case, solution.index(node)] for node in path.nodes}
    finite = {node: margin for node, margin in margins.items() if math.isfinite(margin)}
    return min(finite, key=finite.__getitem__) if finite else None
