"""The revisions of a store's tables, in order; each changes the tables, and what is in them, from the one before it."""

from __future__ import annotations

from gainwright.adapters.store.migrations import (
    checksums,
    closed_causes,
    closed_sorts,
    entry_keys,
    first_tables,
    sealed_time,
    searched_words,
    step_notes,
)

REVISIONS = {
    "1": first_tables.upgrade,
    "2": searched_words.upgrade,
    "3": closed_causes.upgrade,
    "4": entry_keys.upgrade,
    "5": step_notes.upgrade,
    "6": closed_sorts.upgrade,
    "7": checksums.upgrade,
    "8": sealed_time.upgrade,
}
"""Revision -> the function that makes it."""
