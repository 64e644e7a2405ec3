"""A YAML text that would take the parser long is refused before or as soon as a bound is met."""

from __future__ import annotations

import pytest

from gainwright.errors import JobError
from gainwright.jobfile import read_job_text
from gainwright.jobfile.editing.spans import compose
from gainwright.jobfile.yaml_limits import DEEPEST, LARGEST_BYTES, MOST_LINES, MOST_NODES

OPENED_BEHIND_AN_ALIAS = "a: &a 1\nb: *a\nc: "
ENDLESS = {
    "2,000 brackets behind an alias": OPENED_BEHIND_AN_ALIAS + "[" * 2000,
    "12,000 brackets with values between": OPENED_BEHIND_AN_ALIAS + "[a, " * 12_000,
    "brackets line by line": "a: " + "[\n" * 3000,
    "braces": "a: " + "{a: " * 3000,
    "dashes": "- " * 3000,
    "question marks": "? " * 3000,
    "indents": "".join(" " * i + "a:\n" for i in range(200)),
    "a flat list of 900 kB": "a: [" + "a," * 450_000 + "]",
    "a flat list with more values than a job": "a: [" + "a," * (MOST_NODES + 1) + "]",
    "lines": "a: 1\n" + "#\n" * MOST_LINES,
    "old line ends": "a: 1\r\n" + "#\r\n" * MOST_LINES,
    "one long tag": "a: !" + "a" * 200_000,
    "one long word": "a: " + "a" * LARGEST_BYTES,
    "a hexadecimal number that can't be shown": "title: 0x" + "f" * 5000,
    "an octal number that can't be shown": "format: 0o" + "7" * 5000,
    "a value that contains itself": "a: &a [*a]",
}


@pytest.mark.parametrize("text", ENDLESS.values(), ids=list(ENDLESS))
def test_what_the_parser_would_follow_for_long_is_refused(text: str) -> None:
    """One sentence: where, what a file may have, what to do."""
    with pytest.raises(JobError) as caught:
        read_job_text(text, "my.yaml")
    assert caught.value.code == "too_large"
    assert caught.value.where.startswith("my.yaml")
    assert caught.value.rule
    assert caught.value.remedy


def test_an_edit_refuses_the_same() -> None:
    """The text of a job is composed once more where it is edited."""
    with pytest.raises(JobError, match="too many values"):
        compose(ENDLESS["12,000 brackets with values between"])


def test_what_is_within_the_bounds_is_read() -> None:
    """Brackets to the allowed depth, and a word with an exclamation mark, are no attack."""
    deep = "[" * (DEEPEST - 1) + "]" * (DEEPEST - 1)
    with pytest.raises(JobError) as caught:
        read_job_text(f"format: 1\nnote: now! {'x' * 300}\nstages: {deep}", "my.yaml")
    assert caught.value.code == "bad_value"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a: b: c", "a colon is where no key can be"),
        ("a: [1, 2", "the closing bracket is missing"),
        ("a: {b: 1", "the closing brace is missing"),
        ("a:\n\tb: 1", "a tab indents it"),
        ("a: 'open", "a quote is opened and not closed"),
        ("a: *nothing", "refers to nothing"),
        ("a: @x", "can't begin with this character"),
        ('a: "\\q"', "a backslash in double quotes"),
        ("a: 1\n  b: 2", "a colon is where no key can be"),
        ("a: \x1b[2J", "contains a control character"),
        ("a: " + "9" * 5000, "too many digits"),
        ("- a\nb: 1", "indented otherwise"),
    ],
)
def test_the_parsers_words_are_ours(text: str, words: str) -> None:
    """What is no YAML is described in a sentence that can be translated, not in the parser's words."""
    with pytest.raises(JobError) as caught:
        read_job_text(text, "my.yaml")
    assert caught.value.code == "not_yaml"
    assert words in caught.value.what
