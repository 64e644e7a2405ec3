"""Coroutines in tests, run in a thread of their own, since a browser driven in this one keeps its event loop running."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Coroutine

_T = TypeVar("_T")


def run_apart(coroutine: Coroutine[Any, Any, _T]) -> _T:
    """Run a coroutine to its end and return what it returns."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, coroutine).result()
