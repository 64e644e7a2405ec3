"""Places in a chain: nodes where there is a voltage, and leads between stages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


class HashedOnce:
    """A frozen dataclass of texts that is a key of many dictionaries: its hash is kept. Each says `__hash__ = HashedOnce.__hash__`."""

    __slots__ = ("_hash",)
    __match_args__: tuple[str, ...]
    _hash: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash(self._texts()))

    def __hash__(self) -> int:
        return self._hash

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), self._texts()  # hashes of texts are others in another process

    def _texts(self) -> tuple[str, ...]:
        return tuple(getattr(self, name) for name in self.__match_args__)


@dataclass(frozen=True, slots=True, order=True)
class Node(HashedOnce):
    """A place where a voltage can be measured: `stage.output.side`."""

    stage: str
    output: str
    side: str

    __hash__ = HashedOnce.__hash__

    def __str__(self) -> str:
        return f"{self.stage}.{self.output}.{self.side}"


@dataclass(frozen=True, slots=True, order=True)
class Port(HashedOnce):
    """One side of an input of a stage."""

    stage: str
    input: str
    side: str

    __hash__ = HashedOnce.__hash__


@dataclass(frozen=True, slots=True)
class LeadRun:
    """The lead from an output to a stage, with all its sides: `lead:desk.sub-knob`."""

    source_stage: str
    source_output: str
    target: str

    def __str__(self) -> str:
        source = self.source_stage if self.source_output == "out" else f"{self.source_stage}.{self.source_output}"
        return f"lead:{source}-{self.target}"
