"""Findings about a job before any work: each finding is computed, each remedy solved again."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

from gainwright.model import Amplifier, HeadUnit, Multimeter, Speaker, gives_power
from gainwright.plan import remedies
from gainwright.plan.amplifier_controls import has_fixed_gain
from gainwright.plan.bands import guarding_corners_hz, passed, series_filters
from gainwright.plan.controls import equaliser_gain_db, equalisers_of
from gainwright.plan.expected_readings import volts_instrument
from gainwright.plan.result import Finding
from gainwright.plan.targets import is_too_low, load_ohm, rating_v, reached_v, speaker_v
from gainwright.solve import Conditions
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Path
    from gainwright.plan.context import End, PlanContext
    from gainwright.plan.result import Target
    from gainwright.plan.source import CleanLimit

FAR_REACHING_HZ = 1000.0
"""A meter that is specified up to here needs no remark where no tone is higher (common practice, no published source)."""
HEAD_UNIT_LOAD_OHM = 4.0
"""Load that head units' own amplifiers are made for (common practice, no published source)."""
BOOST_DB = 0.5
"""An equaliser that lifts nothing by more is no boost."""
REMEDY_DB = 0.05
"""A boost that differs less from that at the set-up tone needs no other tone."""


def check(context: PlanContext, limits: dict[str, CleanLimit], targets: dict[str, Target]) -> list[Finding]:
    """Return the engineering findings."""
    found: list[Finding] = []
    for end in context.ends:
        found += _load(context, end)
        if isinstance(context.job.stages[end.stage], Amplifier):
            found += _source_drive(context, end, limits[end.stage], targets[end.stage])
            found += _too_hot(context, end, limits[end.stage], targets[end.stage])
            found += _speaker_rating(context, end)
            found += _muting(context, end)
        found += _overdriven(context, end, limits[end.stage])
        found += _boost(context, end)
        found += _clash(context, end)
    for path in context.chain.wiring.paths:
        found += _protection(context, path)
    found += _meter_band(context, targets)
    return found


def _load(context: PlanContext, end: End) -> Iterator[Finding]:
    stage = context.job.stages[end.stage]
    if not gives_power(stage) or not isinstance(stage, Amplifier | HeadUnit):
        return
    ohm = load_ohm(context, end)
    given = stage.minimum_load if stage.minimum_load is not None and stage.minimum_load.known else None
    if isinstance(stage, HeadUnit):
        assumed, said = HEAD_UNIT_LOAD_OHM, say("what nearly all head units are made for")
    else:
        assumed = min((r.load.nominal for r in stage.power if r.power.known), default=0.0)
        said = say("the lowest load it is rated for")
    lowest = assumed if given is None else given.nominal
    if is_too_low(ohm, lowest):
        said = said if given is None else say("its minimum")
        yield Finding(
            "blocker" if given is not None else "caution",
            "load_below_minimum",
            end.stage,
            say(
                "the load is {ohm} ohm; {said} is {lowest} ohm: it runs hot, limits its current or switches off",
                ohm=f"{ohm:.2g}",
                said=said,
                lowest=f"{lowest:.2g}",
            ),
            say("wire the coils or speakers for {lowest} ohm or more", lowest=f"{lowest:.2g}"),
            remedies.higher_load(context, end, lowest),
        )


def _source_drive(context: PlanContext, end: End, limit: CleanLimit, target: Target) -> Iterator[Finding]:
    if target.set_by != "source":
        return
    others = {k: v for k, v in target.candidates_v_rms.items() if k != "source"}
    wanted = min(others.values())
    short_db = 20 * math.log10(wanted / target.v_rms)
    message = say(
        "even with the gain fully up, the source drives {stage} to only {v_rms} V of {wanted} V: {short_db} dB short at {part} dBFS",
        stage=end.stage,
        v_rms=f"{target.v_rms:.3g}",
        wanted=f"{wanted:.3g}",
        short_db=f"{short_db:.1f}",
        part=f"{-end.allowance_db:g}",
    )
    if has_fixed_gain(context, end):
        message = say(
            "its gain is fixed, and the source drives it to only {v_rms} V of {wanted} V at {part} dBFS",
            v_rms=f"{target.v_rms:.3g}",
            wanted=f"{wanted:.3g}",
            part=f"{-end.allowance_db:g}",
        )
    sets = remedies.more_drive(context, end, limit, short_db)
    yield Finding(
        "caution",
        "source_cannot_drive",
        end.stage,
        message,
        _more_drive_text(end, short_db, helps=bool(sets)),
        sets,
    )


