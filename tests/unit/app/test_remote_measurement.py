"""A measurement with a remote client, and the recordings of a job."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from gainwright import metering
from gainwright.adapters.calibrations import FileCalibrations
from gainwright.adapters.guarded_decoding import GuardedSoundFiles
from gainwright.adapters.store import open_store
from gainwright.app.measuring.live import Expectation, LiveOptions, LiveSession
from gainwright.app.measuring.recording_limits import longest_s
from gainwright.app.measuring.remote import RemoteMeasurement
from gainwright.app.measuring.stored_recordings import (
    add_recording,
    handover_recordings,
    import_recording,
    list_recordings,
    mark_recording,
    shown_name,
)
from gainwright.app.measuring.stored_result import Origin
from gainwright.app.papers import job_papers
from gainwright.app.ports import Block, InputDevice
from gainwright.app.store import Store
from gainwright.errors import CallError, RecordingError
from gainwright.jobfile import example_text
from gainwright.model import RECORDER_VOLTS
from gainwright.report import handover
from gainwright.report.paper import Table

RATE_HZ = 48_000
SIZE = 960


@pytest.fixture(autouse=True)
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep calibrations in a folder of the test."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A store of the test's own."""
    opened = open_store(str(tmp_path / "store.sqlite"))
    yield opened
    opened.close()


@pytest.fixture
def job(store: Store) -> str:
    """A kept job."""
    return store.jobs.add(title="one", text=example_text("one_amplifier")).id


def room_of(store: Store, job: str = "", **more: Any) -> RemoteMeasurement:
    """Return a room of one channel."""
    device = InputDevice("line", "browser on phone", 1, RATE_HZ)
    session = LiveSession(device, LiveOptions(channels=1), FileCalibrations(), rate_hz=RATE_HZ, channels=1)
    return RemoteMeasurement(session, store=store, job=job, **more)


def blocks(seconds: float, *, peak: float = 0.5, begin: int = 0) -> list[Block]:
    """Return blocks of 20 ms of a tone of 997 Hz, as 32-bit floats."""
    n = begin + np.arange(round(seconds * RATE_HZ))
    wave = (peak * np.sin(2 * np.pi * 997 * n / RATE_HZ)).astype(np.float32).astype(np.float64)
    return [Block(wave[i : i + SIZE, None]) for i in range(0, len(wave), SIZE)]


def pushed(room: RemoteMeasurement, items: list[Block]) -> list[dict[str, Any]]:
    """Push one by one; return the messages."""
    return [message for block in items for message in room.push(block)]


def test_fourteen_updates_per_second_and_one_for_a_backlog(store: Store) -> None:
    """Blocks of 20 ms give 14 updates per second on average; five seconds at once give one."""
    told = pushed(room_of(store), blocks(5))
    assert len(told) == pytest.approx(70, abs=1)
    assert [m["kind"] for m in told] == ["update"] * len(told)
    assert sum(m["pictures"] is not None for m in told) == pytest.approx(33, abs=2)
    (one,) = room_of(store).push(*blocks(5))
    assert one["reading"]["channels"][0]["frequency_hz"] == pytest.approx(997, abs=1e-3)


def test_waveform_and_spectrum_match_the_reading(store: Store) -> None:
    """The period is the tone's own, its peak 0.5; the spectrum's highest line is the tone at -6.02 dBFS."""
    drawn = next(m["pictures"] for m in pushed(room_of(store), blocks(1)) if m["pictures"])
    assert max(drawn["wave"]) == pytest.approx(0.5, abs=1e-3)
    top = int(np.argmax(drawn["spectrum_dbfs"]))
    assert drawn["spectrum_dbfs"][top] == pytest.approx(20 * np.log10(0.5), abs=0.3)
    assert drawn["spectrum_hz"][top] == pytest.approx(997, rel=0.02)


