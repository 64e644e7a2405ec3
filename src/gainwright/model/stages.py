"""The stages of a chain, one class for each kind, with their keys in a job file.

For a missing key the catalogue assumes a value, with its reason and spread.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints, model_validator

from gainwright.errors import QuantityError
from gainwright.model.field_types import FieldType
from gainwright.model.fields import (
    AboveZeroFraction,
    AboveZeroLength,
    AboveZeroOhms,
    AboveZeroVolts,
    AirVolume,
    Area,
    CoilsField,
    Current,
    EqualiserField,
    FilterField,
    FilterRangeField,
    Fraction,
    Frequency,
    Frozen,
    Inductance,
    Number,
    Power,
    Ratings,
    Ratio,
    RatioEnds,
    SensitivityField,
    Time,
    Voltage,
    VoltageEnds,
    YesNo,
    by_kind,
)
from gainwright.model.short_forms import expand_gain, expand_supply
from gainwright.model.source_stages import HeadUnit
from gainwright.model.stage_keys import SOURCE_TYPE, FedStage, Reference, Sides, Source, Stage, Volume, YesNoUnknown
from gainwright.texts import say


class Supply(Frozen):
    """Its own supply, where it isn't the vehicle's: another battery, or a converter, which holds its voltage with the engine off."""

    running: AboveZeroVolts | None = Field(
        default=None, description="at its terminals with the engine or a charger running"
    )
    resting: AboveZeroVolts | None = Field(default=None, description="at its terminals with the engine off")

    @property
    def is_own(self) -> bool:
        """Whether its voltage is known, and so another than the vehicle's."""
        return self.running is not None and self.running.known


class Powered(Frozen):
    """The keys of what has a supply, a fuse, a ground and a turn-on."""

    chassis: Annotated[str, StringConstraints(pattern=r"^\w+$", max_length=40)] | None = Field(
        default=None,
        description="name of the chassis it shares with other stages: one supply, fuse, ground and turn-on",
    )
    supply: Annotated[Supply, BeforeValidator(expand_supply, json_schema_input_type=Voltage | Supply)] = Supply()
    turn_on: Literal["remote", "ignition", "signal"] = Field(
        default="remote", description="what turns it on: the remote lead, the ignition, or a signal at its input"
    )
    turn_on_level: Voltage | None = Field(default=None, description="rms signal at its input that turns it on")
    high_level: YesNo = Field(default=False, description="its inputs are meant for speaker level (high-level inputs)")


class ProcessorOutput(Frozen):
    """One output of a processor."""

    source: Annotated[Reference | list[Reference] | None, SOURCE_TYPE] = Field(default=None, alias="from")
    sides: Sides | None = None
    high_pass: FilterField | None = None
    low_pass: FilterField | None = None
    high_pass_range: FilterRangeField | None = None
    low_pass_range: FilterRangeField | None = None
    equaliser: EqualiserField | None = None
    level: Ratio | None = None
    delay: Time | None = None
    polarity: Literal["normal", "reversed"] = "normal"
    mute: YesNo = False


class Processor(Stage, Powered):
    """Inputs, routing, filters, equaliser, delay, polarity, level; digital unless `digital: no`."""

    kind: Literal["processor"]
    inputs: dict[str, Source] = Field(min_length=1)
    outputs: dict[str, ProcessorOutput] = Field(min_length=1)
    digital: YesNo = True
    volume: Volume | None = Field(default=None, description="its master volume, which sets the level of every output")
    input_limit: AboveZeroVolts | None = None
    output_limit: AboveZeroVolts | None = None
    gain: Ratio | None = None
    digital_gain: Ratio | None = Field(
        default=None,
        description="what full scale at a digital input gives, relative to its largest clean output, levels at 0 dB",
    )
    balanced: YesNo = Field(
        default=False, description="whether its line outputs are balanced: their voltage is that between the two legs"
    )
    balanced_input: YesNoUnknown | None = Field(
        default=None, description="whether its input is balanced; an unbalanced one takes half of a balanced output"
    )
    input_impedance: AboveZeroOhms | None = None


class LineDriver(FedStage, Powered):
    """Raises a line-level signal."""

    kind: Literal["line_driver"]
    gain: Ratio
    range: RatioEnds | None = Field(
        default=None, description="from fully down to fully up, if its gain can be adjusted"
    )
    balanced: YesNo = Field(
        default=False, description="whether its line outputs are balanced: their voltage is that between the two legs"
    )
    balanced_input: YesNoUnknown | None = Field(
        default=None, description="whether its input is balanced; an unbalanced one takes half of a balanced output"
    )
    output_limit: AboveZeroVolts | None = None
    input_limit: AboveZeroVolts | None = None


