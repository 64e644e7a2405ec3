"""What a meter usually shows where nothing is wrong, to notice a reading that was probably typed wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.causes import NOTHING, Cause
from gainwright.diagnose.observations import instrument_of, stimulus_of
from gainwright.diagnose.unit_answers import LOW_RESTING_V
from gainwright.model import Amplifier, Check, Multimeter, Reading

if TYPE_CHECKING:
    from gainwright.diagnose.diagnoser import Diagnoser
    from gainwright.model import Entry

HIGHEST_SUPPLY_V = 15.5
"""Above it a vehicle's regulator is broken (common practice, no published source)."""
COIL = (0.7, 1.3)
"""A sound coil's resistance over the usual one (common practice, no published source)."""


def usual_reading(diagnoser: Diagnoser, entry: Entry) -> tuple[float, float] | None:
    """Return the interval in which a sound chain reads, volts or ohms; None where an entry isn't a number or nothing is known.

    Parameters
    ----------
    entry : with its result or without.
    """
    with diagnoser.turn:
        if isinstance(entry, Reading):
            return _volts(diagnoser, entry)
        return _checked(diagnoser, entry) if isinstance(entry, Check) else None


def _volts(diagnoser: Diagnoser, entry: Reading) -> tuple[float, float] | None:
    observer = diagnoser.rough.observer
    name, instrument = instrument_of(entry, observer)
    stimulus = stimulus_of(entry)
    if stimulus is None or not isinstance(instrument, Multimeter):
        return None
    sound = observer.ensemble.hypotheses.index((Cause(NOTHING, ""),))
    levels = observer.levels(stimulus, observer.nodes[entry.at], name)
    low, high = np.quantile(levels.shown_db[sound], [0.025, 0.975])
    return None if levels.quiet[sound].any() else (float(10 ** (low / 20)), float(10 ** (high / 20)))


def _checked(diagnoser: Diagnoser, entry: Check) -> tuple[float, float] | None:
    stage, _, what = entry.check.rpartition(".")
    found = diagnoser.job.stages.get(stage.split(".", maxsplit=1)[0])
    if what == "supply_voltage" and not (isinstance(found, Amplifier) and found.supply.is_own):
        return LOW_RESTING_V, HIGHEST_SUPPLY_V
    if what == "resistance" and found is not None and found.kind == "speaker":
        usual = diagnoser.rough.usual_coil_ohm(stage.split(".", maxsplit=1)[0])
        return COIL[0] * usual, COIL[1] * usual
    return None