def test_calibration_and_expected_reading_of_a_step(store: Store) -> None:
    """4 V at -6.02 dBFS is low, fits or high by the interval; text that is no voltage is refused, and nothing changes."""
    room = room_of(store, expected=Expectation("x", 3.9, 4.1))
    pushed(room, blocks(2))
    assert room.command({"do": "calibrate", "text": "four"})[0]["code"] == "bad_reading"
    assert room.command({"do": "calibrate", "text": "0 V"})[0]["kind"] == "trouble"
    assert room.command({"do": "calibrate", "text": "OL"})[0]["kind"] == "trouble"
    assert pushed(room, blocks(1))[-1]["fits"] == [None]
    assert room.command({"do": "calibrate", "text": "4,0"}) == []
    last = pushed(room, blocks(1))[-1]
    # a fifth of a second isn't a whole number of periods: its rms is off by up to 1 / (4 pi 200)
    assert last["calibrate_v"] == pytest.approx(8.0, rel=4e-4)
    assert last["reading"]["channels"][0]["v_rms"] == pytest.approx(4.0, rel=8e-4)
    assert last["fits"] == ["fits"]
    assert pushed(room, blocks(1, peak=0.45))[-1]["fits"] == ["low"]
    assert pushed(room, blocks(1, peak=0.6))[-1]["fits"] == ["high"]


def test_silence_is_no_calibration(store: Store) -> None:
    """The message says that there is no clean tone, and the measurement continues."""
    room = room_of(store)
    quiet = [Block(np.zeros((SIZE, 1)))] * 120
    pushed(room, quiet)
    room.command({"do": "calibrate", "text": "1 V"})
    told = pushed(room, quiet[:20])
    assert [m["code"] for m in told if m["kind"] == "trouble"] == ["no_tone"]
    assert told[-1]["kind"] == "update"
    assert told[-1]["calibrate_v"] is None


def test_browser_processing_prevents_calibration_and_verdict(store: Store, job: str) -> None:
    """Levels can't be trusted then; the recording keeps a note of it."""
    room = room_of(store, job, processing=("automatic gain",), expected=Expectation("x", 1, 2))
    pushed(room, blocks(2))
    assert "automatic gain" in room.command({"do": "calibrate", "text": "1 V"})[0]["what"]
    room.command({"do": "record", "seconds": 1, "name": "a"})
    pushed(room, blocks(1))
    assert store.recordings.of(job)[0].measured["about"]["processing"] == ["automatic gain"]


