"""The leads of a new job: what can be connected to what, the usual wiring, and a wiring written into the file.

A head unit offers front, rear and sub outputs, a processor one for each kind of speaker; those that nothing is connected to
are left out of the file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.errors import JobError
from gainwright.jobfile.editing import TextDraft
from gainwright.jobfile.reading import errors_of
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Mapping

Stages = dict[str, dict[str, Any]]
Port = tuple[str, str]
"""A stage and its input; the input is empty where it has only one."""
AS_WRITTEN = "as written"
"""Value of an input with several sources, which only the chain's pages change."""
ROLES = {
    "sub": ("sub", "subs", "subwoofer", "subwoofers", "bass"),
    "rear": ("rear", "back"),
    "tweeter": ("tweeter", "tweeters"),
    "midrange": ("midrange", "midranges", "mid", "mids"),
    "woofer": ("woofer", "woofers", "midbass"),
    "front": ("front",),
}
"""What a device is for, as far as its key tells it."""
OF_HEAD_UNIT = ("front", "rear", "sub")
OUTPUT_WORDS = {
    "front": say("front"),
    "rear": say("rear"),
    "sub": say("sub"),
    "tweeter": say("tweeter"),
    "midrange": say("midrange"),
    "woofer": say("woofer"),
}
"""Usual name of an output -> the word for it."""


@dataclass(frozen=True, slots=True)
class Output:
    """An output to connect: how a lead refers to it, its stage, and its own name; empty where it is the only one."""

    reference: str
    stage: str
    name: str


def output_words(name: str) -> str:
    """Return the name of an output, or of an input, for people."""
    return OUTPUT_WORDS.get(name) or name.replace("_", " ")


def role_of(key: str) -> str:
    """Return what a stage is for; empty when its key doesn't tell."""
    words = key.split("_")
    return next((role for role, known in ROLES.items() if any(word in known for word in words)), "")


def stages_of_text(text: str) -> Stages:
    """Return the stages of a text as plain data. JobError: it isn't YAML."""
    stages = TextDraft(text).plain.get("stages")
    return {k: dict(s) for k, s in stages.items() if isinstance(s, dict)} if isinstance(stages, dict) else {}


def of_kind(stages: Stages, *kinds: str) -> list[str]:
    """Return the stages of some kinds."""
    return [key for key, stage in stages.items() if stage.get("kind") in kinds]


def outputs(stages: Stages) -> list[Output]:
    """Return every output that can be connected, in the order of the file."""
    roles = [role_of(key) or "front" for key in of_kind(stages, "speaker")]
    found = []
    for key, stage in stages.items():
        kind, held = stage.get("kind"), stage.get("outputs")
        if kind == "speaker":
            continue
        if kind not in ("head_unit", "processor"):
            found.append(Output(key, key, ""))
            continue
        usual = [*OF_HEAD_UNIT] if kind == "head_unit" else sorted({*roles, "front"}, key=list(ROLES).index)
        names = dict.fromkeys([*usual, *(held or {})])
        found += [Output(f"{key}.{name}", key, name) for name in names]
    return found


def ports(stages: Stages) -> list[Port]:
    """Return every input that can be connected, in the order of the file."""
    found: list[Port] = []
    for key, stage in stages.items():
        if stage.get("kind") == "processor":
            names = dict.fromkeys([*(stage.get("inputs") or {}), *OF_HEAD_UNIT])
            found += [(key, name) for name in names]
        elif stage.get("kind") != "head_unit":
            found.append((key, ""))
    return found


def leads_of(stages: Stages) -> dict[Port, str]:
    """Return what is connected to each input; empty where nothing is, `AS_WRITTEN` where several outputs are."""
    known = {o.reference for o in outputs(stages)}
    found = {}
    for key, entry in ports(stages):
        stage = stages[key]
        source = (stage.get("inputs") or {}).get(entry, "") if entry else stage.get("from", "")
        if not isinstance(source, str):
            found[key, entry] = AS_WRITTEN
            continue
        head, _, rest = source.partition(".")
        only = [o for o in outputs(stages) if o.stage == head and o.name in (stages.get(head, {}).get("outputs") or {})]
        full = only[0].reference if source and not rest and len(only) == 1 else source
        found[key, entry] = full if full in known or not source else AS_WRITTEN
    return found


