"""What filters let through to a place: those in series multiply, parallel bands that come together again add.

Found from the wiring, with the phases of filters, delays and polarities; gains of stages count as equal, equalisers as flat.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import HeadUnit, Processor
from gainwright.plan.controls import filters_of

if TYPE_CHECKING:
    from collections.abc import Collection

    import numpy.typing as npt

    from gainwright.model import Job, Node, Path, Wiring
    from gainwright.plan.controls import FilterControl

    Complexes = npt.NDArray[np.complex128]
    Floats = npt.NDArray[np.float64]


def all_filters(job: Job, wiring: Wiring, node: Node) -> list[FilterControl]:
    """Return the filters of every stage up to a node, in signal order, each control once."""
    nodes = (*wiring.upstream(node.stage, [route.port for route in wiring.routes[node]]), node)
    return list({f.control: f for at in nodes for f in filters_of(job, at)}.values())


def series_filters(job: Job, wiring: Wiring, node: Node) -> list[FilterControl]:
    """Return the filters that every signal to a node goes through; one of parallel bands is none of them."""
    return [f for f in all_filters(job, wiring, node) if not _reaches(job, wiring, node, f.control)]


def guarding_corners_hz(job: Job, wiring: Wiring, path: Path) -> list[float]:
    """Return the corners of the high-passes that everything on its way to a speaker goes through, Hz.

    Of a speaker with several feeds they are those of the least guarded one.
    """
    ports = [port for port in wiring.ports(path.speaker) if port.side == path.side]
    feeding = [feed.node for port in ports for feed in wiring.feeds[port]]
    each = [
        [
            f.setting.corner.nominal
            for f in series_filters(job, wiring, node)
            if f.kind == "high" and f.setting.corner is not None
        ]
        for node in feeding
    ]
    return min(each, key=lambda corners: max(corners, default=0.0), default=[])


def passed(
    job: Job, wiring: Wiring, node: Node, frequency_hz: Floats, *, without: Collection[str] = ()
) -> npt.NDArray[np.float64]:
    """Return the gain of the filters up to a node, as a ratio; the filters of some controls count as open.

    Parameters
    ----------
    frequency_hz : shape (frequencies,).
    without : names of controls.
    """
    kept: dict[Node, Complexes] = {}
    return np.asarray(np.abs(_response(job, wiring, node, frequency_hz, without, kept)))


def pass_band_hz(job: Job, wiring: Wiring, node: Node) -> tuple[float, float]:
    """Return the ends of the widest band that reaches a node within 3 dB of its best, Hz, from 20 Hz to 20 kHz."""
    frequency_hz = np.geomspace(20, 20_000, 400)
    gain = passed(job, wiring, node, frequency_hz)
    inside = gain >= gain.max() * 10 ** (-3 / 20)  # all of it where nothing passes
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    first, last = max(zip(edges[::2], edges[1::2] - 1, strict=True), key=lambda run: run[1] - run[0])
    return float(frequency_hz[first]), float(frequency_hz[last])


def _reaches(job: Job, wiring: Wiring, node: Node, control: str) -> bool:
    """Return whether a source reaches a node without passing a control."""
    if any(f.control == control for f in filters_of(job, node)):
        return False
    if not wiring.routes[node]:
        return True
    feeds = (feed.node for route in wiring.routes[node] for feed in wiring.feeds[route.port])
    return any(_reaches(job, wiring, at, control) for at in feeds)


def _response(
    job: Job,
    wiring: Wiring,
    node: Node,
    frequency_hz: Floats,
    without: Collection[str],
    kept: dict[Node, Complexes],
) -> Complexes:
    if node not in kept:
        total = np.zeros(len(frequency_hz), dtype=np.complex128)
        for route in wiring.routes[node]:
            for feed in wiring.feeds[route.port]:
                before = _response(job, wiring, feed.node, frequency_hz, without, kept)
                total += route.share * feed.share * before
        if not wiring.routes[node]:
            total += 1.0
        for f in filters_of(job, node):
            if f.control not in without:
                total = total * f.response(frequency_hz)
        kept[node] = total * _through(job, node, frequency_hz)
    return kept[node]


def _through(job: Job, node: Node, frequency_hz: Floats) -> Complexes:
    """Return what level, polarity and delay of an output do to it."""
    stage = job.stages[node.stage]
    if not isinstance(stage, HeadUnit | Processor):
        return np.ones(len(frequency_hz), dtype=np.complex128)
    output = stage.outputs[node.output]
    level = output.level
    gain = 10 ** (level.nominal / 20) if level is not None and level.known else 1.0
    if isinstance(stage, HeadUnit):
        return np.full(len(frequency_hz), gain, dtype=np.complex128)
    output = stage.outputs[node.output]
    sign = -gain if output.polarity == "reversed" else gain
    delay_s = output.delay.nominal if output.delay is not None and output.delay.known else 0.0
    return np.asarray(sign * np.exp(-2j * np.pi * frequency_hz * delay_s))
