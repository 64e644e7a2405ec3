"""Who calls has noticed something: where every speaker is told to sound as always, few faults that would be heard are left.

The share is common practice, no published source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gainwright.diagnose.belief import Observation
from gainwright.diagnose.causes import HEALTHY
from gainwright.model import Check, HeardSpeaker, Speaker

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gainwright.diagnose.answers import AnswerModel
    from gainwright.model import Entry

CALLS_UNHEARD = 0.35
"""Of faults that nobody hears the share, against those that somebody hears, for which somebody looks: a reading was odd."""
CALLS_THOUGH_SOUND = 0.03
"""Of any fault the share, against a sound chain, while all that was told is as in a sound chain: who calls because of something tells it.

Of 21 such calls of the third world's seeds 16000 to 16099, 20 were of sound cars: (20 + 1)/(21 + 2), which this share gives.
"""
NEVER_HEARD = (
    *HEALTHY,
    *("measuring_lead_open", "measuring_lead_shorted", "meter_wrong_function"),
    *("leads_swapped", "polarity_reversed"),
)
"""Causes of which speakers tell little whatever is played: one looks for them for another reason."""


def nothing_heard(entries: Sequence[Entry], answer_model: AnswerModel, *, as_sound: bool) -> list[Observation]:
    """Return the observation that somebody calls though every speaker sounds as always; none where one doesn't, or after a repair.

    Parameters
    ----------
    as_sound : whether all entries are as a sound chain gives them, those that aren't about sounds, too.
    """
    heard = [e for e in entries if isinstance(e, HeardSpeaker) and not e.silence]
    usual = {e.heard for e in heard if e.tone_hz is None and e.side == "both"}
    speakers = {name for name, stage in answer_model.chain.job.stages.items() if isinstance(stage, Speaker)}
    repaired = any(isinstance(e, Check) and e.check.endswith(".mended") for e in entries)
    if repaired or usual != speakers or any(e.is_ != "normal" for e in heard):
        return []
    known = answer_model.ensemble.hypotheses
    if as_sound:
        chance = [1.0 if all(c.id in HEALTHY for c in h) else CALLS_THOUGH_SOUND for h in known]
        return [Observation(-1, np.array(chance)[:, None], None, CALLS_THOUGH_SOUND)]
    chance = [1.0 if all(c.id in NEVER_HEARD for c in h) else CALLS_UNHEARD for h in known]
    return [Observation(-1, np.array(chance)[:, None], None, CALLS_UNHEARD)]
