"""Starting a job: examples, a new file, what is assumed where it is silent."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import CallError

if TYPE_CHECKING:
    from pathlib import Path

    from gainwright.jobfile import Assumption


def examples() -> dict[str, str]:
    """Return the examples by name with what they are."""
    from gainwright.jobfile import examples as listed

    return listed()


def new_job(file: Path, *, like: str) -> None:
    """Write a commented job file to start from.

    Raises
    ------
    CallError : no such example, the file exists already, or it can't be written.
    """
    from gainwright.jobfile import example_text, save

    text = example_text(like)
    if file.exists():
        raise CallError(
            "exists already",
            code="exists",
            where=str(file),
            rule="nothing is overwritten",
            remedy="choose another name",
        )
    save(file, text)


def assumptions(file: Path) -> list[Assumption]:
    """Return everything that is assumed where a job doesn't say.

    Raises
    ------
    JobError : the file is no job.
    """
    from gainwright.jobfile import Assumption, assumed_of_instruments, facts, read_job

    read = read_job(file)
    found = [
        Assumption(fact.path, str(fact.quantity), fact.reason)
        for fact in facts(read.job, read.wiring).values()
        if not fact.given
    ]
    return found + assumed_of_instruments(read.job)
