"""The table of a class: who solved what, with how many tests and minutes, against the short way; as text and CSV."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields

from gainwright.harmless import csv_text


@dataclass(frozen=True, slots=True)
class ClassRow:
    """One task of one learner.

    Attributes
    ----------
    task : its number, from 1.
    cause, where : what was hidden.
    named, named_where : what the learner named last; empty if nothing.
    short_way_tests, short_way_minutes : of the path that the diagnosis takes to the same fault.
    """

    learner: str
    task: int
    chain: str
    cause: str
    where: str
    solved: bool
    named: str
    named_where: str
    guesses: int
    tests: int
    minutes: float
    short_way_tests: int
    short_way_minutes: float

    @property
    def times(self) -> float | None:
        """The learner's minutes over those of the short way, None when the task wasn't solved or the short way takes none."""
        return self.minutes / self.short_way_minutes if self.solved and self.short_way_minutes > 0 else None


@dataclass(frozen=True, slots=True)
class LearnerTotal:
    """All tasks of one learner; `times` is minutes over those of the short way, of the solved tasks, None without any."""

    learner: str
    solved: int
    tasks: int
    tests: int
    minutes: float
    times: float | None


@dataclass(frozen=True, slots=True)
class ClassTable:
    """The results of a class, by learner and task."""

    title: str
    rows: tuple[ClassRow, ...]

    @property
    def totals(self) -> tuple[LearnerTotal, ...]:
        """The sums of each learner."""
        return tuple(
            _total(name, [row for row in self.rows if row.learner == name])
            for name in dict.fromkeys(row.learner for row in self.rows)
        )


def _total(learner: str, rows: list[ClassRow]) -> LearnerTotal:
    solved = [row for row in rows if row.times is not None]
    short = sum(row.short_way_minutes for row in solved)
    times = sum(row.minutes for row in solved) / short if short > 0 else None
    return LearnerTotal(
        learner,
        sum(row.solved for row in rows),
        len(rows),
        sum(r.tests for r in rows),
        sum(r.minutes for r in rows),
        times,
    )


def class_table_text(table: ClassTable) -> str:
    """Return the table for a terminal."""
    head = f"{'learner':<20}{'task':>5}  {'hidden':<44}{'':<8}{'tests':>6}{'min':>7}{'short way':>14}"
    lines = [table.title, ""] if table.title else []
    lines.append(head)
    for row in table.rows:
        hidden = f"{row.cause} {row.where}".strip()
        short = f"{row.short_way_tests} / {row.short_way_minutes:g} min"
        lines.append(
            f"{row.learner[:19]:<20}{row.task:>5}  {hidden[:43]:<44}{'solved' if row.solved else 'no':<8}"
            f"{row.tests:>6}{row.minutes:>7g}{short:>14}"
        )
    lines.append("")
    for total in table.totals:
        against = "" if total.times is None else f", {total.times:.2g} times the minutes of the short way"
        lines.append(
            f"{total.learner}: {total.solved} of {total.tasks} solved, {total.tests} tests, {total.minutes:g} min{against}"
        )
    return "\n".join(lines)


def class_table_csv(table: ClassTable) -> str:
    """Return the table as CSV, one task of a learner a line."""
    names = [f.name for f in fields(ClassRow)]
    rows: list[list[object]] = [[*names, "times_short_way"]]
    for row in table.rows:
        values = {**asdict(row), "solved": "yes" if row.solved else "no"}
        rows.append([*(_plain(values[name]) for name in names), "" if row.times is None else f"{row.times:.3g}"])
    return csv_text(rows)


def _plain(value: object) -> object:
    return f"{value:g}" if isinstance(value, float) else value
