"""Reading job files: each kind of mistake is reported once, with its location and what would be valid."""

from __future__ import annotations

from pathlib import Path

import pytest

from gainwright.errors import JobError
from gainwright.jobfile import example_text, examples, read_job, read_job_text

SMALL = """\
format: 1
title: small
stages:
  head: {kind: head_unit, rated_output: 2 V, outputs: {sub: {sides: [mono]}}}
  amp:
    kind: amplifier
    from: head.sub
    power: 300 W @ 4 ohm
    sensitivity: 0.2 .. 5 V
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 300 W}
"""


def refusal(text: str) -> JobError:
    """Return the error that a text brings."""
    with pytest.raises(JobError) as caught:
        read_job_text(text, "my.yaml")
    assert "\n" not in str(caught.value)
    return caught.value


def test_base_job_is_valid() -> None:
    """The job from which the mistakes below are made is valid."""
    job = read_job_text(SMALL).job
    assert list(job.stages) == ["head", "amp", "sub"]


@pytest.mark.parametrize("name", list(examples()))
def test_every_example_is_read_and_says_what_it_is(name: str) -> None:
    """Each is a different situation, with a line that describes it."""
    assert read_job_text(example_text(name), name).job.title
    assert len(examples()) == 10


@pytest.mark.parametrize(
    ("old", "new", "code", "place", "says"),
    [
        ("power: 300 W @ 4 ohm", "power: 300 W", "no_quantity", "my.yaml:8:5: stages.amp.power", "300 W @ 4 ohm"),
        ("rated_output: 2 V", "rated_output: 2 W", "wrong_unit", "my.yaml:4:27: stages.head.rated_output", "voltage"),
        ("rated_output: 2 V", "rated_output: -2 V", "out_of_bounds", "my.yaml:4:27", "at least 0 V"),
        ("rated_output: 2 V", "rated_output: .nan", "no_quantity", "my.yaml:4:27", "4 V"),
        ("rated_output: 2 V", "rated_output: .inf", "no_quantity", "my.yaml:4:27", "4 V"),
        ("0.2 .. 5 V", "5 .. 5 V", "empty_range", "my.yaml:9:5: stages.amp.sensitivity", "the same"),
        (
            "sensitivity:",
            "sensitivty:",
            "unknown_key",
            "my.yaml:9:5: stages.amp.sensitivty",
            "did you mean sensitivity",
        ),
        ("title:", "tittle:", "unknown_key", "my.yaml:2:1: tittle", "did you mean title"),
        ("kind: amplifier", "kind: amplfier", "unknown_kind", "my.yaml:6:5: stages.amp.kind", "did you mean amplifier"),
        ("    kind: amplifier\n", "", "unknown_kind", "my.yaml:5:3: stages.amp.kind", "kinds are"),
        ("    from: head.sub\n", "", "missing_key", "my.yaml:5:3: stages.amp.from", "add from"),
        ("format: 1", "format: 2", "bad_value", "my.yaml:1:1: format", "1"),
        ("from: head.sub", "from: head.subb", "dangling_reference", "my.yaml:7:5: stages.amp.from", "did you mean sub"),
        ("from: head.sub", "from: haed", "dangling_reference", "my.yaml:7:5: stages.amp.from", "did you mean head"),
        ("from: head.sub", "from: head.sub.left", "dangling_reference", "my.yaml:7:5", "there is mono"),
        ("from: head.sub", "from: sub", "bad_wiring", "my.yaml:", "circle"),
        ("from: amp,", "from: head.sub,", "bad_wiring", "my.yaml:5:3: stages.amp", "reaches no speaker"),
        ("title: small", "title: small\ntitle: twice", "duplicate_key", "my.yaml:3:1", "'title' is given twice"),
        (
            "title: small",
            "title: small\nallowance: {subb: 3 dB}",
            "dangling_reference",
            "my.yaml:3:13",
            "did you mean sub",
        ),
        ("title: small", "title: small\n1: one", "bad_key", "my.yaml", "not text"),
        ("title: small", "title: [small", "not_yaml", "my.yaml:", "missing colon, bracket or quote"),
        ("title: small", "title: small\n\tx: 1", "not_yaml", "my.yaml:3", "YAML"),
        ("title: small", "title: small\n---\nformat: 1", "not_yaml", "my.yaml", "2 documents"),
        ("title: small", "title: \0", "not_yaml", "my.yaml", "NUL"),
        ("{sides: [mono]}", "{sides: [middle]}", "bad_value", "my.yaml:4:", "left"),
        ("outputs: {sub", "volume: {steps: 30, at: 31}, outputs: {sub", "out_of_range", "my.yaml:4:", "30 or less"),
    ],
)
def test_a_mistake_is_reported_with_its_location(old: str, new: str, code: str, place: str, says: str) -> None:
    """Code, file with line and column, key path, and what would be valid."""
    assert old in SMALL
    error = refusal(SMALL.replace(old, new, 1))
    assert error.code == code, str(error)
    assert str(error).startswith(place), str(error)
    assert says in str(error)


