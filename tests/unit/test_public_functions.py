"""The public names: all present, documented with the errors they raise, and imported only when they are used."""

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


def test_every_public_name_is_there_and_no_subpackage_hides_it() -> None:
    """Each name keeps its meaning, also after the subpackages were imported."""
    for name in gainwright.__all__:
        assert getattr(gainwright, name) is not None
    assert not [name for name in gainwright.__all__ if inspect.ismodule(getattr(gainwright, name))]
    with pytest.raises(AttributeError):
        gainwright.nothing  # noqa: B018


@pytest.mark.parametrize("name", sorted(set(gainwright.__all__) & set(vars(api))))
def test_public_functions_document_errors_and_types(name: str) -> None:
    """Every parameter and result is annotated; a function that can refuse documents how."""
    function = getattr(gainwright, name)
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    assert all(p.annotation is not inspect.Parameter.empty for p in signature.parameters.values())
    assert name == "check_job" or "Raises" in function.__doc__


def test_importing_the_package_imports_nothing_else() -> None:
    """Neither numpy nor pydantic: only what is used is imported."""
    code = "import sys, gainwright; print([m for m in ('numpy', 'pydantic', 'gainwright.api') if m in sys.modules])"
    done = subprocess.run((sys.executable, "-c", code), capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_mistakes_raise_one_error_class_with_a_place(tmp_path: Path) -> None:
    """A missing file, a wrong tone and a wrong kind of paper all raise the same class."""
    with pytest.raises(GainwrightError, match="can't be read"):
        gainwright.load_job(tmp_path / "none.yaml")
    (tmp_path / "car.yaml").write_text(example_text("one_amplifier"), encoding="utf-8")
    job = gainwright.load_job(tmp_path / "car.yaml")
    with pytest.raises(GainwrightError, match="tone of 0 Hz"):
        gainwright.levels(job, tone_hz=0)
    with pytest.raises(GainwrightError, match=r"\.doc"):
        gainwright.write_paper(job, tmp_path / "sheet.doc")
    assert [p.name for p in tmp_path.iterdir()] == ["car.yaml"]
