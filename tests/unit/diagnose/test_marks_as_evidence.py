"""Marks of an indicator as evidence: usually right, and otherwise evenly wrong."""

from __future__ import annotations

from typing import Any

import numpy as np
from indicators import with_lamp

from gainwright.diagnose import Diagnoser
from gainwright.diagnose.observations import observe
from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.model import Job


def with_marks(marks: str, name: str = "one_amplifier") -> Job:
    """Return an example with a lamp."""
    return read_job_text(with_lamp(example_text(name), marks)).job


def test_probabilities_of_marks_include_the_stated_error_rate() -> None:
    """The probabilities of all sets of marks sum to 1 in every draw: one right set, and 1.5 % over the others together."""
    job = with_marks("s: level over 0.5 V, c: thd over 2 %, t: fundamental over 0.9 V")
    rough = Diagnoser(job).rough
    asked: dict[str, Any] = {"at": "head.sub.mono", "with": "lamp", "tone": "50 Hz", "level": "0 dBFS"}
    names = ["s", "c", "t"]
    total = np.zeros(())
    for code in range(8):
        shows = [name for i, name in enumerate(names) if code >> i & 1]
        (found,) = observe(0, read_entry(asked | {"shows": shows or "none"}, job), rough)
        assert found.chance is not None
        assert set(np.round(np.unique(found.chance), 9)) <= {0.985, round(0.015 / 7, 9)}
        total = total + found.chance
    np.testing.assert_allclose(total, 1.0, rtol=1e-12)
