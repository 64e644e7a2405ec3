"""Tables of scanned music as CSV and Parquet."""

from __future__ import annotations

import importlib
import io
from typing import TYPE_CHECKING, Any

from gainwright.adapters.files import write_file
from gainwright.errors import CallError
from gainwright.harmless import csv_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path


def write_table(path: Path, columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> None:
    """Write a table completely or not at all.

    Raises
    ------
    CallError : another suffix, the library for Parquet is missing, or the file can't be written.
    """
    suffix = path.suffix.lower()
    if suffix not in (".csv", ".parquet"):
        raise CallError(
            f"music can't be written as {suffix or 'a file without a suffix'}",
            code="bad_suffix",
            where=str(path),
            rule="it must be .json, .csv or .parquet",
            remedy="name the file music.csv",
        )
    write_file(path, _csv(columns, rows) if suffix == ".csv" else _parquet(columns, rows))


def _csv(columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> bytes:
    return csv_text([columns, *([row[column] for column in columns] for row in rows)], line_end="\n").encode()


def _parquet(columns: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> bytes:
    try:
        arrow: Any = importlib.import_module("pyarrow")
        parquet: Any = importlib.import_module("pyarrow.parquet")
    except ImportError:
        raise CallError(
            "the library for Parquet is not installed",
            code="no_parquet_library",
            where="output",
            rule="without it, .json and .csv can be written",
            remedy='python -m pip install "gainwright[parquet]"',
        ) from None
    whole = {"rate_hz": arrow.int64(), "channels": arrow.int64(), "file": arrow.string(), "band": arrow.string()}
    schema = arrow.schema([(column, whole.get(column, arrow.float64())) for column in columns])
    table = arrow.table({column: [row[column] for row in rows] for column in columns}, schema=schema)
    out = io.BytesIO()
    parquet.write_table(table, out)
    return out.getvalue()