def _more_drive_text(end: End, short_db: float, *, helps: bool) -> str:
    """Return what to do about a weak source; a smaller allowance is only offered where it is large enough."""
    if not helps:
        return say(
            "no level before it helps: its own input clips there; it takes an amplifier that needs less at its input"
        )
    if remedies.up_db(short_db) > end.allowance_db:
        return say(
            "raise the level before it by {short_db} dB (line driver, or a processor with more output)",
            short_db=f"{short_db:.1f}",
        )
    return say(
        "raise the level before it by {short_db} dB (line driver, or a processor with more output), or use an allowance {short_db} dB smaller",
        short_db=f"{short_db:.1f}",
    )


def _too_hot(context: PlanContext, end: End, limit: CleanLimit, target: Target) -> Iterator[Finding]:
    lowest = context.opened.settings[f"{end.stage}.gain"]
    reached = reached_v(context, end, limit, position=lowest)
    over_db = 20 * math.log10(reached / target.v_rms) if reached > 0 else -math.inf
    if over_db > 0:
        yield Finding(
            "caution",
            "too_much_drive",
            end.stage,
            say(
                "even at its lowest gain, the source at its clean limit drives {stage} {over_db} dB over its target of {v_rms} V at {part} dBFS",
                stage=end.stage,
                over_db=f"{over_db:.1f}",
                v_rms=f"{target.v_rms:.3g}",
                part=f"{-end.allowance_db:g}",
            ),
            say(
                "reduce the level before it by {over_db} dB (a processor's output level, a pad), or keep the volume that much lower",
                over_db=f"{over_db:.1f}",
            ),
            remedies.less_drive(context, end.stage, over_db),
        )


def _speaker_rating(context: PlanContext, end: End) -> Iterator[Finding]:
    speaker, rated = speaker_v(context, end), rating_v(context, end)
    if speaker is not None and speaker < 0.99 * rated:
        yield Finding(
            "note",
            "speaker_under_rating",
            ", ".join(end.speakers),
            say(
                "rated for {speaker} V; the rated power of {stage} is {rated} V into this load: its target is {part} dB below that",
                speaker=f"{speaker:.3g}",
                stage=end.stage,
                rated=f"{rated:.3g}",
                part=f"{20 * math.log10(rated / speaker):.1f}",
            ),
            "",
        )


def _muting(context: PlanContext, end: End) -> Iterator[Finding]:
    stage = context.job.stages[end.stage]
    if isinstance(stage, Amplifier) and not stage.gain.fixed and stage.gain.mutes_at_minimum != "no":
        known = stage.gain.mutes_at_minimum == "yes"
        yield Finding(
            "note",
            "gain_may_mute",
            f"{end.stage}.gain",
            say(
                "a gain control mutes at its lowest end; silence there is not a fault, so the work starts just above it"
            )
            if known
            else say(
                "a gain control may mute at its lowest end; silence there is not a fault, so the work starts just above it"
            ),
            "",
        )


