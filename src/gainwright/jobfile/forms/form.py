"""A job as forms: for every section and stage, each key with its value or what is assumed in its place."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from gainwright.jobfile.forms.assumptions import Assumed, assumed
from gainwright.jobfile.forms.fields import Key, about, shape
from gainwright.jobfile.forms.labels import GROUPS, IF_EMPTY
from gainwright.jobfile.yaml_reading import plain
from gainwright.model import INSTRUMENTS, SOURCE_TYPE, STAGES, FieldType, Job, Speaker, SupplyCable, long_form
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pydantic import BaseModel

    from gainwright.jobfile.reading import JobFile

Path = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Field:
    """A key of a job on a form.

    Attributes
    ----------
    path : of the key in the file.
    present : its current value as text, one line per item of a list; empty when it isn't given.
    assumed : what is assumed when it isn't given; None where nothing is.
    if_empty : in words, what a missing key means where no figure is assumed.
    """

    path: Path
    type: FieldType
    label: str
    help: str
    group: str
    required: bool
    present: str
    assumed: Assumed | None
    if_empty: str

    @property
    def name(self) -> str:
        """The path as one word."""
        return ".".join(self.path)


@dataclass(frozen=True, slots=True)
class Form:
    """A section, a stage, an output or an instrument.

    Attributes
    ----------
    path : in the file; empty for the job itself.
    about : its description.
    """

    path: Path
    title: str
    kind: str
    about: str
    fields: tuple[Field, ...]

    @property
    def groups(self) -> dict[str, list[Field]]:
        """The fields by group, in order; the first group has no name."""
        found: dict[str, list[Field]] = {}
        for field in self.fields:
            found.setdefault(GROUPS.get(field.group, field.group), []).append(field)
        return found


def forms(read: JobFile) -> tuple[Form, ...]:
    """Return every form of a job: itself, its vehicle, allowance, tones, access, supply, instruments, then each stage with its outputs."""
    given = plain(read.document, "job")
    assumptions = assumed(read)
    whole = shape(Job)
    own = tuple(k for k in whole.keys if not k.group)
    vehicle = tuple(replace(k, group="") for k in whole.keys if k.group == "vehicle")
    found = [
        Form((), "The job", "job", about(Job), _fields((), own, given, assumptions)),
        Form(("vehicle",), "Vehicle and supply", "vehicle", "", _fields((), vehicle, given, assumptions)),
    ]
    found += [_by_name(section, given, read) for section in _SECTIONS]
    found += [
        Form(
            ("supply", name),
            name,
            "cable",
            about(SupplyCable),
            _fields(("supply", name), shape(SupplyCable).keys, cable, assumptions),
        )
        for name, cable in given.get("supply", {}).items()
    ]
    instruments = given.get("instruments", {})
    found += [
        _thing(("instruments", name), INSTRUMENTS, instrument, assumptions) for name, instrument in instruments.items()
    ]
    for name, stage in given["stages"].items():
        found += _stage(name, stage, assumptions)
    return tuple(found)


def _stage(name: str, given: dict[str, Any], assumptions: dict[Path, Assumed]) -> Iterator[Form]:
    form = _thing(("stages", name), STAGES, given, assumptions)
    of_output = shape(STAGES[given["kind"]]).named.get("outputs")
    inputs = tuple(
        Field(
            ("stages", name, "inputs", entry),
            SOURCE_TYPE,
            say("Input {entry}, fed from", entry=entry),
            "a stage or output: head.front; several joined: a, b; one for each side: left: a, right: b",
            "Inputs",
            required=True,
            present=as_typed(source),
            assumed=None,
            if_empty="",
        )
        for entry, source in given.get("inputs", {}).items()
    )
    yield Form(form.path, form.title, form.kind, form.about, inputs + form.fields)
    if isinstance(of_output, type):
        for output, given_output in (given.get("outputs") or {"out": {}}).items():
            path = ("stages", name, "outputs", output)
            fields = tuple(
                replace(
                    f,
                    help="which input it takes; several are added: a, b",
                    if_empty="its only input, or the input of the same name",
                )
                if f.path[-1] == "from"
                else f
                for f in _fields(path, shape(of_output).keys, given_output or {}, assumptions)
            )
            yield Form(path, f"{name}.{output}", "output", about(of_output), fields)


def _thing(
    path: Path, kinds: Mapping[str, type[BaseModel]], given: dict[str, Any], assumptions: dict[Path, Assumed]
) -> Form:
    """Return the form of a stage or an instrument."""
    model = kinds[given["kind"]]
    return Form(path, path[-1], given["kind"], about(model), _fields(path, shape(model).keys, given, assumptions))


def _fields(path: Path, keys: tuple[Key, ...], given: Any, assumptions: dict[Path, Assumed]) -> tuple[Field, ...]:
    made = []
    for key in keys:
        full = (*path, *key.path)
        default = Assumed(key.default, "the usual value") if key.default else None
        taken = assumptions.get(full, default)
        if_empty = "" if taken else IF_EMPTY.get(".".join(key.path)) or IF_EMPTY.get(key.path[-1], "not given")
        value = _at(given, key.path)
        listed = key.type.name == "marks" and isinstance(value, dict)
        present = "\n".join(f"{name}: {mark}" for name, mark in value.items()) if listed else as_typed(value)
        made.append(Field(full, key.type, key.label, key.help, key.group, key.required, present, taken, if_empty))
    return tuple(made)


def _by_name(section: str, given: dict[str, Any], read: JobFile) -> Form:
    """Return the form of a mapping by name: the names that it has, and those that it may have."""
    takes = shape(Job).named[section]
    assert isinstance(takes, FieldType)  # noqa: S101  these sections hold quantities
    held = given.get(section) or {}
    held = held if isinstance(held, dict) else {"all": held}
    stages = [name for name, stage in read.job.stages.items() if section == "access" or isinstance(stage, Speaker)]
    outputs = dict.fromkeys(node.output for node in read.wiring.nodes if node.output != "out")
    names = stages if section == "access" else ["all", *outputs, *stages]
    title, purpose, if_empty = _SECTIONS[section]
    takes = replace(takes, example=_EXAMPLES.get(section, takes.example))
    fields = tuple(
        Field(
            path=(section, name),
            type=takes,
            label="For all outputs" if name == "all" else name,
            help="",
            group="",
            required=False,
            present=as_typed(held.get(name)),
            assumed=None,
            if_empty=_OTHERS.get(section, if_empty) if name == "all" else if_empty,
        )
        for name in dict.fromkeys([*names, *held])
    )
    return Form((section,), title, section, purpose, fields)


_OTHERS = {
    "allowance": "6 dB for those that are not named here (common practice, no published source)",
    "tones": "one is chosen for each path that is not named here",
}
_EXAMPLES = {"allowance": "7 dB", "access": "20 min"}
_SECTIONS = {
    "allowance": (
        "Allowance",
        "How far below full scale the set-up tone sits, so that quieter recordings still reach full output; by output, stage or speaker.",
        "as for all outputs",
    ),
    "tones": (
        "Set-up tones",
        "The tone to set up with, by output, stage or speaker.",
        "as for all outputs",
    ),
    "access": (
        "Access time",
        "Time to reach a stage's terminals; fault finding takes it into account when it chooses tests.",
        "the usual time for its kind",
    ),
}


def _at(given: Any, path: Path) -> Any:
    for i, part in enumerate(path):
        if i and given is not None and not isinstance(given, dict):
            given = long_form(path[i - 1], given)
        given = given.get(part) if isinstance(given, dict) else None
    return given


def as_typed(value: Any) -> str:
    """Return a key's value as it would be typed: a list line by line, sides and sources on one line."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        short = all(isinstance(v, str) and " " not in v for v in value) and value != ["flat"]
        return (", " if short else "\n").join(map(str, value))
    if isinstance(value, dict):
        return ", ".join(f"{key}: {item}" for key, item in value.items())
    return str(value)
