"""What README.md and the documents name in passing is there: commands and their options, tasks, addresses of the API, files, keys.

The examples that stand in blocks of their own are run by test_docs_examples.py.
"""

from __future__ import annotations

import functools
import inspect
import re
from importlib import import_module
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import tasks
from docs_site.examples import Block, blocks
from ruamel.yaml import YAML
from typed_requests import document
from typer.main import get_command

import gainwright
from gainwright.jobfile import job_schema
from gainwright.jobfile.class_files import read_exercise

TREE = Path(__file__).resolve().parents[2]
DOCUMENTS = [TREE / "README.md", TREE / "CONTRIBUTING.md", *sorted((TREE / "docs").rglob("*.md"))]
FOLDERS = ("src/", "tests/", "bench/", "tools/", "docs_site/", "docs/", "man/")
OF_OTHERS = ("--force", "--strict")
"""Options of uv, pipx and of a generator of sites that the documents speak of."""
UNTYPED = re.compile(r"/api/(live|openapi\.json|tones\.wav)\b")
"""Addresses that aren't in the typed document: streams, the document itself, sounds."""


@functools.cache
def _said(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def prose_of(text: str) -> str:
    """Return a document without its blocks."""
    return re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)


def mentions(text: str, begin: str) -> list[str]:
    """Return what a text shows as code, inline or as an indented line, that begins with a pattern."""
    found = [" ".join(code.split()) for code in re.findall(r"`([^`]+)`", prose_of(text))]
    found += [re.split(r"\s{3,}", line)[0] for line in re.findall(r"^ {4}(\S.*)$", prose_of(text), re.MULTILINE)]
    return [code for code in found if re.match(begin, code)]


@functools.cache
def _commands() -> dict[str, set[str]]:
    """Return command -> its options, those of a group as `store backup`; the program's own as an empty name."""
    import_module("gainwright.cli.main")
    from gainwright.cli.base import app

    top: Any = get_command(app)
    found = {"": _options(top)}
    for name, command in top.commands.items():
        found[name] = _options(command)
        for own, one in getattr(command, "commands", {}).items():
            found[f"{name} {own}"] = _options(one)
    return found


def _options(command: Any) -> set[str]:
    return {"--help", *(name for option in command.params for name in (*option.opts, *option.secondary_opts))}


def unknown_in_command(line: str) -> list[str]:
    """Return what a mentioned line of `gainwright` names that isn't there: its command or options."""
    words = [word for word in line.split()[1:] if word not in {"...", "[...]"}]
    command = words[0] if words and re.fullmatch(r"[a-z][a-z-]*", words[0]) else ""
    if command not in _commands():
        return [command]
    own = f"{command} {words[1]}" if len(words) > 1 else ""
    known = _commands()[own if own in _commands() else command]
    return [name for name in re.findall(r"(?<!\S)\[?(--?[a-z][\w-]*)", " ".join(words)) if name not in known]


def unknown_in_task(line: str) -> list[str]:
    """Return what a mentioned line of `tasks.py` names that isn't there; an option must stand in the task's own source."""
    words = line.split()[2:]
    if not words or words == ["help"]:
        return []
    if words[0] not in tasks.COMMANDS:
        return [words[0]]
    module, _ = tasks.COMMANDS[words[0]]
    sources = [TREE / "tools" / f"{module}.py", TREE / "tests" / "support" / "attack_all.py", *DOCS_SITE]
    known = "".join(map(_said, sources))
    return [name for name in re.findall(r"(?<!\S)(--[a-z][\w-]*)", line) if f'"{name}"' not in known]


DOCS_SITE = sorted((TREE / "docs_site").glob("*.py"))


def unknown_option(code: str) -> bool:
    """Return whether an option that is mentioned alone belongs to no command and no task."""
    sources = [*(TREE / "tools").glob("*.py"), TREE / "tests" / "support" / "attack_all.py", *DOCS_SITE]
    name = code.split(maxsplit=1)[0]
    known = {*OF_OTHERS, *(option for options in _commands().values() for option in options)}
    return name not in known and f'"{name}"' not in "".join(map(_said, sources))


@functools.cache
def _routes() -> dict[str, set[str]]:
    """Return address with `{}` for its parameters -> methods."""
    return {
        re.sub(r"\{\w+\}", "{}", path): {way.upper() for way in ways}
        for path, ways in document().raw_schema["paths"].items()
    }


