"""The live measurement below its page: what the WebSocket refuses, the machine's own inputs, harmful uploads."""

from __future__ import annotations

import contextlib
import io
import json
import struct
import threading
import time
from typing import TYPE_CHECKING, Any

import httpx
import numpy as np
import pytest
import soundfile
from browser_acts import click
from sound_server import SoundServer
from web_server import WebServer
from websockets.exceptions import ConnectionClosed, InvalidHandshake
from websockets.sync.client import connect

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Page
    from warm_program import WarmProgram
    from websockets.sync.client import ClientConnection

RATE_HZ, FRAMES, TONE_HZ = 48_000, 960, 997.0
HELLO = {"rate_hz": RATE_HZ, "channels": 1, "device": "line", "gain": "", "processing": [], "job": "", "step": ""}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SoundServer]:
    """A sound server with a loop."""
    made = SoundServer(tmp_path_factory.mktemp("sound"))
    made.start()
    yield made
    made.stop()


@pytest.fixture(scope="module")
def server(sound: SoundServer, tmp_path_factory: pytest.TempPathFactory, program: WarmProgram) -> Iterator[WebServer]:
    """A server whose machine has that sound server."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in sound.environment.items():
            patch.setenv(name, value)
        running = WebServer(tmp_path_factory.mktemp("live"), program=program).start()
        yield running
        running.stop()


@contextlib.contextmanager
def opened(server: WebServer, hello: dict[str, Any] | None = None, **more: Any) -> Iterator[ClientConnection]:
    """Connect and say hello."""
    headers = {**server.headers, **more.pop("additional_headers", {})}
    with connect(server.address.replace("http", "ws") + "/api/live", additional_headers=headers, **more) as socket:
        socket.send(json.dumps({**HELLO, **(hello or {})}))
        yield socket


def block(number: int, *, frames: int = FRAMES, channels: int = 1, peak: float = 0.5) -> bytes:
    """Return a block of a tone that continues from block to block."""
    n = number * frames + np.arange(frames)
    wave = peak * np.sin(2 * np.pi * TONE_HZ * n / RATE_HZ)
    return struct.pack("<III", number, frames, channels) + np.repeat(wave, channels).astype("<f4").tobytes()


def closed(socket: ClientConnection) -> tuple[int, str]:
    """Return how the server ended a connection, after its other messages."""
    with contextlib.suppress(ConnectionClosed):
        while True:
            socket.recv(timeout=20)
    assert socket.close_code is not None
    return socket.close_code, socket.close_reason or ""


def message_of(socket: ClientConnection, kind: str) -> dict[str, Any]:
    """Return the next message of a kind."""
    while True:
        message: dict[str, Any] = json.loads(socket.recv(timeout=20))
        if message["kind"] == kind:
            return message


def update_of(socket: ClientConnection, number: int) -> dict[str, Any]:
    """Return the first update that knows the block of a number, or one just before: a few last blocks make none due."""
    while True:
        message: dict[str, Any] = json.loads(socket.recv(timeout=20))
        if message["kind"] == "update" and message["reading"] and number - 4 <= message["number"] <= number:
            return message


def test_blocks_give_figures_and_the_number_of_the_last(server: WebServer) -> None:
    """A second of blocks: the frequency, and which block the last update includes."""
    with opened(server) as socket:
        for number in range(50):
            socket.send(block(number))
        found = update_of(socket, 49)["reading"]
        assert found["channels"][0]["frequency_hz"] == pytest.approx(TONE_HZ, abs=0.01)
        assert found["gaps"] == 0


def test_missing_numbers_are_gaps_and_numbers_wrap_around(server: WebServer) -> None:
    """One missing number is one gap; after the largest 32-bit number comes zero, without one."""
    with opened(server) as socket:
        last = 2**32 - 1
        content = [block(i)[12:] for i in range(80)]  # under two seconds: more than that waiting is let go, and a gap
        numbers = [*range(last - 19, last + 1), *range(30), *range(31, 61)]
        for number, samples in zip(numbers, content, strict=True):
            socket.send(struct.pack("<III", number, FRAMES, 1) + samples)
        assert update_of(socket, numbers[-1])["reading"]["gaps"] == 1


def test_other_sites_pages_may_not_connect(server: WebServer) -> None:
    """Another site's page, or another name of ours, is refused before any data is read."""
    for origin in ("http:" + "//evil.test", "null", "http://127.0.0.1:1"):
        with pytest.raises(InvalidHandshake), opened(server, origin=origin):
            pass
    with pytest.raises(InvalidHandshake), opened(server, additional_headers={"Host": "evil.test"}):
        pass
    with opened(server, origin=server.address) as socket:
        assert json.loads(socket.recv(timeout=20))["kind"] == "begun"


