"""Figures that can hardly be meant: a supply far from the rating, powers, resistances and corners of absurd size.

Outside what is usual (`usual_figures`) a figure is asked about; more than ten times outside it stops the plan.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from gainwright.model import (
    Amplifier,
    HeadUnit,
    LineDriver,
    Powered,
    Processor,
    Speaker,
    supply_of,
    supply_path,
)
from gainwright.plan.result import Finding
from gainwright.plan.usual_figures import figures
from gainwright.quantities import DIMENSIONS
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gainwright.model import Job, Vehicle
    from gainwright.model.stages import Supply
    from gainwright.plan.context import PlanContext
    from gainwright.plan.result import Severity
    from gainwright.plan.usual_figures import Figure

SYSTEMS_V = {12: (9.0, 16.0), 24: (18.0, 32.0)}
"""Supply of electronics that run with the engine, by nominal system voltage (ISO 16750-2, codes C and F; from memory)."""
RESTING_SLACK_V = 0.05
CHARGED = 13.8 / 12.6
"""A battery on charge over one at rest (common practice, no published source)."""
COIL_SHARE = (0.4, 1.1)
"""DC resistance of a coil over its nominal impedance, wider than 444 drivers on record (0.59 to 0.88 in nine of ten)."""
FAR = 10.0
"""How many times outside its range a figure can't be meant at all."""


def sizes(context: PlanContext) -> Iterator[Finding]:
    """Yield a question for each figure that can hardly be meant, and a blocker where it can't be."""
    yield from _charging(context)
    for name in context.job.stages:
        yield from _supply(context, name)
    for figure in dict.fromkeys(figures(context.job)):
        yield from _asked(figure)
    for name, stage in context.job.stages.items():
        yield from _coil(name, stage) if isinstance(stage, Speaker) else ()


def _asked(figure: Figure) -> Iterator[Finding]:
    where, found, usual = figure
    value, low, high = found.nominal, usual.low.nominal, usual.high.nominal
    if low <= value <= high:
        return
    off = 1.0
    if not DIMENSIONS[found.dimension].logarithmic:
        off = max(low / value if value > 0 else math.inf, value / high)
    yield _question(
        where, found.text, usual.low.text, usual.high.text, "blocker" if usual.stops and off >= FAR else "caution"
    )


def _question(where: str, value: str, low: str, high: str, severity: Severity) -> Finding:
    return Finding(
        severity,
        "improbable_value",
        where,
        say("is {value} meant? usual are {low} to {high}", value=value, low=low, high=high),
        say("look at the device or its papers, and correct the figure or its unit (mV, kohm, kW, kHz)"),
    )


def _coil(name: str, stage: Speaker) -> Iterator[Finding]:
    nominal = stage.coils.each if stage.coils is not None else stage.impedance
    if stage.re is None or nominal is None or not (stage.re.known and nominal.known):
        return
    low, high = (share * nominal.nominal for share in COIL_SHARE)
    if not low <= stage.re.nominal <= high:
        yield _question(f"{name}.re", stage.re.text, f"{low:.2g} ohm", f"{high:.2g} ohm", "caution")


def _supplied(job: Job, name: str) -> str:
    """Return the stage that a new supply of an amplifier is written at: where its chassis has one already, else itself."""
    owner = supply_of(job, name)
    return name if owner == "vehicle" else owner


def _charging(context: PlanContext) -> Iterator[Finding]:
    """Yield a blocker for each supply whose voltage at rest is above that with the engine running."""
    job, facts = context.job, context.chain.facts
    supplies: dict[str, tuple[Vehicle | Supply, str]] = {"vehicle": (job.vehicle, "vehicle")}
    supplies |= {
        name: (stage.supply, f"stages.{name}.supply")
        for name, stage in job.stages.items()
        if isinstance(stage, Powered) and stage.supply.is_own
    }
    for name, (given, key) in supplies.items():
        if given.resting is None or not given.resting.known:
            continue
        path = key.removeprefix("stages.")
        running, resting = facts[f"{path}.running"].quantity.nominal, given.resting.nominal
        if resting <= running + RESTING_SLACK_V:
            continue
        said = given.running is not None and given.running.known
        yield Finding(
            "blocker",
            "supply_reversed",
            name,
            say(
                "the battery rests at {resting} V and stands at {running} V with the engine running: then it isn't charged",
                resting=f"{resting:g}",
                running=f"{running:g}",
            ),
            say("exchange the two if they are mixed up; otherwise have the charging system repaired first")
            if said
            else say("correct it, or write the voltage with the engine running too"),
            {f"{key}.running": f"{resting:g} V", f"{key}.resting": f"{running:g} V"}
            if said
            else {f"{key}.running": f"{CHARGED * resting:.3g} V"},
        )


def _supply(context: PlanContext, name: str) -> Iterator[Finding]:
    stage, facts = context.job.stages[name], context.chain.facts
    if not isinstance(stage, Amplifier | HeadUnit | Processor | LineDriver):
        return
    state = {s: _supply_path(context.job, name, s) for s in ("running", "resting")}
    gets = facts[state["running"]].quantity.nominal
    if not isinstance(stage, Amplifier):
        yield from _unrated(context.job, name, gets)
        return
    rated = facts[f"{name}.rated_at"].quantity.nominal
    system = 24 if rated > SYSTEMS_V[12][1] else 12
    low, high = SYSTEMS_V[system]
    rests = facts[state["resting"]]
    if low <= gets <= high and rests.given and rests.quantity.nominal < low:
        gets = rests.quantity.nominal
    if not low <= gets <= high:
        yield Finding(
            "blocker",
            "supply_far_from_rating",
            name,
            say(
                "it is rated at {rated} V and would get {supply} V; electronics for {system} V systems take {low} to {high} V",
                rated=f"{rated:g}",
                supply=f"{gets:g}",
                system=system,
                low=f"{low:g}",
                high=f"{high:g}",
            ),
            say(
                "correct the vehicle's voltage, or give the amplifier a supply that it is made for; if it is made for this one, write rated_at"
            ),
            {f"stages.{_supplied(context.job, name)}.supply": f"{{running: {rated:g} V}}"},
        )


def _supply_path(job: Job, name: str, state: str) -> str:
    """Return the place of the voltage of a stage's supply; a head unit has the vehicle's."""
    return supply_path(job, name, state) if isinstance(job.stages[name], Powered) else f"vehicle.{state}"


def _unrated(job: Job, name: str, gets_v: float) -> Iterator[Finding]:
    """Yield what stands against the supply of a stage whose rated voltage no job says.

    In a 24 V vehicle a head unit is taken as made for it; of what is added later it is asked, unless it has a supply of its own.
    """
    (low, high), truck = SYSTEMS_V[12], SYSTEMS_V[24]
    own = isinstance(job.stages[name], HeadUnit) or supply_of(job, name) != "vehicle"
    asked = truck[0] <= gets_v <= truck[1]
    if low <= gets_v <= high or (asked and own):
        return
    yield Finding(
        "note" if asked else "blocker",
        "supply_far_from_rating",
        name,
        say(
            "it would get {supply} V; electronics for 12 V systems take {low} to {high} V",
            supply=f"{gets_v:g}",
            low=f"{low:g}",
            high=f"{high:g}",
        ),
        say(
            "see on its label or in its papers what it is made for, and write its supply: {supply} V, or that of its converter",
            supply=f"{gets_v:g}",
        )
        if asked
        else say("correct the voltage of its supply"),
        {"vehicle.running": "13.8 V"}
        if isinstance(job.stages[name], HeadUnit)
        else {f"stages.{_supplied(job, name)}.supply": "13.8 V"},
    )
