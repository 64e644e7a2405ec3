"""Class exercises: a file without what is hidden, worked through within limits, replayed into a table."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from commands import run

from gainwright.app.practice.class_exercises import (
    Replay,
    class_table,
    diagnosers_of,
    make_exercise,
    replay,
    result_of,
)
from gainwright.app.practice.practice import practise
from gainwright.diagnose import Diagnoser
from gainwright.errors import CallError, GainwrightError
from gainwright.jobfile import example_text
from gainwright.jobfile.class_files import exercise_text, fingerprint, read_exercise, read_result, result_text
from gainwright.model.class_exercise import ClassExercise, PracticeLimits
from gainwright.report.class_table import class_table_csv, class_table_text
from gainwright.simulated import SimulatedHiddenRigs

RIGS = SimulatedHiddenRigs()
SMALL = {"one_amplifier": {"like": "one_amplifier"}}
LAMP = "look amp.power_lamp"


@pytest.fixture(scope="module")
def exercise() -> ClassExercise:
    """Return an exercise with one task and limits."""
    return make_exercise(SMALL, title="First week", seeds=[4], limits=PracticeLimits(tests=2, minutes=30, guesses=2))


@pytest.fixture(scope="module")
def diagnosers(exercise: ClassExercise) -> dict[str, Diagnoser]:
    """Return the diagnosers of its chains."""
    return diagnosers_of(exercise)


def hidden(diagnoser: Diagnoser, seed: int = 4) -> tuple[str, str]:
    """Return what a seed hides."""
    practice = practise(diagnoser.job, rigs=RIGS, seed=seed, diagnoser=diagnoser)
    return practice.cause, practice.where


def test_an_exercise_is_a_file_that_does_not_show_what_is_hidden(
    exercise: ClassExercise, diagnosers: dict[str, Diagnoser]
) -> None:
    """It is read again as written, from YAML and JSON; neither cause nor place of the fault is in it."""
    text = exercise_text(exercise)
    assert read_exercise(text.encode()) == exercise
    assert read_exercise(json.dumps(exercise.model_dump(mode="json")).encode()) == exercise
    assert hidden(diagnosers["one_amplifier"])[0] not in text
    own = make_exercise({"mine": {"job": example_text("full_range")}}, each=2)
    again = read_exercise(exercise_text(own).encode())
    assert again == own
    assert len(again.tasks) == 2
    assert fingerprint(own) != fingerprint(exercise)
    assert fingerprint(exercise.model_copy(update={"title": "Renamed"})) == fingerprint(exercise)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("seed: 4", "seed: 4, cause: lead_open"), "the key 'cause' is unknown"),
        (("seed: 4", "seed: -4"), "greater than or equal to 0"),
        (("chain: one_amplifier", "chain: other"), "a task is on the chain other; there is one_amplifier"),
        (("like: one_amplifier", "like: moon"), "there is no example moon"),
        (("like: one_amplifier", "job: 'format: 1'"), "chains.one_amplifier"),
        (("tests: 2", "tests: 0"), "greater than or equal to 1"),
        (("kind: class exercise", "kind: job"), "class exercise"),
        (("tasks:", "tusks:"), "tasks"),
        (("format: 1", "format: [1"), "exercise:"),
    ],
)
def test_a_bad_exercise_gets_one_sentence(exercise: ClassExercise, change: tuple[str, str], said: str) -> None:
    """With the place in the file."""
    text = exercise_text(exercise).replace("- chain: one_amplifier\n  seed: 4", "- {chain: one_amplifier, seed: 4}")
    assert change[0] in text
    with pytest.raises(GainwrightError) as caught:
        read_exercise(text.replace(*change, 1).encode())
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_limits_hold(exercise: ClassExercise, diagnosers: dict[str, Diagnoser]) -> None:
    """On tests, minutes and guesses; the last guess ends the task."""
    diagnoser = diagnosers["one_amplifier"]

    def begin(limits: PracticeLimits) -> Replay:
        return Replay(practise(diagnoser.job, rigs=RIGS, seed=4, diagnoser=diagnoser), limits)

    going = begin(exercise.limits)
    going.test(LAMP)
    going.test("look amp.gain")
    with pytest.raises(CallError, match="2 tests were made, which is the limit"):
        going.test("look head.mute")
    wrong = next(c for c in diagnoser.causes if (c.id, c.where) != hidden(diagnoser))
    right = [going.guess(wrong.id, wrong.where), going.ended, going.guess(wrong.id, wrong.where), going.ended]
    assert right == [False, False, False, True]
    with pytest.raises(CallError, match="2 guesses were made"):
        going.guess(*hidden(diagnoser))
    short = begin(PracticeLimits(minutes=1))
    short.test(LAMP)
    with pytest.raises(CallError, match="1 minutes were used"):
        short.test("look amp.gain")


def test_a_result_is_replayed_not_believed(exercise: ClassExercise, diagnosers: dict[str, Diagnoser]) -> None:
    """A step that can't be, one after the end, and the result of another exercise are refused with one sentence."""
    diagnoser = diagnosers["one_amplifier"]
    right = f"it is {' '.join(hidden(diagnoser))}"
    good = result_of(exercise, " Ada  L. ", [[LAMP, right]], program="0.1.0")
    assert read_result(result_text(good).encode()) == good
    found = replay(exercise, good, 0, diagnoser, RIGS)
    assert (found.solved, found.guesses, len(found.practice.steps), good.learner) == (True, 1, 1, "Ada L.")
    for did, why in [
        ([right, LAMP], "after the end"),
        (["look moon"], "there is no test"),
        ([LAMP, LAMP], "there is no test"),
    ]:
        with pytest.raises(CallError, match=why):
            replay(exercise, result_of(exercise, "Ada", [did], program=""), 0, diagnoser, RIGS)
    other = make_exercise(SMALL, seeds=[5])
    with pytest.raises(CallError, match="another exercise"):
        class_table(other, [good], rigs=RIGS, diagnosers=diagnosers)
    with pytest.raises(CallError, match="two results of Ada"):
        class_table(exercise, [good, good], rigs=RIGS, diagnosers=diagnosers)
    with pytest.raises(CallError, match="name of the learner"):
        result_of(exercise, "  ", [[]], program="")


