"""Dates in the time zone of this machine."""

from __future__ import annotations

import contextlib
import datetime

from gainwright.errors import CallError
from gainwright.texts import say


def today() -> str:
    """Return the date in the time zone of this machine, as `2026-11-26`."""
    return datetime.datetime.now().astimezone().date().isoformat()


def date_of(moment: datetime.datetime) -> str:
    """Return the date of a moment in the time zone of this machine, as `2026-11-26`."""
    return moment.astimezone().date().isoformat()


def read_date(text: str, *, where: str = "date") -> datetime.date:
    """Return the date that a text such as `2026-11-26` says. CallError: it isn't one."""
    with contextlib.suppress(ValueError):
        found = datetime.date.fromisoformat(text)
        if found.isoformat() == text:
            return found
    raise no_date(text, where=where)


def no_date(text: str, *, where: str) -> CallError:
    """Return the error for a text that isn't a date."""
    return CallError(
        say("{date} isn't a date", date=repr(text[:40])),
        code="bad_date",
        where=where,
        remedy=say("write, for example, 2026-11-26"),
    )
