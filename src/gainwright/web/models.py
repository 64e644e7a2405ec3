"""Cache of models, keyed by the text of their job."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import TYPE_CHECKING, Any, TypeVar, cast

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.diagnose import ClosedCases, Diagnoser
    from gainwright.jobfile import JobFile
    from gainwright.model import Job
    from gainwright.plan import Plan
    from gainwright.solve import Chain

MOST = 48
"""Models kept of one kind; the least recently used is dropped."""
MOST_OF = {"diagnoser": 8, "practice": 8, "diagnosis": 200, "chart": 60, "heard": 200}
"""Fewer of large ones (a diagnoser takes some 30 MB), more of small ones."""

_T = TypeVar("_T")


class Models:
    """Makes each model once, even when two requests need it at the same time."""

    def __init__(self) -> None:
        self._kept: dict[str, OrderedDict[str, Any]] = {}
        self._making: dict[tuple[str, str], threading.Lock] = {}
        self._lock = threading.Lock()

    def kept(self, kind: str, text: str, make: Callable[[], _T]) -> _T:
        """Return the model of a text, making it if it isn't cached.

        Parameters
        ----------
        kind : distinguishes different models of the same text.
        """
        key = (kind, text)
        with self._lock:
            kept = self._kept.setdefault(kind, OrderedDict())
            if text in kept:
                kept.move_to_end(text)
                return cast("_T", kept[text])
            making = self._making.setdefault(key, threading.Lock())
        with making:
            with self._lock:
                if text in kept:
                    return cast("_T", kept[text])
            try:
                made = make()
            except BaseException:
                with self._lock:
                    self._making.pop(key, None)
                raise
            with self._lock:
                kept[text] = made
                self._making.pop(key, None)
                while len(kept) > MOST_OF.get(kind, MOST):
                    kept.popitem(last=False)
            return made

    def has(self, kind: str, text: str) -> bool:
        """Return whether a model is cached."""
        with self._lock:
            return text in self._kept.get(kind, {})

    def get(self, kind: str, text: str) -> Any:
        """Return a cached model; None when there is none."""
        with self._lock:
            kept = self._kept.get(kind)
            return None if kept is None else kept.get(text)

    def read(self, text: str) -> JobFile:
        """Return a parsed job file. JobError: it can't be read."""
        from gainwright.jobfile import read_job_text

        return self.kept("read", text, lambda: read_job_text(text))

    def job(self, text: str) -> Job:
        """Return a job. JobError: the text isn't a job."""
        return self.read(text).job

    def chain(self, text: str) -> Chain:
        """Return the compiled chain of a job. JobError: the text isn't a job."""
        from gainwright.solve import Chain

        return self.kept("chain", text, lambda: Chain(self.job(text)))

    def plan(self, text: str) -> Plan:
        """Return the plan of a job. JobError: the text isn't a job."""
        from gainwright.plan import make_plan

        return self.kept("plan", text, lambda: make_plan(self.job(text)))

    def diagnoser(self, text: str, counted: ClosedCases | None = None) -> Diagnoser:
        """Return the diagnoser of a job; `counted` are the shop's closed cases. JobError: the text isn't a job."""
        from gainwright.diagnose import Diagnoser

        known = f"{counted!r}\n{text}"
        return self.kept("diagnoser", known, lambda: Diagnoser(self.job(text), closed=counted))