class LevelControl(FedStage):
    """A control at the driver's hand; it attenuates only."""

    kind: Literal["level_control"]
    range: RatioEnds | None = None
    at: Ratio | None = None
    balanced_input: YesNoUnknown | None = Field(
        default=None, description="whether its input is balanced; an unbalanced one takes half of a balanced output"
    )
    reserve: Ratio | None = Field(default=None, description="how far below its top it is during set-up")


class Converter(FedStage):
    """From speaker level to line level."""

    kind: Literal["converter"]
    ratio: Ratio | None = None
    input_limit: AboveZeroVolts | None = None
    output_limit: AboveZeroVolts | None = None


class Gain(Frozen):
    """The gain control of an amplifier: 0 % fully down, 100 % fully up."""

    fixed: YesNo = Field(default=False, description="it has no gain control; its sensitivity is one value")
    at: Fraction | None = None
    mutes_at_minimum: Literal["yes", "no", "unknown"] | None = None


class RemoteLevel(Frozen):
    """A level control on a wire at the amplifier's own port; it scales the gain, or boosts a band."""

    range: RatioEnds | None = Field(default=None, description="from fully down to fully up; above 0 dB it boosts")
    at: Ratio | None = Field(default=None, description="its present setting")
    reserve: Ratio | None = Field(default=None, description="how far below its top it is during set-up")
    boosts: Frequency | None = Field(
        default=None, description="centre of the band that it boosts, if not the whole channel"
    )
    q: Number | None = Field(default=None, description="q of that band")

    @model_validator(mode="after")
    def _check_band(self) -> RemoteLevel:
        """Refuse a band of which nobody knows where it is: nothing could be worked out with it."""
        if self.boosts is not None and not self.boosts.known:
            raise QuantityError(
                say("the band that a level control boosts must be known, if only as a span"),
                code="bad_value",
                remedy=say("write, for example, 40 .. 60 Hz; leave boosts out if it scales the whole channel"),
            )
        return self


class Amplifier(FedStage, Powered):
    """One or more sides, bridged or not; a bridged rating is that of the bridged pair."""

    kind: Literal["amplifier"]
    balanced_input: YesNoUnknown | None = Field(
        default=None, description="whether its input is balanced; an unbalanced one takes half of a balanced output"
    )
    power: Ratings
    sensitivity: VoltageEnds | None = None
    input_ranges: Annotated[
        dict[Annotated[str, StringConstraints(pattern=r"^\w+$", max_length=20)], VoltageEnds],
        FieldType("marks", example="low: 0.2 .. 2 V"),
    ] = Field(
        default_factory=dict,
        max_length=4,
        description="positions of its input range switch, each with the sensitivity gain fully up .. fully down",
    )
    input_range: str | None = Field(default=None, description="position of its input range switch")
    gain: Annotated[Gain, BeforeValidator(expand_gain, json_schema_input_type=str | Gain)] = Gain()
    remote_level: RemoteLevel | None = None
    polarity: Literal["normal", "reversed"] = Field(default="normal", description="its phase switch; reversed inverts")
    high_pass: FilterField | None = None
    low_pass: FilterField | None = None
    high_pass_range: FilterRangeField | None = None
    low_pass_range: FilterRangeField | None = None
    boost: EqualiserField | None = None
    bridged: YesNo = False
    strapped_to: str | None = Field(
        default=None,
        description="the other amplifier of a strapped pair, whose output feeds the plus end of their load",
    )
    minimum_load: AboveZeroOhms | None = None
    regulated: YesNo = False
    lamps: YesNo = Field(default=True, description="whether it has lamps to be seen, for power and protection")
    rated_at: AboveZeroVolts | None = None
    headroom: Ratio | None = Field(default=None, description="how far its real output exceeds its rating")
    input_limit: AboveZeroVolts | None = None
    output_class: Literal["AB", "D"] | None = Field(
        default=None, alias="class", description="class of its output stage: AB, or D (switching)"
    )
    efficiency: AboveZeroFraction | None = Field(
        default=None, description="power out over power in: of the whole of class D, of its converter of class AB"
    )
    idle: Current | None = Field(default=None, description="what it takes with nothing playing")

    @model_validator(mode="after")
    def _check_sensitivity(self) -> Amplifier:
        """Refuse sensitivities that don't belong to the gain control, and an unknown input range."""
        given = [self.sensitivity] if self.sensitivity is not None else list(self.input_ranges.values())
        for ends in given:
            if ends.single != self.gain.fixed and ends.first.known:
                raise _two_or_one(ends.text, fixed=self.gain.fixed)
        if self.gain.fixed and self.gain.at is not None:
            raise QuantityError(
                say("a fixed gain can't be set"), code="bad_value", remedy=say("leave out its setting, or fixed")
            )
        if self.input_ranges and self.sensitivity is not None:
            raise QuantityError(
                say("sensitivity and input_ranges are both given"),
                code="bad_value",
                rule=say("each position of the switch has its own sensitivity"),
                remedy=say("keep input_ranges"),
            )
        if self.input_ranges and self.input_range not in (None, *self.input_ranges):
            names = ", ".join(self.input_ranges)
            raise QuantityError(
                say("{input_range} is not a position of the input range switch", input_range=self.input_range),
                code="bad_value",
                rule=say("there is {names}", names=names),
                remedy=say("name one of input_ranges"),
            )
        return self


