"""Live measurement over its two connections, without a server: what is heard, in the page's language, and how failures end it."""

from __future__ import annotations

import json
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from gainwright.app.measuring.remote import RemoteMeasurement
from gainwright.app.ports import Block, InputDevice
from gainwright.composition import Adapters, compose
from gainwright.jobfile import example_text, read_job_text
from gainwright.plan import make_plan
from gainwright.web.server import create_app
from gainwright.web.site import Site

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from starlette.testclient import WebSocketTestSession

RATE_HZ, FRAMES = 48_000, 4800
HELLO = {"rate_hz": RATE_HZ, "channels": 1, "device": "line", "gain": "", "processing": [], "job": "", "step": ""}


class Loop:
    """A sound input of this machine that plays a tone, then fails."""

    fails: Exception = OSError("the driver is gone")

    def devices(self) -> tuple[InputDevice, ...]:
        """Return one device."""
        return (InputDevice("loop", "A", 1, RATE_HZ),)

    def blocks(self, device: InputDevice, *, rate_hz: int, channels: int) -> Iterator[Block]:
        """Yield a second of sound."""
        del device, channels
        yield Block(0.5 * np.sin(2 * np.pi * 1000 * np.arange(rate_hz) / rate_hz)[:, None])
        raise self.fails


@pytest.fixture
def web(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """Return the app with a looped input, asked without a server."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setattr(Adapters, "sound", property(lambda _self: Loop()))
    site = Site(compose(), compose().store(str(tmp_path / "store.sqlite")))
    with TestClient(create_app(site), base_url="http://127.0.0.1") as client:
        client.app_state["job"] = site.store.jobs.add(title="car", text=example_text("one_amplifier")).id
        yield client


def send(socket: WebSocketTestSession, hz: float, *, blocks: int = 6) -> None:
    """Send blocks of a tenth of a second of a tone."""
    for number in range(blocks):
        n = number * FRAMES + np.arange(FRAMES)
        wave = (0.5 * np.sin(2 * np.pi * hz * n / RATE_HZ)).astype("<f4")
        socket.send_bytes(struct.pack("<III", number, FRAMES, 1) + wave.tobytes())


def update(socket: WebSocketTestSession) -> dict[str, Any]:
    """Return the first update that has a reading."""
    while not (message := json.loads(socket.receive_text())).get("reading"):
        pass
    found: dict[str, Any] = message
    return found


@pytest.mark.parametrize(
    ("language", "told"),
    [
        ("en", "asked for {asked} Hz, heard {heard} Hz: play the tone that is asked for"),
        ("de", "verlangt sind {asked} Hz, zu hören sind {heard} Hz: den verlangten Ton spielen"),
    ],
)
def test_another_tone_than_the_step_asks_for_is_told(web: TestClient, language: str, told: str) -> None:
    """Ten times the step's frequency (once a division by zero, without end); in the page's language, no verdict of the step."""
    plan = make_plan(read_job_text(example_text("one_amplifier")).job)
    step = next(s for s in plan.steps if s.tone_hz and s.tone_hz <= 99 and s.expect)
    assert step.tone_hz is not None
    hello = {**HELLO, "job": web.app_state["job"], "step": step.id}
    with web.websocket_connect("ws://127.0.0.1/api/live", headers={"accept-language": language}) as socket:
        socket.send_text(json.dumps(hello))
        send(socket, 10 * step.tone_hz)
        found = update(socket)
    assert found["heard"] == [told.format(asked=f"{step.tone_hz:g}", heard=f"{10 * step.tone_hz:g}")]
    assert found["reading"]["channels"][0]["verdict"] == "other_tone"
    assert found["fits"] == [None]
    assert ("über einen Teiler" if language == "de" else "divider") in found["notes"][0]


@pytest.mark.parametrize("error", [ZeroDivisionError("float division by zero"), RuntimeError("boom")])
def test_failure_ends_the_measurement_with_one_sentence(
    web: TestClient, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    """Whatever is raised while measuring: told once as the end, with what to do, then closed; no details of the program."""

    def fail(_self: RemoteMeasurement, *_blocks: Block) -> None:
        raise error

    monkeypatch.setattr(RemoteMeasurement, "push", fail)
    with web.websocket_connect("ws://127.0.0.1/api/live") as socket:
        socket.send_text(json.dumps(HELLO))
        assert json.loads(socket.receive_text())["kind"] == "begun"
        send(socket, 1000, blocks=1)
        last = json.loads(socket.receive_text())
        with pytest.raises(WebSocketDisconnect) as closed:
            socket.receive_text()
    assert (last["kind"], last["ended"], last["code"]) == ("trouble", True, "failed")
    assert "measurement has ended" in last["what"]
    assert "start again" in last["remedy"]
    assert str(error) not in json.dumps(last)
    assert closed.value.code == 1011
    assert "measurement has ended" in closed.value.reason


def test_failing_input_of_this_machine_ends_with_one_sentence(web: TestClient) -> None:
    """Updates, then the end, told as that: the page doesn't start again by itself."""
    answer = web.get("/api/live/events", params={"channels": 1})
    messages = [json.loads(line[6:]) for line in answer.text.splitlines() if line.startswith("data: ")]
    assert [m["kind"] for m in messages] == ["begun", "update", "trouble"]
    assert messages[1]["reading"]["channels"][0]["verdict"] == "clean"
    assert (messages[-1]["ended"], messages[-1]["code"]) == (True, "failed")
    assert "driver" not in json.dumps(messages[-1])
