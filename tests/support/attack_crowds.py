"""Attacks by number: connections that never shake hands, uploads that unpack to hours, downloads that nobody reads; the own machine asks for a page."""

from __future__ import annotations

import contextlib
import io
import random
import socket
import ssl
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import httpx
import numpy as np
import soundfile
from attack_figures import OWN_SERVED_WITHIN_S, Figures, together
from attack_requests import paired
from web_server import WebServer

from gainwright.app.measuring.recording_limits import MOST_SAMPLES
from gainwright.jobfile import example_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

LAN = "127.0.0.2"
"""Stands for the address of the machine in a network."""
NEIGHBOUR = "127.0.0.9"
"""Stands for a device of the network that does no harm."""
MOST_LOG_BYTES = 100_000
MOST_UPLOAD_MB = 200.0
FLOOD, UPLOADS, DOWNLOADS, PLANS = 1_100, 6, 30, 45
BAD_FROM = 500
BUSY, TOO_MANY = 503, 429


@dataclass
class Watch:
    """Asks a server for a page from its own machine, again and again, and looks at its memory; see `watching`."""

    server: WebServer
    beside: WebServer | None = None
    """Another server on the same machine, which nobody attacks: it waits for the processor as long as this one, for nothing else."""
    longest_s: float = 0.0
    beside_s: float = 0.0
    """The longest that a request of its own machine waited there."""
    memory_mb: float = 0.0
    children_mb: float = 0.0
    failed: list[str] = field(default_factory=list)

    def ask(self) -> None:
        """Ask once."""
        began = time.monotonic()
        try:
            self.server.get("/api/jobs").raise_for_status()
        except httpx.HTTPError as error:
            self.failed.append(f"the own machine was not served: {error!r}")
        self.longest_s = max(self.longest_s, time.monotonic() - began)

    def ask_beside(self) -> None:
        """Ask the server that nobody attacks, if there is one."""
        if self.beside is not None:
            began = time.monotonic()
            self.beside.get("/api/jobs").raise_for_status()
            self.beside_s = max(self.beside_s, time.monotonic() - began)

    def judge(self, figures: Figures, what: str) -> None:
        """Note how long the own machine waited; it is a fall where it wasn't served, or waited too long because of the attack."""
        figures.own_served_s = self.longest_s
        for failed in self.failed:
            figures.fell(failed)
        if self.longest_s > OWN_SERVED_WITHIN_S + self.beside_s:
            figures.fell(
                f"the own machine waited {self.longest_s:.2f} s beside {what}, and {self.beside_s:.2f} s at a server beside"
            )

    def look(self) -> None:
        """Look at the memory of the server and of its children."""
        assert self.server.process is not None
        own = self.server.process.pid
        self.memory_mb = max(self.memory_mb, resident_mb(own))
        self.children_mb = max(self.children_mb, sum(resident_mb(child) for child in programs_of(own)))


def resident_mb(process: int) -> float:
    """Return the memory of a process in MB; 0 when it has ended, or where the system doesn't tell."""
    try:
        pages = Path(f"/proc/{process}/statm").read_text(encoding="ascii").split()[1]
    except (OSError, IndexError):
        return 0.0
    return int(pages) * 4096 / 1e6


def children(process: int) -> list[int]:
    """Return the processes that a process has started."""
    found: list[int] = []
    for tasks in Path(f"/proc/{process}/task").glob("*/children"):
        with contextlib.suppress(OSError):
            found += [int(child) for child in tasks.read_text(encoding="ascii").split()]
    return found


def programs_of(process: int) -> list[int]:
    """Return the children that run a program already: until then, a child shows its parent's memory as its own."""
    return [child for child in children(process) if _command(child) not in (b"", _command(process))]


def _command(process: int) -> bytes:
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""


@contextlib.contextmanager
def watching(server: WebServer, beside: WebServer | None = None) -> Iterator[Watch]:
    """Watch a server while the block runs."""
    watch, end = Watch(server, beside), threading.Event()

    def asking() -> None:
        while not end.wait(0.1):
            watch.ask()

    def asking_beside() -> None:
        while not end.wait(0.1):
            watch.ask_beside()

    def looking() -> None:
        while not end.wait(0.01):
            watch.look()

    threads = [threading.Thread(target=act, daemon=True) for act in (asking, asking_beside, looking)]
    for thread in threads:
        thread.start()
    try:
        yield watch
    finally:
        end.set()
        for thread in threads:
            thread.join(60)
        watch.ask()


def lan_port(server: WebServer) -> int:
    """Return the port of the listener for the network."""
    return int(server.get("/api/bench").json()["addresses"][0].rsplit(":", 1)[1])


