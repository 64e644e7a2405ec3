"""Sound input through PortAudio; a device that disappears is reopened when it returns."""

from __future__ import annotations

import queue
import time
from typing import TYPE_CHECKING, Any

import numpy as np

from gainwright.app.ports import Block, InputDevice
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Iterator

BLOCK_SECONDS = 0.02
AWAY_SECONDS = 1.0
"""Time without a block after which a device counts as disconnected."""
AGAIN_SECONDS = 1.0
MOST_WAITING = 500


class PortAudioInput:
    """Inputs by the sounddevice package."""

    def devices(self) -> tuple[InputDevice, ...]:
        """Return every device with an input, the system's default first.

        Raises
        ------
        CallError : the sound library isn't installed.
        """
        sd = _library()
        hosts = [host["name"] for host in sd.query_hostapis()]
        found = [
            (i, InputDevice(d["name"], hosts[d["hostapi"]], d["max_input_channels"], round(d["default_samplerate"])))
            for i, d in enumerate(sd.query_devices())
            if d["max_input_channels"] > 0
        ]
        default = sd.default.device[0]
        return tuple(device for _, device in sorted(found, key=lambda pair: pair[0] != default))

    def blocks(self, device: InputDevice, *, rate_hz: int, channels: int) -> Iterator[Block]:
        """Yield blocks of a device until the caller closes the iterator.

        Raises
        ------
        CallError : the first attempt to open it fails.
        """
        opened = False
        while True:
            try:
                for block in self._stream(device, rate_hz, channels):
                    opened = True
                    yield block
            except CallError:
                if not opened:
                    raise
            yield Block(np.zeros((0, channels)), away=True)
            time.sleep(AGAIN_SECONDS)
            _refresh_devices()

    def _stream(self, device: InputDevice, rate_hz: int, channels: int) -> Iterator[Block]:
        """Yield blocks until the device is disconnected."""
        sd = _library()
        waiting: queue.Queue[tuple[Any, bool]] = queue.Queue(MOST_WAITING)

        def take(indata: Any, _frames: int, _time: Any, status: Any) -> None:
            try:
                waiting.put_nowait((indata.copy(), bool(status.input_overflow)))
            except queue.Full:
                waiting.get_nowait()
                waiting.put_nowait((indata.copy(), True))

        try:
            stream = sd.InputStream(
                device=_index(device),
                samplerate=rate_hz,
                channels=channels,
                dtype="float32",
                blocksize=max(64, round(BLOCK_SECONDS * rate_hz)),
                callback=take,
            )
            stream.start()
        except sd.PortAudioError as error:
            raise CallError(
                f"can't be opened: {error.args[0] if error.args else error}",
                code="no_device",
                where=device.key,
                remedy="close other programs that use it, or choose its own rate and channels",
            ) from None
        try:
            while True:
                try:
                    samples, overflowed = waiting.get(timeout=AWAY_SECONDS)
                except queue.Empty:
                    return
                yield Block(np.asarray(samples, dtype=np.float64), lost=overflowed)
        finally:
            stream.abort(ignore_errors=True)
            stream.close(ignore_errors=True)


def _library() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        raise CallError(
            f"sound input isn't available: {error}",
            code="no_sound_library",
            remedy="python -m pip install sounddevice; on Debian also apt-get install libportaudio2",
        ) from None
    return sounddevice


def _index(device: InputDevice) -> int:
    sd = _library()
    hosts = [host["name"] for host in sd.query_hostapis()]
    for i, d in enumerate(sd.query_devices()):
        if (d["name"], hosts[d["hostapi"]]) == (device.name, device.host) and d["max_input_channels"] > 0:
            return i
    raise CallError("is not there", code="no_device", where=device.key, remedy="plug it in again")


def _refresh_devices() -> None:
    """Make PortAudio list the devices again."""
    sd = _library()
    try:
        sd._terminate()  # the package's only way to do it
        sd._initialize()
    except sd.PortAudioError:
        return
