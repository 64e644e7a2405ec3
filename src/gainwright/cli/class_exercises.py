"""Commands about class exercises: a teacher writes one, learners work through it, their results become a table."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainwright import __version__
from gainwright.cli.base import Json, app, print_json, print_text, say, write_new_file

if TYPE_CHECKING:
    from gainwright.model.class_exercise import ClassExercise

group = typer.Typer(
    name="class",
    help="Hand out exercises to a class, and make a table of the results.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(group)
ExerciseFile = Annotated[Path, typer.Argument(metavar="FILE", help="The class exercise.")]
SEEDS = "Numbers with commas between; without any, some are drawn for each chain."


@group.command()
def write(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file.")],
    like: Annotated[list[str] | None, typer.Option(metavar="EXAMPLE", help="An example as chain.")] = None,
    job: Annotated[list[Path] | None, typer.Option(help="A job file as chain.")] = None,
    seeds: Annotated[str, typer.Option(help=SEEDS)] = "",
    each: Annotated[int, typer.Option(min=1, max=50, help="How many are drawn for each chain.")] = 3,
    tests: Annotated[int | None, typer.Option(min=1, max=1000, help="Most tests in each task.")] = None,
    minutes: Annotated[float | None, typer.Option(help="No test is begun after these minutes.")] = None,
    guesses: Annotated[int | None, typer.Option(min=1, max=100, help="Most guesses in each task.")] = None,
    title: Annotated[str, typer.Option(help="The title.")] = "",
) -> None:
    """Write a class exercise: chains, seeds that hide faults, limits."""
    from gainwright.app.practice.class_exercises import make_exercise
    from gainwright.errors import CallError
    from gainwright.jobfile import read_job
    from gainwright.jobfile.class_files import exercise_text, read_exercise
    from gainwright.model.class_exercise import PracticeLimits
    from gainwright.quantities import whole_number

    numbers = [whole_number(part) for part in seeds.split(",") if part.strip()]
    if None in numbers:
        raise CallError(f"{seeds!r} isn't a list of seeds", code="bad_seed", remedy="write 1,2,3")
    if minutes is not None and not 0 < minutes <= 100_000:
        raise CallError(f"{minutes:g} minutes can't be a limit", code="bad_limit", rule="it is above 0")
    chains = {name: {"like": name} for name in like or []}
    for path in job or []:
        chains[path.stem[:40]] = {"job": read_job(path).text}
    made = make_exercise(
        chains,
        title=title,
        seeds=[number for number in numbers if number is not None],
        each=each,
        limits=PracticeLimits(tests=tests, minutes=minutes, guesses=guesses),
    )
    text = exercise_text(made)
    read_exercise(text.encode(), str(file))
    write_new_file(file, text)
    print_text(f"written: {file}, {_count(made)}")


@group.command()
def check(file: ExerciseFile, as_json: Json = False) -> None:
    """Check a class exercise: its chains, seeds and limits."""
    from gainwright.app.practice.limits import limit_words

    found = _exercise(file)
    if as_json:
        tasks = [{"chain": task.chain, "seed": task.seed} for task in found.tasks]
        print_json({"title": found.title, "tasks": tasks, "limits": found.limits.model_dump()})
        return
    limits = ", ".join(limit_words(found.limits)) or "no limits"
    print_text(f"{found.title or file.name}: {_count(found)}; {limits}")


@group.command()
def work(
    file: ExerciseFile,
    learner: Annotated[str, typer.Option(help="Your name.")],
    result: Annotated[Path, typer.Option(help="The new file of your result.")],
) -> None:
    """Work through a class exercise, and write the result to hand in."""
    from gainwright.app.practice.class_exercises import Replay, diagnosers_of, learner_name, result_of
    from gainwright.app.practice.limits import limit_words
    from gainwright.app.practice.practice import practise
    from gainwright.cli.practice import run_exercise
    from gainwright.composition import compose
    from gainwright.errors import CallError
    from gainwright.jobfile.class_files import result_text

    exercise = _exercise(file)
    learner_name(learner)
    if result.exists():
        raise CallError("the file exists already", code="exists", where=str(result), remedy="choose another name")
    rigs, diagnosers = compose().hidden_rigs, diagnosers_of(exercise)
    did: list[list[str]] = []
    for number, task in enumerate(exercise.tasks, start=1):
        limits = ", ".join(limit_words(exercise.limits))
        say(f"\nTask {number} of {len(exercise.tasks)}{f'; at most {limits}' if limits else ''}")
        diagnoser = diagnosers[task.chain]
        going = Replay(practise(diagnoser.job, rigs=rigs, seed=task.seed, diagnoser=diagnoser), exercise.limits)
        run_exercise(sys.stdin, say, going, rigs=rigs, seed=task.seed)
        did.append(going.did)
    write_new_file(result, result_text(result_of(exercise, learner, did, program=__version__)))
    print_text(f"written: {result}; hand it in")


@group.command()
def table(
    file: ExerciseFile,
    results: Annotated[list[Path], typer.Argument(metavar="RESULT...", help="The results of the learners.")],
    csv: Annotated[Path | None, typer.Option(help="Write the table to this new file.")] = None,
    as_json: Json = False,
) -> None:
    """Make a table of the results: who, what was hidden, tests, minutes, against the short way."""
    from gainwright.app.practice.class_exercises import class_table, diagnosers_of
    from gainwright.composition import compose
    from gainwright.jobfile.class_files import read_result
    from gainwright.report.class_table import class_table_csv, class_table_text

    exercise = _exercise(file)
    read = [read_result(_content(path), str(path)) for path in results]
    made = class_table(exercise, read, rigs=compose().hidden_rigs, diagnosers=diagnosers_of(exercise))
    if csv is not None:
        write_new_file(csv, class_table_csv(made))
    print_json(made) if as_json else print_text(class_table_text(made))


def _exercise(path: Path) -> ClassExercise:
    from gainwright.jobfile.class_files import read_exercise

    return read_exercise(_content(path), str(path))


def _content(path: Path) -> bytes:
    """Return the content of a small file. ReadingError: it can't be read, or is over 1 MB."""
    from gainwright.adapters.files import read_text
    from gainwright.jobfile.class_files import LARGEST_CLASS_FILE

    return read_text(path, most_bytes=LARGEST_CLASS_FILE).encode()


def _count(exercise: ClassExercise) -> str:
    tasks, chains = len(exercise.tasks), len(exercise.chains)
    return f"{tasks} task{'s' if tasks != 1 else ''} on {chains} chain{'s' if chains != 1 else ''}"
