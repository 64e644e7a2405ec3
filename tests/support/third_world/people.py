"""What people do with what they see and hear: thresholds of their own, small errors, now and then a real mistake.

How often is common practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np

NEIGHBOURS = {
    "silent": ("faint",),
    "faint": ("silent", "normal"),
    "normal": ("faint", "distorted"),
    "distorted": ("normal", "hum"),
    "hum": ("whine", "distorted"),
    "whine": ("hum", "normal"),
}
"""Word -> those it is mistaken for."""
MISTAKES = {"word": 0.03, "misheard": 0.005, "reading": 0.012, "look": 0.012, "lead": 0.01}
"""How often an answer of a kind is wrong."""
OPPOSITE = {"on": "off", "off": "on", "right": "wrong", "wrong": "right", "moved": "stayed", "stayed": "moved"}


@dataclass(frozen=True)
class Person:
    """One caller's own thresholds.

    Attributes
    ----------
    faint_db : how much quieter than usual something must be to be called faint.
    distorted : THD from which something sounds distorted.
    silent_v : volts at a loudspeaker below which nothing is heard.
    noise_v, noise_db : noise is heard above these volts, and above this level relative to what plays.
    sides_db : a difference between the sides that is noticed.
    place : by how much a control must stand elsewhere to look wrong, share of travel.
    """

    faint_db: float
    distorted: float
    silent_v: float
    noise_v: float
    noise_db: float
    sides_db: float
    place: float


def draw_person(rng: np.random.Generator) -> Person:
    """Return a caller."""
    return Person(
        float(rng.uniform(7, 12)),
        float(rng.uniform(0.03, 0.08)),
        float(rng.uniform(0.008, 0.025)),
        float(rng.uniform(0.012, 0.03)),
        float(rng.uniform(-28, -20)),
        float(rng.uniform(2.5, 5)),
        float(rng.uniform(0.05, 0.1)),
    )


def told(answer: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """Return an answer as a person gives it: mostly as it is, now and then mistaken."""
    chance, pick = rng.random(), rng.random()
    if "heard" in answer:
        silence = answer.get("tone") == "off"
        return answer if silence and answer["is"] == "silent" else answer | {"is": _word(answer["is"], chance, pick)}
    if "reads" in answer and "at" in answer:
        slips = chance < MISTAKES["reading"] and answer["reads"].endswith(" V")
        return answer | {"reads": _slipped(answer["reads"], pick)} if slips else answer
    if chance >= MISTAKES["lead" if "resistance" in answer else "look"]:
        return answer
    if "resistance" in answer:
        bad = answer["resistance"] == "open" or float(str(answer["resistance"]).split()[0]) > 3
        return answer | {"resistance": "0.6 ohm" if bad else "open"}
    return answer | {key: OPPOSITE[answer[key]] for key in ("is", "fault") if answer.get(key) in OPPOSITE}


def _word(word: str, chance: float, pick: float) -> str:
    if chance < MISTAKES["misheard"]:
        return list(NEIGHBOURS)[int(pick * len(NEIGHBOURS))]
    return NEIGHBOURS[word][int(pick * len(NEIGHBOURS[word]))] if chance < MISTAKES["word"] else word


def _slipped(reads: str, pick: float) -> str:
    """Return a misread voltage: a decimal place, a prefix, or another socket altogether."""
    slip = (10.0, 0.1, 1e-3)[int(pick * 3)] if pick < 0.7 else 10 ** (4 * pick - 3.5)
    return f"{min(float(reads.removesuffix(' V')) * slip, 90.0):.3g} V"
