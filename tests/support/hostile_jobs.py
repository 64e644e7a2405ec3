"""Job files with one value made extreme, missing or of another kind, carried through all that a job is used for.

Every scalar of every shipped example, of the chains of the third world, and of jobs in which every key that an example
leaves out is given once. A job is refused in one sentence, or check, plan, levels, diagnose and report work.
"""

from __future__ import annotations

import copy
import functools
import json
import random
import re
import typing
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel
from ruamel.yaml import YAML

from gainwright.app.cases.diagnosis import diagnose
from gainwright.app.jobs.assumptions import assumptions
from gainwright.app.jobs.corridor import solve_corridor
from gainwright.app.papers.papers import PaperMaterial, make_paper, paper_bytes
from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.errors import GainwrightError
from gainwright.jobfile import example_text, examples, read_job_text
from gainwright.model import INSTRUMENTS, STAGES, Job
from gainwright.model.field_types import FieldType
from gainwright.plan import check_job, make_plan
from gainwright.report.diagnosis import diagnosis_text
from gainwright.report.text import findings_text, levels_text, plan_text
from gainwright.results import to_json

if TYPE_CHECKING:
    from collections.abc import Iterator

CHAINS = Path(__file__).parent / "third_world" / "chains"
NUMBER = re.compile(r"(?<![\w.])[+-]?[0-9]+(?:\.[0-9]+)?")
EXTREMES = (
    "0",
    "1e-300",
    "1e300",
    "-1",
    "1e-12",
    "1e12",
    "1e-5",
    "1e5",
    "0.001",
    "1000",
    "5e-324",
    "1.7e308",
    "9" * 400,
)
WRONG_KINDS: tuple[Any, ...] = (
    None,
    [],
    {},
    True,
    "x",
    "unknown",
    0,
    -1,
    1e300,
    10**25,
    [[]],
    {"a": 1},
    "= 1",
    "\x1b[2J",
    [1, 2],
    "off",
)
SPREADS = ("{v} ± 99 %", "{v} ± 500 %", "{v} ± 1e300 %", "0 .. {v}", "{v} .. 1e300", "unknown")
MISSING = object()
Path_ = tuple[str | int, ...]


@functools.cache
def names() -> tuple[str, ...]:
    """Return the names of the job files that are attacked."""
    return (*examples(), *sorted(path.stem for path in CHAINS.glob("*.yaml")))


@functools.cache
def document(name: str, *, filled: bool = False) -> dict[str, Any]:
    """Return the content of a job file (an example, a chain, a path), not to be modified.

    `filled` gives it all keys, where it is a job with them.
    """
    path = Path(name) if name.endswith(".yaml") else CHAINS / f"{name}.yaml"
    text = path.read_text(encoding="utf-8") if path.exists() else example_text(name)
    plain: dict[str, Any] = json.loads(json.dumps(YAML(typ="safe", pure=True).load(text)))
    full = _with_all_keys(plain) if filled else plain
    return full if _is_job(full) else plain


def _is_job(content: dict[str, Any]) -> bool:
    try:
        read_job_text(json.dumps(content))
    except GainwrightError:
        return False
    return True


def _with_all_keys(content: dict[str, Any]) -> dict[str, Any]:
    """Return a job with the keys that it leaves out given by their examples, each as long as the job is still one."""
    found = copy.deepcopy(content)
    for place, cls in _classes(found):
        here = at(found, place)
        for name, info in cls.model_fields.items():
            key = info.alias or name
            example = next((m.example for m in info.metadata if isinstance(m, FieldType) and m.example), None)
            if example is None:
                example = _example(info.annotation)
            if key in here or example is None:
                continue
            here[key] = example
            try:
                Job.model_validate(found)
            except ValueError:
                del here[key]
    return found


def _classes(content: dict[str, Any]) -> Iterator[tuple[Path_, type[BaseModel]]]:
    """Yield the places of mappings of a job, and the class of each."""
    kinds: dict[Path_, type[BaseModel]] = {
        ("stages", name): STAGES[stage["kind"]] for name, stage in content["stages"].items()
    }
    kinds |= {("instruments", name): INSTRUMENTS[kind["kind"]] for name, kind in content.get("instruments", {}).items()}
    yield (), Job
    for place, cls in kinds.items():
        yield place, cls
        for name, info in cls.model_fields.items():
            inner = _model(info.annotation)
            if inner is None:
                continue
            here = at(content, place)
            key = info.alias or name
            if key == "outputs":
                for output in here.get(key, {}):
                    if here[key][output] is None:
                        here[key][output] = {}
                    yield (*place, key, output), inner
            else:
                if not isinstance(here.get(key), dict):
                    here[key] = {}
                yield (*place, key), inner


