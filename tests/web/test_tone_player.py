"""The tone that a page makes and plays, rendered by the browser itself: level, frequency, length, sides; it ends by itself."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from browser_acts import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

RENDER = """async (tone) => {
  const { toneWav } = await import("/static/tone-samples.js");
  const content = await toneWav(tone).arrayBuffer();
  const context = new OfflineAudioContext(2, Math.round(tone.rate * (tone.seconds + 0.5)), tone.rate);
  const source = new AudioBufferSourceNode(context, { buffer: await context.decodeAudioData(content) });
  source.connect(context.destination);
  source.start();
  const done = await context.startRendering();
  const text = (channel) => {
    const bytes = new Uint8Array(done.getChannelData(channel).buffer);
    let found = "";
    for (let i = 0; i < bytes.length; i += 8192) found += String.fromCharCode(...bytes.subarray(i, i + 8192));
    return btoa(found);
  };
  return { frames: source.buffer.length, left: text(0), right: text(1) };
}"""
SHORT = """() => {
  const tone = document.createElement("div");
  tone.className = "tone";
  tone.innerHTML = '<audio controls preload="none" src="/api/tones.wav?hz=431&dbfs=-30&seconds=0.4" aria-label="a short tone"></audio>';
  document.querySelector("main").append(tone);
  document.dispatchEvent(new Event("swapped"));
  tone.querySelector("audio").addEventListener("ended", () => { tone.id = "ended"; });
}"""


def samples(found: dict[str, Any], side: str) -> np.ndarray:
    """Return what the browser rendered for a side."""
    return np.frombuffer(base64.b64decode(found[side]), "<f4").astype(np.float64)


def fitted(wave: np.ndarray, *, hz: float, rate: int) -> tuple[float, float]:
    """Return level in dBFS (AES17) and phase in periods of a sine, by least squares."""
    angle = 2 * np.pi * hz * np.arange(len(wave)) / rate
    (a, b), *_ = np.linalg.lstsq(np.stack([np.cos(angle), np.sin(angle)], axis=1), wave, rcond=None)
    return 20 * float(np.log10(np.hypot(a, b))), float(np.arctan2(-b, a)) / (2 * np.pi)


def test_tone_is_made_as_asked_and_ends_by_itself(open_page: Callable[..., Page]) -> None:
    """Level within 0.01 dB and never above, frequency within 1 mHz, length to the sample, sides; played, it ends by itself."""
    page = open_page("/live", size="phone")
    for hz, dbfs, seconds, rate, sides in (
        (431.3, -11.5, 2.0, 48_000, "both"),
        (31.5, 0.0, 1.7, 44_100, "left"),
        (9_700.0, -60.0, 1.5, 44_100, "right"),
    ):
        found = page.evaluate(RENDER, {"hz": hz, "dbfs": dbfs, "seconds": seconds, "rate": rate, "sides": sides})
        assert found["frames"] == round(seconds * rate)
        for side in ("left", "right"):
            wave = samples(found, side)
            if sides not in ("both", side):
                assert not wave.any()
                continue
            assert np.max(np.abs(wave)) <= 10 ** (dbfs / 20) + 2**-23
            assert not wave[found["frames"] :].any()
            edge = rate // 50
            assert np.max(np.abs(wave[: edge // 8])) < 0.05 * 10 ** (dbfs / 20)
            steady = wave[edge : found["frames"] - edge]
            half = len(steady) // 2
            (first, begin), (second, end) = (fitted(part, hz=hz, rate=rate) for part in (steady[:half], steady[half:]))
            assert [first, second] == pytest.approx([dbfs, dbfs], abs=0.01)
            drift = (end - begin - hz * half / rate + 0.5) % 1 - 0.5
            assert drift * rate / half == pytest.approx(0, abs=1e-3)
    page.evaluate(SHORT)
    click(page.get_by_role("button", name="Play a short tone"))
    page.locator("#ended", has_text="0.4 s, made here at").wait_for()
    page.get_by_role("button", name="Play a short tone").wait_for()
    state = page.locator("#ended audio").evaluate(
        "(a) => [a.paused, a.loop, a.currentTime, a.duration, a.src.startsWith('blob:')]"
    )
    assert state == [True, False, 0, pytest.approx(0.4, abs=1e-4), True]


def test_player_begins_with_the_sides_asked_for(open_page: Callable[..., Page]) -> None:
    """A test of one side has its tone on that side; without a word of sides it is on both."""
    page = open_page("/live", size="phone")
    for asked, chosen in (("", "both"), ("&sides=left", "left"), ("&sides=both", "both")):
        page.evaluate(SHORT.replace("seconds=0.4", f"seconds=0.4{asked}"))
        assert page.locator("main > .tone select").last.input_value() == chosen
