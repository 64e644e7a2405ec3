"""The keys of a class of the model as fields of a form, with their types from the model's own metadata."""

from __future__ import annotations

import functools
import inspect
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from gainwright.jobfile.forms.labels import HELP, SPEAKER_HELP, label
from gainwright.model import FieldType, Speaker, is_needed

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo


@dataclass(frozen=True, slots=True)
class Key:
    """A key of a mapping: its path, type and label."""

    path: tuple[str, ...]
    type: FieldType
    label: str
    help: str
    required: bool = False
    group: str = ""
    default: str = ""


@dataclass(frozen=True, slots=True)
class Shape:
    """The keys of a class of the model.

    Attributes
    ----------
    keys : including those of its groups, such as `volume.at`.
    named : key of a mapping by name -> its values: a class of the model, a single value, or None where the class
        depends on the kind.
    """

    keys: tuple[Key, ...]
    named: dict[str, type[BaseModel] | FieldType | None] = dataclass_field(default_factory=dict)


def about(model: type[BaseModel]) -> str:
    """Return the description of a class of the model."""
    return inspect.cleandoc(model.__doc__ or "")


@functools.cache
def shape(model: type[BaseModel]) -> Shape:
    """Return the keys of a class of the model, such as `Amplifier` or `Job`."""
    keys: list[Key] = []
    named: dict[str, type[BaseModel] | FieldType | None] = {}
    fields = {info.alias or name: info for name, info in model.model_fields.items()}
    for key, info in sorted(fields.items()):
        held = _without_none(info.annotation)
        if isinstance(held, type) and issubclass(held, BaseModel):
            keys += [_in_group(key, k) for k in shape(held).keys]
        elif get_origin(held) is dict and field_type(info) is None:
            named[key] = _held_by_name(get_args(held)[1])
        else:
            keys.append(_key(key, info, model))
    return Shape(tuple(sorted(keys, key=lambda k: (not k.required, bool(k.group), _order(k)))), named)


_FIRST = (
    "kind",
    "name",
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
    return Key((group, *key.path), key.type, called, key.help, group=group, default=key.default)


def _key(key: str, info: FieldInfo, model: type[BaseModel]) -> Key:
    words = {**HELP, **SPEAKER_HELP} if model is Speaker else HELP
    takes = field_type(info)
    if takes is None:
        raise TypeError(f"{model.__name__}.{key}: the model doesn't define its type; add a FieldType")
    return Key(
        (key,), takes, label(key), info.description or words.get(key, ""), is_needed(info), default=_default(info)
    )


def _default(info: FieldInfo) -> str:
    """Return the model's default of a key, as it would be typed."""
    value = None if info.is_required() else info.default
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, tuple) else str(value)


def _without_none(annotation: Any) -> Any:
    """Return the type of an optional key without None."""
    if get_origin(annotation) in (Union, UnionType):
        options = [option for option in get_args(annotation) if option is not NoneType]
        return options[0] if len(options) == 1 else annotation
    return annotation


def _held_by_name(annotation: Any) -> type[BaseModel] | FieldType | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return _type_of(annotation)


def field_type(info: FieldInfo) -> FieldType | None:
    """Return the type of a field of the model; None for one that has keys of its own."""
    marked = next((mark for mark in info.metadata if isinstance(mark, FieldType)), None)
    return marked or _type_of(_without_none(info.annotation))


_PLAIN = {
    int: FieldType("whole", example="30", bare_number=True),
    float: FieldType("number", example="30", bare_number=True),
    str: FieldType("text"),
}


def _type_of(annotation: Any) -> FieldType | None:
    """Return the field type of a Python type: its own metadata, a choice of words, or a plain number or text."""
    if get_origin(annotation) is Annotated:
        inner, *metadata = get_args(annotation)
        return next((mark for mark in metadata if isinstance(mark, FieldType)), None) or _type_of(inner)
    if get_origin(annotation) is Literal:
        words = tuple(map(str, get_args(annotation)))
        return FieldType("fixed" if len(words) == 1 else "choice", choices=words)
    return _PLAIN.get(annotation)