def usual_leads(stages: Stages) -> dict[Port, str]:
    """Return the usual wiring of some devices, as far as there is one.

    Each amplifier gets the speakers of its purpose, mono ones the subwoofer; the source feeds what comes before the
    amplifiers in the order converter, line driver, processor; a level control is in the line of the subwoofer.
    """
    heads = of_kind(stages, "head_unit")
    if not heads:
        return {}
    feeding = _amplifiers_of_speakers(stages)
    found: dict[Port, str] = {}
    before = heads[0]
    for key in [*of_kind(stages, "converter"), *of_kind(stages, "line_driver")]:
        found[key, ""] = _front_of(stages, before)
        before = key
    for key in of_kind(stages, "processor"):
        found[key, "front"] = _front_of(stages, before)
        before = key
    for speaker, amplifier in feeding.items():
        role = role_of(speaker) or "front"
        found[speaker, ""] = amplifier or _output_for(stages, heads[0], role)
        if amplifier:
            found.setdefault((amplifier, ""), _output_for(stages, before, role))
    last = [*of_kind(stages, "amplifier")]
    for key in of_kind(stages, "level_control"):
        subs = [a for a in last if (a, "") in found and _mono(stages[a])] or [a for a in last if (a, "") in found]
        if subs:
            found[key, ""], found[subs[0], ""] = found[subs[0], ""], key
            last.remove(subs[0])
    return found


def _amplifiers_of_speakers(stages: Stages) -> dict[str, str]:
    """Return speaker -> the amplifier that usually drives it; empty without an amplifier."""
    speakers, free = of_kind(stages, "speaker"), of_kind(stages, "amplifier")
    every, given = list(free), dict.fromkeys(speakers, "")

    def fits(speaker: str, amplifier: str, *, closely: bool) -> bool:
        same = role_of(speaker) == role_of(amplifier) if closely else True
        return same and (role_of(speaker) == "sub") == _mono(stages[amplifier])

    for closely in (True, False):
        for speaker in speakers:
            chosen = next((a for a in free if not given[speaker] and fits(speaker, a, closely=closely)), "")
            if chosen:
                given[speaker] = chosen
                free.remove(chosen)
    drives_speakers = any(stages[key].get("speaker_level") for key in of_kind(stages, "head_unit"))
    for speaker in [s for s in speakers if not given[s]]:
        shared = [a for a in every if fits(speaker, a, closely=False)] or ([] if drives_speakers else every)
        given[speaker] = free.pop(0) if free else next(iter(shared), "")
    return given


def _mono(stage: Mapping[str, Any]) -> bool:
    return stage.get("sides") == ["mono"]


def _front_of(stages: Stages, key: str) -> str:
    return _output_for(stages, key, "front")


def _output_for(stages: Stages, key: str, role: str) -> str:
    """Return the output of a stage for one kind of speaker."""
    offered = {o.name: o.reference for o in outputs(stages) if o.stage == key}
    return offered.get(role) or offered.get("front") or next(iter(offered.values()))


def with_leads(text: str, leads: Mapping[Port, str]) -> tuple[str, dict[str, JobError]]:
    """Return a text with its devices connected, and what is wrong with that, by stage; without errors it is a job.

    Parameters
    ----------
    leads : input -> reference of an output; inputs that are missing or empty stay unconnected.

    Raises
    ------
    JobError : the text isn't YAML.
    """
    stages = stages_of_text(text)
    draft = TextDraft(text)
    before = leads_of(stages)
    sources = {port: leads.get(port, "") for port in ports(stages)}
    asked = {port: source for port, source in sources.items() if source and source != AS_WRITTEN}
    known = {o.reference: o for o in outputs(stages)}
    asked = {port: source for port, source in asked.items() if source in known}
    kept = {source for port, source in before.items() if sources[port] == AS_WRITTEN}
    wrong = _unconnected(stages, sources, {known[s].stage for s in asked.values()} | _stages_written(stages, sources))
    for (key, entry), source in asked.items():
        if before[key, entry] != source and not entry:
            draft.set(("stages", key, "from"), source, after="name")
    for key in of_kind(stages, "processor"):
        mine = {e: AS_WRITTEN if before[o, e] == s else s for (o, e), s in sources.items() if o == key and s}
        _write_inputs(draft, key, mine)
    for key in of_kind(stages, "head_unit", "processor"):
        if not kept:
            _write_outputs(draft, key, [known[s].name for s in asked.values() if known[s].stage == key])
    if wrong:
        return text, wrong
    done = draft.checked()
    return done, {_stage_of(error): error for error in reversed(errors_of(done))}


