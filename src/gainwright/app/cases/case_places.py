"""Where something can be observed in a job: the names that evidence uses, and what people call these places."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gainwright.app.cases.dialogue import Dialogue
    from gainwright.model import Job


def observed_places(job: Job) -> dict[str, dict[str, str]]:
    """Return kind of an observation (`heard`, `at`, `check`, `swap`) -> place in words -> its name in evidence."""
    from gainwright.jobfile import controls, instruments
    from gainwright.model import Speaker, check_places, checked_words, resolve, the_place
    from gainwright.texts import sentence

    wiring = resolve(job)
    there = instruments(job)
    sided = [n for n in job.stages if wiring.has_sides(n)]
    pairs = [str(run) for run, sides in wiring.leads.items() if len(sides) > 1 and not wiring.is_digital(run)]

    def in_words(names: list[str]) -> dict[str, str]:
        return {sentence(checked_words(job, name)): name for name in names}

    checks = in_words(check_places(job, wiring, controls(job), [n for n in there if n in job.stages]))
    leads = {f"Measuring lead of {the_place(job, name)}": name for name in there}
    functions = {sentence(checked_words(job, f"{name}.function")): f"{name}.function" for name in there}
    return {
        "heard": in_words([n for n, stage in job.stages.items() if isinstance(stage, Speaker)]),
        "at": in_words([str(node) for node in wiring.nodes if node not in wiring.digital]),
        "check": {**checks, **leads, **functions},
        "swap": in_words([*sided, *pairs]),
    }


def ears_alone(dialogue: Dialogue) -> bool:
    """Return whether no test asks for a reading, since the job names no instrument and none was read so far."""
    return not dialogue.diagnoser.job.instruments and not any("at" in entry for entry in dialogue.entries)


def named_place(job: Job, kind: str, typed: str) -> str:
    """Return the name in evidence of a place that was typed in words; any other text as typed."""
    plain = " ".join(typed.split()).lower()
    known = observed_places(job).get(kind, {}) if plain else {}
    return next((name for words, name in known.items() if words.lower() == plain), typed)