def neighbour_is_served(port: int, *, within_s: float = 5.0) -> bool:
    """Return whether another device of the network gets the pairing page."""
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    try:
        with (
            socket.create_connection((LAN, port), timeout=within_s, source_address=(NEIGHBOUR, 0)) as line,
            context.wrap_socket(line) as secure,
        ):
            secure.sendall(f"GET /pair HTTP/1.1\r\nHost: {LAN}:{port}\r\nConnection: close\r\n\r\n".encode())
            return secure.recv(20).startswith(b"HTTP/1.1 200")
    except OSError:
        return False


def flood(server: WebServer, many: int, *, held_s: float = 1.0, beside: WebServer | None = None) -> Figures:
    """Open many connections to the listener for the network and say nothing; the own machine and another device are served meanwhile."""
    figures, began = Figures("connections without a handshake", tried=many), time.monotonic()
    port, said = lan_port(server), sum(len(line) for line in server.said)
    enough_descriptors(2 * many)
    before = resident_mb(server.process.pid if server.process else 0)
    with contextlib.ExitStack() as lines, watching(server, beside) as watch:
        opened = []
        for _ in range(many):
            since = time.monotonic()
            try:
                line = lines.enter_context(socket.create_connection((LAN, port), timeout=10))
            except OSError:
                figures.refused += 1
            else:
                line.setblocking(False)
                opened.append(line)
            figures.took(since)
        time.sleep(held_s)
        served = neighbour_is_served(port)
        figures.refused += sum(is_closed(line) for line in opened)
    figures.memory_mb = max(0.0, watch.memory_mb - before)
    watch.judge(figures, f"{many} connections without a handshake")
    if not served:
        figures.fell(f"another device was not served beside {many} connections without a handshake")
    written = sum(len(line) for line in server.said) - said
    if written > MOST_LOG_BYTES:
        figures.fell(f"{many} connections without a handshake wrote {written} characters of log")
    figures.seconds = time.monotonic() - began
    return figures


def enough_descriptors(wanted: int) -> None:
    """Let this process, the attacker, have many connections."""
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (min(wanted, hard), hard))


def is_closed(line: socket.socket) -> bool:
    """Return whether the other end has closed a connection."""
    try:
        return line.recv(1) == b""
    except BlockingIOError:
        return False
    except OSError:
        return True


def silence(seconds: int, *, rate_hz: int, channels: int) -> bytes:
    """Return a FLAC file of silence: some bytes a second, however much it unpacks to."""
    into = io.BytesIO()
    with soundfile.SoundFile(into, "w", rate_hz, channels, format="FLAC", subtype="PCM_16") as file:
        second = np.zeros((rate_hz, channels), np.int16)
        for _ in range(seconds):
            file.write(second)
    return into.getvalue()


def uploads(server: WebServer, files: Sequence[bytes], *, beside: WebServer | None = None) -> Figures:
    """Send sound files to a job, all at once; every one is kept, refused in a sentence or told when to come again."""
    figures, began = Figures("uploads at once", tried=len(files)), time.monotonic()
    with server.client() as client:
        job = client.post("/api/jobs", json={"like": "full_range"}).json()["id"]

    def send(content: bytes) -> httpx.Response:
        since = time.monotonic()
        with server.client(timeout=300) as client:
            answer = client.post(f"/api/jobs/{job}/recordings", files={"file": ("a.flac", content)})
        figures.took(since)
        return answer

    send(silence(1, rate_hz=192_000, channels=1))  # everything that measuring needs is loaded by now
    figures.longest_s = 0.0
    with watching(server, beside) as watch:
        before, before_children = resident_mb(server.process.pid if server.process else 0), watch.children_mb
        with ThreadPoolExecutor(len(files)) as pool:
            answers = list(pool.map(send, files))
    for answer in answers:
        judge(answer, figures)
    figures.memory_mb = max(watch.memory_mb - before, watch.children_mb - before_children)
    if figures.memory_mb > MOST_UPLOAD_MB:
        figures.fell(f"{len(files)} uploads at once took {figures.memory_mb:.0f} MB")
    watch.judge(figures, f"{len(files)} uploads")
    figures.seconds = time.monotonic() - began
    return figures


def judge(answer: httpx.Response, figures: Figures) -> None:
    """Note what became of an upload."""
    figures.refused += answer.status_code >= 400
    if answer.status_code == BUSY and "retry-after" not in answer.headers:
        figures.fell(f"an upload was told to come again without when: {answer.text[:200]}")
    elif answer.status_code == BUSY and answer.json()["code"] != "uploads_busy":
        figures.fell(f"an upload got the store's trouble: {answer.text[:200]}")
    elif answer.status_code >= BAD_FROM and answer.status_code != BUSY:
        figures.tracebacks += 1
        figures.fell(f"an upload got {answer.status_code}: {answer.text[:200]}")


