"""A TCP proxy before a web server that cuts connections at chosen stages of a form's way to the server and back."""

from __future__ import annotations

import contextlib
import socket
import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

Stage = Literal["unheard", "half_sent", "unanswered", "half_answered", "page_lost"]
STAGES: tuple[Stage, ...] = ("unheard", "half_sent", "unanswered", "half_answered", "page_lost")
"""Where the line is cut: nothing of the form reaches the server; half of it does; it's stored, and the answer is lost; of
the answer only the status arrives; the answer arrives, but not the page that it leads to."""
PIECE = 65536
STATUS_BYTES = len("HTTP/1.1 303")


@dataclass
class CuttingProxy:
    """Passes everything on to a port of this machine; of the forms sent through it, each meets the next of `stages`.

    Attributes
    ----------
    stages : consumed one for each POST; None, or none left, lets it through.
    cuts : the stages at which a line was cut so far.
    page_lost : until the next form, the pages that forms lead to don't get through.
    """

    to: int
    stages: list[Stage | None] = field(default_factory=list)
    cuts: list[Stage] = field(default_factory=list)
    page_lost: bool = False
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def start(self) -> CuttingProxy:
        """Listen on a free port."""
        self._listening = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port = int(self._listening.getsockname()[1])
        threading.Thread(target=self._accept, daemon=True).start()
        return self

    @property
    def address(self) -> str:
        """Where it answers, without a slash at the end."""
        return f"http://127.0.0.1:{self.port}"

    def stop(self) -> None:
        """Accept no more connections."""
        self._listening.close()

    def meet(self, stages: Iterable[Stage | None]) -> None:
        """Let the next forms meet these stages."""
        with self._lock:
            self.stages.extend(stages)

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = self._listening.accept()
                threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        with client, contextlib.suppress(OSError):
            server = socket.create_connection(("127.0.0.1", self.to), timeout=60)
            with server:
                _Line(self, client, server).run()

    def next_stage(self) -> Stage | None:
        """Return the stage that the form which has just begun to arrive meets."""
        with self._lock:
            stage = self.stages.pop(0) if self.stages else None
            if stage is not None:
                self.cuts.append(stage)
            return stage


class _Line:
    """One connection of the browser, with its own to the server. Browsers send one request after the other on it."""

    def __init__(self, proxy: CuttingProxy, client: socket.socket, server: socket.socket) -> None:
        self.proxy, self.client, self.server = proxy, client, server
        self.stage: Stage | None = None

    def run(self) -> None:
        back = threading.Thread(target=self._back, daemon=True)
        back.start()
        with contextlib.suppress(OSError):
            while piece := self.client.recv(PIECE):
                self._there(piece)
        self._cut()
        back.join()

    def _there(self, piece: bytes) -> None:
        if piece.startswith(b"POST "):
            self.stage = self.proxy.next_stage()
            if self.stage in ("unheard", "half_sent"):
                self.server.sendall(piece[: len(piece) // 2 if self.stage == "half_sent" else 0])
                raise OSError
            self.proxy.page_lost = self.stage == "page_lost"
        elif self.proxy.page_lost and b"x-swap: " in piece:
            raise OSError  # also when the browser itself asks again, on another connection
        self.server.sendall(piece)

    def _back(self) -> None:
        with contextlib.suppress(OSError):
            while piece := self.server.recv(PIECE):
                if self.stage in ("unanswered", "half_answered"):
                    self.client.sendall(piece[: STATUS_BYTES if self.stage == "half_answered" else 0])
                    break
                self.client.sendall(piece)
        self._cut()

    def _cut(self) -> None:
        for line in (self.client, self.server):
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)