def _stage_of(error: JobError) -> str:
    parts = error.where.rpartition(" ")[2].split(".")
    return parts[1] if parts[0] == "stages" and len(parts) > 1 else ""


def _stages_written(stages: Stages, sources: Mapping[Port, str]) -> set[str]:
    """Return the stages that inputs with several sources name."""
    found: set[str] = set()
    for (key, entry), source in sources.items():
        if source == AS_WRITTEN:
            held = (stages[key].get("inputs") or {}).get(entry) if entry else stages[key].get("from")
            several = held.values() if isinstance(held, dict) else held if isinstance(held, list) else [held]
            found |= {str(one).split(".", maxsplit=1)[0] for one in several}
    return found


def _unconnected(stages: Stages, sources: Mapping[Port, str], feeding: set[str]) -> dict[str, JobError]:
    """Return what is missing, by stage: an input without a source, an output that feeds nothing, a circle."""
    wrong: dict[str, JobError] = {}
    for key, stage in stages.items():
        mine = [source for (owner, _), source in sources.items() if owner == key]
        if mine and not any(mine):
            wrong[key] = _error(
                say("nothing is connected to its input"), say("choose what feeds it, or remove it from the devices")
            )
        elif stage.get("kind") != "speaker" and key not in feeding:
            wrong[key] = _error(say("its output feeds nothing"), say("connect it, or remove it from the devices"))
        elif _feeds_itself(key, sources):
            wrong[key] = _error(say("it feeds itself in a circle"), say("choose another output"))
    return wrong


def _error(what: str, remedy: str) -> JobError:
    return JobError(what, code="bad_wiring", remedy=remedy)


def _feeds_itself(key: str, sources: Mapping[Port, str]) -> bool:
    waiting, seen = [key], set()
    while waiting:
        here = waiting.pop()
        before = {s.split(".")[0] for (owner, _), s in sources.items() if owner == here and s and s != AS_WRITTEN}
        if key in before:
            return True
        waiting += [b for b in before if b not in seen]
        seen |= before
    return False


def _write_inputs(draft: TextDraft, key: str, sources: Mapping[str, str]) -> None:
    """Write the inputs of a processor that are connected, and leave out the others."""
    held = draft.plain["stages"][key].get("inputs") or {}
    made = {entry: held[entry] if source == AS_WRITTEN else source for entry, source in sources.items()}
    if made and made != held:
        draft.set(("stages", key, "inputs"), made, after="name")


def _write_outputs(draft: TextDraft, key: str, used: list[str]) -> None:
    """Write the outputs of a source or processor that something is connected to, and leave out the others."""
    stage = draft.plain["stages"][key]
    held = stage.get("outputs") or {}
    names = [*[name for name in held if name in used], *dict.fromkeys(n for n in used if n not in held)]
    routed = stage.get("inputs") or {}
    made: dict[str, Any] = {}
    for name in names:
        made[name] = dict(held.get(name) or {})
        if name not in held and name == "sub":
            made[name]["sides"] = ["mono"]
        if stage["kind"] == "processor":
            source = made[name].get("from")
            if isinstance(source, str) and source not in routed:
                del made[name]["from"]
            if "from" not in made[name] and name not in routed and len(routed) > 1:
                made[name]["from"] = "front" if "front" in routed else next(iter(routed))
    if names and made != held:
        draft.set(("stages", key, "outputs"), made, after="inputs")
