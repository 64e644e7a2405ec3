"""The text of a job with a yes/no instrument."""

from __future__ import annotations


def with_lamp(text: str, marks: str = "signal: level over 0.5 V") -> str:
    """Return a job's text with an indicator called lamp, its marks as YAML between braces."""
    assert text.count("instruments:\n") == 1
    return text.replace("instruments:\n", f"instruments:\n  lamp: {{kind: indicator, marks: {{{marks}}}}}\n")