def _overdriven(context: PlanContext, end: End, limit: CleanLimit) -> Iterator[Finding]:
    """Yield the input ceilings that the source exceeds before its own limit, at full scale."""
    if not isinstance(context.job.stages[limit.head], HeadUnit):
        return
    chain = context.opened
    head_nodes = [n for n in end.all_nodes if isinstance(context.job.stages[n.stage], HeadUnit)]
    low = chain.solve(
        Conditions(end.tone_hz, limit.level_dbfs, settings={f"{limit.head}.volume": 1.0}), targets=end.all_nodes
    )
    step_db = chain.nominal()[f"{limit.head}.volume.step"]
    own = min(float(low.margins_db[0, low.index(n), 2]) for n in head_nodes)
    for node in end.all_nodes:
        over = own - float(low.margins_db[0, low.index(node), 0])
        if over <= 0.05:
            continue
        steps = math.ceil(over / step_db)
        verified = chain.solve(
            Conditions(
                end.tone_hz,
                limit.level_dbfs,
                settings={f"{limit.head}.volume": max(1.0, 1 + own / step_db - steps)},
            ),
            targets=(node,),
        )
        clean = float(verified.margins_db[0, verified.index(node), 0]) >= -1e-6
        yield Finding(
            "caution",
            "input_overdriven",
            node.stage,
            say(
                "at its own limit the source exceeds the input ceiling of {stage} by {over} dB",
                stage=node.stage,
                over=f"{over:.1f}",
            ),
            say(
                "stay below the source's limit by {steps} or more steps of the volume{part}, or add {over} dB of attenuation before {stage}",
                steps=steps,
                part=say(" (solved: clean)") if clean else "",
                over=f"{over:.1f}",
                stage=node.stage,
            ),
            remedies.wider_input(context, node.stage, over),
        )


def _boost(context: PlanContext, end: End) -> Iterator[Finding]:
    """Yield the equalisers that lift programme over the set-up tone, as much of it as the filters up to them let through."""
    frequency_hz = np.geomspace(20, 20_000, 800)
    for control, (stage, equaliser) in equalisers_of(context.job, end.all_nodes).items():
        gain_db = equaliser_gain_db(equaliser, frequency_hz)
        node = next(node for node in end.all_nodes if node.stage == stage)
        reaches = passed(context.job, context.chain.wiring, node, frequency_hz)
        level_db = gain_db + 20 * np.log10(np.maximum(reaches, 1e-9))
        peak, worst = int(np.argmax(gain_db)), int(np.argmax(np.where(gain_db > BOOST_DB, level_db, -math.inf)))
        if level_db[peak] > level_db[worst] - BOOST_DB:
            worst = peak
        at_tone = float(np.interp(end.tone_hz, frequency_hz, gain_db))
        earlier_db = max(0.0, float(level_db[worst] - np.interp(end.tone_hz, frequency_hz, level_db)))
        if gain_db[worst] > BOOST_DB and (at_tone > BOOST_DB or earlier_db > REMEDY_DB):
            yield Finding(
                "caution",
                "boost_costs_headroom",
                control,
                say(
                    "it boosts {part} Hz by {part_2} dB ({at_tone} dB at the set-up tone of {tone_hz} Hz): programme there reaches the ceilings of {stage} and of all later stages {part_3} dB earlier than the tone does",
                    part=f"{frequency_hz[worst]:.0f}",
                    part_2=f"{gain_db[worst]:.1f}",
                    at_tone=f"{at_tone:+.1f}",
                    tone_hz=f"{end.tone_hz:g}",
                    stage=stage,
                    part_3=f"{earlier_db:.1f}",
                ),
                _boost_remedy(frequency_hz[worst], earlier_db),
                {control: "flat"},
            )


def _boost_remedy(boosted_hz: float, more_db: float) -> str:
    """Return what to do about a boost: more allowance would raise the gain, and make it worse."""
    if more_db <= REMEDY_DB:
        return say("set it flat, or keep it: the set-up tone has it in full, so nothing plays louder than what is set")
    return say(
        "set it flat; or keep it and set up with a tone of {hz} Hz (tones in the job), so that nothing plays louder than what is set and the rest {more_db} dB below. More allowance would raise the gain",
        hz=f"{boosted_hz:.0f}",
        more_db=f"{more_db:.1f}",
    )


