"""The errors of a wiring, with what would be right."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from gainwright.errors import JobError

if TYPE_CHECKING:
    from collections.abc import Iterable


def bad_wiring(where: str, what: str, rule: str, remedy: str) -> JobError:
    """Return the error of a connection that can't be made."""
    return JobError(what, code="bad_wiring", where=where, rule=rule, remedy=remedy)


def unknown_reference(where: str, name: str, known: Iterable[str], noun: str) -> JobError:
    """Return the error of a reference that leads nowhere, with what there is."""
    known = list(known)
    near = difflib.get_close_matches(name, known, n=1)
    remedy = f"did you mean {near[0]}?" if near else ""
    rule = f"there is {', '.join(known[:12])}" if known else "there is none"
    return JobError(f"{name} is not {noun}", code="dangling_reference", where=where, rule=rule, remedy=remedy)
