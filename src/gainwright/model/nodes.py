"""Places in a chain: nodes where there is a voltage, and leads between stages."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Node:
    """A place where a voltage can be measured: `stage.output.side`."""

    stage: str
    output: str
    side: str

    def __str__(self) -> str:
        return f"{self.stage}.{self.output}.{self.side}"


@dataclass(frozen=True, slots=True, order=True)
class Port:
    """One side of an input of a stage."""

    stage: str
    input: str
    side: str


@dataclass(frozen=True, slots=True)
class LeadRun:
    """The lead from an output to a stage, with all its sides: `lead:desk.sub-knob`."""

    source_stage: str
    source_output: str
    target: str

    def __str__(self) -> str:
        source = self.source_stage if self.source_output == "out" else f"{self.source_stage}.{self.source_output}"
        return f"lead:{source}-{self.target}"