@pytest.mark.parametrize(
    "hello",
    [
        {"rate_hz": 1},
        {"rate_hz": 10**9},
        {"rate_hz": "48000"},
        {"rate_hz": 48_000.5},
        {"channels": 0},
        {"channels": 99},
        {"channels": None},
        {"processing": "all"},
        {"processing": ["x"] * 100},
        {"job": "none"},
        {"job": "../../etc/passwd", "step": "x"},
        {"job": {"a": 1}},
    ],
)
def test_invalid_hello_is_refused(server: WebServer, hello: dict[str, Any]) -> None:
    """The connection ends with a sentence."""
    with opened(server, hello) as socket:
        code, reason = closed(socket)
    assert code == 1008
    assert len(reason) > 10
    assert "Traceback" not in reason


@pytest.mark.parametrize("first", ["", "[]", "{", "null", b"\x00\x01", "x" * 100_000])
def test_missing_hello_is_refused(server: WebServer, first: str | bytes) -> None:
    """Text or bytes that don't describe what follows."""
    with connect(server.address.replace("http", "ws") + "/api/live", additional_headers=server.headers) as socket:
        socket.send(first)
        code, reason = closed(socket)
    assert (code, reason) == (1003, "the first message must describe the input")


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", 1003),
        (b"\x00" * 11, 1003),
        (block(0)[:-4], 1003),
        (block(0) + b"\x00", 1003),
        (block(0, channels=2), 1003),
        (struct.pack("<III", 0, 0, 1), 1003),
        (struct.pack("<III", 0, 2**31, 2**31), 1003),
        (struct.pack("<III", 0, 2**30, 1) + bytes(100), 1003),
        (struct.pack("<III", 0, 1, 1) + struct.pack("<f", float("nan")), 1003),
        (struct.pack("<III", 0, 1, 1) + struct.pack("<f", float("inf")), 1003),
        (block(0, frames=70_000), 1009),
        ("{", 1003),
        ("[1]", 1003),
    ],
)
def test_invalid_blocks_end_the_connection(server: WebServer, content: bytes | str, code: int) -> None:
    """With a reason, and the next connection works."""
    with opened(server) as socket:
        socket.send(content)
        told, reason = closed(socket)
    assert told == code
    assert reason
    with opened(server) as socket:
        assert json.loads(socket.recv(timeout=20))["kind"] == "begun"


def test_samples_far_beyond_full_scale_are_told_and_the_connection_stays(server: WebServer) -> None:
    """The largest 32-bit floats are no sound: that is said instead of a reading; begun anew, a tone is measured."""
    with opened(server) as socket:
        for number in range(60):
            loud = np.full(FRAMES, 3e38 * (-1) ** number, "<f4")
            socket.send(struct.pack("<III", number, FRAMES, 1) + loud.tobytes())
        told = message_of(socket, "trouble")
        assert (told["code"], told["where"]) == ("not_finite", "input")
        assert "3e+38 times full scale" in told["what"]
        socket.send('{"do": "reset"}')
        for number in range(60, 110):
            socket.send(block(number))
        assert update_of(socket, 109)["reading"]["channels"][0]["frequency_hz"] == pytest.approx(TONE_HZ, abs=0.01)


def test_more_samples_than_the_rate_allows_end_the_connection(server: WebServer) -> None:
    """Thirty seconds of sound within one."""
    with opened(server) as socket:
        sending = threading.Thread(target=_flood, args=(socket, 1500), daemon=True)
        sending.start()
        assert closed(socket) == (1008, "samples came faster than the stated rate")
        sending.join(10)


def _flood(socket: ClientConnection, count: int) -> None:
    content = block(0)[12:]
    try:
        for number in range(count):
            socket.send(struct.pack("<III", number, FRAMES, 1) + content)
    except ConnectionClosed:
        pass


def test_number_of_measurements_is_limited(server: WebServer) -> None:
    """The thirteenth is refused until another ends."""
    with contextlib.ExitStack() as stack:
        sockets = [stack.enter_context(opened(server)) for _ in range(12)]
        for socket in sockets:
            assert json.loads(socket.recv(timeout=30))["kind"] == "begun"
        with opened(server) as late:
            code, reason = closed(late)
        assert code == 1013
        assert "12 measurements are running" in reason
        sockets[0].close()
        end = time.monotonic() + 20
        begun = False
        while not begun:
            assert time.monotonic() < end
            with opened(server) as again:
                begun = json.loads(_first(again)).get("kind") == "begun"


def _first(socket: ClientConnection) -> str:
    try:
        return str(socket.recv(timeout=20))
    except ConnectionClosed:
        return "{}"


# ---- the bench's own inputs ------------------------------------------------------------------------------------------


