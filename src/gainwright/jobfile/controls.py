"""The controls of a job by name, their positions and how to change them: `head.volume`, `desk.sub.low_pass`, `amp.gain`."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from gainwright.errors import CallError, QuantityError
from gainwright.jobfile.catalogue import volume_steps
from gainwright.model import Amplifier, Equaliser, HeadUnit, Job, LevelControl, LineDriver, Processor, volume_of
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import AnyStage
    from gainwright.quantities import Quantity

_FILTERS = ("low_pass", "high_pass")
_BANDS = ("tone", "equaliser", "boost")
_SILENT_DB = -200.0
"""Lower end of a level control whose range the job doesn't give."""


def _places(name: str, stage: AnyStage) -> dict[str, tuple[str, ...]]:
    """Return control -> path of keys inside the stage."""
    found: dict[str, tuple[str, ...]] = {}
    if isinstance(stage, HeadUnit):
        found[f"{name}.volume"] = ("volume", "at")
        found[f"{name}.tone"] = ("tone",)
        found |= {f"{name}.levelling": ("levelling",)} if stage.levelling is not None else {}
        for output in stage.outputs:
            found |= {f"{name}.{output}.{key}": ("outputs", output, key) for key in ("level", *_FILTERS)}
    elif isinstance(stage, Processor):
        if stage.volume is not None:
            found[f"{name}.volume"] = ("volume", "at")
        keys = ("level", "equaliser", "delay", "polarity", "mute", *_FILTERS)
        for output in stage.outputs:
            found |= {f"{name}.{output}.{key}": ("outputs", output, key) for key in keys}
    elif isinstance(stage, LineDriver):
        found |= {f"{name}.gain": ("gain",)} if stage.range is not None else {}
    elif isinstance(stage, LevelControl):
        found[f"{name}.level"] = ("at",)
        found[f"{name}.at"] = ("at",)
    elif isinstance(stage, Amplifier):
        if not stage.gain.fixed:
            found[f"{name}.gain"] = ("gain", "at")
        if stage.input_ranges:
            found[f"{name}.input_range"] = ("input_range",)
        if stage.remote_level is not None:
            found[f"{name}.remote_level"] = ("remote_level", "at")
        if stage.strapped_to is not None or stage.polarity == "reversed":
            found[f"{name}.polarity"] = ("polarity",)
        found[f"{name}.boost"] = ("boost",)
        found |= {f"{name}.{key}": (key,) for key in _FILTERS}
        found |= {f"{name}.out.{key}": (key,) for key in _FILTERS}
    return found


def key_paths(job: Job) -> dict[str, tuple[str, ...]]:
    """Return control -> path of keys inside its stage."""
    return {control: path for name, s in job.stages.items() for control, path in _places(name, s).items()}


def controls(job: Job) -> dict[str, str]:
    """Return the position of every control by name, as text; bands of an equaliser are separated by semicolons."""
    found = {}
    for name, stage in job.stages.items():
        for control, path in _places(name, stage).items():
            value: Any = stage
            for key in path:
                value = value[key] if isinstance(value, dict) else getattr(value, key, None)
            written = value.as_written() if hasattr(value, "as_written") else value
            if isinstance(written, list):
                written = "; ".join(written) or "flat"
            found[control] = "" if written is None else str(written)
    return found


def with_settings(job: Job, settings: Mapping[str, str]) -> Job:
    """Return a job with other control positions, given as in the job file.

    Raises
    ------
    CallError : no such control, or a value that it can't have.
    """
    if not settings:
        return job
    known = {control: (name, path) for name, s in job.stages.items() for control, path in _places(name, s).items()}
    # of the whole job at once: pydantic builds a schema of its own for each kind of stage that is dumped alone
    content = job.model_dump(by_alias=True, exclude_unset=True)
    for control, text in settings.items():
        if control not in known:
            near = difflib.get_close_matches(control, known, n=1)
            raise CallError(
                say("there is no control {control}", control=control),
                code="unknown_control",
                rule=say("controls are {listed} ...", listed=", ".join(list(known)[:8])),
                remedy=say("did you mean {near}?", near=near[0])
                if near
                else say("name a control of this job's stages"),
            )
        name, path = known[control]
        _put(content["stages"][name], path, text)
    changed = _validated(content, settings)
    check_places(changed)
    return changed


