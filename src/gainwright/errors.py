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

    def _named(self) -> dict[str, str]:
        """Return everything but the first parameter, by name."""
        return {name: getattr(self, name) for name in ("code", "where", "rule", "remedy")}

    def __reduce__(self) -> tuple[Any, ...]:
        """Let another process raise it."""
        return partial(type(self), self.what, **self._named()), ()

    def as_json(self) -> dict[str, str]:
        """Return it as the JSON object of an HTTP answer."""
        return {"code": self.code, "where": self.where, "what": self.what, "rule": self.rule, "remedy": self.remedy}

    def with_place(self, where: str) -> GainwrightError:
        """Return the same error with a place, keeping its class."""
        return self.with_texts(where=where)

    def with_texts(self, what: str = "", **texts: str) -> GainwrightError:
        """Return the same error with some of its texts changed, keeping its class."""
        return type(self)(what or self.what, **{**self._named(), **texts})


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


class DoubtfulReadingError(AnswerError):
    """A reading that was probably meant otherwise: it is stored once its writer says which is right.

    Attributes
    ----------
    candidate : what was probably meant, as it would be typed.
    """

    def __init__(
        self, what: str, *, candidate: str, code: str = "asked_about", where: str = "", rule: str = "", remedy: str = ""
    ) -> None:
        super().__init__(what, code=code, where=where, rule=rule, remedy=remedy)
        self.candidate = candidate

    def _named(self) -> dict[str, str]:
        return {**super()._named(), "candidate": self.candidate}

    def as_json(self) -> dict[str, str]:
        """Return it as the JSON object of an HTTP answer."""
        return {**super().as_json(), "candidate": self.candidate}


def exit_status(error: GainwrightError) -> int:
    """Return the process exit status for an error: 2, the input or the call is invalid."""
    del error
    return 2
