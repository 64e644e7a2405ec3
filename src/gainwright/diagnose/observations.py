"""Entries of the evidence as observations with likelihoods under the hypotheses."""

from __future__ import annotations

import json
import math
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.belief import SPAN_DB, Observation, StageDoubt, VoltsReading
from gainwright.diagnose.ensemble import Stimulus
from gainwright.diagnose.given_answers import gain_position_read, given_answers
from gainwright.diagnose.heard_answers import MISHEARD, MISHEARD_MUSIC, SLIP, SLIP_MUSIC, WORDS, as_told
from gainwright.diagnose.intermittent import come_and_go, mixed, there
from gainwright.diagnose.observer import MARKS_WRONG, MODEL_DB, QUIET_POWER_V, STRAY_SEEN, THD_EDGE, normal_cdf
from gainwright.diagnose.overloads import load_at_tone_ohm
from gainwright.diagnose.unit_answers import SURE, Answers
from gainwright.diagnose.unknown_gains import SENSITIVITY_DB, STAGE_DB, position_density
from gainwright.jobfile import volume_steps
from gainwright.model import HeardSpeaker, Indicator, Multimeter, Reading, Recorder, SwapTest, as_mapping, volume_of
from gainwright.quantities import Exact, parse

if TYPE_CHECKING:
    from gainwright.diagnose.answers import AnswerModel
    from gainwright.diagnose.observer import DrawnLevels, Observer
    from gainwright.model import Entry, Instrument, Node, Played

WRONG = {"multimeter": 0.015, "recorder": 0.01, "indicator": MARKS_WRONG}
"""How often a reading of an instrument is completely wrong (common practice, no published source)."""
QUIET_ELSEWHERE = 0.35
"""Share of silent readings under a fault outside this model."""
QUIET_EDGE_DB = 1.5
QUIET_NEAR, QUIET_DIGITS = 0.2, 3.0
"""How near a reading below the quiet bound must be to what is predicted: a ratio, and last digits (common practice)."""
PICKED_UP_DB = 12.0
"""By how much what a lead picks up in a running car may exceed the quiet bound: an output without power floats (common practice)."""
THD_CLASSES = ("clean", "some", "much")
PROOF_DB = 3.0
"""Standard deviation of what a reading that proves a filter says of the level (common practice, no published source).

It tells a filter from one left open; the level itself is known from the reading beside it, in the pass band.
"""
CLAMP_SD_DB = 0.4
"""A current clamp is accurate to 5 % (common practice, no published source)."""


def stimulus_of(played: Played) -> Stimulus | None:
    """Return the stimulus of an entry, None without a tone."""
    if played.tone_hz is None:
        return None
    feed = getattr(played, "feed", None)
    return Stimulus(
        played.tone_hz,
        0.0 if feed is not None else played.level_dbfs,
        tuple(sorted(played.set.items())),
        played.side,
        played.engine == "on",
        played.speakers == "on",
        None if feed is None else (feed.into, feed.volts.nominal),
    )


def observe(index: int, entry: Entry, answer_model: AnswerModel) -> list[Observation]:
    """Return the observations of one entry; what comes and goes is there or not in each of them anew."""
    found = _observe(index, entry, answer_model)
    rows, sound = come_and_go(answer_model.ensemble, entry)
    return [_at_times(o, rows, sound, entry, there(answer_model.ensemble, entry)) for o in found] if rows else found


def _at_times(observation: Observation, rows: list[int], sound: int, entry: Entry, share: np.ndarray) -> Observation:
    """Return an observation under hypotheses that are there only at times; in volts, in a share of their draws."""
    if observation.chance is not None:
        mistaken = None if observation.mistaken is None else mixed(observation.mistaken, rows, sound, share)
        return replace(observation, chance=mixed(observation.chance, rows, sound, share), mistaken=mistaken)
    volts = observation.volts
    assert volts is not None  # noqa: S101  an observation is one of both
    told = json.dumps(as_mapping(entry), sort_keys=True, default=str)
    now = np.random.default_rng(zlib.crc32(told.encode())).random(volts.alive.shape[1]) < share
    shown, alive = np.array(volts.predicted_db), np.array(volts.alive)
    shown[rows] = np.where(now, shown[rows], shown[sound])
    alive[rows] = np.where(now, alive[rows], alive[sound])
    return replace(observation, volts=replace(volts, predicted_db=shown, alive=alive))


