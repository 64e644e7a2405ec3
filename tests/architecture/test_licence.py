"""The licence, the notice of third-party work, and the marker that types are shipped."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
import tomllib
from importlib import metadata
from typing import TYPE_CHECKING, Any

import pytest
from pypdf import PdfReader
from tools import notice

from gainwright.adapters.chart_style import FONT

if TYPE_CHECKING:
    from pathlib import Path

APACHE_2 = "cfc7749b96f63bd31c3c42b5c471bf756814053e847c10f3eb003417bc523d30"
"""SHA-256 of LICENSE-2.0.txt as the Apache Software Foundation publishes it."""


def test_licence_is_apache_2_and_stated(tree: Path) -> None:
    """The full text is unchanged, and the project's metadata name it."""
    assert hashlib.sha256((tree / "LICENSE").read_bytes()).hexdigest() == APACHE_2
    project = tomllib.loads((tree / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["license"] == "Apache-2.0"
    assert set(project["license-files"]) == {"LICENSE", "NOTICE"}
    assert (tree / "src" / "gainwright" / "py.typed").is_file()


def test_notice_is_up_to_date(tree: Path) -> None:
    """Every locked runtime dependency is listed with the licence from its metadata."""
    assert (tree / "NOTICE").read_text(encoding="utf-8") == notice.notice()


def test_what_a_wheel_bundles_is_as_the_notice_says(tree: Path) -> None:
    """The decoder's wheel brings the two GPL encoders that NOTICE names; nothing of a plain installation does."""
    told = (tree / "NOTICE").read_text(encoding="utf-8")
    for encoder in ("x264", "x265"):
        bundled = any(f"lib{encoder}" in str(file) for file in metadata.files("av") or [])
        assert bundled == (encoder in told), encoder
    plain, _, extras = told.partition("\nExtras\n")
    assert "x264" in extras
    assert not re.search(r"(?<!L)GPL", plain)


def test_package_that_is_not_installed_stops_the_notice() -> None:
    """A new dependency that isn't installed is an error; it isn't skipped."""
    with pytest.raises(KeyError):
        notice.licence("no-such-package-of-anybody")


def _fonts(held: Any) -> set[str]:
    """Return the fonts of a page and of the drawings on it."""
    resources = held.get("/Resources", {})
    found = {str(font.get_object()["/BaseFont"]).lstrip("/") for font in (resources.get("/Font") or {}).values()}
    for drawing in (resources.get("/XObject") or {}).values():
        if drawing.get_object().get("/Subtype") == "/Form":
            found |= _fonts(drawing.get_object())
    return {name.partition("+")[2] or name for name in found}


def test_fonts_of_papers_are_in_the_notice(tree: Path, tmp_path: Path) -> None:
    """Each font that a PDF embeds is named in NOTICE; charts use the system's fonts, so only names are compared there."""
    job, made = str(tmp_path / "car.yaml"), str(tmp_path / "paper.pdf")
    for arguments in (["new", job, "--like", "two_way_and_sub"], ["report", job, "--out", made]):
        subprocess.run([sys.executable, "-m", "gainwright", *arguments], check=True, capture_output=True)
    fonts = set().union(*(_fonts(page) for page in PdfReader(made).pages))
    told = (tree / "NOTICE").read_text(encoding="utf-8").splitlines()
    assert fonts
    assert {name.partition("-")[0] for name in fonts} <= {line.replace(" ", "") for line in told}
    assert FONT.partition(",")[0] in told