def _two_or_one(text: str, *, fixed: bool) -> QuantityError:
    if fixed:
        return QuantityError(
            say("the sensitivity {text} has two ends, but the gain is fixed", text=repr(text)),
            code="bad_value",
            remedy=say("write the one input for rated power, for example 1 V"),
        )
    return QuantityError(
        say("the sensitivity {text} is one value", text=repr(text)),
        code="bad_value",
        rule=say("it is the input for rated power, gain fully up .. fully down"),
        remedy=say("write, for example, {text} .. 5 V, or gain: fixed if it has no gain control", text=text),
    )


class Box(Frozen):
    """What stands behind the cone of one speaker; without a volume it is taken as a large baffle."""

    volume: AirVolume | None = Field(default=None, description="net volume of air for one speaker")
    tuned: Frequency | None = Field(default=None, description="frequency of its port; sealed without one")


class Speaker(FedStage):
    """One speaker, or `count` equal ones wired together, on each side that feeds it."""

    kind: Literal["speaker"]
    impedance: AboveZeroOhms | None = None
    coils: CoilsField | None = None
    count: int = Field(default=1, ge=1, le=16)
    wiring: Literal["parallel", "series", "series-parallel"] = Field(
        default="parallel", description="how the speakers of `count` are wired together on one side"
    )
    re: AboveZeroOhms | None = Field(default=None, description="DC resistance of one coil, as a meter reads it (Re)")
    power: Power | None = None
    sensitivity: SensitivityField | None = None
    distance: AboveZeroLength | None = Field(
        default=None, description="from its cone to the nearest ear in the vehicle"
    )
    protect_below: Frequency | None = None
    resonance: Frequency | None = Field(default=None, description="in free air, as the data sheet says (fs)")
    qts: Number | None = None
    qms: Number | None = None
    qes: Number | None = None
    vas: AirVolume | None = None
    cone_area: Area | None = Field(default=None, description="effective area of one cone (Sd)")
    xmax: AboveZeroLength | None = Field(default=None, description="linear travel to one side (Xmax)")
    inductance: Inductance | None = Field(default=None, description="of one coil at 1 kHz (Le)")
    box: Box = Box()

    @model_validator(mode="after")
    def _check_wiring(self) -> Speaker:
        """Refuse two pairs of anything but four."""
        if self.wiring == "series-parallel" and self.count not in (1, 4):
            raise QuantityError(
                say("{count} speakers can't be wired series-parallel", count=self.count),
                code="bad_value",
                rule=say("series-parallel is two pairs"),
                remedy=say("write count: 4, or parallel or series"),
            )
        return self

    @property
    def load_factor(self) -> float:
        """Load on one side over the impedance of one coil."""
        wired = {"parallel": 1 / self.count, "series": float(self.count), "series-parallel": 1.0}[self.wiring]
        return wired * (self.coils.factor if self.coils is not None else 1.0)


def volume_of(stage: Stage) -> Volume | None:
    """Return the volume control of a stage: a head unit has one, a processor may have a master volume."""
    return stage.volume if isinstance(stage, HeadUnit | Processor) else None


AnyStage = Annotated[
    HeadUnit | Processor | LineDriver | LevelControl | Converter | Amplifier | Speaker, Field(discriminator="kind")
]
STAGES: dict[str, type[Stage]] = by_kind(AnyStage)
"""Kind of a stage -> its class; the one list of kinds."""
WITH_NAMED_OUTPUTS = tuple(kind for kind, cls in STAGES.items() if "outputs" in cls.model_fields)
"""Kinds whose outputs have names; the others have the one output `out`, a speaker none."""