def _model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in typing.get_args(annotation) if (found := _model(part))), None)


def _example(annotation: Any) -> Any:
    for part in typing.get_args(annotation):
        if isinstance(part, FieldType):
            return part.example or None
        if (found := _example(part)) is not None:
            return found
    return {int: 4, float: 4}.get(annotation)


def at(content: Any, place: Path_) -> Any:
    """Return what a document has at a place."""
    for part in place:
        content = content[part]
    return content


def scalars(value: Any, place: Path_ = ()) -> Iterator[Path_]:
    """Yield the place of every scalar of a document."""
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from scalars(inner, (*place, key))
    else:
        yield place


def places(value: Any, place: Path_ = ()) -> Iterator[Path_]:
    """Yield the place of everything in a document: its scalars, lists and mappings, not of the whole."""
    if place:
        yield place
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from places(inner, (*place, key))


def changed(content: dict[str, Any], place: Path_, value: Any) -> str:
    """Return the text of a document with one value replaced, or left out."""
    found = copy.deepcopy(content)
    here = at(found, place[:-1])
    if value is MISSING:
        del here[place[-1]]
    else:
        here[place[-1]] = value
    return json.dumps(found, ensure_ascii=False)


def values_for(old: Any) -> list[Any]:
    """Return what is put in place of a value: each of its numbers made extreme, a spread, another kind, nothing."""
    found: list[Any] = [MISSING, *WRONG_KINDS]
    text = str(old)
    for match in NUMBER.finditer(text):
        for extreme in EXTREMES:
            new = text[: match.start()] + extreme + text[match.end() :]
            found.append(float(new) if isinstance(old, int | float) and len(extreme) < 300 else new)
    if NUMBER.search(text) and isinstance(old, str):
        found += [spread.format(v=text) for spread in SPREADS]
    return found


def random_job(draw: random.Random) -> tuple[str, str]:
    """Return what was changed, and the text of the job: one value, sometimes two."""
    name, filled = draw.choice(names()), draw.random() < 0.5
    content = document(name, filled=filled)
    what = [f"{name}, all keys" if filled else name]
    for _ in range(draw.choice((1, 1, 1, 2))):
        place = draw.choice(list(scalars(content)))
        value = draw.choice(values_for(at(content, place)))
        what.append(f"{'.'.join(map(str, place))} = {'missing' if value is MISSING else repr(value)[:60]}")
        content = json.loads(changed(content, place, value))
    return "; ".join(what), json.dumps(content, ensure_ascii=False)


def use_job(text: str, *, draws: int | None = None) -> None:
    """Do with a job what the commands and pages do; raise what they would.

    Parameters
    ----------
    draws : of the diagnosis, where fewer than usual are enough.

    Raises
    ------
    GainwrightError : the job is refused.
    """
    file = read_job_text(text, "attacked.yaml")
    job = file.job
    found = check_job(job)
    _shown(found, "\n".join(findings_text(found)))
    _shown(assumptions(file), "")
    plan = make_plan(job)
    _shown(plan, plan_text(plan))
    for tone_hz, level_dbfs in ((40.0, -6.0), (3000.0, 0.0)):
        levels = solve_corridor(job, {}, tone_hz=tone_hz, level_dbfs=level_dbfs)
        _shown(levels, levels_text(levels))
    paper = make_paper(job, kind="setup", material=PaperMaterial((), date="2026-11-27"), plan=plan)
    paper_bytes(paper, ".html", charts=None, printer=None, code="en", size="a4")  # type: ignore[arg-type]
    json.dumps(paper.as_json(), allow_nan=False)
    diagnosis = make_diagnosis(Diagnoser(job, draws=draws), ()) if draws else diagnose(job, (), counted={})
    _shown(diagnosis, diagnosis_text(diagnosis))


def _shown(found: Any, text: str) -> None:
    json.dumps(to_json(found), allow_nan=False)
    assert "nan" not in re.findall(r"\w+", text.lower()), f"nan is shown: {text[:300]}"
