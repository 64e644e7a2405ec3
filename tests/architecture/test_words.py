"""`docs/words.md` is binding: it lists every quantity in the code with its unit, and nothing else.

Quantities are found by their names: a field of a public dataclass, named tuple, typed dictionary or pydantic model, or
a key of a dictionary written out in the code (a JSON key), whose name holds a unit (`v_rms`, `tone_hz`, `margin_db`).
"""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

TREE = Path(__file__).resolve().parents[2]
WORDS = TREE / "docs" / "words.md"

UNITS = {
    "v": "V",
    "vpp": "V",
    "a": "A",
    "ohm": "Ω",
    "w": "W",
    "hz": "Hz",
    "s": "s",
    "seconds": "s",
    "ms": "ms",
    "m": "m",
    "mm2": "mm²",
    "f": "F",
    "h": "H",
    "deg": "°",
    "rad": "rad",
    "percent": "%",
    "db": "dB",
    "dbfs": "dBFS",
    "dbtp": "dBTP",
    "dbu": "dBu",
    "dbv": "dBV",
    "dbspl": "dB SPL",
    "dba": "dB(A)",
    "dbc": "dB(C)",
    "lufs": "LUFS",
    "bits": "bit",
    "minutes": "min",
    "celsius": "°C",
}
"""Part of a name -> the unit it stands for."""
WHOLE = {"db", "lufs", "bits", "minutes", "seconds"}
"""Names that are a unit and nothing else; a bare "v" or "hz" says no quantity."""
AFTER_UNIT = {"rms": " rms", "peak": " peak", "low": "", "high": "", "std": "", "rel": "", "min": "", "max": ""}
"""What may follow the unit in a name -> what it adds to the unit."""
PER = {"step": "step", "octave": "octave", "second": "s", "m": "m", "hz": "Hz", "decade": "decade"}

MODELS = {"BaseModel", "NamedTuple", "TypedDict"}


class Row(NamedTuple):
    """One line of the table."""

    name: str
    unit: str
    meaning: str


def unit_of(name: str) -> str | None:
    """Return the unit in a name, None if there is none."""
    parts = name.split("_")
    if len(parts) > 2 and parts[-2] == "per" and parts[-1] in PER:
        inner = unit_of("_".join(parts[:-2]))
        return f"{inner}/{PER[parts[-1]]}" if inner else None
    added = ""
    while len(parts) > 1 and parts[-1] in AFTER_UNIT:
        added = AFTER_UNIT[parts.pop()] + added
    nothing_else = len(parts) == 1 and not added and name not in WHOLE
    return UNITS[parts[-1]] + added if parts[-1] in UNITS and not nothing_else else None


def _models(trees: list[ast.Module]) -> Iterator[ast.ClassDef]:
    """Yield the public classes that only hold data: dataclasses and heirs, near or far, of the known bases."""
    classes = [node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
    known = set(MODELS)
    while True:
        heirs = {node.name for node in classes if known & {ast.unparse(base).split(".")[-1] for base in node.bases}}
        if heirs <= known:
            break
        known |= heirs
    for node in classes:
        decorated = any("dataclass" in ast.unparse(decorator) for decorator in node.decorator_list)
        if (decorated or node.name in known) and not node.name.startswith("_"):
            yield node


def quantities_in(sources: dict[str, str]) -> dict[str, str]:
    """Return every quantity's name -> the first place where it occurs, `module.Class`, or `module` for a key."""
    trees = {name: ast.parse(source) for name, source in sources.items()}
    found: dict[str, str] = {}
    models = {id(model) for model in _models(list(trees.values()))}
    for module, parsed in trees.items():
        for model in ast.walk(parsed):
            if not isinstance(model, ast.ClassDef) or id(model) not in models:
                continue
            for field in model.body:
                if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
                    found.setdefault(field.target.id, f"{module}.{model.name}")
        for node in ast.walk(parsed):
            keys = node.keys if isinstance(node, ast.Dict) else []
            for key in keys:
                if isinstance(key, ast.Constant) and isinstance(key.value, str) and key.value.isidentifier():
                    found.setdefault(key.value, module)
    return {name: where for name, where in found.items() if not name.startswith("_") and unit_of(name)}


def _code() -> dict[str, str]:
    package = TREE / "src" / "gainwright"
    paths = sorted(package.rglob("*.py"))
    return {
        ".".join(path.relative_to(package).with_suffix("").parts): path.read_text(encoding="utf-8") for path in paths
    }


def _rows() -> list[Row]:
    """Read the table: lines of `| `name` | unit | meaning |`."""
    cells = re.findall(r"^\| `(\w+)` \| ([^|]*) \| ([^|]*) \|$", WORDS.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return [Row(name, unit.strip(), meaning.strip()) for name, unit, meaning in cells]


def test_words_list_every_quantity_and_no_other() -> None:
    """Each quantity in the code is in the table, and each row of the table is in the code."""
    used = quantities_in(_code())
    told = {row.name for row in _rows()}
    missing = [f"| `{name}` | {unit_of(name)} |  |   <- {used[name]}" for name in sorted(used.keys() - told)]
    stale = sorted(told - used.keys())
    to_add = f"{len(missing)} rows to add to docs/words.md (write the meaning, drop the arrow):"
    to_drop = f"{len(stale)} rows to take out, nothing in the code has these names:"
    message = "\n".join(["", to_add, *missing, to_drop, *stale])
    assert not missing, message
    assert not stale, message


def test_unit_of_a_row_is_that_of_its_name() -> None:
    """A row's unit is the one in its name, it has a meaning, and rows are sorted, each once."""
    rows = _rows()
    assert rows
    assert [(row.name, row.unit) for row in rows if row.unit != unit_of(row.name)] == []
    assert [row.name for row in rows if len(row.meaning) < 8] == []
    assert [row.name for row in rows] == sorted({row.name for row in rows})


def test_search_finds_fields_and_keys_only() -> None:
    """The search finds fields of public models, including inherited ones, and JSON keys, but no private or unitless names."""
    source = """
class Base(BaseModel):
    tone_hz: float
    name: str
class Heir(Base):
    level_dbfs: float
@dataclass(frozen=True)
class Plain:
    v_rms_low: float
    _hidden_v: float
@dataclass
class _Private:
    secret_ohm: float
class Other:
    loose_s: float
def f(x_v: float): return {"thd_percent": 1, "db_per_step": 2, "title": 3, "v": 4}
"""
    assert set(quantities_in({"m": source})) == {"tone_hz", "level_dbfs", "v_rms_low", "thd_percent", "db_per_step"}


def test_units_are_read_from_names() -> None:
    """Units are read together with what follows them: rms, bounds and per-step rates."""
    read = {
        "v_rms": "V rms",
        "v_rms_high": "V rms",
        "noise_v_rms": "V rms",
        "margin_db": "dB",
        "db_per_step": "dB/step",
        "resistance_ohm_per_m": "Ω/m",
        "low": None,
        "v": None,
        "mm2": None,
        "seconds": "s",
        "high_pass": None,
    }
    assert {name: unit_of(name) for name in read} == read
