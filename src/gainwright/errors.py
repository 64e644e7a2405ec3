"""The root of all errors that a user may see.

An error says where it is, what is wrong, which rule it breaks and how to fix it. `exit_status` is the one place
where an error becomes a process status; a web layer maps the same classes to an HTTP answer.
"""

from __future__ import annotations

from functools import partial
from typing import Any


class GainwrightError(Exception):
    """A mistake in the input or the call that the user can correct.

    Parameters
    ----------
    what : what is wrong, naming the value.
    code : stable identifier, `lower_case`.
    where : file with line and column, key path, node or option; may be empty.
    rule : what would be valid; may be empty.
    remedy : the next thing to do; may be empty.
    """

    def __init__(self, what: str, *, code: str, where: str = "", rule: str = "", remedy: str = "") -> None:
        super().__init__(what)
        self.code = code
        self.where = where
        self.what = what
        self.rule = rule
        self.remedy = remedy

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        return "; ".join(part for part in (head, self.rule, self.remedy) if part)

    def __reduce__(self) -> tuple[Any, ...]:
        """Let another process raise it."""
        return partial(type(self), self.what, code=self.code, where=self.where, rule=self.rule, remedy=self.remedy), ()

    def as_json(self) -> dict[str, str]:
        """Return it as the JSON object of an HTTP answer."""
        return {name: getattr(self, name) for name in ("code", "where", "what", "rule", "remedy")}

    def with_place(self, where: str) -> GainwrightError:
        """Return the same error with a place, keeping its class."""
        return type(self)(self.what, code=self.code, where=where, rule=self.rule, remedy=self.remedy)


class QuantityError(GainwrightError, ValueError):
    """A text that isn't a quantity of the expected dimension."""


class JobError(GainwrightError, ValueError):
    """A job file, or a change to a job, that can't be accepted."""


class RecordingError(GainwrightError):
    """A recording that can't be read or measured."""


class ReadingError(GainwrightError, ValueError):
    """Readings of an instrument that can't be used."""


class CallError(GainwrightError):
    """An option or argument that can't be used."""


class AnswerError(CallError, ValueError):
    """A typed text that can't be read: the text, what would be valid, an example."""


def exit_status(error: GainwrightError) -> int:
    """Return the process exit status for an error: 2, the input or the call is invalid."""
    del error
    return 2
