"""How a result becomes JSON: the one way for the commands, the HTTP API and the papers.

A result is a frozen dataclass. Its fields are the keys of its JSON, in their order and under their names, with the unit in
the name; properties stay out. Pydantic reads the same annotations for the values and for the schema, and is imported when
the first result is written, not before.
"""

from __future__ import annotations

import json
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any

if TYPE_CHECKING:
    from pydantic import TypeAdapter


class _Nullable:
    """Says in the schema that a number may be null."""

    @staticmethod
    def __get_pydantic_core_schema__(_source: Any, _handler: Any) -> Any:
        from pydantic_core import core_schema

        return core_schema.nullable_schema(core_schema.float_schema())


Number = Annotated[float, _Nullable]
"""A number that may be infinite or not a number; in JSON it is null then."""


def to_json(result: Any) -> Any:
    """Return a result, a dataclass instance, as plain data that JSON can hold; numbers that aren't finite are None."""
    adapter = _adapter(type(result))  # type: ignore[arg-type]  # a class can be hashed
    return json.loads(adapter.dump_json(result, by_alias=True))


@cache
def _adapter(kind: type) -> TypeAdapter[Any]:
    from pydantic import TypeAdapter

    return TypeAdapter(kind)