def value_of(control: str, text: str) -> str | list[str]:
    """Return the job file's value of a control's text: several bands become a list."""
    if not takes_bands(control):
        return text
    bands = [band.strip() for band in text.split(";") if band.strip()]
    return bands if len(bands) > 1 else text.strip(" ;")


def takes_bands(control: str) -> bool:
    """Return whether a control takes equaliser bands, judged by its last word."""
    return control.rpartition(".")[2] in _BANDS


def bands_of(text: str) -> tuple[tuple[str, float, float, float], ...]:
    """Return the bands in a control's text: kind, dB, Hz and q of each.

    Raises
    ------
    QuantityError : not a list of bands.
    """
    said = value_of("equaliser", text)
    return tuple((b.kind, b.gain.nominal, b.corner.nominal, b.q.nominal) for b in Equaliser.parse(said or "flat").bands)


def _put(stage: dict[str, Any], path: tuple[str, ...], text: str) -> None:
    for key in path[:-1]:
        stage = stage.setdefault(key, {})
    stage[path[-1]] = value_of(path[-1], text)


def _validated(content: dict[str, Any], settings: Mapping[str, str]) -> Job:
    try:
        return Job.model_validate(content)
    except ValidationError as error:
        first = error.errors()[0]
        inner = first.get("ctx", {}).get("error")
        control = next((c for c in settings if c.split(".")[0] in map(str, first["loc"])), ", ".join(settings))
        if isinstance(inner, QuantityError):
            raise CallError(inner.what, code=inner.code, where=control, rule=inner.rule, remedy=inner.remedy) from None
        raise CallError(first["msg"], code="bad_setting", where=control) from None


def check_places(job: Job) -> None:
    """Refuse impossible control positions.

    Raises
    ------
    CallError : a volume above its steps, a level control outside its range; `where` is the key's path.
    """
    for name, stage in job.stages.items():
        volume = volume_of(stage)
        if volume is not None and volume.at is not None and volume.at > volume_steps(volume):
            raise CallError(
                say(
                    "the volume is set to {at} of {volume_steps} steps",
                    at=f"{volume.at:g}",
                    volume_steps=volume_steps(volume),
                ),
                code="out_of_range",
                where=f"stages.{name}.volume.at",
                rule=say("it goes from 0 to {volume_steps}", volume_steps=volume_steps(volume)),
                remedy=say("write {volume_steps} or less", volume_steps=volume_steps(volume)),
            )
        if isinstance(stage, Amplifier):
            _check_remote_level(name, stage)
        if isinstance(stage, LineDriver) and stage.range is not None:
            low, high = stage.range.low, stage.range.high
            _check_span(
                say("the gain of the line driver"),
                f"stages.{name}.gain",
                stage.gain,
                low,
                high,
                rule=say("it goes from"),
            )
        if isinstance(stage, LevelControl):
            low = stage.range.low if stage.range is not None else _SILENT_DB
            _check_span(
                say("the level control"), f"stages.{name}.at", stage.at, low, 0.0, rule=say("it attenuates only:")
            )


def _check_remote_level(name: str, stage: Amplifier) -> None:
    remote = stage.remote_level
    if remote is not None:
        low, high = (remote.range.low, remote.range.high) if remote.range is not None else (_SILENT_DB, 0.0)
        where = f"stages.{name}.remote_level.at"
        _check_span(say("the remote level control"), where, remote.at, low, high, rule=say("its range is"))


def _check_span(what: str, where: str, at: Quantity | None, low: float, high: float, *, rule: str) -> None:
    """Raise CallError if a control is set outside its span, in dB."""
    if at is not None and at.known and not low <= at.nominal <= high:
        raise CallError(
            say("{what} is set to {at}", what=what, at=at),
            code="out_of_range",
            where=where,
            rule=say("{rule} {low} to {high} dB", rule=rule, low=f"{low:g}", high=f"{high:g}"),
            remedy=say("write {high} dB for fully up", high=f"{high:g}"),
        )
