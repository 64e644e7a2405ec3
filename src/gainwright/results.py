"""How a result becomes JSON: the one way for the commands, the HTTP API and the papers.

A result is a frozen dataclass. Its fields are the keys of its JSON, in their order and under their names, with the unit in
the name; properties stay out. Pydantic reads the same annotations for the values and for the schema, and is imported when
the first result is written, not before.
"""

from __future__ import annotations

import json
from dataclasses import is_dataclass
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

if TYPE_CHECKING:
    from pydantic import TypeAdapter

Result = TypeVar("Result")


class _Nullable:
    """Says in the schema that a number may be null."""

    @staticmethod
    def __get_pydantic_core_schema__(_source: Any, _handler: Any) -> Any:
        from pydantic_core import core_schema

        return core_schema.nullable_schema(core_schema.float_schema())


Number = Annotated[float, _Nullable]
"""A number that may be infinite or not a number; in JSON it is null then."""


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
    """Return a result from plain data, as `to_json` gave it; keys that are unknown are passed over.

    Raises
    ------
    ValueError : it is no such result; the message says what is missing or of another kind.
    """
    found: Result = _adapter(kind).validate_python(data)
    return found


_ADAPTERS: dict[Any, TypeAdapter[Any]] = {}


def _adapter(kind: Any) -> TypeAdapter[Any]:
    if kind not in _ADAPTERS:
        from pydantic import TypeAdapter

        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]
