"""Where compiled code is cached, and what happens when it can't be."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest

from gainwright.errors import CallError, RecordingError
from gainwright.programme import USUAL_BANDS, Analysis, Edge, analyse, analyse_file, compiled
from gainwright.programme.compiled import CompiledPair, cache_folder, has_compiler, pair_factory
from gainwright.programme.plain_pair import PlainPair

if TYPE_CHECKING:
    from pathlib import Path

ASK = "from gainwright.programme import load_kernel; print('kernel' if load_kernel(lambda note: print('note:', note)) else '')"


def said(folder: Path, code: str = ASK) -> str:
    """Return what a new process prints with a cache folder."""
    environment = os.environ | {"GAINWRIGHT_CACHE": str(folder)}
    return subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    ).stdout


def test_only_the_first_process_compiles(tmp_path: Path) -> None:
    """Nothing is cached in a new folder; the first process says that it compiles, and from then on it is cached.

    The second one says nothing and gives the same; whether it is cached is asked without numba.
    """
    kept = "import sys; from gainwright.programme import kernel_is_cached; print(kernel_is_cached(), 'numba' in sys.modules)"
    before, first, after, second = (said(tmp_path, code) for code in (kept, ASK, kept, ASK))
    assert before == "False False\n"
    assert first.splitlines()[-1] == "kernel"
    assert "note: compiling" in first
    assert after == "True False\n"
    assert second == "kernel\n"


def test_unwritable_cache_folder_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file is in place of the folder: said, and another one is used for this run (a scan so: tests/cli/test_music.py)."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("GAINWRIGHT_CACHE", str(tmp_path / "file"))
    monkeypatch.setattr(compiled, "_loaded", {})
    told: list[str] = []
    folder = compiled._writable_folder(compiled._folder(), told.append)
    assert ["can't be used as a cache" in note for note in told] == [True]
    assert os.access(folder, os.W_OK)
    assert not folder.startswith(str(tmp_path))
    compiled._loaded["passing"].cleanup()


def test_without_the_extra_music_is_analysed_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Numpy and scipy do it, and the compiler isn't asked for; with the extra the compiled kernel does."""
    assert has_compiler()
    assert isinstance(pair_factory(lambda _: None)(USUAL_BANDS, 48_000), CompiledPair)
    monkeypatch.setitem(sys.modules, "numba", None)
    assert not has_compiler()
    assert pair_factory(lambda _: None) is PlainPair
    samples = np.random.default_rng(5).uniform(-0.5, 0.5, (48_000, 2))
    found = analyse([samples], rate_hz=48_000, channels=2)
    # uniform noise between -a and a has a mean square of a ** 2 / 3
    assert found.bands[0].mean_square == pytest.approx(0.5**2 / 3, rel=0.01)


def test_broken_numba_is_reported_in_a_sentence(tmp_path: Path) -> None:
    """It says what does not work and how to mend it, at every call."""
    code = """
import sys
sys.modules["numba"] = None
from gainwright.errors import CallError
from gainwright.programme import load_kernel
for _ in range(2):
    try:
        load_kernel()
    except CallError as error:
        print(error.code, error)
"""
    told = said(tmp_path, code).splitlines()
    assert len(told) == 2
    for line in told:
        assert line.startswith("not_compiled music can't be analysed")
        assert "pip install --upgrade numba" in line


def test_unused_libraries_are_not_imported() -> None:
    """Neither numba nor scipy nor a decoder is imported with the package."""
    code = "import sys, gainwright.programme; print([n for n in ('numba', 'scipy', 'soundfile', 'av') if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_the_cache_folder_follows_its_variable(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """$GAINWRIGHT_CACHE names it."""
    monkeypatch.setenv("GAINWRIGHT_CACHE", str(tmp_path))
    assert cache_folder() == tmp_path


def test_odd_rates_and_channels_are_refused() -> None:
    """A sample rate or a number of channels that music can't have gives a sentence."""
    for rate_hz, channels in ((100, 2), (2_000_000, 2), (48_000, 0), (48_000, 9)):
        with pytest.raises(RecordingError):
            Analysis(rate_hz=rate_hz, channels=channels)


def test_band_edges_are_checked() -> None:
    """No corner at or below 0 Hz, no slope that a shape doesn't have."""
    for corner_hz, shape, slope in ((0.0, "butterworth", 24), (80.0, "linkwitz-riley", 18), (80.0, "odd", 24)):
        with pytest.raises(ValueError, match=r"corner|filter"):
            Edge(corner_hz, shape, slope)


def test_a_scan_can_be_stopped_within_a_track(tmp_path: Path) -> None:
    """It is checked block by block, and nothing is returned."""
    import soundfile

    path = tmp_path / "long.wav"
    soundfile.write(path, np.zeros((200_000, 2)), 48_000)
    answers = iter([False, False, True])
    assert analyse_file(path, should_stop=lambda: next(answers)) is None


def test_a_filter_is_designed_without_scipy() -> None:
    """Importing scipy.signal takes longer than everything else before the first sample."""
    code = "import sys; from gainwright.programme import Edge; Edge(80.0).sections('low', 48_000); print('scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_error_can_be_pickled() -> None:
    """It is the same after pickling, as when a worker returns it."""
    error = CallError("no", code="a_code", where="here", rule="a rule", remedy="mend it")
    back = pickle.loads(pickle.dumps(error))  # noqa: S301  our own
    assert type(back) is CallError
    assert back.as_json() == error.as_json()