def tone(folder: Path, *, level_dbfs: float = -6.0) -> Path:
    """Write a tone of 997 Hz in both channels."""
    wave = 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * TONE_HZ * np.arange(60 * RATE_HZ) / RATE_HZ)
    path = folder / "tone.wav"
    soundfile.write(path, np.stack([wave, wave], axis=1), RATE_HZ, subtype="FLOAT")
    return path


class Events:
    """The messages of a running measurement of the machine's own input."""

    def __init__(self, answer: httpx.Response) -> None:
        self._lines = answer.iter_lines()

    def next(self, kind: str) -> dict[str, Any]:
        """Return the next message of a kind."""
        for line in self._lines:
            if line.startswith("data: "):
                message: dict[str, Any] = json.loads(line[6:])
                if message["kind"] == kind:
                    return message
                assert message["kind"] != "trouble", message
        raise AssertionError("the stream ended")


def test_own_input_is_measured_calibrated_and_recorded(
    server: WebServer, sound: SoundServer, api: httpx.Client, job: str, tmp_path: Path
) -> None:
    """Frequency, level, then 2 V by a meter, a recording stored with the job; over a real sound server."""
    query: dict[str, str | int] = {"device": "pulse", "channels": 2, "job": job}
    with (
        sound.playing(tone(tmp_path)),
        httpx.stream(
            "GET", f"{server.address}/api/live/events", params=query, timeout=60, headers=server.headers
        ) as answer,
    ):
        events = Events(answer)
        begun = events.next("begun")
        end = time.monotonic() + 30
        while (update := events.next("update"))["reading"] is None or _noisy(update):
            assert time.monotonic() < end
        channel = update["reading"]["channels"][0]
        assert channel["fundamental_dbfs"] == pytest.approx(-6.0, abs=0.05)
        ask = f"/api/live/{begun['session']}"
        assert api.post(ask, json={"do": "calibrate", "text": "2,0 V"}).json() == []
        while (update := events.next("update"))["calibrate_v"] is None or update["reading"] is None:
            pass
        assert update["reading"]["channels"][1]["v_rms"] == pytest.approx(2.0, rel=3e-3)
        assert api.post(ask, json={"do": "record", "seconds": 1, "name": "loop"}).json() == []
        events.next("kept")
        assert api.post(ask, json={"do": "explode"}).status_code == 422
    (kept,) = api.get(f"/api/jobs/{job}/recordings").json()
    assert kept["measured"]["channels"][0]["v_rms"] == pytest.approx(2.0, rel=3e-3)
    end = time.monotonic() + 20
    while api.post(ask, json={"do": "reset"}).status_code != 404:
        assert time.monotonic() < end, "the measurement goes on though nobody listens"
        time.sleep(0.2)


def _noisy(update: dict[str, Any]) -> bool:
    """Whether the measured moment still holds the beginning, or a gap of the sound server."""
    channel = update["reading"]["channels"][0]
    return bool(channel["verdict"] != "clean") or bool(abs(channel["frequency_hz"] - TONE_HZ) > 0.01)


def test_own_input_on_the_page(
    open_page: Callable[..., Page],
    look: Callable[..., None],
    axe: Callable[[Page], list[str]],
    sound: SoundServer,
    job: str,
    tmp_path: Path,
) -> None:
    """The inputs are listed by name; the figures are those of the loop."""
    page = open_page(f"/jobs/{job}/live?from=server", size="phone")
    page.get_by_label("Input").select_option(label=next(o for o in _options(page) if o.startswith("pulse")))
    with sound.playing(tone(tmp_path)):
        click(page.get_by_role("button", name="Start"))
        page.locator("#frequency", has_text="997.00").wait_for()
        page.locator("#verdict", has_text="clean").wait_for()
        assert axe(page) == []
        look(page, "live-server-phone")
        click(page.get_by_role("button", name="Stop"))
        assert page.locator("#verdict").inner_text() == "stopped"


def _options(page: Page) -> list[str]:
    return page.get_by_label("Input").locator("option").all_inner_texts()


def test_missing_input_is_reported(api: httpx.Client) -> None:
    """By its name, with the ones available."""
    answer = api.get("/api/live/events", params={"device": "nothing"})
    assert answer.status_code == 422
    assert "no input is named nothing" in answer.json()["what"]