def _observe(index: int, entry: Entry, answer_model: AnswerModel) -> list[Observation]:
    if isinstance(entry, Reading):
        return _reading(index, entry, answer_model.observer)
    place = gain_position_read(entry, answer_model)
    if place is not None:
        sure = SURE["look"]
        density = sure * position_density(answer_model.ensemble.stands(entry.check), place) + 1 - sure  # type: ignore[union-attr]
        return [Observation(index, density, None, 1.0)]
    answers: Answers | None = None
    if isinstance(entry, HeardSpeaker):
        return [_heard(index, entry, answer_model)]
    if isinstance(entry, SwapTest):
        before = stimulus_of(entry)
        assert before is not None  # noqa: S101  the reader asks for a tone
        answers = answer_model.swapped(entry.swap, before, swapped(before, entry.swap))
    found = []
    for aspect, label in given_answers(entry, answer_model):
        these = answers or answer_model.check(entry.check, aspect, running=entry.engine == "on")  # type: ignore[union-attr]
        chance = these.chance[these.labels.index(label)]
        found.append(Observation(index, chance, None, 1 / len(these.labels)))
    return found


def _heard(index: int, entry: HeardSpeaker, answer_model: AnswerModel) -> Observation:
    """Return a word told of a speaker; whoever mishears a speaker mishears it each time."""
    place = WORDS.index(str(entry.is_))
    parts = _there_to_hear(entry, answer_model)
    right, wrong = (as_told(parts, misheard=m, slip=_mistakes(entry)[1])[place] for m in (False, True))
    return Observation(index, right, None, 1 / len(WORDS), entry.heard, wrong, _mistakes(entry)[0])


def _mistakes(entry: HeardSpeaker) -> tuple[float, float]:
    """Return how often a speaker's sound is taken for a neighbouring word, and how often a word slips."""
    return (MISHEARD, SLIP) if entry.tone_hz is not None or entry.silence else (MISHEARD_MUSIC, SLIP_MUSIC)


def heard_parts(entry: HeardSpeaker, answer_model: AnswerModel) -> Answers:
    """Return what is there to hear of a speaker, in the words of somebody who makes no mistakes."""
    return Answers(WORDS, _there_to_hear(entry, answer_model))


def told_words(entry: HeardSpeaker) -> np.ndarray:
    """Return how each word that is there to hear is told, mistakes included, shape (there, told)."""
    misheard, slip = _mistakes(entry)
    right, wrong = (as_told(np.eye(len(WORDS)), misheard=m, slip=slip) for m in (False, True))
    return np.asarray(((1 - misheard) * right + misheard * wrong).T)


def _there_to_hear(entry: HeardSpeaker, answer_model: AnswerModel) -> np.ndarray:
    """Return the chance of each word: with the entry's tone, in silence, or with ordinary music."""
    stimulus = stimulus_of(entry)
    if stimulus is None and not entry.silence:
        stimulus = answer_model.usual(entry.heard, entry)
    elif stimulus is not None:
        # the side is the one listened to; the tone is on both
        stimulus = replace(stimulus, side="both")
    familiar = entry.tone_hz is None and not entry.silence
    running = entry.engine == "on"
    return answer_model.heard(entry.heard, stimulus, side=entry.side, running=running, familiar=familiar).chance


def swapped(before: Stimulus, swap: str) -> Stimulus:
    """Return the stimulus with two sides exchanged."""
    return replace(before, swapped=swap)


def instrument_of(entry: Reading, observer: Observer) -> tuple[str, Instrument]:
    """Return the instrument of a reading: as named, or the first that fits its result."""
    if entry.with_:
        return entry.with_, observer.instruments[entry.with_]
    wanted = Indicator if entry.shows is not None else Recorder if entry.thd is not None else Multimeter
    for name, instrument in observer.instruments.items():
        if isinstance(instrument, wanted):
            return name, instrument
    return next(iter(observer.instruments.items()))


def _reading(index: int, entry: Reading, observer: Observer) -> list[Observation]:
    node = observer.nodes[entry.at]
    name, instrument = instrument_of(entry, observer)
    stimulus = stimulus_of(entry)
    assert stimulus is not None  # noqa: S101  the reader asks for a tone
    found = []
    if entry.shows is not None and isinstance(instrument, Indicator):
        chance = observer.shown(entry.shows, stimulus, node, name)
        found.append(Observation(index, chance, None, 0.5 ** len(instrument.marks)))
    if entry.current is not None and not isinstance(entry.current, str):
        found.append(_current(index, entry.current.nominal, stimulus, node, observer))
    if entry.reads is not None or entry.verdict is not None or entry.thd is not None:
        found += _volts(index, entry, stimulus, node, name, instrument, observer)
    return found


