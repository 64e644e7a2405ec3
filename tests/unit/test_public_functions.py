"""The public names: all there, documented with what they raise, and brought in only when they are used."""

from __future__ import annotations

import inspect
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

import gainwright
from gainwright import api
from gainwright.errors import GainwrightError
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from pathlib import Path


def test_every_public_name_is_there_and_no_room_hides_it() -> None:
    """Each name gives what it says, also after the rooms of the package were imported."""
    for name in gainwright.__all__:
        assert getattr(gainwright, name) is not None
    assert not [name for name in gainwright.__all__ if inspect.ismodule(getattr(gainwright, name))]
    with pytest.raises(AttributeError):
        gainwright.nothing  # noqa: B018


@pytest.mark.parametrize("name", sorted(set(gainwright.__all__) & set(vars(api))))
def test_a_public_function_says_its_errors_and_types(name: str) -> None:
    """Every parameter and result is annotated; a function that can refuse says how."""
    function = getattr(gainwright, name)
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    assert all(p.annotation is not inspect.Parameter.empty for p in signature.parameters.values())
    assert name == "check_job" or "Raises" in function.__doc__


def test_importing_the_package_imports_nothing_else() -> None:
    """No numpy, no pydantic: only what is used is brought in."""
    code = "import sys, gainwright; print([m for m in ('numpy', 'pydantic', 'gainwright.api') if m in sys.modules])"
    done = subprocess.run((sys.executable, "-c", code), capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_what_is_wrong_is_one_error_with_a_place(tmp_path: Path) -> None:
    """A missing file, a wrong tone and a wrong paper are all of one class."""
    with pytest.raises(GainwrightError, match="can't be read"):
        gainwright.load_job(tmp_path / "none.yaml")
    (tmp_path / "car.yaml").write_text(example_text("one_amplifier"), encoding="utf-8")
    job = gainwright.load_job(tmp_path / "car.yaml")
    with pytest.raises(GainwrightError, match="tone of 0 Hz"):
        gainwright.levels(job, tone_hz=0)
    with pytest.raises(GainwrightError, match=r"\.doc"):
        gainwright.write_paper(job, tmp_path / "sheet.doc")
    assert [p.name for p in tmp_path.iterdir()] == ["car.yaml"]
