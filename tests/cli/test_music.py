"""The command `music`: its JSON, every option, errors in one sentence, Ctrl-C and resuming."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from commands import run
from compiled_code import put_compiled_code

RATE_HZ = 44_100
SECONDS = 4


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with jobs and music: a bass, noise and a word that is no sound; results are kept inside."""
    place = tmp_path_factory.mktemp("music")
    (place / "songs").mkdir()
    time_s = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    noise = np.random.default_rng(1).normal(0, 0.08, time_s.size)
    beat = 0.7 * np.sin(2 * np.pi * 45 * time_s) * np.exp(-6 * (time_s % 0.5))
    soundfile.write(place / "songs" / "beat.wav", np.stack([beat, 0.8 * beat], axis=1), RATE_HZ)
    soundfile.write(place / "songs" / "noise.flac", np.clip(noise, -1, 1), RATE_HZ)
    (place / "songs" / "word.mp3").write_text("only a word", encoding="utf-8")
    run("new", "job.yaml", folder=place)
    put_compiled_code(place / "cache")
    return place


@pytest.fixture(autouse=True)
def _kept_inside(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GAINWRIGHT_CACHE", str(folder / "cache"))


def test_json_without_a_job(folder: Path) -> None:
    """Every field is present, with the three default bands and what was skipped with its reason."""
    done = run("music", "songs", "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert [Path(t["file"]).name for t in found["tracks"]] == ["beat.wav", "noise.flac"]
    for track in found["tracks"]:
        assert track["seconds"] == pytest.approx(SECONDS, abs=1e-3)
        assert set(track["bands"]) == {"full", "sub", "high"}
        assert {"peak_dbfs", "rms_dbfs", "crest_db"} <= set(track["bands"]["full"])
        assert {"lufs", "true_peak_dbtp"} <= set(track)
    rows = found["allowance"]["sub"]
    assert [row["db"] for row in rows] == [x / 2 for x in range(41)]
    assert {"clipped_time_percent", "distortion_power_db", "mean_power_w"} <= set(rows[0])
    assert set(found["recommended_db"]) == {"full", "sub", "high"}
    ((skipped),) = found["skipped"]
    assert (Path(skipped["file"]).name, len(skipped["why"]) > 5) == ("word.mp3", True)
    chosen = next(row for row in rows if row["db"] == found["recommended_db"]["sub"])
    assert chosen["clipped_time_percent"] <= 0.1
    assert (chosen["distortion_power_db"] or -200) <= -40


def test_clipped_time_of_a_recording_is_that_of_its_samples(folder: Path) -> None:
    """The clipped time of the whole programme is counted again from the decoded samples, weighted by play time."""
    found = json.loads(run("music", "songs", "--json", folder=folder).stdout)
    files = [folder / "songs" / name for name in ("beat.wav", "noise.flac")]
    sizes = [np.abs(soundfile.read(path, dtype="float32", always_2d=True)[0].astype(np.float64)) for path in files]
    for row in found["allowance"]["full"]:
        ceiling = 10 ** (-row["db"] / 20)
        share = 100 * np.mean([np.mean(size > ceiling) for size in sizes])
        assert row["clipped_time_percent_low"] - 1e-9 <= share <= row["clipped_time_percent_high"] + 1e-9
        # eight equal beats put their tops into one step: coarser than music, finer than the bounds
        assert row["clipped_time_percent"] == pytest.approx(share, rel=0.03, abs=1e-3)


def test_job_gives_the_bands_and_ratings_and_receives_the_allowances(folder: Path) -> None:
    """Bands are the job's outputs, powers are watts within the rating, and the file keeps its comments."""
    before = (folder / "job.yaml").read_text(encoding="utf-8")
    (folder / "other.yaml").write_text(before, encoding="utf-8")
    done = run("music", "songs", "--job", "other.yaml", "--write-allowance", "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert set(found["recommended_db"]) == {"sub", "tweeter", "woofer"} == set(found["allowance"])
    assert f"allowance: {{sub: {found['choice']['sub']['now_db']:g} dB," in before
    chosen = next(row for row in found["allowance"]["sub"] if row["db"] == found["recommended_db"]["sub"])
    assert 0 < chosen["mean_power_w"] < found["choice"]["sub"]["rating_w"] == 400
    after = (folder / "other.yaml").read_text(encoding="utf-8")
    assert [a for a, b in zip(before.splitlines(), after.splitlines(), strict=True) if a != b] == [
        line for line in before.splitlines() if line.startswith("allowance:")
    ]
    assert f"sub: {found['recommended_db']['sub']:g} dB" in after
    assert "# by output of the last stage with filters" in after
    assert run("check", "other.yaml", folder=folder).returncode in (0, 1)
    steps = json.loads(run("plan", "other.yaml", "--json", folder=folder).stdout)["steps"]
    levels = {s["level_dbfs"] for s in steps if s["stage"] == "amp_sub" and s["phase"] == "amplifier" and s["tone_hz"]}
    assert levels == {-found["recommended_db"]["sub"]}


def test_printed_result_explains_the_allowance(folder: Path) -> None:
    """The table, the tracks that decide, the crest in a sentence, what was skipped, and that everything came from the cache."""
    run("music", "songs", folder=folder)
    done = run("music", "songs", folder=folder)
    assert done.returncode == 0, done.stderr
    assert "2 tracks, 0 min 8 s, 1 file skipped" in done.stdout
    assert "mostly in" in done.stdout
    assert "beat.wav" in done.stdout
    assert "dB above its rms level, that of a tone only 3.0 dB" in done.stdout
    assert "word.mp3: " in done.stdout
    assert "3 of 3 files are cached" in done.stderr


@pytest.mark.parametrize("suffix", ["json", "csv", "parquet"])
def test_each_output_format_reads_back(folder: Path, suffix: str) -> None:
    """The JSON object, or one row per track and band."""
    done = run("music", "songs", "--out", f"found.{suffix}", folder=folder)
    assert (done.returncode, f"written: found.{suffix}" in done.stdout) == (0, True), done.stderr
    path = folder / f"found.{suffix}"
    if suffix == "json":
        assert len(json.loads(path.read_text(encoding="utf-8"))["tracks"]) == 2
        paper = run("report", "job.yaml", "--kind", "handover", "--music", path.name, "--out", "h.html", folder=folder)
        assert paper.returncode == 0, paper.stderr
        assert "What this music allows" in (folder / "h.html").read_text(encoding="utf-8")
        return
    if suffix == "csv":
        rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    else:
        rows = pytest.importorskip("pyarrow.parquet").read_table(path).to_pylist()
    assert [(Path(r["file"]).name, r["band"]) for r in rows[:3]] == [("beat.wav", b) for b in ("full", "sub", "high")]
    assert len(rows) == 6
    assert float(rows[0]["peak_dbfs"]) == pytest.approx(-3.1, abs=0.5)


@pytest.mark.parametrize(("suffix", "begins"), [("svg", b"<svg"), ("png", b"\x89PNG")])
def test_chart_is_drawn_in_each_format(folder: Path, suffix: str, begins: bytes) -> None:
    """In the requested format; the vector one names its bands and axes."""
    done = run("music", "songs", "--chart", f"chart.{suffix}", folder=folder)
    assert done.returncode == 0, done.stderr
    picture = (folder / f"chart.{suffix}").read_bytes()
    assert picture.startswith(begins)
    if suffix == "svg":
        assert all(word.encode() in picture for word in ("sub", "high", "clipped time, %", "time above, %"))


def test_other_limits_one_process_and_no_cache(folder: Path) -> None:
    """Looser limits allow more; without the cache and with one process the result is the same."""
    usual = json.loads(run("music", "songs", "--json", folder=folder).stdout)
    loose = json.loads(run("music", "songs", "--clipped", 5, "--products", 20, "--json", folder=folder).stdout)
    assert loose["recommended_db"]["full"] > usual["recommended_db"]["full"]
    assert loose["limits"] == {"clipped_time_percent": 5.0, "distortion_power_db": -20.0}
    fresh = json.loads(run("music", "songs", "--no-cache", "--workers", 1, "--json", folder=folder).stdout)
    assert fresh.pop("reused") == 0
    del usual["reused"]  # all or none: another test may have read them before
    assert fresh == usual


MISTAKES = {
    (): "the folder is missing",
    ("nowhere",): "there is no such folder or file",
    ("cache",): "there are no recordings",
    ("songs", "--out", "x.txt"): ".json, .csv, .parquet",
    ("songs", "--chart", "x.gif"): "charts are .svg or .png",
    ("songs", "--write-allowance"): "--job",
    ("songs", "--job", "none.yaml"): "none.yaml",
    ("songs", "--clipped", "101"): "0 to 100 %",
    ("songs", "--clipped", "nan"): "0 to 100 %",
    ("songs", "--products", "-3"): "0 to 200 dB",
    ("songs", "--workers", "0"): "1 to 1024",
    ("--resume",): "there is no interrupted scan",
    ("--resume", "--no-cache"): "be resumed without the cache",
    ("songs/word.mp3",): "no recording could be read",
}


@pytest.mark.parametrize(
    ("arguments", "said"), MISTAKES.items(), ids=lambda a: " ".join(a) if isinstance(a, tuple) else ""
)
def test_mistakes_are_one_sentence(folder: Path, arguments: tuple[str, ...], said: str) -> None:
    """Status 2, nothing on standard output; standard error says what is wrong and how to fix it."""
    done = run("music", *arguments, folder=folder)
    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_scan_works_without_a_writable_cache(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The scan continues and says that nothing is cached; `--resume` would need the cache."""
    (folder / "in_the_way").write_text("x", encoding="utf-8")
    monkeypatch.setenv("GAINWRIGHT_CACHE", str(folder / "in_the_way"))
    done = run("music", "songs", "--workers", 1, "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    assert "this scan isn't cached" in done.stderr
    assert len(json.loads(done.stdout)["tracks"]) == 2
    assert run("music", "--resume", folder=folder).returncode == 2


def test_report_refuses_a_file_that_is_no_music_result(folder: Path) -> None:
    """A report with a file that `music` didn't write gives one sentence."""
    (folder / "list.json").write_text('{"allowance": {"sub": 3}}', encoding="utf-8")
    for name in ("list.json", "job.yaml", "gone.json"):
        done = run("report", "job.yaml", "--kind", "handover", "--music", name, "--out", "x.html", folder=folder)
        assert (done.returncode, "Traceback" in done.stderr) == (2, False), done.stderr
        assert name in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent to a process by its own means there")
def test_ctrl_c_keeps_finished_results(folder: Path) -> None:
    """Status 130 and one sentence; `--resume` continues with the same files and reads none of the finished ones again."""
    (folder / "many").mkdir()
    samples = np.random.default_rng(2).normal(0, 0.1, (40 * RATE_HZ, 2))
    for i in range(20):
        samples[0] = i / 20  # no two alike: what is known already isn't read again
        soundfile.write(folder / "many" / f"{i:02}.wav", samples, RATE_HZ, subtype="PCM_16")
    command = (sys.executable, "-m", "gainwright", "music", "many", "--workers", "2")
    with subprocess.Popen(command, cwd=folder, stderr=subprocess.PIPE, text=True, start_new_session=True) as running:
        while not _kept(folder):
            assert running.poll() is None, running.stderr
            time.sleep(0.05)
        os.killpg(running.pid, signal.SIGINT)  # a terminal sends it to all of them
        said = running.communicate(timeout=60)[1]
    assert running.returncode == 130, said
    assert "Traceback" not in said
    assert "stopped: " in said
    done = run("music", "--resume", "--json", folder=folder)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert len(found["tracks"]) == 20
    assert 0 < found["reused"] < 20
    assert f"resuming: {found['reused']} of 20 files are done" in done.stderr


def _kept(folder: Path) -> bool:
    """Whether anything of the folder `many` is kept yet."""
    import sqlite3

    file = folder / "cache" / "music.sqlite"
    if not file.is_file() or not file.stat().st_size:  # nothing was scanned here before
        return False
    with sqlite3.connect(file) as database:
        if not database.execute("select 1 from sqlite_master where name = 'files'").fetchone():
            return False
        (count,) = database.execute("select count(*) from files where path like '%/many/%'").fetchone()
    database.close()
    return bool(count)