def _volts(
    index: int,
    entry: Reading,
    stimulus: Stimulus,
    node: Node,
    name: str,
    instrument: Instrument,
    observer: Observer,
) -> list[Observation]:
    found = []
    over = entry.reads == "over_range" or entry.verdict == "overloaded_input"
    if isinstance(instrument, Recorder) or over:
        past = observer.overloads(stimulus, node, name)
        found.append(Observation(index, past if over else 1 - past, None, 0.5))
    if over:
        return found
    levels = observer.levels(stimulus, node, name, against=observer.nodes[entry.against] if entry.against else None)
    reads_v = entry.reads.nominal if entry.reads is not None and not isinstance(entry.reads, str) else None
    if reads_v is not None:
        found.append(
            volts_observation(
                index,
                reads_v,
                levels,
                instrument.kind,
                also_db=PROOF_DB if entry.proves else 0.0,
                passed=through(entry, node, observer),
            )
        )
    thd_class = _thd_class(entry, observer)
    if thd_class is not None:
        found.append(Observation(index, thd_chance(levels, observer)[THD_CLASSES.index(thd_class)], None, 1 / 3))
    return found


def through(entry: Reading, node: Node, observer: Observer) -> frozenset[StageDoubt]:
    """Return the stages that the signal of a reading passed; none that matter where two outputs or settings are compared."""
    if entry.proves or entry.against:
        return frozenset()
    wiring = observer.chain.wiring
    found = {node.stage, *(n.stage for n in wiring.upstream(node.stage))}
    if entry.feed is not None:
        found -= {n.stage for n in wiring.upstream(entry.feed.into)}
    return frozenset((stage, _doubt_db(entry, stage, observer)) for stage in found)


def _doubt_db(entry: Reading, stage: str, observer: Observer) -> float:
    """Return by how much a stage may be off in a reading, standard deviation in dB.

    A volume fully up has no step to doubt, its ceiling is known; a gain at an end of its travel is where it is said to be,
    and one that is told with its own doubt has that in the draws.
    """
    gain = entry.set.get(f"{stage}.gain")
    if gain is not None:
        told = parse(gain, "fraction")
        if not isinstance(told.spread, Exact) or told.nominal in (0.0, 1.0):
            return min(SENSITIVITY_DB, observer.stage_db[stage])
    volume = volume_of(observer.chain.job.stages[stage])
    at = entry.set.get(f"{stage}.volume", observer.chain.settings.get(f"{stage}.volume"))
    if volume is not None and at is not None and float(at) >= volume_steps(volume):
        return STAGE_DB
    return observer.stage_db[stage]


def volts_observation(
    index: int,
    reads_v: float,
    levels: DrawnLevels,
    kind: str,
    *,
    also_db: float = 0.0,
    passed: frozenset[StageDoubt] = frozenset(),
) -> Observation:
    """Return a reading in volts as an observation: a level, or silence.

    Parameters
    ----------
    also_db : standard deviation of a doubt beside those of instrument and model.
    passed : the stages that the signal passed, and how far each may be off.
    """
    wrong = WRONG[kind]
    if reads_v <= levels.quiet_v:
        near, share = _quiet_reading(reads_v, levels)
        chance = (1 - wrong) * near + wrong * QUIET_ELSEWHERE * share
        return Observation(index, chance, None, QUIET_ELSEWHERE * share)
    digit_db = 8.69 * 0.29 * max(levels.digit_v, 1e-6 * reads_v) / reads_v
    sd_db = math.hypot(MODEL_DB, digit_db, also_db, _stray_db(reads_v, levels))
    stray = STRAY_SEEN / PICKED_UP_DB if reads_v < levels.quiet_v * 10 ** (PICKED_UP_DB / 20) else 0.0
    reading = VoltsReading(levels.shown_db, ~levels.quiet, 20 * math.log10(reads_v), sd_db, wrong, passed, stray=stray)
    return Observation(index, None, reading, (1 - QUIET_ELSEWHERE) / SPAN_DB)