def _protection(context: PlanContext, path: Path) -> Iterator[Finding]:
    stage = context.job.stages[path.speaker]
    assert isinstance(stage, Speaker)  # noqa: S101  paths end at speakers
    if stage.protect_below is None or not stage.protect_below.known:
        return
    limit_hz = stage.protect_below.nominal
    corners = guarding_corners_hz(context.job, context.chain.wiring, path)
    if not corners or max(corners) < limit_hz:
        said = (
            say("the highest high-pass is at {max} Hz", max=f"{max(corners):g}")
            if corners
            else say("there is no high-pass before it")
        )
        yield Finding(
            "blocker",
            "unprotected_speaker",
            path.speaker,
            say("it must be protected below {limit_hz} Hz; {said}", limit_hz=f"{limit_hz:g}", said=said),
            say(
                "set a high-pass of 12 dB/octave or more at {limit_hz} Hz or above, before any tone is played",
                limit_hz=f"{limit_hz:g}",
            ),
            remedies.protecting(context, path.nodes, limit_hz),
        )


def _clash(context: PlanContext, end: End) -> Iterator[Finding]:
    wiring = context.chain.wiring
    filters = [f for f in series_filters(context.job, wiring, end.nodes[0]) if f.setting.corner is not None]
    corner = {f.control: f.setting.corner.nominal for f in filters if f.setting.corner is not None}
    highs = [f for f in filters if f.kind == "high"]
    lows = [f for f in filters if f.kind == "low"]
    if highs and lows:
        high = max(highs, key=lambda f: corner[f.control])
        low = min(lows, key=lambda f: corner[f.control])
        if corner[high.control] >= corner[low.control]:
            yield Finding(
                "blocker",
                "filters_clash",
                low.control,
                say(
                    "{control} passes above {part} Hz and {control_2} below {part_2} Hz: no band passes at full level",
                    control=high.control,
                    part=f"{corner[high.control]:g}",
                    control_2=low.control,
                    part_2=f"{corner[low.control]:g}",
                ),
                say("set the low-pass above the high-pass"),
                remedies.apart(low, 4 * corner[high.control]),
            )
    for group in (highs, lows):
        tight = sorted(group, key=lambda f: corner[f.control], reverse=group is highs)
        for first, second in itertools.combinations(tight, 2):
            ratio = corner[second.control] / corner[first.control]
            if max(ratio, 1 / ratio) < 2**0.5:
                yield Finding(
                    "caution",
                    "filters_twice",
                    second.control,
                    say(
                        "{control} and {control_2} cut the same band twice",
                        control=first.control,
                        control_2=second.control,
                    ),
                    say("switch one of them off, or set them at least an octave apart"),
                    remedies.apart(second, corner[first.control] * (0.4 if group is highs else 2.5))
                    or remedies.apart(first, corner[second.control] * (2.5 if group is highs else 0.4)),
                )


def _meter_band(context: PlanContext, targets: dict[str, Target]) -> Iterator[Finding]:
    for name, meter in context.instruments.items():
        if not isinstance(meter, Multimeter) or meter.bandwidth is None:
            continue
        limit_hz = meter.bandwidth.nominal
        beyond = sorted({end.tone_hz for end in context.ends if end.tone_hz > limit_hz})
        if not beyond and limit_hz >= FAR_REACHING_HZ:
            continue
        used = any(
            end.tone_hz > limit_hz
            and volts_instrument(context, tone_hz=end.tone_hz, volts=targets[end.stage].v_rms)[0] == name
            for end in context.ends
            if end.stage in targets
        )
        limit = f"{limit_hz:g}"
        tones = joined([f"{t:g} Hz" for t in beyond], by="{a} and {b}")
        enough_hz = beyond[-1] if beyond else FAR_REACHING_HZ
        yield Finding(
            "caution" if used else "note",
            "tone_out_of_band",
            name,
            say(
                "its accuracy is specified up to {limit_hz} Hz; at {tones} it may read up to 3 dB low",
                limit_hz=limit,
                tones=tones,
            )
            if beyond
            else say(
                "its accuracy is specified up to {limit_hz} Hz; above that it may read up to 3 dB low", limit_hz=limit
            ),
            say("there use a meter that is specified up to {highest} Hz, or a recorder", highest=f"{enough_hz:g}")
            if beyond
            else say("read with it at the tones of this plan, and at no higher ones"),
            {f"instruments.{name}": f"{{kind: multimeter, bandwidth: {enough_hz:g} Hz}}"}
            if name not in context.job.instruments
            else {f"instruments.{name}.bandwidth": f"{enough_hz:g} Hz"},
        )
