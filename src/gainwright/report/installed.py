"""Tables of a paper about a job: what is installed, and where each control stands, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.errors import QuantityError
from gainwright.jobfile import controls, volume_steps
from gainwright.model import Amplifier, FilterSetting, HeadUnit, Speaker, name_words, stage_title, the_place, volume_of
from gainwright.report.paper import Table
from gainwright.texts import joined, say, sentence

if TYPE_CHECKING:
    from gainwright.model import AnyStage, Coils, Job, PowerRating

KINDS = {
    "head_unit": say("head unit"),
    "processor": say("processor"),
    "line_driver": say("line driver"),
    "level_control": say("level control"),
    "converter": say("converter"),
    "amplifier": say("amplifier"),
    "speaker": say("speaker"),
}
WIRINGS = {
    "parallel": say("in parallel"),
    "series": say("in series"),
    "series-parallel": say("in series-parallel"),
    "separate": say("each at its own amplifier"),
}
CONTROLS = {
    "gain": say("gain"),
    "volume": say("volume"),
    "low_pass": say("low-pass"),
    "high_pass": say("high-pass"),
    "tone": say("tone controls"),
    "equaliser": say("equaliser"),
    "boost": say("boost"),
    "level": say("level"),
    "delay": say("delay"),
    "polarity": say("polarity"),
    "mute": say("mute"),
    "input_range": say("input range switch"),
    "remote_level": say("remote level control"),
}
SETTINGS = {
    "off": say("off"),
    "flat": say("flat"),
    "reversed": say("reversed"),
    "low": say("low"),
    "high": say("high"),
    "True": say("on"),
}
USUAL = ("False", "normal")
"""Settings that go without saying."""
SHAPES = {"linkwitz-riley": "Linkwitz-Riley", "butterworth": "Butterworth", "bessel": "Bessel"}


def installed(job: Job) -> Table:
    """Return the table of the devices, with what the job says of each."""
    rows = tuple((sentence(stage_title(job, n)), KINDS[s.kind], joined(_facts(job, s))) for n, s in job.stages.items())
    return Table((say("Device"), say("Kind"), say("Data")), rows)


def _facts(job: Job, stage: AnyStage) -> list[str]:
    if isinstance(stage, HeadUnit):
        links = dict.fromkeys(o.digital for o in stage.outputs.values() if o.digital)
        facts = [say("digital, {link}", link=link) for link in links]
        rated = stage.rated_output
        return facts + ([say("rated output {volts}", volts=rated)] if rated is not None else [])
    if isinstance(stage, Amplifier):
        return [*map(_power, stage.power), *_of_amplifier(job, stage)]
    if isinstance(stage, Speaker):
        facts = [say("{count} {wiring}", count=stage.count, wiring=WIRINGS[stage.wiring])] if stage.count > 1 else []
        facts += [str(stage.impedance)] if stage.impedance is not None else []
        facts += [_coils(stage.coils)] if stage.coils is not None else []
        return facts + ([say("rated {power}", power=stage.power)] if stage.power is not None else [])
    return []


def _power(rating: PowerRating) -> str:
    if not rating.power.known:
        return say("rated power unknown")
    return say("{power} into {load}", power=rating.power, load=rating.load)


def _coils(coils: Coils) -> str:
    if coils.number == 1:
        return say("one coil of {ohms}", ohms=coils.each)
    return say("{number} coils of {ohms} {wiring}", number=coils.number, ohms=coils.each, wiring=WIRINGS[coils.wiring])


def _of_amplifier(job: Job, stage: Amplifier) -> list[str]:
    """Return what only some amplifiers have."""
    found = [say("in chassis {chassis}", chassis=name_words(stage.chassis))] if stage.chassis is not None else []
    found += [say("bridged")] if stage.bridged else []
    found += [say("gain fixed")] if stage.gain.fixed else []
    if stage.strapped_to is not None:
        found.append(say("strapped to {stage}", stage=stage_title(job, stage.strapped_to)))
    return found + ([say("supply {volts}", volts=stage.supply.running)] if stage.supply.running is not None else [])


def control_label(control: str) -> str:
    """Return a control's name beside its device: `low-pass, sub output` for `desk.sub.low_pass`."""
    _, *between, last = control.split(".")
    name = CONTROLS.get(last, name_words(last))
    outputs = [name_words(part) for part in between if part != "out"]
    return say("{control}, {output} output", control=name, output=outputs[0]) if outputs else name


def control_settings(job: Job) -> Table:
    """Return the table of the controls and where each stands; gains and volumes also where the job doesn't give them."""
    rows = []
    aliases = {f"{n}.at" for n in job.stages} | {f"{n}.out.{k}" for n in job.stages for k in ("low_pass", "high_pass")}
    for control, text in controls(job).items():
        stage, last = control.split(".", maxsplit=1)[0], control.rpartition(".")[2]
        expected = last in ("gain", "volume")
        if control in aliases or text in USUAL or not (text or expected):
            continue
        rows.append(
            (sentence(the_place(job, stage)), sentence(control_label(control)), setting_words(job, control, text))
        )
    return Table((say("Device"), say("Control"), say("Setting")), tuple(rows))


def setting_words(job: Job, control: str, text: str) -> str:
    """Return a control's setting as people write it; `not noted` for none."""
    stage, last = control.split(".", maxsplit=1)[0], control.rpartition(".")[2]
    plain = text.removesuffix(".0")
    if not plain:
        return say("not noted")
    volume = volume_of(job.stages[stage]) if last == "volume" else None
    if volume is not None:
        return say("step {step} of {steps}", step=plain, steps=volume_steps(volume))
    if last == "gain" and plain.endswith("%"):
        return say("{percent} of its travel", percent=plain)
    if last in ("low_pass", "high_pass") and plain != "off":
        return _filter(plain)
    return SETTINGS.get(plain, plain)


def _filter(text: str) -> str:
    try:
        found = FilterSetting.parse(text)
    except QuantityError:
        return text
    shape = SHAPES.get(found.shape, found.shape)
    return say(
        "{shape} {slope} dB/octave at {corner}", shape=shape, slope=found.slope_db_per_octave, corner=found.corner
    )
