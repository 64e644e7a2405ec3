"""The step that sets an amplifier which feeds another stage instead of speakers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.plan.expected_readings import expect_target, volts_instrument
from gainwright.plan.inner_gains import LINEAR_DB, MARGIN_DB, inner_amplifiers
from gainwright.plan.outside import of_turned_gain
from gainwright.plan.result import Adjust, Step
from gainwright.solve import Conditions
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.context import PlanContext
    from gainwright.plan.source import CleanLimit


def inner_steps(context: PlanContext, limits: dict[str, CleanLimit]) -> Iterator[Step]:
    """Yield the step that sets each amplifier before another stage, at full scale and the clean volume."""
    for name, end in inner_amplifiers(context.job, context.ends).items():
        limit = limits[end.stage]
        node = context.chain.wiring.outputs(name)[0]
        asked = Conditions(
            end.tone_hz,
            limit.level_dbfs - LINEAR_DB,
            settings={f"{limit.head}.volume": limit.middle},
            unloaded=context.speakers,
        )
        solved = context.opened.solve(asked, targets=(node,))
        volts = float(solved.rms_v[0, solved.index(node)]) * 10 ** (LINEAR_DB / 20)
        instrument_name, instrument = volts_instrument(context, tone_hz=end.tone_hz, volts=volts)
        share = context.opened.settings[f"{name}.gain"]
        yield Step(
            f"amplifier.{name}",
            "amplifier",
            name,
            say(
                "Play {tone_hz} Hz at {level} dBFS with the volume at its clean limit. Turn the gain of {stage} down, then raise it until {name} at {node} shows {v_rms} V.",
                tone_hz=f"{end.tone_hz:g}",
                level=f"{limit.level_dbfs:g}",
                stage=name,
                name=instrument_name,
                node=node,
                v_rms=f"{volts:.3g}",
            ),
            say(
                "It feeds another stage: there it and the next input stay {margin} dB below their ceilings at full scale. Expect the gain near {part} % of its travel.",
                margin=f"{MARGIN_DB:g}",
                part=f"{100 * share:.0f}",
            ),
            end.tone_hz,
            limit.level_dbfs,
            str(node),
            instrument_name,
            expect_target(instrument, volts, tone_hz=end.tone_hz),
            say(
                "Not reached: the level before it is too low. Reached at once: its gain is far more sensitive than specified."
            ),
            **of_turned_gain(),
            sets={f"{name}.gain": context.lowest_gain(name)},
            adjust=Adjust(f"{name}.gain", "v_rms", volts),
            speakers_off=tuple(sorted(context.speakers)),
        )
