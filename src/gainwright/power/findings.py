"""What is wrong with the supply and the speakers of a job, each with a remedy that is computed again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainwright.jobfile import with_changes
from gainwright.model import BATTERY, WireSize, name_words
from gainwright.power.cables import GAUGES, cable_result, gauge_of
from gainwright.power.result import PowerFinding
from gainwright.power.supply_states import supply_states
from gainwright.solve import area_m2
from gainwright.texts import joined, say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from gainwright.model import Job
    from gainwright.plan import AmplifierLoad
    from gainwright.power.programmes import Programme
    from gainwright.power.result import CableResult, SpeakerResult
    from gainwright.power.supply_states import SupplyStates

LONG_SHARE = 0.75
"""A fuse carries this share of its rating for as long as one likes (common practice, no published source)."""
SHORT_SHARE = 1.10
"""A fuse carries this share of its rating for at least 100 hours (ISO 8820-3, blade fuses; from memory)."""
DROP_V = 0.5
"""Largest loss of the cables to a device in the worst second (common practice, no published source)."""
FUSE_WITHIN_M = 0.45
"""A main fuse is no further from the battery (common practice, no published source)."""
FUSES_A = (5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 100, 125, 150, 175, 200, 225, 250, 300, 350, 400, 500)
"""Fuses that are sold for vehicles (common practice, no published source)."""
HOT_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Evaluated:
    """A job with its supply solved, ready to be solved again with other cables."""

    job: Job
    amplifiers: Mapping[str, AmplifierLoad]
    programmes: Mapping[str, Programme]
    states: SupplyStates

    def with_changes(self, sets: Mapping[str, str]) -> Evaluated:
        """Return the same with some keys of the job changed."""
        changed = with_changes(self.job, sets)
        return Evaluated(
            changed, self.amplifiers, self.programmes, supply_states(changed, self.amplifiers, self.programmes)
        )

    def cable(self, name: str) -> CableResult:
        """Return one of its cables."""
        return cable_result(self.job, name, self.states)


def supply_findings(found: Evaluated) -> Iterator[PowerFinding]:
    """Yield what is wrong with the supply, battery first, then each cable on the way out."""
    yield from _battery(found)
    for branch in found.states.tree.branches:
        cable = found.cable(branch.name)
        yield from _fuse(found, cable)
        yield from _wire(found, cable)
    yield from _drops(found)
    if found.states.tree.loose and found.job.supply:
        names = ", ".join(found.states.tree.loose)
        yield PowerFinding(
            "note",
            "no_cable_given",
            found.states.tree.loose[0],
            say("no cable is given to {names}: computed as if at the battery's terminals", names=names),
            say("Give the cable that feeds it, with its fuse."),
        )


def _battery(found: Evaluated) -> Iterator[PowerFinding]:
    states, source = found.states, found.states.source
    for state in ("music", "worst_second", "full_sine"):
        if states.collapses(state):
            yield PowerFinding(
                "caution",
                "supply_collapses",
                BATTERY,
                {
                    "music": say("the cables can't carry the music at all: the voltage collapses"),
                    "worst_second": say("in the worst second of the music the voltage collapses"),
                    "full_sine": say("with every amplifier at full power the voltage would collapse"),
                }[state],
                say("Thicker and shorter cables, there and back."),
            )
            return
    other = source.other_a
    for state, severity in (("music", "caution"), ("worst_second", "note")):
        needed = states.drawn_a[state] + other  # type: ignore[index]
        if needed <= source.alternator_a:
            continue
        yield PowerFinding(
            severity,  # type: ignore[arg-type]
            "alternator_small",
            "vehicle.alternator",
            say(
                "the music takes {drawn} A on average and the vehicle {other} A; the alternator gives {given} A, so the battery runs down",
                drawn=f"{states.drawn_a['music']:.0f}",
                other=f"{other:.0f}",
                given=f"{source.alternator_a:.0f}",
            )
            if state == "music"
            else say(
                "in its worst second the music takes {drawn} A and the vehicle {other} A, the alternator gives {given} A: the battery gives the rest, and the voltage falls to {volts} V",
                drawn=f"{states.drawn_a['worst_second']:.0f}",
                other=f"{other:.0f}",
                given=f"{source.alternator_a:.0f}",
                volts=f"{states.battery_v['worst_second']:.1f}",
            ),
            say("A larger alternator, or less level; a second battery only lengthens the time."),
        )
        return


def _fuse(found: Evaluated, cable: CableResult) -> Iterator[PowerFinding]:
    """Yield what is wrong with the fuse of a cable: none, above its wire, or too small for the music."""
    given = found.job.supply[cable.name]
    guard = cable.fuse_a if cable.fuse_a is not None else _guard_before(found, cable)
    where = f"supply.{cable.name}"
    if cable.source == BATTERY and cable.fuse_a is None:
        yield PowerFinding(
            "caution",
            "no_fuse",
            where,
            say(
                "no fuse is given at the beginning of {name}: a short circuit has {amps} A",
                name=name_words(cable.name),
                amps=_amps(cable.short_a),
            ),
            say("A fuse for this wire, as near to the battery as can be."),
            _fuse_for(found, cable),
        )
    distance = given.fuse_distance
    if cable.source == BATTERY and distance is not None and distance.known and distance.nominal > FUSE_WITHIN_M:
        yield PowerFinding(
            "caution",
            "fuse_far",
            where,
            say(
                "the fuse of {name} is {metres} m from the battery: nothing protects the wire before it",
                name=name_words(cable.name),
                metres=f"{distance.nominal:.2g}",
            ),
            say("Move it to within {most} m of the battery.", most=f"{FUSE_WITHIN_M:g}"),
            {f"{where}.fuse_distance": f"{FUSE_WITHIN_M:g} m"},
        )
    if guard is not None and cable.ampacity_a is not None and guard > cable.ampacity_a:
        sets = _fuse_for(found, cable) or _thicker(found, cable, lambda c: (c.ampacity_a or 0.0) >= guard)
        yield PowerFinding(
            "caution",
            "fuse_above_wire",
            where,
            say(
                "{name} is behind a fuse of {fuse} A, its wire may carry {most} A: the wire can burn before the fuse blows",
                name=name_words(cable.name),
                fuse=f"{guard:g}",
                most=f"{cable.ampacity_a:.0f}",
            ),
            _as_words(sets) or say("A thicker wire, or a smaller fuse at its beginning."),
            sets,
        )
    mean, worst = cable.amps["music"], cable.amps["worst_second"]
    if cable.fuse_a is None or mean is None or worst is None:
        return
    if mean > LONG_SHARE * cable.fuse_a or worst > SHORT_SHARE * cable.fuse_a:
        sets = _fuse_for(found, cable)
        yield PowerFinding(
            "caution",
            "fuse_small",
            where,
            say(
                "the fuse of {name} is {fuse} A; the music takes {mean} A on average and {worst} A in its worst second",
                name=name_words(cable.name),
                fuse=f"{cable.fuse_a:g}",
                mean=f"{mean:.0f}",
                worst=f"{worst:.0f}",
            ),
            _as_words(sets) or say("A thicker wire first, then a larger fuse: never a larger fuse alone."),
            sets,
        )


def _guard_before(found: Evaluated, cable: CableResult) -> float | None:
    """Return the next fuse on the way to the battery, amperes."""
    while cable.source != BATTERY:
        cable = found.cable(cable.source)
        if cable.fuse_a is not None:
            return cable.fuse_a
    return None


def _fuse_for(found: Evaluated, cable: CableResult) -> dict[str, str]:
    """Return a fuse that the wire withstands and the music doesn't blow; empty if there is none."""
    mean, worst = cable.amps["music"], cable.amps["worst_second"]
    if cable.ampacity_a is None or mean is None or worst is None:
        return {}
    del found
    fitting = [a for a in FUSES_A if mean <= LONG_SHARE * a and worst <= SHORT_SHARE * a and a <= cable.ampacity_a]
    return {f"supply.{cable.name}.fuse": f"{fitting[0]:g} A"} if fitting else {}


