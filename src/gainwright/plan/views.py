"""Finding a way to look at a source limit that works: each candidate is solved before it is offered."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gainwright.model import Amplifier, LevelControl, Recorder
from gainwright.plan.visibility import Doubt, View, by_preference, doubts
from gainwright.solve import Conditions, recorder_full_scale_v
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.plan.setting_out import End, SettingOut
    from gainwright.plan.source import CleanLimit
    from gainwright.solve import Chain


@dataclass(frozen=True, slots=True)
class Way:
    """A view with how it differs from the plain one, and what still stands against it."""

    view: View
    sets: dict[str, str]
    said: str
    doubts: tuple[Doubt, ...]


def plain_view(out: SettingOut, end: End, limit: CleanLimit, chain: Chain, instrument: str) -> View:
    """Return the view from the end of the chain with one instrument."""
    node = end.nodes[0]
    return View(
        chain, end, node, instrument, out.instruments[instrument], {}, limit.head, limit.onset, limit.level_dbfs
    )


def best_way(out: SettingOut, end: End, limit: CleanLimit) -> Way:
    """Return the first way that works; else the first one, with its doubts."""
    tried: list[Way] = []
    for name, _ in by_preference(out, end.tone_hz):
        for way in _variants(out, plain_view(out, end, limit, out.opened, name)):
            found = Way(way.view, way.sets, way.said, tuple(_all_doubts(out, way.view)))
            if not found.doubts:
                return found
            tried.append(found)
    return tried[0]


def as_it_stands(out: SettingOut, end: End, limit: CleanLimit) -> list[Doubt]:
    """Return what would hide the limit from the preferred instrument with the filters as the job has them."""
    stand = {
        f"{n}.gain": out.opened.settings[f"{n}.gain"] for n in out.job.stages if f"{n}.gain" in out.opened.settings
    }
    name = by_preference(out, end.tone_hz)[0][0]
    view = replace(plain_view(out, end, limit, out.chain, name), settings=stand)
    return doubts(out, view)


def _all_doubts(out: SettingOut, view: View) -> list[Doubt]:
    found = doubts(out, view)
    if isinstance(view.instrument, Recorder) and not found:
        volts = _volts(out, view)
        full = recorder_full_scale_v(view.instrument)
        if volts > full:
            message = say(
                "{node} reaches {volts} V; {instrument_name} overloads at {full} V",
                node=view.node,
                volts=f"{volts:.3g}",
                instrument_name=view.instrument_name,
                full=f"{full:.3g}",
            )
            found.append(Doubt("recorder_overloads", view.instrument_name, message))
    return found


def _volts(out: SettingOut, view: View) -> float:
    solved = view.chain.solve(
        Conditions(
            view.end.tone_hz,
            view.level_dbfs,
            settings={**view.settings, f"{view.head}.volume": view.onset},
            unloaded=out.speakers,
        ),
        targets=(view.node,),
    )
    return float(solved.rms_v[0, solved.index(view.node)])


def _variants(out: SettingOut, plain: View) -> Iterator[Way]:
    yield Way(plain, {}, "", ())
    stage = plain.end.stage
    if isinstance(out.job.stages[stage], Amplifier):
        for percent in (10, 20, 30, 50):
            text = f"{percent} %"
            settings = {f"{stage}.gain": percent / 100}
            yield Way(
                replace(plain, settings=settings),
                {f"{stage}.gain": text},
                say("with {stage}.gain at {text}", stage=stage, text=text),
                (),
            )
    for node in plain.end.upstream:
        control = out.job.stages[node.stage]
        if isinstance(control, LevelControl):
            for down in (6, 12, 20):
                settings = {f"{node.stage}.level": -float(down)}
                sets = {f"{node.stage}.level": f"-{down} dB"}
                yield Way(
                    replace(plain, settings=settings),
                    sets,
                    say("with {stage} {down} dB down", stage=node.stage, down=down),
                    (),
                )
    for node in reversed(plain.end.upstream):
        if out.job.stages[node.stage].reachable:
            yield Way(replace(plain, node=node), {}, say("measured at {node}", node=node), ())
