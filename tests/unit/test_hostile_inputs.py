"""The files that `attack_inputs` damages: whole ones work, damaged ones are refused in one sentence, and what once fell holds."""

from __future__ import annotations

import random

import attack_inputs
import hostile_files
import pytest
from attack_figures import Figures
from hostile_jobs import random_job
from hostile_recordings import random_recording

from gainwright.errors import CallError, GainwrightError, JobError, ReadingError

FALLEN_MUSIC = ("1e400", '"\\ud800"', "9" * 5000, "[" * 3000, '{"a": ' * 3000)


@pytest.mark.parametrize("what", hostile_files.KINDS)
def test_what_is_damaged_was_sound(what: str) -> None:
    """Or every refusal would be for another reason."""
    sound, use = hostile_files.KINDS[what]
    use(sound())


@pytest.mark.parametrize("what", [*hostile_files.KINDS, "backups", "recordings", "job files"])
def test_few_damaged_files_hold(what: str) -> None:
    """Three of each kind, always the same ones; the long form is `python3 tasks.py attack --only inputs`."""
    make, use, _ = attack_inputs.kinds()[what]
    figures = Figures(what)
    for number in range(3):
        attack_inputs.tried(figures, make, use, f"1 {what} {number}")
    assert figures.falls == []


@pytest.mark.parametrize("number", FALLEN_MUSIC)
def test_numbers_and_characters_that_are_none_are_no_result_of_music(number: str) -> None:
    """In place of the seconds of play, or around all of it: one short sentence."""
    text = hostile_files.KINDS["music results"][0]().replace('"seconds": 200.0', f'"seconds": {number}')
    with pytest.raises(ReadingError) as caught:
        hostile_files.use_music(text)
    assert caught.value.code == "no_music"
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("text", ["[" * 3000, '{"a": ' + "9" * 400 + "}"])
def test_calibrations_that_are_none_are_refused(text: str) -> None:
    """Depth and digits without end."""
    with pytest.raises(CallError) as caught:
        hostile_files.use_calibrations(text)
    assert caught.value.code == "damaged"


@pytest.mark.parametrize(
    "long", [f"heard: sub, {'k' * 5000}: 1", f"heard: {'s' * 5000}", f"heard: sub, with: '{'on ' * 5000}'"]
)
def test_what_is_long_is_shown_in_part(long: str) -> None:
    """Wherever it is: in the sentence, and in its place."""
    with pytest.raises(JobError) as caught:
        hostile_files.use_evidence(hostile_files.EVIDENCE.replace("heard: sub", long))
    assert len(str(caught.value)) < 600


@pytest.mark.parametrize("step", ["188888888888", "1e200", "-99999"])
def test_a_step_that_no_control_has_is_refused(step: str) -> None:
    """Among ordinary ones (once a singular matrix)."""
    with pytest.raises(ReadingError, match="step") as caught:
        hostile_files.use_column(hostile_files.COLUMN.replace("\n18,", f"\n{step},"))
    assert caught.value.remedy


def test_lines_that_the_csv_reader_refuses_are_refused() -> None:
    """Cells of over 131,072 characters, in readings and in a table of cases: told with their line."""
    with pytest.raises(ReadingError) as caught:
        hostile_files.use_column(f"step,v_rms\n10,1.5\n11;{'1' * 140_000}")
    assert caught.value.where.endswith(":3")
    with pytest.raises(CallError, match="line 2: a value is far too long"):
        hostile_files.use_history(f"cause,note\nlead_open,{'x' * 140_000}\n")


@pytest.mark.parametrize(("what", "seed"), [("recordings", "77 recordings 2517"), ("backups", "77 backups 73")])
def test_what_a_long_attack_found_holds(what: str, seed: str) -> None:
    """A response whose square was no number; a backup in which the name of a column was damaged."""
    make, use, _ = attack_inputs.kinds()[what]
    figures = Figures(what)
    attack_inputs.tried(figures, make, use, seed)
    assert figures.falls == []


def test_a_text_that_is_none_in_a_backup_is_told() -> None:
    """A byte of a job's text that is no UTF-8: refused as damaged (once an error of the database's driver)."""
    content = hostile_files._backup().replace(b"title: ", b"title:\xbb", 1)
    with pytest.raises(CallError) as caught:
        hostile_files.use_backup(content)
    assert caught.value.code == "store_damaged"


@pytest.mark.parametrize("seed", range(3))
def test_the_seed_alone_draws(seed: int) -> None:
    """The same seed gives the same file."""
    for make in (random_job, random_recording):
        assert make(random.Random(seed)) == make(random.Random(seed))  # noqa: S311  an attack, not a secret


def test_an_attack_counts_what_it_sees() -> None:
    """A refusal is one, an error that nobody foresaw is a traceback with its place, a slow refusal falls."""
    figures = Figures("files")

    def refuse(_content: object) -> None:
        raise GainwrightError("no", code="no")

    def fall(_content: object) -> None:
        raise ZeroDivisionError("x")

    attack_inputs.tried(figures, lambda _draw: ("a", 1), refuse, "s")
    attack_inputs.tried(figures, lambda _draw: ("a", 1), fall, "s")
    assert (figures.tried, figures.refused, figures.tracebacks) == (2, 1, 1)
    assert "ZeroDivisionError" in figures.falls[0]
    assert not figures.held
