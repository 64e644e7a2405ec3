"""A case file: YAML, read as strictly as a job, written whole or not at all."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.scalarstring import DoubleQuotedScalarString, LiteralScalarString

from gainwright.errors import JobError
from gainwright.jobfile.reading import reason_of
from gainwright.jobfile.yaml_reading import FileKind, document, plain, read_text, where
from gainwright.model.case import Case
from gainwright.texts import say

CASE = FileKind(
    "case file", say("it begins with format: 1 and contains a job"), say("export it from the store"), "no_case"
)


def read_case(path: Path | str) -> Case:
    """Read a case file.

    Raises
    ------
    JobError : it can't be read or isn't a case; `where` gives file, line, column and key.
    """
    return read_case_text(read_text(Path(path), what=CASE), name=str(path))


def read_case_text(text: str, name: str = "case") -> Case:
    """Read a case from text.

    Raises
    ------
    JobError : not a case; `where` gives line, column and key.
    """
    found = document(text, name, what=CASE)
    try:
        return Case.model_validate(plain(found, name))
    except ValidationError as error:
        first = error.errors()[0]
        keys = [str(part) for part in first["loc"]]
        known = first["type"] != "extra_forbidden"
        rule = "" if known else say("a case has {listed}", listed=", ".join(Case.model_fields))
        said = (
            say("{key}: {why}", key=".".join(keys), why=reason_of(first))
            if known
            else say("the key {path} is unknown", path=repr(keys[-1]))
        )
        raise JobError(said, code="bad_case", where=where(found, keys, name), rule=rule, remedy=say("fix it")) from None


_NEEDS_QUOTES = "[^\t\n\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]"
"""Characters that YAML changes unless they are quoted and escaped: unusual line ends, control characters."""


def _quoted(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _quoted(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_quoted(item) for item in value]
    return DoubleQuotedScalarString(value) if isinstance(value, str) and re.search(_NEEDS_QUOTES, value) else value


def case_text(case: Case) -> str:
    """Return a case as the text of its file."""
    content: dict[str, Any] = case.model_dump(mode="json", exclude_defaults=True, by_alias=True)
    content = {"format": case.format, **content}
    content = _quoted(content)
    if not re.search(_NEEDS_QUOTES, case.job):
        content["job"] = LiteralScalarString(case.job.rstrip("\n") + "\n")
    yaml = YAML(typ="rt", pure=True)
    yaml.width = 4096
    yaml.indent(mapping=2, sequence=4, offset=2)
    out = io.StringIO()
    yaml.dump(content, out)
    return out.getvalue()
