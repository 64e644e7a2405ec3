"""Outputs that are made for speakers, and speakers that low tones destroy."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from gainwright.model.instruments import Recorder
from gainwright.model.source_stages import HeadUnit
from gainwright.model.stages import Amplifier, Speaker

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.model.instruments import Instrument
    from gainwright.model.job import Job
    from gainwright.model.nodes import Node
    from gainwright.model.stages import AnyStage

TWEETER_ABOVE_HZ = 1000.0
"""A speaker that needs protection below such a frequency is a tweeter (common practice, no published source)."""
TWEETER_RESONANCE_HZ = 400.0
"""A speaker that resonates this high is a tweeter (common practice, no published source)."""
SUB_BELOW_HZ = 150.0
"""A speaker with a low-pass at such a frequency is a subwoofer (common practice, no published source)."""
_SUB = re.compile(r"sub|(?:^|[\s_\-])bass(?:[\s_\-]|[0-9]|$)", re.IGNORECASE)
_TWEETER = re.compile(r"tweet|hocht(?:ö|oe)ner|(?:^|[\s_\-])(?:tw|ht)(?:[\s_\-]|[0-9]|$)", re.IGNORECASE)
_HIGH_BAND = re.compile(r"tweet|treble|hocht(?:ö|oe)n|^highs?$|(?:^|_)tw(?:_|[0-9]|$)", re.IGNORECASE)
"""Names of outputs that carry the highest band only."""


def is_tweeter(job: Job, name: str, nodes: Iterable[Node] = ()) -> bool:
    """Return whether a speaker is a tweeter: by its name, what it must be protected below, its resonance, or the outputs before it."""
    stage = job.stages[name]
    if not isinstance(stage, Speaker):
        return False
    below, resonance = stage.protect_below, stage.resonance
    return (
        any(_TWEETER.search(said) for said in (name, stage.name))
        or any(_HIGH_BAND.search(node.output) for node in nodes)
        or (below is not None and below.known and below.nominal >= TWEETER_ABOVE_HZ)
        or (resonance is not None and resonance.known and resonance.nominal >= TWEETER_RESONANCE_HZ)
    )


def is_subwoofer(job: Job, name: str, nodes: Iterable[Node] = ()) -> bool:
    """Return whether a speaker is a subwoofer: by its name, or a low-pass at one of the outputs before it."""
    speaker = job.stages[name]
    if not isinstance(speaker, Speaker):
        return False
    if any(_SUB.search(said) for said in (name, speaker.name)):
        return True
    passes = []
    for node in nodes:
        stage = job.stages[node.stage]
        outputs = getattr(stage, "outputs", None)
        passes.append(stage.low_pass if isinstance(stage, Amplifier) else outputs and outputs[node.output].low_pass)
    corners = [low_pass.corner for low_pass in passes if low_pass]
    return any(corner is not None and corner.nominal <= SUB_BELOW_HZ for corner in corners)


def gives_power(stage: AnyStage) -> bool:
    """Return whether a stage's outputs are meant for speakers: an amplifier's, or a head unit's power outputs."""
    return isinstance(stage, Amplifier) or (isinstance(stage, HeadUnit) and stage.speaker_level)


def may_float(stage: AnyStage) -> bool:
    """Return whether neither terminal of a stage's outputs need be ground: bridged amplifiers, and head units' power outputs.

    Nearly all head units drive their speakers by bridged outputs (common practice, no published source).
    """
    return (isinstance(stage, Amplifier) and stage.bridged) or (isinstance(stage, HeadUnit) and stage.speaker_level)


def is_built_in(stage: AnyStage) -> bool:
    """Return whether a stage is an amplifier inside another device: neither its outputs nor lamps can be got at."""
    return isinstance(stage, Amplifier) and not stage.reachable and not stage.lamps


def has_divider(recorder: Recorder) -> bool:
    """Return whether a recorder has a divider before its input."""
    return recorder.attenuator is not None and recorder.attenuator.known and recorder.attenuator.nominal != 0


def may_connect(instrument: Instrument, stage: AnyStage) -> bool:
    """Return whether an instrument may be connected to a stage's outputs: to one for speakers a recorder only with its divider."""
    return not (isinstance(instrument, Recorder) and gives_power(stage) and not has_divider(instrument))
