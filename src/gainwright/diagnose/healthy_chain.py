"""The cause named for a healthy chain: a tone that a filter stops, or an indicator's threshold, can explain a silence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.causes import NOTHING, Cause
from gainwright.diagnose.observations import QUIET_ELSEWHERE, instrument_of, observe, stimulus_of
from gainwright.model import HeardSpeaker, Indicator, Reading
from gainwright.solve import response

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.diagnose.answers import AnswerModel
    from gainwright.model import Entry, Node

STOPPED_DB = 20.0
"""Loss in a filter from which a tone counts as stopped (common practice, no published source)."""
COULD_NOT_OTHERWISE = 0.5


def healthy_cause(entries: Sequence[Entry], answer_model: AnswerModel, known: Sequence[Cause]) -> Cause:
    """Return the cause to report for a healthy chain given the readings: `nothing_wrong`, or why it seemed silent.

    Parameters
    ----------
    known : the causes that can occur in this chain.
    """
    found = Cause(NOTHING, "")
    for i, entry in enumerate(entries):
        if isinstance(entry, Reading | HeardSpeaker) and _seems_silent(entry, answer_model):
            if not _healthy_chain_gives(i, entry, answer_model):
                continue
            named = _why(entry, answer_model)
            if named is not None and named in known:
                found = named
    return found


def _seems_silent(entry: Reading | HeardSpeaker, answer_model: AnswerModel) -> bool:
    if isinstance(entry, HeardSpeaker):
        return entry.is_ in ("silent", "faint")
    if entry.proves:  # its tone is meant to be stopped
        return False
    if entry.shows is not None:
        _, instrument = instrument_of(entry, answer_model.observer)
        return isinstance(instrument, Indicator) and not any(mark in entry.shows for mark in instrument.signal_marks)
    if entry.reads is None or isinstance(entry.reads, str):
        return entry.verdict == "no_tone"
    stopped_db, _ = _worst_filter(entry, answer_model)
    return entry.reads.nominal <= answer_model.observer.quiet_v(answer_model.observer.nodes[entry.at]) or (
        stopped_db >= STOPPED_DB
    )


def _healthy_chain_gives(index: int, entry: Entry, answer_model: AnswerModel) -> bool:
    """Return whether a healthy chain more often than not gives this result."""
    sound = answer_model.ensemble.hypotheses.index((Cause(NOTHING, ""),))
    for o in observe(index, entry, answer_model):
        # of a reading of next to nothing only the share of all such readings that is near it can be expected
        share = min(o.elsewhere / QUIET_ELSEWHERE, 1.0) if isinstance(entry, Reading) else 1.0
        if o.chance is not None and float(np.mean(o.chance[sound])) < COULD_NOT_OTHERWISE * share:
            return False
        if o.volts is not None:
            middle = float(np.mean(o.volts.predicted_db[sound]))
            spread = float(np.std(o.volts.predicted_db[sound])) + o.volts.sd_db
            if abs(o.volts.reads_db - middle) > 2 * spread:
                return False
    return True


def _why(entry: Reading | HeardSpeaker, answer_model: AnswerModel) -> Cause | None:
    stopped_db, stage = _worst_filter(entry, answer_model)
    if stopped_db >= STOPPED_DB:
        return Cause("wrong_tone_for_path", stage)
    if isinstance(entry, Reading) and entry.shows is not None:
        name, instrument = instrument_of(entry, answer_model.observer)
        if isinstance(instrument, Indicator):
            return Cause("indicator_below_threshold", name)
    return None


def _worst_filter(entry: Reading | HeardSpeaker, answer_model: AnswerModel) -> tuple[float, str]:
    """Return the largest loss of a tone in a stage's filters, dB, and that stage."""
    stimulus = stimulus_of(entry)
    if stimulus is None:  # no tone, or ordinary music is playing
        return 0.0, ""
    chain, _ = answer_model.ensemble.chain_with(stimulus.sets)
    if isinstance(entry, Reading):
        targets = [answer_model.observer.nodes[entry.at]]
    else:
        ports = chain.wiring.ports(entry.heard)
        targets = [feed.node for port in ports for feed in chain.wiring.feeds[port]]
    values = chain.nominal()
    tone = np.array([[stimulus.tone_hz]])
    worst = (0.0, "")
    nodes: set[Node] = {place for role, place in chain.needed(targets) if role == "output"}
    for node in nodes:
        shape = response(chain.job.stages[node.stage], node, values)
        if shape:
            loss_db = -20 * np.log10(max(float(np.abs(shape(tone)[0, 0])), 1e-12))
            worst = max(worst, (float(loss_db), node.stage))
    return worst
