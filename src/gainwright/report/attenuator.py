"""A voltage divider as text, with a line drawing."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.plan import Attenuator

WIDTH = 96
ONE_LEG = """
    output +     ──[ R1 ]──┬──  recorder, live
                         [ R2 ]
    output -     ──────────┴──  recorder, ground
"""
TWO_LEGS = """
    output +     ──[ R1 ]──┬──  recorder, + of a balanced input
                         [ R2 ]
    output -     ──[ R1 ]──┴──  recorder, - of a balanced input
    (the shield is connected at the recorder only, and to no ground of the vehicle)
"""


def ohms(value: float) -> str:
    """Return a resistance as text, in ohm or kohm."""
    return f"{value / 1000:.4g} kohm" if value >= 1000 else f"{value:.4g} ohm"


def _highest_out_v(a: Attenuator) -> float:
    return float(a.highest_v_peak * 10 ** (-a.attenuation_db / 20))


def attenuator_text(designs: Sequence[Attenuator]) -> str:
    """Return every divider with its drawing, and each caution once."""
    lines: list[str] = []
    for a in designs:
        kind = "bridged: both terminals are live" if a.balanced else "one live terminal"
        lines += [
            f"{a.stage} into {a.recorder} ({kind})",
            (TWO_LEGS if a.balanced else ONE_LEG).rstrip("\n").lstrip("\n"),
            f"  R1  {ohms(a.series_ohm)}, {100 * a.tolerance:g} %, 0.25 W (carries {1000 * a.series_w:.0f} mW)"
            + (", two of them" if a.balanced else ""),
            f"  R2  {ohms(a.shunt_ohm)}, {100 * a.tolerance:g} %, 0.25 W (carries {1000 * a.shunt_w:.0f} mW)",
            f"  reduces {a.highest_v_peak:.0f} V peak to {_highest_out_v(a):.2f} V; {a.recorder} overloads at {a.full_scale_v_peak:.2f} V",
            f"  attenuates {a.attenuation_db:.2f} dB ({a.low_db:.2f} to {a.high_db:.2f} with tolerances and the recorder's input)",
            f"  job file entry: attenuator: {a.job_text}",
            "",
        ]
    cautions = dict.fromkeys(caution for a in designs for caution in a.cautions)
    for caution in cautions:
        lines += textwrap.wrap(f"Caution: {caution}", WIDTH, subsequent_indent="  ")
    return "\n".join(lines)
