"""Models of jobs, made once and kept while they are looked at: the text of a job is what they are known by."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import TYPE_CHECKING, Any, TypeVar, cast

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.diagnose import Diagnoser
    from gainwright.jobfile import JobFile
    from gainwright.model import Job
    from gainwright.plan import Plan
    from gainwright.solve import Chain

MOST = 48
"""Models that are kept; the one that was used longest ago goes first."""

_T = TypeVar("_T")


class Models:
    """Makes each model once, also when two requests ask at the same time."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[str, str], Any] = OrderedDict()
        self._making: dict[tuple[str, str], threading.Lock] = {}
        self._lock = threading.Lock()

    def kept(self, kind: str, text: str, make: Callable[[], _T]) -> _T:
        """Return what was made of a text, made now when it wasn't.

        Parameters
        ----------
        kind : tells apart what is made of the same text.
        """
        key = (kind, text)
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return cast("_T", self._kept[key])
            making = self._making.setdefault(key, threading.Lock())
        with making:
            with self._lock:
                if key in self._kept:
                    return cast("_T", self._kept[key])
            made = make()
            with self._lock:
                self._kept[key] = made
                self._making.pop(key, None)
                while len(self._kept) > MOST:
                    self._kept.popitem(last=False)
            return made

    def has(self, kind: str, text: str) -> bool:
        """Whether it is at hand."""
        with self._lock:
            return (kind, text) in self._kept

    def read(self, text: str) -> JobFile:
        """Return a job file read. JobError: it can't be."""
        from gainwright.jobfile import read_job_text

        return self.kept("read", text, lambda: read_job_text(text))

    def job(self, text: str) -> Job:
        """Return a job. JobError: the text is none."""
        return self.read(text).job

    def chain(self, text: str) -> Chain:
        """Return the compiled chain of a job. JobError: the text is none."""
        from gainwright.solve import Chain

        return self.kept("chain", text, lambda: Chain(self.job(text)))

    def plan(self, text: str) -> Plan:
        """Return the plan of a job. JobError: the text is none."""
        from gainwright.plan import make_plan

        return self.kept("plan", text, lambda: make_plan(self.job(text)))

    def diagnoser(self, text: str) -> Diagnoser:
        """Return what diagnoses a job. JobError: the text is none."""
        from gainwright.diagnose import Diagnoser

        return self.kept("diagnoser", text, lambda: Diagnoser(self.job(text)))
