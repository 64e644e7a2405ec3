"""Texts of a plan for people: the names of places and controls in its sentences become words."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from gainwright.model import Amplifier, control_words, device_words, is_control, name_words, place_words, unit_of
from gainwright.texts import Text, joined, say, sentence

if TYPE_CHECKING:
    from gainwright.plan.context import PlanContext
    from gainwright.plan.result import Finding, FullScale, Step, Target

_BETWEEN = re.compile(r", | and ")


class Words:
    """What the places of a job are called in a sentence."""

    def __init__(self, context: PlanContext) -> None:
        self._context = context

    @cached_property
    def _places(self) -> frozenset[str]:
        wiring = self._context.chain.wiring
        found = set(self._context.job.stages) | {str(node) for node in wiring.nodes}
        found |= {
            unit_of(self._context.job, n) for n, s in self._context.job.stages.items() if isinstance(s, Amplifier)
        }
        return frozenset(found | {f"{node.stage}.{node.output}" for node in wiring.nodes})

    def name(self, name: str) -> str | None:
        """Return a place, control, lead or instrument in words; None for any other text."""
        job = self._context.job
        if name in self._places:
            words = place_words(job, name)
            return words if "." not in name else say("the {place}", place=words)
        if name.startswith("lead:"):
            return say("the {place}", place=place_words(job, name))
        if name in self._context.instruments:
            return name_words(name)
        place, _, last = name.rpartition(".")
        if place in self._places and is_control(name):
            words = control_words(job, name)
            return words if last == "level" and words == device_words(job, place) else say("the {place}", place=words)
        return None

    def text(self, text: str) -> str:
        """Return a sentence with the places among its parts in words; it begins with a capital if it did or if a place begins it."""
        if not isinstance(text, Text) or not text.parts:
            return text
        parts = {key: self._part(part) for key, part in text.parts.items()}
        for key, part in parts.items():
            if f". {{{key}}}" in text.template:
                parts[key] = sentence(part)
        return _begun(say(text.template, **parts), like=text)

    def _part(self, part: Any) -> Any:
        if isinstance(part, Text) and (part.parts or not self._known(part)):
            return self.text(part)
        names = _BETWEEN.split(str(part))
        found = [words for words in map(self.name, names) if words is not None]
        if len(found) < len(names):
            return part
        if len(found) == 1:
            return found[0]
        return say("{a} and {b}", a=joined(found[:-1]), b=found[-1])

    def _known(self, part: str) -> bool:
        return "_" in part or "." in part

    def step(self, step: Step) -> Step:
        """Return a step with its sentences in words."""
        return replace(
            step,
            do=sentence(self.text(step.do)),
            why=sentence(self.text(step.why)),
            outside=sentence(self.text(step.outside)),
            if_low=self.text(step.if_low),
            if_high=self.text(step.if_high),
        )

    def target(self, target: Target) -> Target:
        """Return a target with its amplifier in words."""
        return replace(target, where_text=device_words(self._context.job, target.stage))

    def full_scale(self, found: FullScale) -> FullScale:
        """Return what full scale does with its amplifier and speaker in words."""
        job = self._context.job
        speaker = device_words(job, found.speaker) if found.speaker else ""
        return replace(found, where_text=device_words(job, found.stage), speaker_text=speaker)

    def finding(self, finding: Finding) -> Finding:
        """Return a finding with its sentences and its place in words."""
        names = _BETWEEN.split(finding.where)
        devices = self._context.instruments
        found = [
            say("with {name}", name=name_words(n)) if n in devices else self.name(n) or name_words(n) for n in names
        ]
        where = joined([words for words in found if words])
        return replace(finding, message=self.text(finding.message), remedy=self.text(finding.remedy), where_text=where)


def _begun(text: str, *, like: str) -> str:
    return sentence(text) if like[:1].isupper() else text
