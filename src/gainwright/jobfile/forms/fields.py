"""The fields that a mapping of the schema has: what each takes, as the schema says it."""

from __future__ import annotations

import functools
import json
import re
from dataclasses import dataclass, field
from typing import Any, Literal

from gainwright.jobfile.forms.words import HELP, SPEAKER_HELP, label
from gainwright.jobfile.schema import shipped_schema
from gainwright.quantities import DIMENSIONS

FieldKind = Literal[
    "fixed",
    "quantity",
    "text",
    "long_text",
    "choice",
    "yes_no",
    "filter",
    "filter_range",
    "ends",
    "coils",
    "accuracy",
    "loudness",
    "lines",
    "whole",
    "number",
    "sides",
    "source",
]

_SAID: dict[str, FieldKind] = {
    "off, or shape": "filter",
    "what the hand can do": "filter_range",
    "flat, or a list": "lines",
    "the two ends": "ends",
    "number, resistance each": "coils",
    "share of the reading": "accuracy",
    "dB at 1 m": "loudness",
    "rated power into": "lines",
}
_QUANTITY = re.compile(r"an? ([a-z ]+?)(?: in [^,]+)?, with a spread if it has one")
_LONG = 1000
_WIRED = r"^\w+(\.\w+){0,2}$"


@dataclass(frozen=True, slots=True)
class Kind:
    """What a key takes.

    Attributes
    ----------
    dimension : of a quantity, a key of `DIMENSIONS`.
    example : a text that is right.
    choices : what may be chosen.
    numbers : whether a bare number is right.
    """

    kind: FieldKind
    dimension: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()
    numbers: bool = False


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a mapping: its place in the mapping, what it takes, what it is called."""

    path: tuple[str, ...]
    kind: Kind
    label: str
    help: str
    required: bool = False
    group: str = ""
    default: str = ""


@dataclass(frozen=True, slots=True)
class Shape:
    """A mapping of the schema: its keys, and those that hold things with names of their own."""

    keys: tuple[Key, ...]
    named: dict[str, str | Kind] = field(default_factory=dict)


def definition(name: str) -> dict[str, Any]:
    """Return a definition of the schema by its name, the whole when the name is empty."""
    whole = _schema()
    return dict(whole["$defs"][name]) if name else whole


@functools.cache
def _schema() -> dict[str, Any]:
    return dict(json.loads(shipped_schema()))


@functools.cache
def shape(name: str) -> Shape:
    """Return what a definition of the schema holds: `Amplifier`, `SourceOutput`, `Job` when empty."""
    node = definition(name)
    keys: list[Key] = []
    named: dict[str, str | Kind] = {}
    for key, says in node["properties"].items():
        inner = _reference(says)
        mapped = _mapped(says)
        if inner:
            keys += [_in_group(key, k) for k in shape(inner).keys]
        elif mapped is not None and kind_of(says).kind != "source":
            named[key] = _reference(mapped) or ("" if "discriminator" in mapped else kind_of(mapped))
        else:
            keys.append(_key(key, says, node, name))
    return Shape(tuple(sorted(keys, key=lambda k: (not k.required, bool(k.group), _order(k)))), named)


_FIRST = (
    "kind",
    "title",
    "customer",
    "from",
    "rated_output",
    "gain",
    "power",
    "impedance",
    "coils",
    "count",
    "sensitivity",
)
_LAST = ("sides", "reachable", "output_impedance", "input_impedance", "output_noise", "distortion", "note")


def _order(key: Key) -> int:
    name = key.path[-1]
    if name in _FIRST:
        return _FIRST.index(name)
    return 100 + _LAST.index(name) if name in _LAST else 50


def _in_group(group: str, key: Key) -> Key:
    called = label(key.path[-1], group)
    return Key((group, *key.path), key.kind, called, key.help, group=group, default=key.default)


def _key(key: str, says: dict[str, Any], node: dict[str, Any], name: str) -> Key:
    own = {**HELP, **SPEAKER_HELP} if name == "Speaker" else HELP
    told = says.get("description", "")
    helped = own.get(key, told) if _QUANTITY.match(told) or not told else told
    if not helped:
        helped = _inner(says).get("description", "")
    return Key((key,), kind_of(says), label(key), helped, key in node.get("required", ()), default=_default(says))


def _default(says: dict[str, Any]) -> str:
    """Return what the schema takes when a key isn't said, as one types it."""
    value = says.get("default")
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, list) else str(value)


def _inner(says: dict[str, Any]) -> dict[str, Any]:
    """Return what a key says when it says something."""
    options = [o for o in says.get("anyOf", []) if o.get("type") != "null"]
    return dict(options[0]) if len(options) == 1 else says


def _reference(says: dict[str, Any]) -> str:
    return str(_inner(says).get("$ref", "")).rpartition("/")[2]


def _mapped(says: dict[str, Any]) -> dict[str, Any] | None:
    """Return what a mapping of names holds, also one that may be said as one figure for all."""
    for option in (says, *says.get("anyOf", [])):
        for other in (*option.get("patternProperties", {}).values(), option.get("additionalProperties")):
            if isinstance(other, dict):
                return other
    return None


def kind_of(says: dict[str, Any]) -> Kind:
    """Return what a key takes, from what the schema says of it."""
    inner = _inner(says)
    told = str(inner.get("description", ""))
    example = str((inner.get("examples") or says.get("examples") or [""])[0])
    if any(o.get("pattern") == _WIRED for o in inner.get("anyOf", [inner])):
        return Kind("source", example="desk.sub")
    found = next((kind for begins, kind in _SAID.items() if told.startswith(begins)), None)
    if found:
        return Kind(found, example=example)
    if match := _QUANTITY.match(told):
        return Kind("quantity", match[1], DIMENSIONS[match[1]].example, numbers="number" in inner.get("type", ()))
    return _chosen(inner) or _plain(inner)


def _chosen(inner: dict[str, Any]) -> Kind | None:
    """Return what takes one of some words."""
    if "const" in inner:
        return Kind("fixed", choices=(str(inner["const"]),))
    if True in inner.get("enum", ()):
        return Kind("yes_no", choices=("yes", "no"))
    if inner.get("enum"):
        return Kind("choice", choices=tuple(map(str, inner["enum"])))
    if inner.get("type") == "array":
        return Kind("sides", choices=tuple(inner["items"]["enum"]))
    return None


def _plain(inner: dict[str, Any]) -> Kind:
    """Return what takes a number or words."""
    if inner.get("type") in ("integer", "number"):
        return Kind("whole" if inner["type"] == "integer" else "number", example="30", numbers=True)
    return Kind("long_text" if inner.get("maxLength", 0) >= _LONG else "text")
