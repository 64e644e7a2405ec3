"""Job files of typical chains, each made once in a process: a dozen edits of a text one after the other."""

from __future__ import annotations

import functools

from gainwright.jobfile.starting.typical import chain_text


@functools.cache
def typical_text(chain: str, *extras: str) -> str:
    """Return the job file of a typical chain with some extras."""
    return chain_text(chain, extras)
