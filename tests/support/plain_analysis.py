"""The two ways to analyse music, by name, for tests that hold for both."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.programme.plain_pair import PlainPair

if TYPE_CHECKING:
    from gainwright.programme.channel_pair import ChannelPair

WAYS: dict[str, type[ChannelPair] | None] = {"compiled": None, "plain": PlainPair}
"""Name of a way to analyse -> what `Analysis` is given for it."""
