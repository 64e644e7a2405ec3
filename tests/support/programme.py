"""Test signals for the programme, real music from Debian packages, and what ffmpeg and sox report about a file."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

import numpy as np

RATE_HZ = 48_000

MUSIC = {
    "hyperrogue-music": "hyperrogue/music/*.ogg",
    "sonic-pi-samples": "sonic-pi/samples/*.flac",
    "alsa-utils": "sounds/alsa/*.wav",
    "asterisk-core-sounds-en-wav": "asterisk/sounds/en_US_f_Allison/*.wav",
}
"""Debian package -> its recordings, under /usr/share."""


def music(package: str) -> list[Path]:
    """Return the recordings of a Debian package, in order of their names."""
    found = sorted(Path("/usr/share").glob(MUSIC[package]))
    assert found, f"no music: apt-get install {package}"
    return found


def sine(peak_dbfs: float, seconds: float, hz: float = 1000.0, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return a sine of a peak level."""
    return 10 ** (peak_dbfs / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def steps(*parts: tuple[float, float]) -> np.ndarray:
    """Return stereo of 1 kHz, both channels in phase: (peak level, seconds) one after the other."""
    at, pieces = 0, []
    for level_dbfs, seconds in parts:
        count = round(seconds * RATE_HZ)
        phase = 2 * np.pi * 1000 * (at + np.arange(count)) / RATE_HZ
        pieces.append(10 ** (level_dbfs / 20) * np.sin(phase))
        at += count
    return np.repeat(np.concatenate(pieces)[:, None], 2, axis=1)


def _said(*command: object) -> str:
    done = subprocess.run(tuple(map(str, command)), capture_output=True, text=True, check=True)
    return done.stdout + done.stderr


def by_ffmpeg_loudness(path: Path) -> dict[str, float]:
    """Return ffmpeg ebur128's integrated loudness, range and true peak."""
    text = _said(
        "ffmpeg", "-hide_banner", "-nostats", "-i", path, "-map", "0:a:0", "-af", "ebur128=peak=true", "-f", "null", "-"
    )
    summary = text[text.rindex("Summary:") :]
    names = {"lufs": r"I:\s+(\S+) LUFS", "range": r"LRA:\s+(\S+) LU", "true_peak": r"Peak:\s+(\S+) dBFS"}
    return {name: float(re.findall(pattern, summary)[0]) for name, pattern in names.items()}


def by_ffmpeg_levels(path: Path) -> dict[str, float]:
    """Return ffmpeg astats' peak and rms over all channels, dB re full scale, and the largest DC of a channel."""
    text = _said(
        "ffmpeg",
        "-hide_banner",
        "-nostats",
        "-i",
        path,
        "-map",
        "0:a:0",
        "-af",
        "aformat=flt,astats",
        "-f",
        "null",
        "-",
    )
    channels, overall = text.split("Overall")[:2]
    found = {name: float(re.findall(rf"{name} level dB:\s*(\S+)", overall)[0]) for name in ("Peak", "RMS")}
    return found | {"DC": max(map(float, re.findall(r"DC offset:\s*(\S+)", channels)), key=abs)}


def by_sox(path: Path) -> dict[str, float]:
    """Return sox stats' peak and rms over all channels, dB re full scale."""
    text = _said("sox", path, "-n", "stats")
    return {name: float(re.findall(rf"{name} lev dB\s+(\S+)", text)[0]) for name in ("Pk", "RMS")}


def streams(path: Path) -> dict[str, object]:
    """Return ffprobe's description of the first audio stream."""
    text = subprocess.run(
        ["ffprobe", "-v", "error", "-select_streams", "a:0", "-show_streams", "-of", "json", str(path)],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    return dict(json.loads(text)["streams"][0])
