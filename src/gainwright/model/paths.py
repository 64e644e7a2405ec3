"""One way through a chain to one speaker, and what the job asks of it by output."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model.job import Job
    from gainwright.model.nodes import Node
    from gainwright.quantities import Quantity

ALLOWANCE_DB = 6.0
"""Where the job says none: half of the voltage at full scale (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Path:
    """One path to one speaker: every node upstream of it, in signal order."""

    name: str
    speaker: str
    side: str
    nodes: tuple[Node, ...]

    def allowance_db(self, job: Job) -> float:
        """Return how far below full scale the set-up tone of this path sits, dB, positive."""
        asked = self._said(job.allowance)
        return ALLOWANCE_DB if asked is None else abs(asked)

    def says_allowance(self, job: Job) -> bool:
        """Return whether the job says an allowance for this path."""
        return self._said(job.allowance) is not None

    def asked_tone_hz(self, job: Job) -> float | None:
        """Return the set-up tone that the job asks for, Hz, None where it leaves the choice."""
        return self._said(job.tones)

    def _said(self, by_output: Mapping[str, Quantity]) -> float | None:
        """Return what a mapping by output says of this path: its last stage first, then the speaker, then `all`."""
        names = [key for n in reversed(self.nodes) for key in (n.output, f"{n.stage}.{n.output}", n.stage)]
        for key in (*names, self.speaker, "all"):
            if key in by_output and by_output[key].known:
                return by_output[key].nominal
        return None
