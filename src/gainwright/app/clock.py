"""Dates in the time zone of this machine."""

from __future__ import annotations

import datetime


def today() -> str:
    """Return the date in the time zone of this machine, as `2026-11-26`."""
    return datetime.datetime.now().astimezone().date().isoformat()


def date_of(moment: datetime.datetime) -> str:
    """Return the date of a moment in the time zone of this machine, as `2026-11-26`."""
    return moment.astimezone().date().isoformat()
