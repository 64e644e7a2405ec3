"""A document of plain values as YAML text, with its comments."""

from __future__ import annotations

import io
from typing import Any

from ruamel.yaml import YAML


def yaml_text(document: Any) -> str:
    """Return a document as text."""
    yaml = YAML(typ="rt", pure=True)
    yaml.width = 4096
    out = io.StringIO()
    yaml.dump(document, out)
    return out.getvalue()
