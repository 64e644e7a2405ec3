"""Puts the documentation site into a wheel while it is built."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class DocsSite(BuildHookInterface[Any]):
    """Builds the site from `docs/`; a wheel that only points to its tree (`pip install --editable`) goes without."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the site beside the tree's other outputs, and have it shipped as `gainwright/site`."""
        if version == "editable":
            return
        root = Path(self.root)
        sys.path.insert(0, str(root))
        try:
            from docs_site import build_site
        finally:
            sys.path.remove(str(root))
        out = root / "build" / "site"
        build_site(root, out, version=self.metadata.version)
        build_data["force_include"][str(out)] = "gainwright/site"