def downloads(
    server: WebServer, many: int, content: bytes, *, held_s: float = 3.0, beside: WebServer | None = None
) -> Figures:
    """Ask for a recording many times at once and read none of it; the own machine is served, and a last one gets all of it."""
    figures, began = Figures("downloads that nobody reads", tried=many), time.monotonic()
    with server.client(timeout=300) as client:
        recordings = f"/api/jobs/{client.post('/api/jobs', json={'like': 'full_range'}).json()['id']}/recordings"
        kept = client.post(recordings, files={"file": ("a.flac", content)}).json()
    path = f"{recordings}/{kept['id']}/file"
    asked = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nAuthorization: Bearer {server.token}\r\n\r\n"
    before = resident_mb(server.process.pid if server.process else 0)
    with contextlib.ExitStack() as lines, watching(server, beside) as watch:
        for _ in range(many):
            line = lines.enter_context(socket.create_connection(("127.0.0.1", server.port), timeout=10))
            line.sendall(asked.encode())
        time.sleep(held_s)
        since = time.monotonic()
        if len(server.get(path).content) != kept["size"]:
            figures.fell("a download beside others was not complete")
        figures.took(since)
    figures.memory_mb = max(0.0, watch.memory_mb - before)
    watch.judge(figures, f"{many} downloads that nobody reads")
    if figures.memory_mb > MOST_UPLOAD_MB:
        figures.fell(f"{many} downloads that nobody reads took {figures.memory_mb:.0f} MB")
    figures.seconds = time.monotonic() - began
    return figures


def plans(server: WebServer, many: int, *, beside: WebServer | None = None) -> Figures:
    """Let another device, paired, ask for the plans of as many jobs at once; each is answered, or told that there are too many."""
    figures, began = Figures("plans of many jobs for another device", tried=many), time.monotonic()
    with server.client(timeout=300) as own, paired(server) as device:
        texts = [f"{example_text('active_three_way')}\n# {number}\n" for number in range(many)]  # no plan is known yet
        jobs = [own.post("/api/jobs", json={"text": text}).json()["id"] for text in texts]

        def ask(job: str) -> int:
            since = time.monotonic()
            status = device.get(f"/api/jobs/{job}/plan", timeout=300).status_code
            figures.took(since)
            return status

        before = resident_mb(server.process.pid if server.process else 0)
        with watching(server, beside) as watch, ThreadPoolExecutor(many) as pool:
            answers = list(pool.map(ask, jobs))
    figures.refused = answers.count(TOO_MANY)
    for status in set(answers) - {200, TOO_MANY}:
        figures.fell(f"a plan got {status} beside {many - 1} others")
    figures.memory_mb = max(0.0, watch.memory_mb - before)
    watch.judge(figures, f"{many} plans for another device")
    figures.seconds = time.monotonic() - began
    return figures


def attack(seed: int, seconds: float) -> Sequence[Figures]:
    """Do all of it to a server of its own: the sizes come from the seed, the number of rounds from the time."""
    chance, until = random.Random(seed), time.monotonic() + seconds  # noqa: S311  an attack, not a secret
    found: list[Figures] = []
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        server = WebServer(Path(folder) / "attacked", ("--lan", "--address", LAN)).start()
        beside = WebServer(Path(folder) / "beside").start()
        try:
            while True:
                many = FLOOD if seconds else 60
                found.append(flood(server, many, held_s=1.0 if seconds else 0.2, beside=beside))
                files = [_odd(chance, long=bool(seconds)) for _ in range(UPLOADS if seconds else 2)]
                found.append(uploads(server, files, beside=beside))
                whole = silence((MOST_SAMPLES if seconds else 500_000) // 96_000, rate_hz=48_000, channels=2)
                found.append(downloads(server, DOWNLOADS, whole, held_s=3.0 if seconds else 0.3, beside=beside))
                found.append(plans(server, PLANS if seconds else 6, beside=beside))
                if time.monotonic() >= until:
                    break
        finally:
            server.stop()
            beside.stop()
    return together(found)


def _odd(chance: random.Random, *, long: bool) -> bytes:
    rate_hz, channels = chance.choice((8_000, 48_000, 192_000)), chance.choice((1, 2, 8))
    most = 2 * MOST_SAMPLES if long else 3_000_000
    return silence(max(1, chance.randrange(most) // (rate_hz * channels)), rate_hz=rate_hz, channels=channels)
