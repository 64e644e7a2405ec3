"""Live measurement: a real server fed with blocks as a browser sends them, and a real browser on its page.

For each kind of signal: updates per second, time from sending a block to the answer that includes it, the server's
share of one core. Baseline in the same run: the cost of a plain spectrum of the same samples (Hann window, numpy's
rfft, the highest line: no frequency fit, no clipping, no THD, no pictures). Exit status 1 when a target is missed.
"""

from __future__ import annotations

import contextlib
import json
import os
import struct
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "support"))

import numpy as np
import soundfile
from web_server import WebServer
from websockets.sync.client import connect

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt
    from websockets.sync.client import ClientConnection

    Floats = npt.NDArray[np.float64]

RATE_HZ, FRAMES, SECONDS = 48_000, 896, 15.0
WINDOW_SECONDS, TONE_HZ = 0.3, 997.0
LEAST_UPDATES, MOST_DELAY_MS = 10.0, 150.0
"""Targets: updates per second, and the median time from a block to its answer."""


def signals() -> dict[str, Floats]:
    """Return one second of each kind, in one or two channels."""
    wave = np.sin(2 * np.pi * TONE_HZ * np.arange(RATE_HZ) / RATE_HZ)
    low = np.sin(2 * np.pi * 50 * np.arange(RATE_HZ) / RATE_HZ)
    noise = np.random.default_rng(1).normal(0, 0.0005, RATE_HZ)
    mono = {
        "clean": 0.5 * wave,
        "clipped": np.clip(0.7 * wave, -0.5, 0.5),
        "50 Hz, clipped": np.clip(0.7 * low, -0.5, 0.5),
        "quiet and noisy": 0.05 * wave + noise,
    }
    made = {name: samples[:, None] for name, samples in mono.items()}
    return {**made, "two channels, clipped": np.repeat(made["clipped"], 2, axis=1)}


@contextlib.contextmanager
def served() -> Iterator[WebServer]:
    """Run a server whose calibrations are its own."""
    before = os.environ.get("XDG_CONFIG_HOME")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_CONFIG_HOME"] = folder
        server = WebServer(Path(folder)).start()
        try:
            yield server
        finally:
            server.stop()
            os.environ.pop("XDG_CONFIG_HOME")
            os.environ.update({} if before is None else {"XDG_CONFIG_HOME": before})


