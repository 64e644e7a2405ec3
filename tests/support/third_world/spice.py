"""One run of ngspice in batch mode: a netlist in, the settled periods of the saved vectors out."""

from __future__ import annotations

import math
import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

POINTS = 100
"""Points in one period."""


def transient(lines: Sequence[str], saved: Sequence[str], *, tone_hz: float, settle_s: float) -> dict[str, Any]:
    """Return one settled period of each saved vector, shape (POINTS,).

    Parameters
    ----------
    saved : ngspice vectors: v(node), or i(v_source).
    settle_s : before the period that is kept, seconds, rounded up to whole periods.
    """
    period = 1 / tone_hz
    step = period / POINTS
    begin = math.ceil(settle_s / period) * period
    # one more step before and after: the last point isn't there in every run
    command = f"tran {step!r} {begin + 1.05 * period!r} {begin - 2 * step!r} {step!r}"
    commands = [f"save {' '.join(saved)}", command, "linearize", "write out.raw"]
    found = _run(lines, commands)
    if not {"time", *saved} <= found.keys():  # a time step got too small; 10 pF everywhere take hard corners off
        found = _run(lines, commands, method="gear reltol=1e-3 cshunt=1e-11")
    time = found.pop("time").real
    wanted = begin + step * np.arange(POINTS)
    return {name: np.interp(wanted, time, wave.real) for name, wave in found.items()}


def response(
    lines: Sequence[str], saved: Sequence[str], *, low_hz: float, high_hz: float
) -> tuple[Any, dict[str, Any]]:
    """Return frequencies, ten a decade, Hz, and the small-signal phasors of the saved vectors there."""
    found = _run(lines, [f"save {' '.join(saved)}", f"ac dec 10 {low_hz!r} {high_hz!r}", "write out.raw"])
    return found.pop("frequency").real, found


def phasors(lines: Sequence[str], saved: Sequence[str], *, tone_hz: float) -> dict[str, complex]:
    """Return the small-signal phasors of the saved vectors at one frequency, peak values."""
    found = _run(lines, [f"save {' '.join(saved)}", f"ac lin 1 {tone_hz!r} {tone_hz!r}", "write out.raw"])
    return {name: complex(value[0]) for name, value in found.items()}


def operating_point(lines: Sequence[str], saved: Sequence[str]) -> dict[str, float]:
    """Return the DC values of the saved vectors."""
    found = _run(lines, [f"save {' '.join(saved)}", "op", "write out.raw"])
    return {name: float(value.real[0]) for name, value in found.items()}


def _run(lines: Sequence[str], commands: Sequence[str], *, method: str = "trap reltol=1e-4") -> dict[str, Any]:
    text = "\n".join(
        [
            "third world",
            *lines,
            f".options abstol=1e-8 vntol=1e-7 itl4=60 method={method}",
            ".control",
            "set filetype=binary",
            *commands,
            "quit",
            ".endc",
            ".end",
            "",
        ]
    )
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "in.cir").write_text(text, encoding="ascii")
        done = subprocess.run(
            ("ngspice", "-b", "in.cir"), cwd=folder, capture_output=True, text=True, check=False, timeout=120
        )
        raw = Path(folder, "out.raw")
        assert raw.is_file(), f"{text}\n{done.stdout[-2000:]}{done.stderr[-2000:]}"
        return _read(raw.read_bytes())


def _read(raw: bytes) -> dict[str, Any]:
    """Read a binary raw file: a text header, then one row of doubles for each point."""
    header, _, data = raw.partition(b"Binary:\n")
    lines = header.decode("ascii", "replace").splitlines()
    count = int(next(s for s in lines if s.startswith("No. Variables:")).split(":")[1])
    points = int(next(s for s in lines if s.startswith("No. Points:")).split(":")[1])
    first = lines.index("Variables:") + 1
    names = [line.split()[1].lower() for line in lines[first : first + count]]
    kind = np.complex128 if "complex" in next(s for s in lines if s.startswith("Flags:")) else np.float64
    table = np.frombuffer(data, dtype=kind, count=count * points).reshape(points, count)
    return {name: table[:, i] for i, name in enumerate(names)}