def _wire(found: Evaluated, cable: CableResult) -> Iterator[PowerFinding]:
    """Yield a wire that is thinner than the music asks for."""
    mean = cable.amps["music"]
    if cable.ampacity_a is None or mean is None or mean <= cable.ampacity_a:
        return
    sets = _thicker(found, cable, lambda c: (c.ampacity_a or 0.0) >= (c.amps["music"] or 0.0))
    yield PowerFinding(
        "caution",
        "wire_thin",
        f"supply.{cable.name}",
        say(
            "{name} carries {mean} A on average with this music; its wire may carry {most} A",
            name=name_words(cable.name),
            mean=f"{mean:.0f}",
            most=f"{cable.ampacity_a:.0f}",
        ),
        _as_words(sets) or say("Two cables, each with its own fuse, or less level."),
        sets,
    )


def _thicker(found: Evaluated, cable: CableResult, fits: Callable[[CableResult], bool]) -> dict[str, str]:
    """Return the thinnest wire of the table with which a condition holds, solved again; empty if there is none."""
    gauge = gauge_of(found.job.supply[cable.name])
    sizes = GAUGES if gauge is None else GAUGES[GAUGES.index(gauge) + 1 :]
    for size in sizes:
        sets = {f"supply.{cable.name}.wire": gauge_text(size)}
        if fits(found.with_changes(sets).cable(cable.name)):
            return sets
    return {}


def gauge_text(gauge: int) -> str:
    """Return a gauge as people write it: `4 AWG`, `2/0 AWG`."""
    return f"{gauge} AWG" if gauge > 0 else f"{1 - gauge}/0 AWG"


