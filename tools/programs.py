"""Programs and files of Debian packages that the tests need."""

from __future__ import annotations

import importlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

from tools.environment import stop

PROGRAMS = {
    "ngspice": "ngspice",
    "sox": "sox",
    "ffmpeg": "ffmpeg",
    "flac": "flac",
    "pulseaudio": "pulseaudio",
    "pactl": "pulseaudio-utils",
    "chromium-headless-shell|chromium": "chromium-headless-shell",
    "certutil": "libnss3-tools",
    "zbarimg": "zbar-tools",
    "openssl": "openssl",
}
"""Program that the tests call, or either of two -> Debian package."""
SOX_FORMATS = "libsox-fmt-all"
FILES = {
    "libportaudio2": "lib/*/libportaudio.so.2",
    "libasound2-plugins": "lib/*/alsa-lib/libasound_module_pcm_pulse.so",
    "postgresql": "lib/postgresql/*/bin/initdb",
    "hyperrogue-music": "share/hyperrogue/music/*.ogg",
    "sonic-pi-samples": "share/sonic-pi/samples/*.flac",
    "alsa-utils": "share/sounds/alsa/*.wav",
    "qspeakers": "share/qspeakers/qspeakers_db.xml",
    "asterisk-core-sounds-en-wav": "share/asterisk/sounds/en_US_f_Allison/*.wav",
}
"""Debian package -> a file of it under /usr."""


def _missing_programs() -> list[str]:
    missing = [package for program, package in PROGRAMS.items() if not any(map(shutil.which, program.split("|")))]
    if "sox" in missing or " mp3" not in subprocess.run(("sox", "--help"), capture_output=True, text=True).stdout:  # noqa: PLW1510
        missing.append(SOX_FORMATS)
    missing += [package for package, file in FILES.items() if not any(Path("/usr").glob(file))]
    importlib.invalidate_caches()
    if importlib.util.find_spec("ensurepip") is None:  # Debian keeps it apart from Python
        missing.append("python3-venv")
    return missing


def install_programs() -> None:
    """Install the Debian packages that the tests call; elsewhere say what is missing."""
    missing = _missing_programs()
    if not missing:
        return
    root = os.name != "nt" and os.geteuid() == 0
    if shutil.which("apt-get") is None or not (root or shutil.which("sudo")):
        stop(f"the tests need these Debian packages or their like, install them first: {' '.join(missing)}")
    print(f"installing {' '.join(missing)} with apt-get", flush=True)
    apt = (*(() if root else ("sudo",)), "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-qq")
    for step in (("update",), ("install", "--yes", "--no-install-recommends", *missing)):
        # apt's own chatter says nothing to the person unless it fails
        done = subprocess.run((*apt, *step), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
        if done.returncode != 0:
            print(done.stdout, file=sys.stderr)
    still = _missing_programs()
    if still:
        stop(f"apt-get could not install {' '.join(still)} (its message is above)")
