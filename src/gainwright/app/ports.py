"""What app needs from outside, as protocols; adapters and the simulated rig implement them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import numpy as np
    import numpy.typing as npt

    from gainwright.model import Entry, Job
    from gainwright.model.case import Case
    from gainwright.report.charts import Chart
    from gainwright.report.languages import Language


class Charts(Protocol):
    """Draws charts."""

    def render(self, chart: Chart, suffix: str, into: Language | None = None) -> bytes:
        """Return the bytes of a picture of the kind that the suffix names (`.svg`, `.png`), its words in a language."""


class Printer(Protocol):
    """Typesets papers."""

    def pdf(self, content: Mapping[str, Any], *, date: str) -> bytes:
        """Return a PDF of a paper's content. CallError: it can't be typeset."""


@dataclass(frozen=True, slots=True)
class InputDevice:
    """A sound input: its name, the host API it is reached by, its channels and native rate."""

    name: str
    host: str
    channels: int
    rate_hz: int

    @property
    def key(self) -> str:
        """Return what identifies it."""
        return f"{self.name} ({self.host})"


@dataclass(frozen=True, slots=True)
class Block:
    """A block of samples, shape (frames, channels); `lost`: samples before it are missing, `away`: the device is disconnected."""

    samples: npt.NDArray[np.float64]
    lost: bool = False
    away: bool = False


class SoundInput(Protocol):
    """Records from sound inputs."""

    def devices(self) -> tuple[InputDevice, ...]:
        """Return the inputs, the default one first. CallError: the sound system can't be reached."""

    def blocks(self, device: InputDevice, *, rate_hz: int, channels: int) -> Iterator[Block]:
        """Yield blocks until the iterator is closed; waits for a device that was unplugged. CallError: it can't be opened."""


class Calibrations(Protocol):
    """Stores the full-scale voltage of inputs, by device and gain."""

    def kept(self) -> dict[str, float]:
        """Return device and gain -> volts rms of a full-scale sine. CallError: they can't be read."""

    def keep(self, key: str, full_scale_v: float) -> str:
        """Add or replace one; return where it is kept. CallError: it can't be written."""


class SoundFiles(Protocol):
    """Decodes sound files of unknown origin."""

    def scratch(self) -> IO[bytes]:
        """Return an empty file for sound that is worked on; it is gone when it is closed."""

    def to_wav(self, source: IO[bytes], into: IO[bytes], *, name: str) -> None:
        """Write a sound file as a WAV file of 32-bit floats, piece by piece. RecordingError: it isn't sound, too long, or hostile."""


class Bench(Protocol):
    """A chain that can be set, played through and measured: a simulated rig, or a person at a real one."""

    def set(self, control: str, text: str) -> None:
        """Set a control to a value as the job file writes it."""

    def turn(self, control: str, value: float) -> None:
        """Set a volume (steps), gain (0 .. 1) or level (dB)."""

    def disconnect(self, speakers: tuple[str, ...]) -> None:
        """Disconnect speakers; all others are connected."""

    def play(self, tone_hz: float, level_dbfs: float) -> None:
        """Play a tone until another is played."""

    def read_v(self, node: str, instrument: str) -> float:
        """Return what an instrument shows, volts rms."""

    def shows_distortion(self, node: str, instrument: str) -> bool:
        """Whether an indicator or a recorder shows distortion or clipping there."""

    def record(self, node: str, instrument: str, seconds: float) -> bytes:
        """Return a recording at a node as a 24-bit WAV file."""


class CaseFolder(Protocol):
    """Case files by name, to import from and export to."""

    def names(self) -> list[str]:
        """Return the names of all cases, sorted. CallError: the folder can't be read."""

    def load(self, name: str) -> Case:
        """Return a case. CallError: there is none of that name; JobError: it can't be read."""

    def save(self, name: str, case: Case) -> str:
        """Write a case atomically; return the file. CallError: an invalid name, or it can't be written."""


class HiddenRig(Protocol):
    """A simulated chain with a hidden fault, which answers tests as a person would."""

    cause: str
    where: str

    def answer(self, entry: Entry) -> dict[str, Any]:
        """Return an entry's mapping with its result."""

    def levels_v(self, tone_hz: float, level_dbfs: float) -> dict[str, tuple[float, float]]:
        """Return node -> volts rms of a tone with the fault, and when it is repaired."""


class HiddenRigs(Protocol):
    """Makes chains with hidden faults."""

    def hidden(self, job: Job, *, seed: int, cause: str = "", where: str = "") -> HiddenRig:
        """Return a chain with a fault drawn by a seed (at times `nothing_wrong`), or given. CallError: the chain can't have that fault."""


class Benches(Protocol):
    """Makes simulated benches."""

    def simulated(self, job: Job, *, seed: int, truth: Mapping[str, float] | None = None) -> Bench:
        """Return a bench with true values as given, the others drawn from the job's spreads."""