def test_a_class_from_the_file_to_the_table(tmp_path: Path, diagnosers: dict[str, Diagnoser]) -> None:
    """Written, checked, worked through by two learners and counted by the command; minutes are those of the tests."""
    done = run(
        "class",
        "write",
        "week.yaml",
        "--like",
        "one_amplifier",
        "--seeds",
        "4",
        "--tests",
        "5",
        "--title",
        "Week 1",
        folder=tmp_path,
    )
    assert (done.returncode, done.stdout) == (0, "written: week.yaml, 1 task on 1 chain\n"), done.stderr
    checked = run("class", "check", "week.yaml", folder=tmp_path)
    assert checked.stdout == "Week 1: 1 task on 1 chain; 5 tests\n"
    cause, where = hidden(diagnosers["one_amplifier"])

    def minutes(test: str) -> float:
        diagnoser = diagnosers["one_amplifier"]
        return practise(diagnoser.job, rigs=RIGS, seed=4, diagnoser=diagnoser).ask(test).minutes

    for name, typed in (("ada", f"{LAMP}\nit is {cause} {where}\n"), ("Bob", "look amp.gain\ngive up\n")):
        work = run(
            "class", "work", "week.yaml", "--learner", name, "--result", f"{name}.json", typed=typed, folder=tmp_path
        )
        assert work.returncode == 0, work.stderr
        assert "Task 1 of 1; at most 5 tests" in work.stderr
    table = run("class", "table", "week.yaml", "Bob.json", "ada.json", "--csv", "t.csv", "--json", folder=tmp_path)
    assert table.returncode == 0, table.stderr
    rows = json.loads(table.stdout)["rows"]
    assert [(r["learner"], r["solved"], r["tests"], r["minutes"], r["cause"]) for r in rows] == [
        ("ada", True, 1, minutes(LAMP), cause),
        ("Bob", False, 1, minutes("look amp.gain"), cause),
    ]
    written = list(csv.DictReader(io.StringIO((tmp_path / "t.csv").read_text(encoding="utf-8"))))
    assert float(written[0]["times_short_way"]) == pytest.approx(minutes(LAMP) / rows[0]["short_way_minutes"], rel=0.01)
    assert (written[0]["solved"], written[1]["solved"], written[1]["times_short_way"]) == ("yes", "no", "")
    refused = run("class", "work", "week.yaml", "--learner", "ada", "--result", "ada.json", folder=tmp_path)
    assert (refused.returncode, "exists already" in refused.stderr) == (2, True)
    bad = run("class", "table", "ada.json", "ada.json", folder=tmp_path)
    assert (bad.returncode, bad.stderr.count("\n")) == (2, 1), bad.stderr


def test_the_table_sums_each_learner() -> None:
    """Minutes against the short way are those of the solved tasks."""
    from gainwright.report.class_table import ClassRow, ClassTable

    def row(learner: str, minutes: float, short: float, *, solved: bool) -> ClassRow:
        return ClassRow(learner, 1, "a", "lead_open", "x", solved, "", "", 1, 4, minutes, 2, short)

    rows = (
        row("Ada", 12.0, 6.0, solved=True),
        row("Ada", 8.0, 4.0, solved=True),
        row("Ada", 50.0, 5.0, solved=False),
        row("Bob", 1.0, 5.0, solved=False),
    )
    table = ClassTable("", rows)
    ada, bob = table.totals
    assert (ada.solved, ada.tasks, ada.tests, ada.minutes, ada.times) == (2, 3, 12, 70.0, 2.0)
    assert (bob.solved, bob.times) == (0, None)
    assert "Ada: 2 of 3 solved, 12 tests, 70 min, 2 times" in class_table_text(table)
    assert len(class_table_csv(table).splitlines()) == 5