def processor_s(process: int) -> float:
    """Return the processor time of a process so far; 0 where the system doesn't report it."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def fed(server: WebServer, samples: Floats) -> dict[str, float]:
    """Feed a signal in real time; return updates per second, delays and the share of a core."""
    assert server.process is not None
    channels, process = samples.shape[1], server.process.pid
    hello = {"rate_hz": RATE_HZ, "channels": channels, "device": "bench", "processing": [], "job": "", "step": ""}
    sent: dict[int, float] = {}
    delays: list[float] = []
    with connect(f"ws://127.0.0.1:{server.port}/api/live", additional_headers=server.headers) as socket:
        socket.send(json.dumps(hello))
        listening = threading.Thread(target=_listen, args=(socket, sent, delays), daemon=True)
        listening.start()
        _feed(socket, samples, sent, seconds=2.0)  # everything has been loaded by now
        delays.clear()
        before, begun = processor_s(process), time.perf_counter()
        _feed(socket, samples, sent, seconds=SECONDS)
        taken, share = time.perf_counter() - begun, processor_s(process) - before
    listening.join(5)
    ordered = np.sort(delays)
    return {
        "updates": len(delays) / taken,
        "middle_ms": 1e3 * float(np.median(ordered)),
        "late_ms": 1e3 * float(ordered[int(0.95 * (len(ordered) - 1))]),
        "share": share / taken,
        "each_s": share / max(1, len(delays)),
    }


def _listen(socket: ClientConnection, sent: dict[int, float], delays: list[float]) -> None:
    for text in socket:
        message: dict[str, Any] = json.loads(text)
        if message["kind"] == "update" and message["reading"]:
            delays.append(time.perf_counter() - sent[message["number"]])


def _feed(socket: ClientConnection, samples: Floats, sent: dict[int, float], *, seconds: float) -> None:
    first = len(sent)
    begun = time.perf_counter()
    content = np.concatenate([samples, samples]).astype("<f4")
    for i in range(round(seconds * RATE_HZ / FRAMES)):
        number = first + i
        time.sleep(max(0.0, begun + (i + 1) * FRAMES / RATE_HZ - time.perf_counter()))
        at = number * FRAMES % RATE_HZ
        sent[number] = time.perf_counter()
        socket.send(struct.pack("<III", number, FRAMES, samples.shape[1]) + content[at : at + FRAMES].tobytes())


def plain_s(samples: Floats) -> float:
    """Return the cost of a plain spectrum, its samples collected from blocks."""
    count = round(WINDOW_SECONDS * RATE_HZ)
    blocks = [samples[i : i + FRAMES] for i in range(0, count, FRAMES)]
    window = np.hanning(count)[:, None]
    best = float("inf")
    for _ in range(50):
        begun = time.perf_counter()
        moment = np.concatenate(blocks)[:count]
        spectrum = np.abs(np.fft.rfft(moment * window, axis=0))
        np.argmax(spectrum, axis=0)
        best = min(best, time.perf_counter() - begun)
    return best


def on_the_page(server: WebServer) -> tuple[float, float] | None:
    """Return updates painted a second and ms from a block to its paint in Chromium, None where there is none."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return None
    chromium = Path("/usr/bin/chromium")
    if not chromium.exists():
        return None
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        file = Path(folder, "tone.wav")
        soundfile.write(file, np.tile(signals()["clipped"], (30, 1)), RATE_HZ, subtype="FLOAT")
        flags = (
            "--no-sandbox",
            "--disable-gpu",
            "--use-fake-device-for-media-stream",
            "--use-fake-ui-for-media-stream",
        )
        browser = playwright.chromium.launch(
            executable_path=chromium, args=[*flags, f"--use-file-for-fake-audio-capture={file}"]
        )
        page = browser.new_page()
        page.context.add_cookies([server.cookie])
        page.goto(f"{server.address}/live")
        page.get_by_role("button", name="Start").click()
        page.wait_for_timeout(5000)
        rates, delays = [], []
        for _ in range(20):
            page.wait_for_timeout(500)
            part = page.locator("#live")
            rates.append(float(part.get_attribute("data-rate") or 0))
            delays.append(float(part.get_attribute("data-delay") or "nan"))
        browser.close()
    return float(np.median(rates)), float(np.median(delays))


def main() -> int:
    """Measure, print, return the exit status."""
    passed = True
    print(f"{'':<24}{'updates/s':>10}{'answer, ms':>12}{'95 %, ms':>10}{'core':>8}{'rfft, ms':>10}{'ratio':>8}")
    with served() as server:
        for name, samples in signals().items():
            found, plain = fed(server, samples), plain_s(samples)
            print(
                f"{name:<24}{found['updates']:>10.1f}{found['middle_ms']:>12.0f}{found['late_ms']:>10.0f}"
                f"{100 * found['share']:>7.0f}%{1e3 * plain:>10.2f}{found['each_s'] / plain:>8.0f}"
            )
            passed &= found["updates"] >= LEAST_UPDATES and found["middle_ms"] <= MOST_DELAY_MS
        painted = on_the_page(server)
    if painted is not None:
        print(f"in Chromium: {painted[0]:.1f} updates painted a second, {painted[1]:.0f} ms from a block to its paint")
        passed &= painted[0] >= LEAST_UPDATES
    print("(core: the server's whole processor time; ratio: that by update, over a plain rfft of the same moment)")
    print("passed" if passed else "MISSED")
    return 0 if passed else 1


if __name__ == "__main__":
    raise SystemExit(main())
