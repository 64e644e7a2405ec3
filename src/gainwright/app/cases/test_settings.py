"""What the controls must be set to for a test of fault finding, in words with values, and the tone that it plays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.texts import say, sentence

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.model import Entry, Job, Wiring

SHOWN = ("volume", "gain", "level", "remote_level", "input_range", "low_pass", "high_pass")
"""Controls that decide whether a test's tone arrives, and at which level."""
SECONDS_OFF, SECONDS_ON = 60.0, 10.0
"""How long a test's tone may play at a time, the speakers off and on (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class RequiredSetting:
    """A control in words, and what it must be set to."""

    where_text: str
    setting: str


@dataclass(frozen=True, slots=True)
class PlayedTone:
    """The tone of a test.

    Attributes
    ----------
    sides : of the recording with the tone: both, left or right.
    """

    tone_hz: float
    level_dbfs: float
    sides: str
    seconds: float


@dataclass(frozen=True, slots=True)
class ConditionsOfTest:
    """The controls along the way of a test's tone, and the tone; no controls and None for a test without one."""

    controls: tuple[RequiredSetting, ...] = ()
    tone: PlayedTone | None = None


def conditions_of(entry: Mapping[str, Any], job: Job) -> ConditionsOfTest:
    """Return what the controls must be set to for a test, as its entry and the job have them, and its tone.

    Raises
    ------
    JobError : the entry doesn't fit the job.
    """
    from gainwright.jobfile import at_hand, controls, read_entry
    from gainwright.model import Played, resolve
    from gainwright.plan import control_words

    read = read_entry(dict(entry), job, answered=False)
    if not isinstance(read, Played) or read.tone_hz is None or not at_hand(job):
        return ConditionsOfTest()
    passed = _places_before(read, resolve(job))
    settings = {c: text for c, text in controls(job).items() if ".out." not in c and not c.endswith(".at")} | read.set
    found = [
        RequiredSetting(sentence(control_words(job, control)), _setting_words(control, text))
        for control, text in settings.items()
        if control.rpartition(".")[0] in passed and control.endswith(SHOWN) and _says_something(control, text, read.set)
    ]
    seconds = SECONDS_OFF if read.speakers == "off" else SECONDS_ON
    return ConditionsOfTest(tuple(found), PlayedTone(read.tone_hz, read.level_dbfs, read.side, seconds))


def _places_before(entry: Entry, wiring: Wiring) -> set[str]:
    """Return the stages and outputs that a test's tone goes through up to its place."""
    place = str(getattr(entry, "at", "") or getattr(entry, "heard", "") or getattr(entry, "swap", ""))
    stage, _, rest = place.removeprefix("lead:").partition("-")[0].partition(".")
    fed = getattr(entry, "feed", None)
    left_out = set() if fed is None else set(wiring.upstream(fed.into))
    nodes = [node for node in wiring.upstream(stage) if node not in left_out]
    found = {name for node in nodes for name in (node.stage, f"{node.stage}.{node.output}")} | {stage}
    own = {f"{stage}.{node.output}" for node in wiring.outputs(stage)}
    return found | ({f"{stage}.{rest.split('.')[0]}"} if rest else own)


def _says_something(control: str, text: str, given: Mapping[str, str]) -> bool:
    """Return whether a setting is worth saying: not a filter that is off anyway, nor a control that this stage lacks."""
    if control in given:
        return True
    if control.endswith(("low_pass", "high_pass")):
        return text not in ("", "off")
    return bool(text) or control.endswith((".gain", ".volume"))


def _setting_words(control: str, text: str) -> str:
    from gainwright.model import setting_text

    if not text or ".." in text or text == "unknown":
        return say("as it is")
    if control.endswith(".volume"):
        return say("step {step}", step=text.removesuffix(".0"))
    if "±" in text:
        return say("about {place}", place=text.partition("±")[0].strip())
    return setting_text(text)
