"""Gainwright: plan, prove and write down the gain structure of a vehicle's sound chain.

The public functions; each says its units and the errors it raises, and `docs/python.md` uses them in one script:

    load_job, check_job, levels, make_plan, write_tones, measure, find_knee, find_fault, scan_music, write_paper, to_json

Results are frozen dataclasses with the unit in the name of each field; `to_json` turns any of them into what the command
prints with `--json`. Every error that a person can mend is a `GainwrightError`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gainwright.api import (
        check_job,
        find_fault,
        find_knee,
        levels,
        load_job,
        make_plan,
        measure,
        scan_music,
        write_paper,
        write_tones,
    )
    from gainwright.diagnose import Diagnosis
    from gainwright.errors import GainwrightError
    from gainwright.metering import Knee, Measurement
    from gainwright.model import Job
    from gainwright.plan import Finding, Plan
    from gainwright.programme.music_result import MusicResult
    from gainwright.results import to_json
    from gainwright.solve import Levels

__version__ = "0.2.0"

__all__ = [
    "Diagnosis",
    "Finding",
    "GainwrightError",
    "Job",
    "Knee",
    "Levels",
    "Measurement",
    "MusicResult",
    "Plan",
    "__version__",
    "check_job",
    "find_fault",
    "find_knee",
    "levels",
    "load_job",
    "make_plan",
    "measure",
    "scan_music",
    "to_json",
    "write_paper",
    "write_tones",
]

_ELSEWHERE = {
    "Diagnosis": "gainwright.diagnose",
    "Finding": "gainwright.plan",
    "GainwrightError": "gainwright.errors",
    "Job": "gainwright.model",
    "Knee": "gainwright.metering",
    "Levels": "gainwright.solve",
    "Measurement": "gainwright.metering",
    "MusicResult": "gainwright.programme.music_result",
    "Plan": "gainwright.plan",
    "to_json": "gainwright.results",
}


def __getattr__(name: str) -> object:
    """Import a public name when it is first used: importing the package itself costs next to nothing."""
    if name not in __all__:
        raise AttributeError(f"module 'gainwright' has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module(_ELSEWHERE.get(name, "gainwright.api")), name)
