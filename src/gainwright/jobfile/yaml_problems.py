"""What is wrong with a text that isn't YAML, in our own words instead of the parser's."""

from __future__ import annotations

import re
from typing import Any

from gainwright.texts import say

_SENTENCES = (
    (re.compile(r"mapping values are not allowed"), say("a colon is where no key can be")),
    (re.compile(r"could not find expected ':'"), say("the colon after a key is missing")),
    (re.compile(r"found character '\\t'|tab character"), say("a tab indents it; only spaces can")),
    (re.compile(r"found character"), say("a value can't begin with this character unless it is in quotes")),
    (re.compile(r"expected ',' or '\]'"), say("a comma or the closing bracket is missing")),
    (re.compile(r"expected ',' or '\}'"), say("a comma or the closing brace is missing")),
    (re.compile(r"expected <block end>"), say("it is indented otherwise than the lines that belong with it")),
    (re.compile(r"(?:sequence entries|mapping keys) are not allowed"), say("an entry is where none can be")),
    (re.compile(r"unexpected end of stream"), say("a quote is opened and not closed")),
    (re.compile(r"unexpected document separator"), say("a quote is opened and not closed")),
    (re.compile(r"undefined alias"), say("a value begins with * and refers to nothing; put it in quotes")),
    (re.compile(r"expected alphabetic or numeric|expected .* anchor|duplicate anchor"), say("a value begins with & or * without being in quotes")),
    (re.compile(r"unknown escape|expected escape|hexadecimal"), say("a backslash in double quotes is followed by something unknown")),
    (re.compile(r"special characters are not allowed|unacceptable character"), say("it contains a control character")),
    (re.compile(r"expected the node content"), say("a value is missing")),
    (re.compile(r"expected '?<document start>"), say("something stands outside of all keys")),
    (re.compile(r"directive|incompatible YAML"), say("a line begins with %")),
    (re.compile(r"could not determine a constructor|tag"), say("a value begins with ! without being in quotes")),
    (re.compile(r"unhashable|unacceptable key"), say("a list or a mapping stands where a key must be")),
    (re.compile(r"for merging"), say("<< must be followed by a mapping")),
    (re.compile(r"integer string conversion|too large"), say("a number has too many digits")),
    (re.compile(r"block scalar|indentation"), say("a text of several lines begins in a way that can't be read")),
)  # fmt: skip
"""Pattern of a problem as the parser words it -> our words."""


def problem_of(error: Exception) -> Any:
    """Return what is wrong, from an error of the parser."""
    said = str(getattr(error, "problem", None) or getattr(error, "context", None) or error)
    return next((words for pattern, words in _SENTENCES if pattern.search(said)), say("it can't be read"))
