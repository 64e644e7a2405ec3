"""The figures of a device as a page shows them, and as they are written into the file, checked by the file's own reader."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from gainwright.errors import GainwrightError, QuantityError
from gainwright.jobfile.editing import TextDraft, put_key, remove_key
from gainwright.jobfile.forms.pickers import (
    RATINGS,
    FilterParts,
    filter_parts,
    filter_text,
    rating_pairs,
    ratings_text,
    with_unit,
)
from gainwright.jobfile.reading import errors_of
from gainwright.jobfile.starting.devices import UNKNOWN
from gainwright.jobfile.starting.figures import COILS, ONE_COIL, FigureField, figures_of
from gainwright.jobfile.starting.leads import stages_of_text
from gainwright.model import Coils
from gainwright.quantities import decimal, parse, whole_number
from gainwright.texts import say


def shown_parts(figure: FigureField, stage: Mapping[str, Any]) -> dict[str, str]:
    """Return what each field of a figure shows of the file; empty while it is unknown."""
    value = _at(stage, figure.path)
    if figure.picker == "coils":
        return dict(zip(figure.parts, _shown_coils(stage), strict=True))
    if value is None or str(value).strip().lower() in (UNKNOWN, f"{UNKNOWN} .. {UNKNOWN}"):
        blank = ("off", "", "") if figure.picker == "filter" else ("",) * len(figure.parts)
        return dict(zip(figure.parts, blank, strict=True))
    text = "\n".join(map(str, value)) if isinstance(value, list) else str(value)
    shown: tuple[str, ...] = (_bare(text, figure.unit),)
    if figure.picker == "filter":
        parts = filter_parts(text) or FilterParts()
        shown = (parts.shape or "off", parts.slope, parts.corner)
    elif figure.picker == "ratings":
        pairs = [*(rating_pairs(text) or []), *([("", "")] * RATINGS)][:RATINGS]
        shown = tuple("" if part == UNKNOWN else part for pair in pairs for part in pair)
    elif figure.picker == "ends":
        first, _, second = text.partition("..")
        shown = (_bare(first.strip(), figure.unit), _bare(second.strip(), figure.unit))
    return dict(zip(figure.parts, shown, strict=True))


def _shown_coils(stage: Mapping[str, Any]) -> tuple[str, str]:
    if stage.get("coils") is None:
        each = str(stage.get("impedance", ""))
        return ONE_COIL, "" if each == UNKNOWN else _bare(each, "ohm")
    try:
        coils = Coils.parse(str(stage["coils"]))
    except QuantityError:
        return ONE_COIL, ""
    return f"{coils.number} {coils.wiring}" if coils.number > 1 else ONE_COIL, _bare(str(coils.each), "ohm")


def _bare(text: str, unit: str) -> str:
    """Return a figure without its unit, where it is a number and the unit alone."""
    number = text.removesuffix(unit).strip() if unit else text
    return number if decimal(number) is not None else text


def is_unknown(figure: FigureField, shown: Mapping[str, str]) -> bool:
    """Return whether a figure's fields show that it is unknown: all of what is typed is empty."""
    typed = [part for part in figure.parts if not part.endswith((":coils", ":ohm"))] or list(figure.parts)
    return not any(shown.get(part, "").strip() for part in typed)


def with_figures(
    text: str, key: str, given: Mapping[str, str], unknown: Iterable[str]
) -> tuple[str, dict[str, GainwrightError]]:
    """Return a text with the figures of a stage, and what is wrong with them, by the figure's key.

    Parameters
    ----------
    given : field of a figure -> what was typed.
    unknown : the keys of the figures that were said to be unknown; a figure that is typed all the same counts.

    Raises
    ------
    JobError : the text isn't YAML.
    """
    stages = stages_of_text(text)
    draft = TextDraft(text)
    wrong: dict[str, GainwrightError] = {}
    figures = figures_of(key, stages)
    for figure in figures:
        if figure.key not in set(unknown) and not any(part in given for part in figure.parts):
            continue  # it isn't on the form
        shown = shown_parts(figure, stages[key])
        unchanged = all(given.get(part, "").strip() == shown[part] for part in figure.parts)
        if unchanged and (figure.key in set(unknown) or not is_unknown(figure, shown)):
            continue  # so that nothing is lost that the fields don't show
        try:
            values = _values(figure, given, unknown=figure.key in set(unknown))
        except GainwrightError as refused:
            wrong[figure.key] = refused
            continue
        if figure.picker == "filter" and values[figure.key] == "off" and _at(stages[key], figure.path) is None:
            continue
        for name, value in values.items():
            path = ("stages", key, *name.split("."))
            if value is None:
                remove_key(draft, path)
            else:
                put_key(draft, path, value)
    done = draft.checked()
    for error in reversed(errors_of(done)):
        place = error.where.rpartition(" ")[2]
        if place == f"stages.{key}" or place.startswith(f"stages.{key}."):
            inside = place.removeprefix(f"stages.{key}").removeprefix(".")
            at = next((f.key for f in figures if inside.startswith(f.key)), "")
            at = at or next((f.key for f in figures if f.key in error.what), "")
            wrong.setdefault(at, error)
    return done, wrong