def unknown_address(code: str) -> list[str]:
    """Return the address of a mentioned request if the API hasn't got it."""
    method, _, path = code.rpartition(" ")
    plain = re.sub(r"\{\w+\}|\b[A-Z]+\b", "{}", path.split("?")[0])
    if UNTYPED.match(plain) or (not method and any(route.startswith(f"{plain}/") for route in _routes())):
        return []
    ways = _routes().get(plain)
    return [] if ways and (not method or method in ways) else [code]


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.relative_to(TREE).as_posix())
def test_what_a_document_names_is_there(path: Path) -> None:
    """Commands, options, tasks, addresses of the API and files of the tree."""
    text = _said(path)
    wrong = {line: found for line in mentions(text, r"gainwright ") if (found := unknown_in_command(line))}
    wrong |= {line: found for line in mentions(text, r"python3 tasks\.py") if (found := unknown_in_task(line))}
    wrong |= {code: [code] for code in mentions(text, r"([A-Z]+ )?/api/\S+$") if unknown_address(code)}
    wrong |= {code: [code] for code in mentions(text, r"--[a-z][\w-]+( [A-Z]+)*$") if unknown_option(code)}
    for name in mentions(text, rf"({'|'.join(FOLDERS)})[\w./-]+$"):
        if not (TREE / name).exists() and not name.startswith("docs/pictures"):
            wrong[name] = ["no such file"]
    assert wrong == {}


def test_search_finds_what_is_not_there() -> None:
    """A wrong command, option, task, address or method is found; right ones aren't."""
    assert unknown_in_command("gainwright plam car.yaml") == ["plam"]
    assert unknown_in_command("gainwright plan car.yaml --shrot") == ["--shrot"]
    assert unknown_in_command("gainwright store backup FILE --no-such") == ["--no-such"]
    assert unknown_in_command("gainwright plan car.yaml --short") == []
    assert unknown_in_command("gainwright --version") == []
    assert unknown_in_task("python3 tasks.py atack") == ["atack"]
    assert unknown_in_task("python3 tasks.py attack --minuts 3") == ["--minuts"]
    assert unknown_in_task("python3 tasks.py attack --minutes 3 --seed 1") == []
    assert unknown_option("--write-jab")
    assert not unknown_option("--write-job FILE")
    assert unknown_address("/api/job") == ["/api/job"]
    assert unknown_address("DELETE /api/jobs") == ["DELETE /api/jobs"]
    assert unknown_address("GET /api/jobs/{id}/run") == []
    assert mentions("`gainwright\nplan` and\n\n    gainwright x   said\n", "gainwright") == [
        "gainwright plan",
        "gainwright x",
    ]


def test_the_table_of_functions_has_their_arguments() -> None:
    """Each row of docs/python.md names a public function and arguments that it has; those without a default are all there."""
    rows = re.findall(r"^\| `(\w+)\(([^)]*)\)` \|", _said(TREE / "docs" / "python.md"), re.MULTILINE)
    assert len(rows) >= 10
    wrong = []
    for name, arguments in rows:
        has = inspect.signature(getattr(gainwright, name)).parameters
        told = [argument.strip(" =") for argument in arguments.split(",")]
        needed = [p.name for p in has.values() if p.default is p.empty and p.kind is not p.VAR_KEYWORD]
        wrong += [(name, argument) for argument in {*told} - {*has}]
        wrong += [(name, argument) for argument in needed if argument not in told]
    assert wrong == []


def _parts(name: str) -> list[Block]:
    """Return the blocks of a document that show a part of a job: no whole chain, and no file that the examples use."""
    found = blocks(_said(TREE / "docs" / name))
    return [b for b in found if b.language == "yaml" and not b.file and not re.search(r"^stages:", b.content, re.M)]


def test_parts_of_jobs_and_classes_are_as_their_schema_says() -> None:
    """Parts of job files in docs/job-file.md have keys and values of the schema; the exercise of docs/class.md is read."""
    schema = jsonschema.Draft202012Validator(job_schema())
    parts = _parts("job-file.md")
    assert len(parts) >= 4
    for part in parts:
        assert _wrong_in(schema, part.content) == [], part.content
    assert _wrong_in(schema, "amp: {kind: amplifier, from: head, powr: 60 W @ 4 ohm}")
    assert _wrong_in(schema, "vehicle: {runing: 14 V}")
    (exercise,) = _parts("class.md")
    assert read_exercise(exercise.content.encode()).tasks


def _wrong_in(schema: jsonschema.Draft202012Validator, text: str) -> list[Any]:
    part = YAML(typ="safe", pure=True).load(text)
    whole = {"format": 1, "stages": {"head": {"kind": "head_unit"}}}
    top = set(job_schema()["properties"])
    return list(schema.iter_errors(whole | part if set(part) <= top else whole | {"stages": part}))
