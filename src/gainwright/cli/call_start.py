"""A call without a job file: its chain is chosen by number, by a description, or by an option."""

from __future__ import annotations

import re
import sys
from typing import TYPE_CHECKING

from gainwright.errors import CallError, GainwrightError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import TextIO

    from gainwright.jobfile import JobFile
    from gainwright.jobfile.starting.typical import TypicalChain


def refuse_chain(chain: str, also: Sequence[str], write_to: Path | None) -> None:
    """Refuse the options of a call where there is a job or a case already. CallError: one is given."""
    if chain or also or write_to is not None:
        raise CallError(
            "a job or a case, and a typical chain, can't be combined",
            code="bad_call",
            remedy="leave --chain, --also and --write-job out, or the job",
        )


def job_of_call(chain: str, also: Sequence[str], *, ask: bool, write_to: Path | None) -> JobFile:
    """Return the job of a call: the chain that was named, or else the one that the person at the terminal chooses.

    Parameters
    ----------
    also : ids of what may be there too.
    ask : whether to ask when no chain is named.
    write_to : a new job file to write, or None.

    Raises
    ------
    CallError : no chain was named or chosen, or the file exists already.
    """
    from gainwright.cli.base import say, write_new_file
    from gainwright.jobfile import read_job_text
    from gainwright.jobfile.starting.typical import chain_text

    if not chain and not ask:
        raise _no_job()
    if not chain:
        chosen, more = ask_chain(sys.stdin, say)
        chain, also = chosen.id, [*also, *more]
    text = chain_text(chain, also)
    if write_to is not None:
        write_new_file(write_to, text)
        say(f"{write_to} written")
    return read_job_text(text)


def ask_chain(lines: TextIO, say: Callable[[str], None]) -> tuple[TypicalChain, tuple[str, ...]]:
    """Ask which chain is in the car until one is chosen; return it and the ids of what else was mentioned.

    Raises
    ------
    CallError : the lines end without a choice.
    """
    from gainwright.jobfile.starting.typical import CHAINS

    if lines.isatty():
        say("No job file. What is in the car? Type a number, or say it in your own words.")
        say(_listed(CHAINS))
    offered: Sequence[TypicalChain] = CHAINS
    for line in lines:
        said = " ".join(line.split())
        if said.lower() in ("quit", "stop", "exit"):
            break
        found, extras = _chosen(said, offered)
        if len(found) == 1:
            say(f"{_named(found[0])}. If it is another, type quit and begin again.")
            return found[0], extras
        offered = found or CHAINS
        say("Which of these is it?" if found else "That isn't clear. Type a number, or name amplifiers and radio.")
        say(_listed(offered))
    raise _no_job()


def _chosen(said: str, offered: Sequence[TypicalChain]) -> tuple[tuple[TypicalChain, ...], tuple[str, ...]]:
    from gainwright.jobfile.starting.described import described_chain
    from gainwright.jobfile.starting.typical import typical_chain
    from gainwright.quantities import whole_number

    found = described_chain(said)
    number = re.match(r"[0-9]+(?= |$)(?! *-?(?:ch|kan))", said)
    if number:
        at = whole_number(number[0]) or 0
        return tuple(offered[at - 1 : at]) if at else (), found.extras
    try:
        return (typical_chain(said),), ()
    except GainwrightError:
        among = tuple(chain for chain in found.chains if chain in offered)
        return among or found.chains, found.extras


def _named(chain: TypicalChain) -> str:
    return f"{chain.title} ({chain.about})" if chain.about else str(chain.title)


def _listed(chains: Sequence[TypicalChain]) -> str:
    return "\n".join(f"{number:>4}  {_named(chain)}" for number, chain in enumerate(chains, 1))


def _no_job() -> CallError:
    from gainwright.jobfile.starting.typical import CHAINS

    return CallError(
        "the job is missing",
        code="no_job",
        rule=f"without one, --chain is one of {', '.join(chain.id for chain in CHAINS)}",
        remedy="give a job file, the name of a stored case, or --chain",
    )