def _values(figure: FigureField, given: Mapping[str, str], *, unknown: bool) -> dict[str, Any]:
    """Return what the file says for a figure, by key; None where it says nothing.

    Raises
    ------
    QuantityError : what was typed isn't that figure, or nothing was and it isn't said to be unknown.
    """
    typed = {part: given.get(part, "").strip() for part in figure.parts}
    optional = figure.picker in ("filter", "choice")
    if not optional and is_unknown(figure, typed):
        if not unknown:
            raise QuantityError(say("it is empty"), code="no_quantity", remedy=say("write the figure, or tick unknown"))
        also = {"impedance": None} if figure.picker == "coils" else {}
        return {figure.key: UNKNOWN if figure.needed else None, **also}
    parts = list(typed.values())
    if figure.picker == "coils":
        return _coils(figure, *parts)
    return {figure.key: _READ[figure.picker](figure, parts)}


def _filter(figure: FigureField, parts: list[str]) -> str | None:
    del figure
    return filter_text(FilterParts(*parts)) or None


def _coils(figure: FigureField, wired: str, each: str) -> dict[str, Any]:
    ohms = _checked(figure, each)
    if wired not in COILS or wired == ONE_COIL:
        return {"coils": None, "impedance": ohms}
    number, wiring = wired.split(" ")
    return {"impedance": None, "coils": f"{number} x {ohms} {wiring}"}


def _ends(figure: FigureField, parts: list[str]) -> str:
    if not all(parts):
        down, up = (
            say("the volts with the gain fully down are missing"),
            say("the volts with the gain fully up are missing"),
        )
        raise QuantityError(
            down if parts[0] else up,
            code="no_quantity",
            rule=say("it takes both ends"),
            remedy=say("write both, or clear both and tick unknown"),
        )
    return " .. ".join(_checked(figure, part) for part in parts)


def _whole(figure: FigureField, parts: list[str]) -> int | str:
    del figure
    number = whole_number(parts[0])
    return parts[0] if number is None else number


def _ratings(figure: FigureField, typed: list[str]) -> str | list[str]:
    del figure
    pairs = list(zip(typed[::2], typed[1::2], strict=True))
    for watts, ohms in pairs:
        for part, unit, dimension in ((watts, "W", "power"), (ohms, "ohm", "resistance")):
            if part:
                parse(with_unit(part, unit), dimension)
    lines = ratings_text(pairs).split("\n")
    return lines[0] if len(lines) == 1 else lines


def _checked(figure: FigureField, typed: str) -> str:
    """Return a typed figure with its unit. QuantityError: it isn't one."""
    text = with_unit(typed, figure.unit)
    if figure.dimension != "sound level":
        parse(text, figure.dimension)
    return text


def _at(stage: Mapping[str, Any], path: tuple[str, ...]) -> Any:
    held: Any = stage
    for part in path:
        held = held.get(part) if isinstance(held, dict) else None
    return held


_READ: dict[str, Callable[[FigureField, list[str]], Any]] = {
    "quantity": lambda figure, parts: _checked(figure, parts[0]),
    "choice": lambda _, parts: parts[0] or None,
    "whole": _whole,
    "filter": _filter,
    "ratings": _ratings,
    "ends": _ends,
}
"""Picker -> what the file says for its parts."""
