"""Published small-signal parameters of some hundred drive units, as packaged in Debian's `qspeakers`; read in tests only."""

from __future__ import annotations

import functools
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import numpy.typing as npt

DATA = Path("/usr/share/qspeakers/qspeakers_db.xml")

Floats = npt.NDArray[np.float64]


@functools.cache
def drivers() -> dict[str, Floats]:
    """Return name of a parameter -> its value for every unit, 0 where it isn't given.

    `re`, `z` ohm, `le` mH, `fs` Hz, `qms`, `qes`, `qts`, `vas` litres, `sd` m2, `xmax` mm to one side, `pe` W.
    """
    units = list(ElementTree.parse(DATA).getroot())  # noqa: S314  a file of the distribution
    names = ("re", "z", "le", "fs", "qms", "qes", "qts", "vas", "sd", "xmax", "pe")
    return {name: np.array([float(unit.get(name) or 0) for unit in units]) for name in names}
