"""A real sound server with a null sink, and its monitor as the input; started and stopped by the tests."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import soundfile

if TYPE_CHECKING:
    from collections.abc import Iterator

RATE_HZ = 48_000
SCRIPT = """\
load-module module-native-protocol-unix socket={folder}/native auth-anonymous=1
load-module module-null-sink sink_name=loop format=float32le rate=48000 channels=2
set-default-sink loop
set-default-source loop.monitor
"""
ALSA = """\
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse }
ctl.!default { type pulse }
"""


class SoundServer:
    """One server in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "default.pa").write_text(SCRIPT.format(folder=folder))
        (folder / "asound.conf").write_text(ALSA)
        self.environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith("PULSE")},
            "HOME": str(folder),
            "XDG_RUNTIME_DIR": str(folder),
            "XDG_CONFIG_HOME": str(folder / "config"),
            "PULSE_SERVER": f"unix:{folder}/native",
            "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
        }
        self._server: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = ("pulseaudio", "-n", "-F", str(self.folder / "default.pa"), "--exit-idle-time=-1", "--daemonize=no")
        with (self.folder / "server.log").open("ab") as log:
            self._server = subprocess.Popen(command, env=self.environment, stdout=log, stderr=log)
        for _ in range(100):
            asked = subprocess.run(("pactl", "info"), env=self.environment, capture_output=True, check=False)
            if asked.returncode == 0:
                return
            time.sleep(0.1)
        raise AssertionError((self.folder / "server.log").read_text())

    def stop(self) -> None:
        """End it."""
        if self._server is not None:
            self._server.kill()
            self._server.wait()
            self._server = None
        with contextlib.suppress(FileNotFoundError):
            (self.folder / "native").unlink()

    def freeze(self, seconds: float) -> None:
        """Hold it still for a while."""
        assert self._server is not None
        self._server.send_signal(signal.SIGSTOP)
        time.sleep(seconds)
        self._server.send_signal(signal.SIGCONT)

    @contextlib.contextmanager
    def playing(self, file: Path) -> Iterator[None]:
        """Play a file again and again while the block runs: a slow machine must not outlast it."""
        samples, rate_hz = soundfile.read(file, dtype="float32", always_2d=True)
        command = ("pacat", "--raw", "--format=float32le", f"--rate={rate_hz}", f"--channels={samples.shape[1]}", "--volume=65536", "--latency-msec=400")  # fmt: skip
        player = subprocess.Popen(command, env=self.environment, stdin=subprocess.PIPE, bufsize=0)
        feeder = threading.Thread(target=_feed, args=(player, samples.tobytes()), daemon=True)
        feeder.start()
        time.sleep(0.6)
        try:
            yield
        finally:
            player.kill()
            player.wait()
            feeder.join(timeout=5)
            assert player.stdin is not None
            player.stdin.close()


def _feed(player: subprocess.Popen[bytes], sound: bytes) -> None:
    """Write a sound to a player until it ends."""
    assert player.stdin is not None
    with contextlib.suppress(BrokenPipeError, OSError):
        while True:
            player.stdin.write(sound)