def _drops(found: Evaluated) -> Iterator[PowerFinding]:
    """Yield the devices whose cables lose too much in the worst second, with the wires that mend it."""
    lost = _losses(found)
    if not lost:
        return
    sets = _less_drop(found)
    listed = joined([say("{volts} V to {name}", volts=f"{v:.2f}", name=name_words(d)) for d, v in lost.items()])
    yield PowerFinding(
        "caution",
        "cable_drop",
        max(lost, key=lambda device: lost[device]),
        say(
            "in the worst second of the music the cables lose, there and back, {listed}; what its supply loses, an unregulated amplifier's ceiling loses",
            listed=listed,
        ),
        _as_words(sets) or say("Thicker and shorter cables, and a way back of the same size."),
        sets,
    )


def _losses(found: Evaluated) -> dict[str, float]:
    """Return device -> volts that its cables lose in the worst second, where that is too much."""
    states, lost = found.states, {}
    for branch in states.tree.branches:
        for device in branch.feeds:
            volts = states.battery_v["worst_second"] - states.devices_v[device]["worst_second"]
            if volts > DROP_V:
                lost[device] = volts
    return lost


def _less_drop(found: Evaluated) -> dict[str, str]:
    """Return thicker wires until no cable loses too much, solved again each time; empty if none are enough.

    Each time the cable on the worst device's way that loses most grows by one size of the table.
    """
    sets: dict[str, str] = {}
    now = found
    for _ in range(len(GAUGES) * len(found.states.tree.branches)):
        lost = _losses(now)
        if not lost:
            return {} if now.states.collapses("worst_second") else sets
        device = max(lost, key=lambda d: lost[d])
        way = [now.cable(b.name) for b in now.states.tree.branches if _leads_to(now, b.name, device)]
        growing = [c for c in way if gauge_of(now.job.supply[c.name]) not in (None, GAUGES[-1])]
        if not growing:
            return {}
        worst = max(growing, key=lambda c: c.drop_v["worst_second"] or 0.0)
        gauge = gauge_of(now.job.supply[worst.name])
        assert gauge is not None  # noqa: S101  chosen above
        sets[f"supply.{worst.name}.wire"] = gauge_text(GAUGES[GAUGES.index(gauge) + 1])
        now = found.with_changes(sets)
    return {}


def _leads_to(found: Evaluated, cable: str, device: str) -> bool:
    branches = {b.name: b for b in found.states.tree.branches}
    at = next((b for b in branches.values() if device in b.feeds), None)
    while at is not None:
        if at.name == cable:
            return True
        at = branches.get(at.source)
    return False


def _as_words(sets: Mapping[str, str]) -> str:
    """Return changes of cables as a sentence, empty without any."""
    said = []
    for path, text in sets.items():
        name, key = path.split(".")[1:]
        if key == "wire":
            area = f"{1e6 * (area_m2(WireSize.parse(text)) or 0.0):.0f}"
            said.append(say("{name}: wire of {size} ({area} mm²)", name=name_words(name), size=text, area=area))
        else:
            said.append(say("{name}: fuse of {size}", name=name_words(name), size=text))
    return say("{changes}.", changes=joined(said, by="{a}; {b}")) if said else ""


def _amps(value: float | None) -> str:
    return say("hundreds of") if value is None else f"{value:.0f}"


def speaker_findings(speakers: tuple[SpeakerResult, ...]) -> Iterator[PowerFinding]:
    """Yield the speakers that the music may burn or bottom, and those of which nothing can be told."""
    for s in speakers:
        if s.heat_share is not None and s.heat_share > HOT_SHARE:
            hot = s.heat_share > 1
            yield PowerFinding(
                "caution" if hot else "note",
                "coil_hot",
                s.name,
                say(
                    "the loudest track heats the coil of {name} to {share} % of what it stands, and costs up to {db} dB",
                    name=name_words(s.name),
                    share=f"{100 * s.heat_share:.0f}",
                    db=f"{s.compression_db or 0.0:.1f}",
                ),
                say("A lower target, a smaller allowance, or a speaker of higher rating."),
            )
        if s.travel_bound_mm is not None and s.xmax_mm is not None and s.travel_bound_mm > s.xmax_mm:
            sure = s.travel_mm is not None and s.travel_mm > s.xmax_mm
            yield PowerFinding(
                "caution" if sure else "note",
                "cone_travel",
                s.name,
                say(
                    "the cone of {name} travels about {travel} mm in the worst second and at most {bound} mm, near {hz} Hz; it is linear to {xmax} mm",
                    name=name_words(s.name),
                    travel=f"{s.travel_mm or 0.0:.1f}",
                    bound=f"{s.travel_bound_mm:.1f}",
                    hz=f"{s.bound_hz or 0.0:.0f}",
                    xmax=f"{s.xmax_mm:g}",
                ),
                say("A high-pass below what it plays, a lower target, or a smaller box."),
            )
        if s.missing:
            yield PowerFinding(
                "note",
                "travel_unknown",
                s.name,
                say(
                    "the travel of {name} can't be told without {keys}",
                    name=name_words(s.name),
                    keys=", ".join(s.missing),
                ),
                say("They are on its data sheet."),
            )
