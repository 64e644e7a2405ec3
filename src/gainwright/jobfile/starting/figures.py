"""The figures of each device that are asked for when a job is begun: what the maker says, what its controls show.

Each can be unknown. A figure's parts are named by its key in the file: `power:0:w` for the watts of the first rating.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from gainwright.jobfile.forms.pickers import RATINGS
from gainwright.jobfile.starting.leads import output_words, role_of
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

Picker = Literal["quantity", "whole", "filter", "ratings", "ends", "coils", "choice"]


@dataclass(frozen=True, slots=True)
class FigureField:
    """A figure to ask for.

    Attributes
    ----------
    key : within its stage, with points: `volume.steps`.
    unit : of a bare number.
    needed : whether the file needs the key; it then says `unknown`.
    choices : of a choice.
    aside : whether it is seldom used, and folded on a page.
    """

    key: str
    picker: Picker
    label: str
    hint: str
    unit: str = ""
    needed: bool = False
    choices: tuple[str, ...] = ()
    dimension: str = ""
    aside: bool = False

    @property
    def path(self) -> tuple[str, ...]:
        """The keys that lead to it."""
        return tuple(self.key.split("."))

    @property
    def parts(self) -> tuple[str, ...]:
        """The names of its fields on a page."""
        ends = {
            "filter": ("shape", "slope", "corner"),
            "ratings": tuple(f"{i}:{part}" for i in range(RATINGS) for part in ("w", "ohm")),
            "ends": ("first", "second"),
            "coils": ("coils", "each"),
        }.get(self.picker, ())
        return tuple(f"{self.key}:{end}" for end in ends) or (self.key,)


def _volts(key: str, label: str, hint: str, *, needed: bool = False) -> FigureField:
    return FigureField(key, "quantity", label, hint, "V", needed, dimension="voltage")


def _filter(key: str, label: str) -> FigureField:
    return FigureField(key, "filter", label, say("as it is switched and set now"))


_HEAD_UNIT = (
    _volts(
        "rated_output",
        say("Voltage of its outputs"),
        say("the maker's figure, “pre-out voltage” in its manual"),
        needed=True,
    ),
    FigureField(
        "volume.steps",
        "whole",
        say("Highest number of its volume"),
        say("turn it up with nothing playing, and read it"),
    ),
)
_FACTORY_RADIO = (
    _volts(
        "rated_output",
        say("Largest clean voltage of its speaker outputs"),
        say("if it was measured; most makers don't say"),
        needed=True,
    ),
    _HEAD_UNIT[1],
)
_PROCESSOR = (
    _volts("input_limit", say("Largest input"), say("rms of the largest sine that its input takes")),
    _volts("output_limit", say("Largest output"), say("rms of its largest clean sine")),
)
_DRIVER = (
    FigureField(
        "gain",
        "quantity",
        say("Gain"),
        say("from its input to its output, as it is set"),
        "dB",
        needed=True,
        dimension="ratio",
    ),
    _volts("output_limit", say("Largest output"), say("rms of its largest clean sine")),
)
_CONVERTER = (
    _volts("input_limit", say("Largest input"), say("rms of the largest sine that its input takes")),
    FigureField(
        "ratio",
        "quantity",
        say("From its input to its output"),
        say("negative, it makes the signal smaller"),
        "dB",
        dimension="ratio",
    ),
)
_AMPLIFIER = (
    FigureField(
        "power",
        "ratings",
        say("Rated power"),
        say("continuous (rms) watts of one channel, and the ohms they are rated into"),
        needed=True,
    ),
    FigureField(
        "sensitivity",
        "ends",
        say("Input for rated power"),
        say("volts with the gain fully up, and with it fully down"),
        "V",
        dimension="voltage",
    ),
    _filter("high_pass", say("High-pass")),
    _filter("low_pass", say("Low-pass")),
)
_POWER = FigureField(
    "power", "quantity", say("Power it takes"), say("continuous (rms), of one"), "W", dimension="power"
)
_LOUDNESS = FigureField(
    "sensitivity", "quantity", say("Sensitivity"), say("at 1 m for 2.83 V"), "dB", dimension="sound level"
)
_SPEAKERS = (
    FigureField("impedance", "quantity", say("Impedance"), say("of one; on its label"), "ohm", dimension="resistance"),
    _POWER,
    _LOUDNESS,
)
_SUBWOOFER = (
    FigureField(
        "coils",
        "coils",
        say("Voice coils"),
        say("how many, how they are wired, and the ohms of one coil"),
        "ohm",
        dimension="resistance",
    ),
    _POWER,
    _LOUDNESS,
)
_TWEETERS = (
    *_SPEAKERS,
    FigureField(
        "protect_below",
        "quantity",
        say("Lowest frequency it takes"),
        say("below it a loud tone may damage it"),
        "Hz",
        dimension="frequency",
    ),
)
ONE_COIL = "one coil"
COILS = {
    ONE_COIL: say("one coil"),
    "2 parallel": say("two coils in parallel"),
    "2 series": say("two coils in series"),
}
"""Voice coils of a subwoofer -> in words."""


def figures_of(key: str, stages: Mapping[str, dict[str, Any]]) -> tuple[FigureField, ...]:
    """Return the figures that are asked for a stage; none for one without makers' figures."""
    stage = stages[key]
    kind = stage.get("kind")
    if kind == "head_unit":
        own = _FACTORY_RADIO if stage.get("speaker_level") else _HEAD_UNIT
        return (*own, *(replace(f, aside=True) for f in _of_outputs(stage)))
    if kind == "processor":
        return (*_PROCESSOR, *_of_outputs(stage))
    if kind == "speaker":
        role = role_of(key)
        return _SUBWOOFER if role == "sub" else _TWEETERS if role == "tweeter" else _SPEAKERS
    return {"line_driver": _DRIVER, "converter": _CONVERTER, "amplifier": _AMPLIFIER}.get(str(kind), ())


def _of_outputs(stage: Mapping[str, Any]) -> tuple[FigureField, ...]:
    found: list[FigureField] = []
    routed = tuple(stage.get("inputs") or ())
    for name in stage.get("outputs") or {}:
        output, path = output_words(name), f"outputs.{name}"
        if len(routed) > 1:
            label = say("{output} output: from the input", output=output)
            found.append(FigureField(f"{path}.from", "choice", label, "", choices=routed))
        found.append(_filter(f"{path}.high_pass", say("{output} output: high-pass", output=output)))
        found.append(_filter(f"{path}.low_pass", say("{output} output: low-pass", output=output)))
    return tuple(found)
