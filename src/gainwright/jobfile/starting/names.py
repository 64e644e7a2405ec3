"""Keys of a job file from names as people type them: `amp_under_the_seat` from `Amp under the seat`."""

from __future__ import annotations

import itertools
import re
import unicodedata
from typing import TYPE_CHECKING

from gainwright.errors import CallError
from gainwright.model import MOST_LETTERS
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

LONGEST_KEY = 40
"""Letters of a key of a stage or an instrument."""


def key_of(name: str, taken: Collection[str] = ()) -> str:
    """Return the key of a name: letters and digits in lower case joined by `_`, numbered when it is taken."""
    plain = unicodedata.normalize("NFKC", name).lower()
    key = re.sub(r"[\W_]+", "_", plain)[:LONGEST_KEY].strip("_") or "device"
    if key not in taken:
        return key
    numbered = (f"{key[: LONGEST_KEY - 4]}_{n}" for n in itertools.count(2))
    return next(k for k in numbered if k not in taken)


def free_name(name: str, taken: Collection[str]) -> str:
    """Return a name, with a number when it is taken."""
    numbered = itertools.chain([name], (f"{name} {n}" for n in itertools.count(2)))
    return next(n for n in numbered if n not in taken)


def taken_keys(document: Mapping[str, object]) -> set[str]:
    """Return the keys of stages, instruments and chassis in a job's plain data."""
    found: set[str] = set()
    for section in ("stages", "instruments"):
        held = document.get(section)
        found |= set(held) if isinstance(held, dict) else set()
    stages = document.get("stages")
    for stage in stages.values() if isinstance(stages, dict) else ():
        found |= {str(stage["chassis"])} if isinstance(stage, dict) and "chassis" in stage else set()
    return found


def checked_name(name: str) -> str:
    """Return a typed name without spaces around it.

    Raises
    ------
    CallError : it is empty, too long, or has a line break.
    """
    plain = " ".join(name.split())
    if not re.search(r"\w", plain):
        raise CallError(
            say("it has no name"), code="bad_name", remedy=say("write what you call it, for example Amp under the seat")
        )
    if len(plain) > MOST_LETTERS or not plain.isprintable():
        rule = say("it has at most {number} letters", number=str(MOST_LETTERS))
        raise CallError(say("it is too long"), code="bad_name", rule=rule)
    return plain