def _stray_db(reads_v: float, levels: DrawnLevels) -> float:
    """Return what a stray voltage beside the tone does to a reading, standard deviation in dB: it adds in power."""
    first, last = levels.stray_v
    return 4.34 * last**2 / reads_v**2 / math.sqrt(4 * math.log(last / first))


def _quiet_reading(reads_v: float, levels: DrawnLevels) -> tuple[np.ndarray, float]:
    """Return the chance of just this reading below the quiet bound, and which share of all such readings it is.

    What is left of the tone adds in power to a stray voltage that is log-uniform between its ends: the millivolts that a
    short leaves tell it from an open lead.
    """
    reads_v = max(reads_v, levels.stray_v[0])
    near_v = max(QUIET_DIGITS * levels.digit_v, QUIET_NEAR * reads_v)
    low_v, high_v = max(reads_v - near_v, 0.0), reads_v + near_v
    first, last = levels.stray_v

    def below(bound_v: float) -> np.ndarray:
        left_v = np.sqrt(np.maximum(bound_v**2 - levels.signal_v**2, 1e-18))
        return np.clip(np.log(left_v / first) / math.log(last / first), 0.0, 1.0)

    share = math.log(max(high_v, first) / max(low_v, first)) / math.log(max(levels.quiet_v, high_v) / first)
    near = np.where(levels.signal_v < high_v, below(high_v) - below(low_v), 0.0) if low_v > 0 else below(high_v)
    share = max(share, 0.02)
    return np.where(levels.signal_v < high_v, (1 - STRAY_SEEN) * near + STRAY_SEEN * share, 0.0), share


def quiet_chance(levels: DrawnLevels) -> np.ndarray:
    """Return the probability that a meter shows practically nothing."""

    def worked_out() -> np.ndarray:
        near = normal_cdf((20 * math.log10(levels.quiet_v) - levels.shown_db) / QUIET_EDGE_DB)
        return np.where(levels.quiet, 1 - STRAY_SEEN, near * (1 - STRAY_SEEN))

    return levels.kept("quiet", worked_out)


def thd_limit(observer: Observer) -> float:
    """Return the job's distortion limit, 1 % if not given."""
    limit = observer.chain.job.thd_limit
    return limit.nominal if limit is not None and limit.known else 0.01


def _thd_class(entry: Reading, observer: Observer) -> str | None:
    limit = thd_limit(observer)
    if entry.thd is not None:
        return THD_CLASSES[int(np.digitize(entry.thd.nominal, [limit, max(0.05, 2 * limit)]))]
    return {"clean": "clean", "clipped": "some", "distorted": "some"}.get(entry.verdict or "")


def thd_chance(levels: DrawnLevels, observer: Observer) -> np.ndarray:
    """Return the chance of each of `THD_CLASSES`, shape (3, hypotheses, draws)."""

    def worked_out() -> np.ndarray:
        limit = thd_limit(observer)
        thd = np.log(np.maximum(np.nan_to_num(levels.thd), 1e-6))
        over = normal_cdf((thd - math.log(limit)) / THD_EDGE)
        far = normal_cdf((thd - math.log(max(0.05, 2 * limit))) / THD_EDGE)
        chance = np.stack([1 - over, over * (1 - far), over * far])
        return 0.97 * chance + 0.01

    return levels.kept("thd", worked_out)


def _current(index: int, reads_a: float, stimulus: Stimulus, node: Node, observer: Observer) -> Observation:
    """Return the observation of an output's current: its voltage over the size of its load's impedance at the tone."""
    volts, _ = observer.level_v(stimulus, node)
    ensemble = observer.ensemble
    tone_hz = ensemble.tone_hz(stimulus)
    loads = [
        load_at_tone_ohm(c, observer.chain, node, values=ensemble.values, tone_hz=tone_hz) for c in ensemble.changes
    ]
    amps = volts / np.stack([np.broadcast_to(ohm, volts.shape[1:]) for ohm in loads])
    alive = amps > QUIET_POWER_V / 4
    shown = 20 * np.log10(np.maximum(amps, 1e-6))
    if reads_a <= QUIET_POWER_V / 4:
        return Observation(index, np.where(alive, 0.02, 0.96), None, QUIET_ELSEWHERE)
    reading = VoltsReading(shown, alive, 20 * math.log10(reads_a), CLAMP_SD_DB, WRONG["multimeter"])
    return Observation(index, None, reading, (1 - QUIET_ELSEWHERE) / SPAN_DB)
