"""Settings of controls written into the text of a job, its comments kept."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.jobfile import JobFile


def with_settings_written(read: JobFile, settings: Mapping[str, str]) -> str:
    """Return a job file's text with controls at other settings; all else stays as it was written.

    Parameters
    ----------
    settings : control -> setting as the job file writes it.

    Raises
    ------
    CallError, JobError : no such control, or a setting that it can't have; `where` is the control.
    """
    from gainwright.errors import GainwrightError
    from gainwright.jobfile import with_settings
    from gainwright.jobfile.controls import key_paths, value_of
    from gainwright.jobfile.editing import set_keys

    if not settings:
        return read.text
    with_settings(read.job, settings)
    paths = key_paths(read.job)
    values = {
        ("stages", control.split(".")[0], *paths[control]): _written(value_of(control, text))
        for control, text in settings.items()
    }
    try:
        return set_keys(read.text, values, read=read)
    except GainwrightError as error:
        raise error.with_place(", ".join(settings)) from None


def _written(value: str | list[str]) -> Any:
    if isinstance(value, list):
        return value
    if value in ("yes", "no"):
        return value == "yes"
    try:
        number = float(value)
    except ValueError:
        return value
    return int(number) if number.is_integer() and math.isfinite(number) else number