def test_several_mistakes_are_reported_in_the_order_of_the_file() -> None:
    """The first in full, the others with their locations."""
    error = refusal(SMALL.replace("2 V", "2 W").replace("300 W @", "300 ohm @").replace("0.2 ..", "x .."))
    text = str(error)
    assert text.index("my.yaml:4") < text.index("my.yaml:8") < text.index("my.yaml:9")
    assert "and 2 more" in text


@pytest.mark.parametrize(
    "text", ["", "# only a comment\n", "- a\n- b\n", "just a word", "5", "null", "!!python/object:os.system {}"]
)
def test_a_file_that_is_not_a_job(text: str) -> None:
    """Empty files, lists, plain text and tags are refused with what to do."""
    assert refusal(text).code in {"not_a_job", "not_yaml", "missing_key", "unknown_key"}


def test_exploding_aliases_are_refused() -> None:
    """Nine lines that stand for ten thousand million values are refused before they are expanded."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 10)]
    error = refusal("\n".join(lines))
    assert error.code == "too_large"
    assert "my.yaml:4" in error.where


def test_an_alias_of_reasonable_size_is_accepted() -> None:
    """Two amplifiers with the same lead may share its lines."""
    text = SMALL.replace("sensitivity: 0.2 .. 5 V", "sensitivity: &s 0.2 .. 5 V").replace(
        "title: small", "title: a & b * c"
    )
    assert read_job_text(text).job.title == "a & b * c"


def test_alias_of_itself_is_refused() -> None:
    """A mapping inside itself has no end."""
    assert refusal("a: &a {b: *a}\n").code in {"too_large", "not_yaml", "unknown_key", "missing_key"}


def test_excessive_depth_is_refused() -> None:
    """Ten thousand brackets are refused without following them."""
    assert refusal("format: 1\nx: " + "[" * 10_000 + "]" * 10_000).code in {"too_large", "not_yaml"}


def write(folder: Path, content: bytes) -> Path:
    """Write a file."""
    path = folder / "job.yaml"
    path.write_bytes(content)
    return path


@pytest.mark.parametrize(
    ("content", "code", "says"),
    [
        (SMALL.encode("utf-16"), "encoding", "save it as UTF-8"),
        (SMALL.replace("small", "klein für").encode("latin-1"), "encoding", "0xfc"),
        (b"\x00\x01\x02\xff\xfe", "encoding", "UTF-8"),
        (b"", "not_a_job", "gainwright new"),
    ],
)
def test_other_encodings_are_refused(tmp_path: Path, content: bytes, code: str, says: str) -> None:
    """The encoding is named, with the byte and its line."""
    with pytest.raises(JobError) as caught:
        read_job(write(tmp_path, content))
    assert caught.value.code == code
    assert says in str(caught.value)


def test_byte_order_mark_and_other_line_endings_are_accepted(tmp_path: Path) -> None:
    """Files from other systems are read."""
    content = b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode()
    assert read_job(write(tmp_path, content)).job.title == "small"


def test_file_of_100_mb_is_refused(tmp_path: Path) -> None:
    """After its first 300 kB."""
    path = tmp_path / "recording.yaml"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    with pytest.raises(JobError, match="over 300 kB"):
        read_job(path)


def test_missing_file_and_folder_are_named(tmp_path: Path) -> None:
    """Each has its own message."""
    with pytest.raises(JobError, match="check the name"):
        read_job(tmp_path / "none.yaml")
    with pytest.raises(JobError, match="is a folder"):
        read_job(tmp_path)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + b"x" * 2_000_000, "is a PDF, not a job file"),
        (b"\x89PNG\r\n\x1a\n", "is a PNG picture"),
        (b"RIFF\x24\x00\x00\x00WAVEfmt ", "is a WAV recording"),
        (b"PK\x03\x04\x14\x00", "an office document"),
    ],
)
def test_other_kinds_of_file_are_named(tmp_path: Path, content: bytes, says: str) -> None:
    """A PDF given as a job is called a PDF, whatever its size, as a file and as an upload."""
    path = tmp_path / "car.yaml"
    path.write_bytes(content)
    with pytest.raises(JobError, match=says) as caught:
        read_job(path)
    assert caught.value.code == "another_kind_of_file"
    with pytest.raises(JobError, match="is a PDF"):
        read_job_text("%PDF-1.4\n1 0 obj")


def test_a_comma_inside_braces_is_explained() -> None:
    """YAML ends the value at the comma: `{rated_output: 0,5 V}` has a key too many."""
    with pytest.raises(JobError) as caught:
        read_job_text("format: 1\nstages:\n  head: {kind: head_unit, rated_output: 0,5 V}\n")
    assert caught.value.code == "comma_in_braces"
    assert caught.value.remedy.startswith("write 0.5 V")