def test_machine_without_a_sound_library_says_so(
    open_page: Callable[..., Page], server: WebServer, tmp_path: Path
) -> None:
    """One sentence with what to install, on the page and over the API; the rest of the page works."""
    del server  # its browser fixture wants one
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "sounddevice.py").write_text('raise OSError("PortAudio library not found")\n')
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", str(broken), prepend=":")
        deaf = WebServer(tmp_path / "store").start()  # by the command itself: what has imported the library hears
    try:
        page = open_page("/")
        page.context.add_cookies([deaf.cookie])
        page.goto(f"{deaf.address}/live?from=server")
        assert "PortAudio library not found" in page.get_by_role("alert").first.inner_text()
        assert "libportaudio2" in page.get_by_role("alert").first.inner_text()
        assert page.get_by_role("button", name="Start").is_disabled()
        answer = deaf.get("/api/live/events")
        assert (answer.status_code, answer.json()["code"]) == (422, "no_sound_library")
    finally:
        deaf.stop()


# ---- uploads ---------------------------------------------------------------------------------------------------------


def written(samples: np.ndarray, kind: str = "WAV", subtype: str = "PCM_24") -> bytes:
    """Return a sound file."""
    into = io.BytesIO()
    soundfile.write(into, samples, RATE_HZ, format=kind, subtype=subtype)
    return into.getvalue()


def lying_header() -> bytes:
    """Return a WAV file whose header claims a thousand million samples and that has a hundred."""
    form = struct.pack("<IHHIIHH", 16, 1, 1, RATE_HZ, 2 * RATE_HZ, 2, 16)
    size = struct.pack("<I", 2 * 10**9)
    return b"RIFF" + size + b"WAVEfmt " + form + b"data" + size + bytes(200)


def bomb() -> bytes:
    """Return ten minutes of eight channels of silence in few bytes."""
    into = io.BytesIO()
    with soundfile.SoundFile(into, "w", RATE_HZ, 8, format="FLAC", subtype="PCM_16") as file:
        for _ in range(600):
            file.write(np.zeros((RATE_HZ, 8), np.int16))
    return into.getvalue()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty"),
        (b"just text", "is not a sound file"),
        (b"<html><script>alert(1)</script>", "is not a sound file"),
        (b"RIFF" + bytes(100), "can't be read as sound"),
        (written(np.zeros((0, 1))), "contains no samples"),
        (written(np.array([0.0, np.nan, 0.0]), subtype="FLOAT"), "is not a number"),
        (None, "is too long"),
    ],
    ids=["nothing", "text", "page", "cut", "no samples", "no number", "bomb"],
)
def test_harmful_uploads_are_refused_and_not_kept(
    api: httpx.Client, job: str, content: bytes | None, told: str
) -> None:
    """422 with one sentence that names the file, over the API and on the page; the list stays empty."""
    content = bomb() if content is None else content
    files = {"file": ("../../<b>a</b>.wav", content, "audio/wav")}
    answer = api.post(f"/api/jobs/{job}/recordings", files=files)
    assert answer.status_code == 422
    assert told in answer.json()["what"]
    page = api.post(f"/jobs/{job}/recordings", files=files)
    assert page.status_code == 422
    assert "<b>a</b>" not in page.text
    assert api.get(f"/api/jobs/{job}/recordings").json() == []


def test_wrong_sample_count_in_a_header_is_harmless(api: httpx.Client, job: str) -> None:
    """A hundred samples of silence, reported as such."""
    answer = api.post(f"/api/jobs/{job}/recordings", files={"file": ("a.wav", lying_header())})
    assert answer.status_code in (201, 422)
    kept = api.get(f"/api/jobs/{job}/recordings").json()
    assert [k["measured"]["channels"][0]["verdict"] for k in kept] in ([], ["no_tone"], ["too_short"])


def test_upload_comes_back_as_our_own_file(api: httpx.Client, job: str) -> None:
    """24 bits survive as 32-bit floats; the name in the header is plain, the one in the list as it was."""
    wave = 0.5 * np.sin(2 * np.pi * TONE_HZ * np.arange(RATE_HZ) / RATE_HZ)
    content = written(wave, "FLAC")
    name = 'a"\r\nSet-Cookie: x=1; 50 Hz.flac'
    kept = api.post(f"/api/jobs/{job}/recordings", files={"file": (name, content)}).json()
    back = api.get(f"/api/jobs/{job}/recordings/{kept['id']}/file")
    assert back.headers["content-type"] == "audio/wav"
    assert "set-cookie" not in back.headers
    assert back.headers["content-disposition"].startswith('attachment; filename="')
    samples, rate_hz = soundfile.read(io.BytesIO(back.content))
    assert rate_hz == RATE_HZ
    assert np.array_equal(samples, soundfile.read(io.BytesIO(content))[0])
    other = api.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
    assert api.get(f"/api/jobs/{other}/recordings/{kept['id']}/file").status_code == 404
    assert api.post(f"/api/jobs/{other}/recordings/{kept['id']}/marks", json={"what": "remove"}).status_code == 404
    assert api.get("/api/jobs/none/recordings").status_code == 404
