"""What the pages of a job's start show: the pages in order, devices by their names, leads, figures with what was typed."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import GainwrightError
from gainwright.jobfile.starting import at_hand, devices, figure_values, figures, leads
from gainwright.texts import Text, say
from gainwright.web.jobs.picked_values import PICKER_CHOICES
from gainwright.web.shown_errors import shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.app.store import StoredJob
    from gainwright.jobfile.starting.figures import FigureField
    from gainwright.jobfile.starting.leads import Stages
    from gainwright.web.site import Site

TITLES = {
    "car": say("Car"),
    "instruments": say("Instruments"),
    "devices": say("Devices"),
    "wiring": say("Wiring"),
    "figures": say("Figures"),
    "check": say("Check"),
}
"""Page -> its title, in order."""


@dataclass(frozen=True, slots=True)
class PortShown:
    """An input on the wiring page: its field, name, what feeds it now, and whether several outputs do."""

    field: str
    label: str
    source: str
    as_written: str


@dataclass(frozen=True, slots=True)
class DevicePorts:
    """A device on the wiring page, with its inputs and outputs."""

    key: str
    title: str
    ports: tuple[PortShown, ...]
    outputs: tuple[tuple[str, str], ...]
    error: GainwrightError | None


@dataclass(frozen=True, slots=True)
class FigureShown:
    """A figure with its fields, what they show, whether it is unknown, and what is wrong with it."""

    figure: FigureField
    typed: Mapping[str, str]
    unknown: bool
    assumed: str
    error: GainwrightError | None


def title_of(key: str, stage: Mapping[str, Any]) -> str:
    """Return the name of a device for people."""
    return str(stage.get("name") or key.replace("_", " "))


def error_at_field(error: GainwrightError | None) -> GainwrightError | None:
    """Return an error as it may be shown at its field: without its place in the file; what can be translated stays so."""
    if error is None:
        return None
    plain = shown(error)
    words = [
        o if isinstance(o, Text) else p
        for o, p in ((error.what, plain.what), (error.rule, plain.rule), (error.remedy, plain.remedy))
    ]
    return GainwrightError(words[0], code=error.code, rule=words[1], remedy=words[2])


def devices_with_figures(stages: Stages) -> list[str]:
    """Return the devices that makers give figures for, in the order of the file."""
    return [key for key in stages if figures.figures_of(key, stages)]


def address(job: str, page: str, stage: str = "") -> str:
    """Return the address of a page of the start."""
    return f"/jobs/{job}/start/{page}" + (f"/{stage}" if stage else "")


def page_before_and_after(job: str, page: str, stages: Stages, stage: str = "") -> tuple[str, str]:
    """Return the addresses of the pages before and after a page; one page for each device with figures."""
    listed = devices_with_figures(stages)
    order = [
        ("car", ""),
        ("instruments", ""),
        ("devices", ""),
        ("wiring", ""),
        *(("figures", s) for s in listed),
        ("check", ""),
    ]
    here = order.index((page, stage))
    before = address(job, *order[here - 1]) if here else "/"
    return before, address(job, *order[min(here + 1, len(order) - 1)])


def counted_devices(stages: Stages) -> dict[str, int]:
    """Return how many of each choice of the devices page there are, by its id."""
    single = Counter(_signature(s, leads.role_of(key) or "front") for key, s in stages.items() if "chassis" not in s)
    cases = {str(stage["chassis"]) for stage in stages.values() if "chassis" in stage}
    return {
        device.id: sum(case.startswith(device.id) for case in cases)
        if len(device.parts) > 1
        else single[_signature(device.parts[0].keys, device.id)]
        for device in devices.DEVICES.values()
    }


def _signature(keys: Mapping[str, Any], role: str) -> tuple[str, ...]:
    """Return what distinguishes one choice of device from another."""
    kind = str(keys["kind"])
    return (
        kind,
        *(str(keys.get(key, "")) for key in ("sides", "bridged", "speaker_level")),
        role if kind == "speaker" else "",
    )


def device_ports(
    stages: Stages, given: Mapping[tuple[str, str], str] | None, wrong: Mapping[str, GainwrightError]
) -> list[DevicePorts]:
    """Return the devices with their inputs and outputs: sources first, speakers last.

    Parameters
    ----------
    given : what was chosen, where that couldn't be stored.
    """
    held = leads.leads_of(stages)
    if given is None and not any(held.values()):
        given = leads.usual_leads(stages)
    chosen = held if given is None else {port: given.get(port, "") for port in held}
    rank = {
        "head_unit": 0,
        "converter": 1,
        "line_driver": 2,
        "processor": 3,
        "level_control": 4,
        "amplifier": 5,
        "speaker": 6,
    }
    found = []
    for key in sorted(stages, key=lambda k: rank.get(str(stages[k].get("kind")), 3)):
        ports = tuple(
            PortShown(
                f"lead:{key}.{entry}" if entry else f"lead:{key}",
                leads.output_words(entry),
                source,
                leads.AS_WRITTEN if held[key, entry] == leads.AS_WRITTEN else "",
            )
            for (owner, entry), source in chosen.items()
            if owner == key
        )
        outputs = tuple((o.reference, leads.output_words(o.name)) for o in leads.outputs(stages) if o.stage == key)
        found.append(
            DevicePorts(key, title_of(key, stages[key]), ports, outputs, error_at_field(wrong.get(f"lead:{key}")))
        )
    return found


def sources_in_words(stages: Stages) -> dict[str, str]:
    """Return reference of an output -> its words: `Head unit, front`."""
    found = {}
    for o in leads.outputs(stages):
        device = title_of(o.stage, stages[o.stage])
        found[o.reference] = say("{a}, {b}", a=device, b=leads.output_words(o.name)) if o.name else device
    return found


def figures_shown(
    site: Site,
    stored: StoredJob,
    stages: Stages,
    stage: str,
    given: Mapping[str, str] | None,
    wrong: Mapping[str, GainwrightError],
) -> list[FigureShown]:
    """Return the figures of a device with what the file says, or what was typed and couldn't be stored."""
    assumed = _assumed(site, stored.text)
    found = []
    for figure in figures.figures_of(stage, stages):
        held = figure_values.shown_parts(figure, stages[stage])
        typed = held if given is None else {part: given.get(part, "") for part in figure.parts}
        unknown = figure_values.is_unknown(figure, held) if given is None else f"unknown:{figure.key}" in given
        name = f"stages.{stage}.{figure.key}"
        found.append(FigureShown(figure, typed, unknown, assumed.get(name, ""), error_at_field(wrong.get(figure.key))))
    return found


def _assumed(site: Site, text: str) -> dict[str, str]:
    """Return what is assumed, by key; nothing for a job that isn't complete yet."""
    from gainwright.jobfile.forms import assumed

    try:
        return {".".join(key): found.value for key, found in assumed(site.models.read(text)).items()}
    except GainwrightError:
        return {}


def unknown_figures(stages: Stages) -> list[tuple[str, str, list[str]]]:
    """Return each device with unknown figures, its name, and their labels."""
    found = []
    for key, stage in stages.items():
        asked = [f for f in figures.figures_of(key, stages) if f.picker not in ("filter", "choice")]
        unknown = [f.label for f in asked if figure_values.is_unknown(f, figure_values.shown_parts(f, stage))]
        found += [(key, title_of(key, stage), unknown)] if unknown else []
    return found


CHOICES = {**PICKER_CHOICES, "coils": figures.COILS, "conditions": at_hand.CONDITIONS}
"""What the pickers offer."""
