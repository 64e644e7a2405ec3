"""The parts of a Vega-Lite specification as plain values: channels, marks, and marks laid over or below each other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    Part = dict[str, Any]

_TYPES = {"N": "nominal", "Q": "quantitative"}


def channel(shorthand: str, **options: Any) -> Part:
    """Return a channel that shows a field: `level:Q` is a quantity, `name:N` a name; options are those of Vega-Lite."""
    field, _, kind = shorthand.partition(":")
    return {"field": field, "type": _TYPES[kind], **options}


def end(field: str) -> Part:
    """Return the channel of a bar's other end, which has the type of the first."""
    return {"field": field}


def mark(
    kind: str,
    rows: Sequence[Mapping[str, Any]],
    encoding: Mapping[str, Part],
    *,
    transform: Iterable[Part] = (),
    **look: Any,
) -> Part:
    """Return marks of one kind, such as `line` or `text`, one for each row or all rows as one line.

    Parameters
    ----------
    encoding : channel such as `x` or `text` -> what it shows.
    transform : what is done with the rows before.
    look : properties of the mark, such as `color` or `dx` (pixels).
    """
    steps = list(transform)
    return {
        "data": {"values": list(rows)},
        **({"transform": steps} if steps else {}),
        "mark": {"type": kind, **look},
        "encoding": dict(encoding),
    }


def layered(marks: Sequence[Part], *, width: int, height: int, **more: Any) -> Part:
    """Return marks drawn over each other in one frame of a width and height in pixels."""
    return {"layer": list(marks), "width": width, "height": height, **more}


def stacked(panels: Sequence[Part], *, spacing: int) -> Part:
    """Return panels below each other, `spacing` pixels apart."""
    return {"vconcat": list(panels), "spacing": spacing}
