"""Kinds of chains: what distinguishes one sort of car's sound system from another in a shop's statistics."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.model.chassis import unit_of
from gainwright.model.resolving import resolve
from gainwright.model.source_stages import HeadUnit
from gainwright.model.speaker_outputs import is_subwoofer
from gainwright.model.stages import Amplifier, Processor, Speaker
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.model.job import Job

CHAIN_PARTS = (
    ("line source", "factory source", "digital source"),
    ("no processor", "processor"),
    ("no amplifier", "one amplifier", "several amplifiers"),
    ("no sub", "sub"),
)
"""What distinguishes kinds of chains: one of each row, in this order."""


def chain_kind(job: Job) -> str:
    """Return the kind of a chain as one of each row of `CHAIN_PARTS`: `factory source, processor, one amplifier, sub`.

    Amplifiers in one case are one amplifier.
    """
    wiring = resolve(job)
    sources = [stage for stage in job.stages.values() if isinstance(stage, HeadUnit)]
    digital = all(stage.all_digital for stage in sources)
    factory = any(stage.speaker_level for stage in sources)
    amplifiers = {unit_of(job, name) for name, stage in job.stages.items() if isinstance(stage, Amplifier)}
    processor = any(isinstance(stage, Processor) for stage in job.stages.values())
    speakers = [name for name, stage in job.stages.items() if isinstance(stage, Speaker)]
    sub = any(is_subwoofer(job, name, wiring.upstream(name)) for name in speakers)
    chosen = (2 if digital else int(factory), int(processor), min(len(amplifiers), 2), int(sub))
    return ", ".join(row[i] for row, i in zip(CHAIN_PARTS, chosen, strict=True))


def read_chain_kind(text: str) -> str:
    """Return a kind of chain as `chain_kind` writes it, from words with commas between in any order; empty for none.

    Raises
    ------
    ValueError : a word that no kind has, two that exclude each other, or one that is missing.
    """
    words = [" ".join(part.split()).lower() for part in text.split(",") if part.strip()]
    if not words:
        return ""
    chosen = [[word for word in row if word in words] for row in CHAIN_PARTS]
    if sum(map(len, chosen)) != len(words) or any(len(of) != 1 for of in chosen):
        raise ValueError(say("it has one of each: {listed}", listed="; ".join(", ".join(row) for row in CHAIN_PARTS)))
    return ", ".join(of[0] for of in chosen)
