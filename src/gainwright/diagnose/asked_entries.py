"""Entries that tests ask for, without their answers; each is read once, since the same are asked for after every answer."""

from __future__ import annotations

import json
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, TypeVar, cast

from gainwright.model import Check, HeardSpeaker, Reading, SwapTest

if TYPE_CHECKING:
    from gainwright.model import Entry

Kind = TypeVar("Kind", Reading, HeardSpeaker, SwapTest)


def entry_of(kind: type[Kind], keys: dict[str, Any]) -> Kind:
    """Return an entry with some keys; one that is asked for after each answer is read once."""
    return cast("Kind", _read(kind, json.dumps(keys)))


@lru_cache(maxsize=4096)
def _read(kind: type[Reading | HeardSpeaker | SwapTest], told: str) -> Entry:
    return kind.model_validate(json.loads(told))


@cache
def check_at(place: str) -> Check:
    """Return the check of a place."""
    return Check.model_validate({"check": place})
