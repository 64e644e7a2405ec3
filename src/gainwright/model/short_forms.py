"""Keys that hold several others and may be written as one value: `gain: fixed`, `supply: 24 V`."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

FIXED = "fixed"


def long_form(key: str, value: Any) -> dict[str, Any]:
    """Return the mapping that one value of a key stands for; an empty one where the key has no short form."""
    if key == "gain":
        return {"fixed": "yes"} if str(value).strip().lower() == FIXED else {"at": value}
    return {"running": value, "resting": value} if key == "supply" else {}


def expand_gain(value: Any) -> Any:
    """Return the mapping of a gain control."""
    return value if isinstance(value, dict | BaseModel) or value is None else long_form("gain", value)


def expand_supply(value: Any) -> Any:
    """Return the mapping of a supply."""
    return value if isinstance(value, dict | BaseModel) or value is None else long_form("supply", value)
