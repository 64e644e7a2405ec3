"""A class exercise that a teacher hands out, and a learner's result: chains, seeds and limits; what was asked and guessed."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from gainwright.model.fields import Frozen
from gainwright.texts import say

MOST_EXERCISES = 50
MOST_STEPS = 1000
MOST_SEED = 10**9
ChainName = Annotated[str, Field(min_length=1, max_length=40)]


class PracticeLimits(Frozen):
    """Limits on each task; None is no limit.

    Attributes
    ----------
    tests : how many may be made.
    minutes : no test is begun once tests have taken this many.
    guesses : how often the fault may be named.
    """

    tests: int | None = Field(default=None, ge=1, le=1000)
    minutes: float | None = Field(default=None, gt=0, le=100_000)
    guesses: int | None = Field(default=None, ge=1, le=100)


class ExerciseChain(Frozen):
    """A chain: the name of an example, or the text of a job."""

    like: str = Field(default="", max_length=80)
    job: str = Field(default="", max_length=1_000_000)

    @model_validator(mode="after")
    def _one_of_them(self) -> ExerciseChain:
        if bool(self.like) == bool(self.job):
            raise ValueError(say("a chain has either like (an example) or job (the text of a job)"))
        return self


class Task(Frozen):
    """One task: the chain, and the seed that hides its fault."""

    chain: ChainName
    seed: int = Field(ge=0, le=MOST_SEED)


class ClassExercise(Frozen):
    """A class exercise. It doesn't say what is hidden: that follows from chain and seed."""

    format: Literal[1] = 1
    kind: Literal["class exercise"]
    title: str = Field(default="", max_length=200)
    chains: dict[ChainName, ExerciseChain] = Field(min_length=1, max_length=MOST_EXERCISES)
    tasks: tuple[Task, ...] = Field(min_length=1, max_length=MOST_EXERCISES)
    limits: PracticeLimits = PracticeLimits()

    @model_validator(mode="after")
    def _known_chains(self) -> ClassExercise:
        unknown = [task.chain for task in self.tasks if task.chain not in self.chains]
        if unknown:
            raise ValueError(
                say(
                    "a task is on the chain {chain}; there is {listed}", chain=unknown[0], listed=", ".join(self.chains)
                )
            )
        if len(set(self.tasks)) < len(self.tasks):
            raise ValueError(say("a task is there twice; each has another chain or another seed"))
        return self


class TaskDone(Frozen):
    """What a learner did in one task, in order: names of tests, and guesses as `it is CAUSE PLACE`."""

    did: tuple[Annotated[str, Field(max_length=300)], ...] = Field(default=(), max_length=MOST_STEPS)


class ClassResult(Frozen):
    """A learner's result: for each task of the exercise, in its order, what was done.

    Attributes
    ----------
    exercise : fingerprint of the exercise that was worked through.
    program : version of the program; another one may hide other faults.
    """

    format: Literal[1] = 1
    kind: Literal["class result"]
    learner: str = Field(min_length=1, max_length=80)
    exercise: str = Field(max_length=80)
    title: str = Field(default="", max_length=200)
    program: str = Field(default="", max_length=40)
    tasks: tuple[TaskDone, ...] = Field(min_length=1, max_length=MOST_EXERCISES)
