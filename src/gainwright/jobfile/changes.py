"""Changes of a job by name: controls as they are set, and any other key by its path in the job file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from ruamel.yaml import YAML

from gainwright.errors import CallError
from gainwright.jobfile.controls import key_paths, with_settings
from gainwright.model import Job
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping


def with_changes(job: Job, changes: Mapping[str, str]) -> Job:
    """Return a job with some of its keys changed.

    Parameters
    ----------
    changes : control (`amp.boost`, as `--set` takes it) or key by its path from the top of the job file
        (`allowance.sub`, `stages.sub.coils`, `stages.pad` for a new stage) -> value as the job file writes it.

    Raises
    ------
    CallError : no such control or key, or a value that it can't have.
    """
    known = key_paths(job)
    keys = {key: text for key, text in changes.items() if key not in known}
    content = job.model_dump(by_alias=True, exclude_unset=True)
    for key, text in keys.items():
        *above, last = key.split(".")
        if not above or above[0] not in Job.model_fields:
            raise CallError(
                say("there is no key {key}", key=key),
                code="unknown_key",
                rule=say("a key's path begins at the job's top"),
            )
        place: dict[str, Any] = content
        for part in above:
            place = place.setdefault(part, {})
        place[last] = YAML(typ="safe", pure=True).load(text)
    try:
        changed = Job.model_validate(content) if keys else job
    except ValidationError as error:
        first = error.errors()[0]
        raise CallError(first["msg"], code="bad_setting", where=".".join(map(str, first["loc"]))) from None
    return with_settings(changed, {key: text for key, text in changes.items() if key in known})
