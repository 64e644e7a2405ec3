"""Values that a form shows in several parts: the parts of each field, and the text put together from what was picked.

A form sends the parts (`stages.amp.low_pass:shape`), the same value as text (`stages.amp.low_pass`), and the text that
both showed (`stages.amp.low_pass:shown`): the one that was changed counts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import QuantityError
from gainwright.jobfile.forms import pickers
from gainwright.model import FILTER_SLOPES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gainwright.jobfile.forms import Field

SHOWN = ":shown"
FILTER_PARTS = ("shape", "slope", "corner")
RATING = "300 W @ 4 ohm"
"""Example of the keys that hold ratings."""
PICKER_CHOICES = {
    "slopes": FILTER_SLOPES,
    "every_slope": sorted({slope for slopes in FILTER_SLOPES.values() for slope in slopes}),
    "ratings": range(pickers.RATINGS),
}
"""What the pickers of filters and ratings offer."""


def parts_of(field: Field, value: str, given: Mapping[str, str]) -> list[str] | None:
    """Return what each picker of a field shows: as it was picked, else as the value says; None for a field without pickers."""
    names = _names(field)
    if not names:
        return None
    if f"{field.name}:{names[0]}" in given:
        return [given.get(f"{field.name}:{name}", "") for name in names]
    return _parts(value, filters=field.type.name == "filter")


def _names(field: Field) -> Sequence[str]:
    if field.type.name == "filter":
        return FILTER_PARTS
    if field.type.name == "lines" and field.type.example == RATING:
        return [f"{i}:{part}" for i in range(pickers.RATINGS) for part in ("w", "ohm")]
    return ()


def _parts(value: str, *, filters: bool) -> list[str]:
    if filters:
        parts = pickers.filter_parts(value) or pickers.FilterParts()
        return [parts.shape, parts.slope, parts.corner]
    pairs = pickers.rating_pairs(value) or []
    return [part for pair in [*pairs, *([("", "")] * pickers.RATINGS)][: pickers.RATINGS] for part in pair]


def put_together(given: Mapping[str, str], *, strict: bool) -> dict[str, str]:
    """Return the fields of a form with picked parts put together.

    Raises
    ------
    QuantityError : strict, and a part is missing; `where` is the key.
    """
    found = {name: text for name, text in given.items() if ":" not in name}
    for name, shown in given.items():
        if not name.endswith(SHOWN):
            continue
        key = name.removesuffix(SHOWN)
        filters = f"{key}:shape" in given
        names = FILTER_PARTS if filters else [f"{i}:{p}" for i in range(pickers.RATINGS) for p in ("w", "ohm")]
        picked = [given.get(f"{key}:{part}", "").strip() for part in names]
        if picked == _parts(shown.replace("\r\n", "\n"), filters=filters):
            continue
        try:
            found[key] = _text(picked, filters=filters, shown=shown)
        except QuantityError as error:
            if strict:
                raise QuantityError(
                    error.what, code=error.code, where=key, rule=error.rule, remedy=error.remedy
                ) from None
    return found


def _text(picked: list[str], *, filters: bool, shown: str) -> str:
    """Return the text of picked parts; ratings that there is no room for stay."""
    if filters:
        return pickers.filter_text(pickers.FilterParts(*picked))
    more = [line for line in shown.split("\n") if line.strip()][pickers.RATINGS :]
    return "\n".join([pickers.ratings_text(list(zip(picked[::2], picked[1::2], strict=True))), *more]).strip()
