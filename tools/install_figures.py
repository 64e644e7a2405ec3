"""What an installation takes, as `python3 tasks.py installs` found it: kept, and written into the documents."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tools.environment import ROOT

FOUND = ROOT / "tools" / "installs.json"
INSTALL, DEPENDENCIES = Path("docs/install.md"), Path("docs/dependencies.md")
OWN = "gainwright"
FIT = 0.1
"""Share by which MB may be other than those in the documents: an index has newer versions every week."""
_ROW = re.compile(r"^\| `([\w -]+)` \| \d+ and Gainwright \| \d+ \| \d+ \| \d+ \|$", re.MULTILINE)


@dataclass
class Figures:
    """What was found.

    Attributes
    ----------
    lock : digest of the lock at that time.
    ways : way -> packages, mb, seconds, to_a_plan.
    packages : package -> MB, where pip installed it.
    extras : extra -> MB that it adds.
    """

    lock: str
    ways: dict[str, dict[str, int]] = field(default_factory=dict)
    packages: dict[str, float] = field(default_factory=dict)
    extras: dict[str, int] = field(default_factory=dict)

    @property
    def dependencies_mb(self) -> int:
        """MB of all packages but Gainwright's own, with their folders, as `pip` installs them."""
        return self.ways["pip install"]["mb"] - round(self.packages[OWN])


def filled(document: Path, text: str, figures: Figures) -> str:
    """Return a document with the figures in their places."""
    if document == INSTALL:
        return _ROW.sub(lambda found: row(found[1], figures.ways[found[1]]), text)
    text = re.sub(
        r"(?<=^A plain installation by `pip` is )\d+ packages with \d+ MB",
        f"{figures.ways['pip install']['packages']} packages with {figures.dependencies_mb} MB",
        text,
        flags=re.MULTILINE,
    )
    text = re.sub(r"(?<=and Gainwright's own )\d+ MB", f"{round(figures.packages[OWN])} MB", text)

    for name, size in _kinds(figures).items():
        text = re.sub(rf"^(\| {re.escape(name)} \| \d+ MB \|) \d+ MB \|", rf"\1 {size} MB |", text, flags=re.MULTILINE)
    for extra, size in figures.extras.items():
        text = re.sub(rf"^(\| `{extra}` \| [^|]+ \| [^|]+ \|) \d+ \|$", rf"\1 {size} |", text, flags=re.MULTILINE)

    def sized(found: re.Match[str]) -> str:
        return (
            f"| {found[1]} | {found[2]} | {figures.packages[found[1]]:.1f} |"
            if found[1] in figures.packages
            else found[0]
        )

    return re.sub(r"^\| ([\w-]+) \| ([^|]+) \| \d+\.\d \|$", sized, text, flags=re.MULTILINE)


def _kinds(figures: Figures) -> dict[str, int]:
    """Return MB now by row of the table of what was heavy."""
    mb = figures.packages
    charts, papers, numbers = mb["vl-convert-python"], mb["typst"], mb["numpy"] + mb["scipy"]
    return {
        "drawing of charts (vl-convert-python)": round(charts),
        "papers as PDF (typst)": round(papers),
        "numpy and scipy": round(numbers),
        "everything else": figures.dependencies_mb - round(charts) - round(papers) - round(numbers),
    }


def row(way: str, took: dict[str, int]) -> str:
    """Return the row of a way in the table of docs/install.md."""
    return f"| `{way}` | {took['packages']} and Gainwright | {took['mb']} | {took['seconds']} | {took['to_a_plan']} |"


def write_figures(figures: Figures) -> None:
    """Keep the figures, and write them into the documents."""
    FOUND.write_text(json.dumps(asdict(figures), indent=1) + "\n", encoding="utf-8")
    for document in (INSTALL, DEPENDENCIES):
        path = ROOT / document
        path.write_text(filled(document, path.read_text(encoding="utf-8"), figures), encoding="utf-8")


def misfits(now: Figures, kept: Figures) -> list[str]:
    """Return in which figures the documents are no longer right; seconds are this machine's and are not compared."""
    wrong = []
    for way, took in now.ways.items():
        told = kept.ways.get(way, {"packages": 0, "mb": 0})
        if took["packages"] != told["packages"] or abs(took["mb"] - told["mb"]) > FIT * told["mb"]:
            wrong.append(
                f"{way}: {took['packages']} packages with {took['mb']} MB, not {told['packages']} with {told['mb']}"
            )
    return wrong