def test_limit_of_a_recording_is_said_before_it_begins(store: Store, job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By rate and channels, so that measuring it stays within 200 MB; one that isn't complete is dropped at the end."""
    assert (longest_s(48_000, 2), longest_s(192_000, 8), longest_s(8_000, 1)) == (125, 7, 600)
    monkeypatch.setattr("gainwright.app.measuring.recording_limits.MOST_SAMPLES", 5 * RATE_HZ)
    room = room_of(store, job)
    refused = room.command({"do": "record", "seconds": 6})[0]
    assert (refused["code"], "can have 5 s" in refused["what"]) == ("too_large", True)
    assert room.command({"do": "record", "seconds": 5}) == []
    pushed(room, blocks(0.1))
    room.close()
    assert store.recordings.of(job) == []


def test_recording_contains_the_input(store: Store, job: str) -> None:
    """One second is stored sample for sample; gaps in it are counted, and those before it aren't."""
    room = room_of(store, job)
    room.push(*blocks(0.5))
    room.push(Block(blocks(0.02)[0].samples, lost=True))
    assert room.command({"do": "record", "seconds": 2, "name": "  at\nthe\x00 amp "}) == []
    assert room.command({"do": "record", "seconds": 2, "name": "again"})[0]["code"] == "busy"
    first = blocks(1)
    halfway = pushed(room, first)
    assert halfway[-1]["recording"] == pytest.approx(0.5, abs=0.04)
    second = [Block(blocks(0.02, begin=777)[0].samples, lost=True), *blocks(1.2, begin=RATE_HZ)]
    kept = [m for m in pushed(room, second) if m["kind"] == "kept"]
    assert [m["name"] for m in kept] == ["at the amp"]
    found = store.recordings.get(kept[0]["recording"])
    assert found.measured["about"]["gaps"] == 1
    samples, rate_hz = soundfile.read(io.BytesIO(store.recordings.content(found.id)), dtype="float64")
    wanted = np.concatenate([b.samples for b in [*first, *second]])[: 2 * RATE_HZ, 0]
    assert rate_hz == RATE_HZ
    assert np.array_equal(samples, wanted)


def test_recording_stopped_early_is_kept_and_an_empty_one_refused(store: Store, job: str) -> None:
    """It contains what came in before the user stopped it."""
    room = room_of(store, job)
    room.command({"do": "record", "seconds": 60})
    assert room.command({"do": "stop_recording"})[0]["code"] == "empty"
    assert room.command({"do": "stop_recording"}) == []
    room.command({"do": "record", "seconds": 60})
    pushed(room, blocks(1))
    assert room.command({"do": "stop_recording"})[0]["kind"] == "kept"
    assert store.recordings.of(job)[0].measured["channels"][0]["frequency_hz"] == pytest.approx(997, abs=0.01)
    assert room_of(store).command({"do": "record", "seconds": 1})[0]["code"] == "no_such_job"


def test_recording_waits_for_a_store_that_is_away(store: Store, job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is complete, and stopping it again stores it: nobody plays the tone once more."""
    room = room_of(store, job)
    room.command({"do": "record", "seconds": 1})

    def away(*_: Any, **__: Any) -> None:
        raise CallError("the database can't be reached", code="store_away", where="store", remedy="try again")

    with monkeypatch.context() as patch:
        patch.setattr(store.recordings, "add", away)
        told = [m for m in pushed(room, blocks(1.2)) if m["kind"] == "trouble"]
        told += room.command({"do": "stop_recording"})
    assert [m["code"] for m in told] == ["store_away"] * 2
    assert "stop it again" in told[0]["remedy"]
    pushed(room, blocks(0.2))
    assert [m["kind"] for m in room.command({"do": "stop_recording"})] == ["kept"]
    (kept,) = store.recordings.of(job)
    samples, _ = soundfile.read(io.BytesIO(store.recordings.content(kept.id)))
    assert len(samples) == RATE_HZ
    assert room.command({"do": "stop_recording"}) == []


@pytest.mark.parametrize(
    "message",
    [
        {},
        {"do": "format"},
        {"do": "channel", "channel": 2},
        {"do": "channel", "channel": "1"},
        {"do": "record", "seconds": 0},
        {"do": "record", "seconds": 10**9},
        {"do": "record", "seconds": True},
        {"do": "calibrate"},
        {"do": "calibrate", "text": "9" * 10_000},
    ],
)
def test_invalid_commands_are_refused(store: Store, job: str, message: dict[str, Any]) -> None:
    """One error each, with a sentence."""
    (told,) = room_of(store, job).command(message)
    assert told["kind"] == "trouble"
    assert told["what"]


def test_reset_clears_worst_and_gaps(store: Store) -> None:
    """A device that was away is reported; a reset clears it."""
    room = room_of(store)
    pushed(room, [Block(np.clip(b.samples, -0.3, 0.3)) for b in blocks(1)])
    away = room.push(Block(np.zeros((0, 1)), away=True))[0]
    assert away["away"]
    assert away["reading"] is None
    last = pushed(room, blocks(1))[-1]["reading"]
    assert (last["worst"], last["gaps"]) == (["clipped"], 1)
    room.command({"do": "reset"})
    last = pushed(room, blocks(1))[-1]["reading"]
    assert (last["worst"], last["gaps"]) == (["clean"], 0)


def settled(part: str, *, gain: bool) -> list[Block]:
    """Return the louder or quieter tone, 20 dB apart, or evened out by automatic gain."""
    return blocks(4.2, peak=0.5 if part == "loud" or gain else 0.05)


def level_check(room: RemoteMeasurement, *, gain: bool) -> dict[str, Any]:
    """Carry out the check at two levels; return its result."""
    for part in ("loud", "quiet"):
        assert room.command({"do": "level_check", "part": part}) == []
        halfway, after = room.push(*settled(part, gain=gain)[:100]), room.push(*settled(part, gain=gain)[100:])
        told = [*halfway, *after]
        assert halfway[-1]["level_check"] == pytest.approx(0.5)
    return next(m for m in told if m["kind"] == "level_check")


def test_check_at_two_levels_marks_what_follows(store: Store, job: str) -> None:
    """Automatic gain found: told, no calibration, no verdict of a step, noted in recordings; found linear later: all of it back."""
    room = room_of(store, job, expected=Expectation("x", 1, 2))
    found = level_check(room, gain=True)
    assert (found["result"], found["processing"]) == ("not_linear", ["automatic gain (found at two levels)"])
    assert "wasn't quieter" in found["text"]
    assert room.command({"do": "calibrate", "text": "1 V"})[0]["code"] == "not_trusted"
    room.command({"do": "record", "seconds": 1, "name": "a"})
    pushed(room, blocks(1))
    assert store.recordings.of(job)[0].measured["about"]["processing"] == ["automatic gain (found at two levels)"]
    again = level_check(room, gain=False)
    assert (again["result"], again["processing"]) == ("linear", [])
    assert again["difference_db"] == pytest.approx(20, abs=0.01)
    assert room.command({"do": "calibrate", "text": "1 V"}) == []


def test_paper_says_another_tone_and_unreliable_levels(store: Store, job: str) -> None:
    """A recording of another tone than asked, with automatic gain found: neither clean nor reliable on the handover."""
    device = InputDevice("line", "browser on phone", 1, RATE_HZ)
    options = LiveOptions(channels=1, expect_hz=100.0)
    session = LiveSession(device, options, FileCalibrations(), rate_hz=RATE_HZ, channels=1)
    room = RemoteMeasurement(session, store=store, job=job, processing=("automatic gain (found at two levels)",))
    room.command({"do": "record", "seconds": 1, "name": "a"})
    (kept,) = [m for m in room.push(*blocks(1.1)) if m["kind"] == "kept"]
    assert store.recordings.get(kept["recording"]).measured["channels"][0]["verdict"] == "other_tone"
    mark_recording(store, job, kept["recording"], "handover")
    _, table, *_ = handover._measured(job_papers._measured(store, job, job_papers.PaperRequest("handover")))
    assert isinstance(table, Table)
    assert table.rows[:3] == (
        ("verdict", "other tone"),
        ("why", "asked for 100 Hz, heard 997 Hz"),
        ("levels", "unreliable: automatic gain (found at two levels) on"),
    )


def test_level_check_starts_with_the_louder_tone_and_anew_after_a_gap(store: Store) -> None:
    """The quieter one first is refused, an unknown part too; lost samples begin the part anew; it can be stopped."""
    room = room_of(store)
    assert room.command({"do": "level_check", "part": "quiet"})[0]["remedy"] == "take the louder tone"
    assert room.command({"do": "level_check", "part": "x"})[0]["kind"] == "trouble"
    room.command({"do": "level_check", "part": "loud"})
    first = room.push(*blocks(3), Block(blocks(0.02)[0].samples, lost=True), *blocks(2))
    assert not any(m["kind"] == "level_check" for m in first)
    assert any(m["kind"] == "level_check" for m in room.push(*blocks(2.2)))
    room.command({"do": "level_check", "part": "quiet"})
    room.command({"do": "level_check", "part": ""})
    assert pushed(room, blocks(1))[-1]["level_check"] is None


def test_messages_say_what_is_heard_and_every_caution(store: Store) -> None:
    """Another tone than asked, no verdict of the step, the caution of dividers, warnings."""
    device = InputDevice("line", "browser on phone", 1, RATE_HZ)
    options = LiveOptions(channels=1, expect_hz=100.0)
    session = LiveSession(device, options, FileCalibrations(), rate_hz=RATE_HZ, channels=1)
    last = pushed(RemoteMeasurement(session, store=store, expected=Expectation("x", 1, 2)), blocks(1))[-1]
    assert last["heard"] == ["asked for 100 Hz, heard 997 Hz: play the tone that is asked for"]
    assert (last["fits"], last["reading"]["worst"]) == ([None], ["other_tone"])
    assert last["notes"] == [RECORDER_VOLTS]
    full = pushed(room_of(store), [Block(np.clip(3 * b.samples, -1, 1)) for b in blocks(1)])[-1]
    assert len(full["warnings"]) == 1
    assert "overloaded" in full["warnings"][0]


def wav(*, peak: float = 0.5) -> bytes:
    """Return a WAV file of 24 bits."""
    into = io.BytesIO()
    samples = np.concatenate([b.samples for b in blocks(1, peak=peak)])
    soundfile.write(into, samples, RATE_HZ, format="WAV", subtype="PCM_24")
    return into.getvalue()


def test_removed_recording_can_be_restored_for_a_week(store: Store, job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Undo restores it with its mark; after a week of which there is evidence it is gone."""
    day_s = 86_400
    monkeypatch.setattr(store, "age_s", lambda: 100 * day_s)
    kept = import_recording(store, job, io.BytesIO(wav()), name="a.wav", files=GuardedSoundFiles())
    mark_recording(store, job, kept.id, "handover")
    assert handover_recordings(store, job) == (kept.id,)
    mark_recording(store, job, kept.id, "remove")
    assert [k.removed for k in list_recordings(store, job)] == [True]
    assert handover_recordings(store, job) == ()
    mark_recording(store, job, kept.id, "put_back")
    assert handover_recordings(store, job) == (kept.id,)
    mark_recording(store, job, kept.id, "no_handover")
    assert handover_recordings(store, job) == ()
    mark_recording(store, job, kept.id, "remove")
    monkeypatch.setattr(store, "age_s", lambda: 106 * day_s)
    assert len(list_recordings(store, job)) == 1
    monkeypatch.setattr(store, "age_s", lambda: 108 * day_s)
    assert list_recordings(store, job) == []
    with pytest.raises(CallError):
        store.recordings.get(kept.id)


def test_only_the_jobs_own_recordings_can_be_marked(store: Store, job: str) -> None:
    """Another job's recording isn't found."""
    kept = import_recording(store, job, io.BytesIO(wav()), name="a.wav", files=GuardedSoundFiles())
    other = store.jobs.add(title="two", text=example_text("one_amplifier")).id
    with pytest.raises(CallError, match="no such recording"):
        mark_recording(store, other, kept.id, "remove")
    with pytest.raises(CallError, match="can't be done"):
        mark_recording(store, job, kept.id, "burn")


def test_invalid_upload_is_not_kept(store: Store, job: str) -> None:
    """It is refused, and the list is empty."""
    with pytest.raises(RecordingError, match="is not a sound file"):
        import_recording(store, job, io.BytesIO(b"text"), name="../../etc/passwd", files=GuardedSoundFiles())
    with pytest.raises(CallError, match="no such job"):
        import_recording(store, "none", io.BytesIO(wav()), name="a", files=GuardedSoundFiles())
    assert list_recordings(store, job) == []


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("a\r\nb\tc", "a b c"),
        ("\u202egpj.wav", "gpj.wav"),
        ("\x00\x1b[31m", "[31m"),
        ("x" * 500, "x" * 80),
        ("  ", ""),
        ("Käfig 50 Hz", "Käfig 50 Hz"),
        ("<b>", "<b>"),
    ],
)
def test_names_are_one_plain_line(name: str, plain: str) -> None:
    """Control characters, bidirectional marks and excess length are removed; letters stay."""
    assert shown_name(name) == plain


def test_one_thread_measures_whoever_uploads(store: Store, job: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a thread frees, an allocator keeps for that thread: once each of the server's threads held a recording's memory."""
    threads: list[int] = []

    def noted(*arguments: Any, measure: Any = metering.measure, **options: Any) -> Any:
        threads.append(threading.get_ident())
        return measure(*arguments, **options)

    monkeypatch.setattr(metering, "measure", noted)
    sound = io.BytesIO()
    soundfile.write(sound, np.zeros(800), 8_000, format="WAV", subtype="FLOAT")

    def add() -> None:
        wav = io.BytesIO(sound.getvalue())
        add_recording(store, job, wav, name="a", about=Origin("uploaded"))

    others = [threading.Thread(target=add) for _ in range(2)]
    for other in others:
        other.start()
    for other in others:
        other.join()
    assert len(threads) == 2
    assert len(set(threads)) == 1
