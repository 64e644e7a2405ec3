"""The command that runs all attacks: which there are, what it tells, and that one that breaks off hides no other."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import attack_all
import attack_clocks
import pytest
from attack_figures import Figures

if TYPE_CHECKING:
    from pathlib import Path


def _good(seed: int, seconds: float) -> list[Figures]:
    return [Figures("files", tried=seed, refused=seed, seconds=seconds)]


def _bad(seed: int, seconds: float) -> list[Figures]:
    raise ZeroDivisionError(f"of {seed} and {seconds}")


def _lossy(_seed: int, _seconds: float) -> list[Figures]:
    return [Figures("kills", tried=1, acknowledged=9, lost=1)]


@pytest.mark.parametrize(
    ("attacks", "status"), [({"a": _good}, 0), ({"a": _good, "b": _bad}, 1), ({"a": _lossy, "b": _good}, 1)]
)
def test_status_says_whether_something_fell(
    attacks: dict[str, attack_all.Attack],
    status: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Time is shared among the attacks, the seed is printed, the figures of each are told and written."""
    monkeypatch.setattr(attack_all, "attacks", lambda: attacks)
    written = tmp_path / "figures.json"
    assert attack_all.main(["--minutes", "1", "--seed", "7", "--json", str(written)]) == status
    told = capsys.readouterr().out
    assert "seed 7" in told
    assert "everything: " in told
    figures = {one["what"]: one for one in json.loads(written.read_text(encoding="utf-8"))["figures"]}
    if _good in attacks.values():
        assert (figures["files"]["tried"], figures["files"]["seconds"]) == (7, 60 / len(attacks))
    if _bad in attacks.values():
        assert "fell: seed 7: the attack broke off: ZeroDivisionError: of 7 and 30" in told


def test_attacks_are_found_by_their_function(tmp_path: Path) -> None:
    """Each is there, and a folder without any has none; the module of figures isn't one."""
    assert {"clocks", "crowds", "fields", "inputs", "requests", "store"} <= set(attack_all.attacks())
    assert "figures" not in attack_all.attacks()
    assert attack_all.attacks(tmp_path) == {}


def test_machine_with_odd_clocks_loses_nothing() -> None:
    """The short form of `clocks`: one machine, started thirty times."""
    (figures,) = attack_clocks.attack(16, 0)
    assert (figures.falls, figures.tried) == ([], attack_clocks.STARTS)
