"""The form of a complaint that is chosen: what a page shows of it, and what was sent."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.app.cases.complaint_choices import Chosen

if TYPE_CHECKING:
    from collections.abc import Mapping


def chosen_of(given: Mapping[str, str]) -> Chosen | None:
    """Return the complaint that was chosen in a form, None without one.

    Fields are `wrong`, its kind, and `KIND:QUESTION` for the answers of each kind; those of other kinds are left out.
    """
    kind = given.get("wrong", "")
    if not kind:
        return None
    before = f"{kind}:"
    return Chosen(kind, {key.removeprefix(before): value for key, value in given.items() if key.startswith(before)})
