"""Conversion of results to and from JSON, for the commands, the HTTP API and the papers.

A result is a frozen dataclass. Its fields are the keys of its JSON, in the same order, with the unit in
the name; properties are left out. Pydantic reads the same annotations for the values and for the schema, and is imported only when
the first result is converted.
"""

from __future__ import annotations

import json
from dataclasses import is_dataclass
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

if TYPE_CHECKING:
    from pydantic import TypeAdapter

Result = TypeVar("Result")


class _Nullable:
    """Marks a number as nullable in the schema."""

    @staticmethod
    def __get_pydantic_core_schema__(_source: Any, _handler: Any) -> Any:
        from pydantic_core import core_schema

        return core_schema.nullable_schema(core_schema.float_schema())


Number = Annotated[float, _Nullable]
"""A number that may be infinite or NaN, which JSON shows as null."""


def to_json(result: Any) -> Any:
    """Return a result, or a dictionary or list of results, as plain data; numbers that aren't finite are None."""
    if isinstance(result, dict):
        return {key: to_json(value) for key, value in result.items()}
    if isinstance(result, list | tuple):
        return [to_json(value) for value in result]
    if not is_dataclass(result):
        return result
    return json.loads(_adapter(type(result)).dump_json(result, by_alias=True))


def from_json(kind: type[Result], data: Any) -> Result:
    """Return a result from plain data, as returned by `to_json`; unknown keys are ignored.

    Raises
    ------
    ValueError : not such a result; the message says what is missing or of the wrong type.
    """
    result: Result = _adapter(kind).validate_python(data)
    return result


_ADAPTERS: dict[Any, TypeAdapter[Any]] = {}


def _adapter(kind: Any) -> TypeAdapter[Any]:
    if kind not in _ADAPTERS:
        from pydantic import TypeAdapter

        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]
