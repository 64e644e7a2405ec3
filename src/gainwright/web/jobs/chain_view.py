"""What the pages of the chain show: forms, findings, the drawing, and submitted forms."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gainwright.app.store import ConflictError
from gainwright.errors import CallError, GainwrightError
from gainwright.texts import say
from gainwright.web.jobs import picked_values

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gainwright.app.store import StoredJob
    from gainwright.jobfile.forms import Field, Form
    from gainwright.plan import Finding
    from gainwright.report.chain_layout import DrawnChain, Notes
    from gainwright.web.site import Site

GRAVITY = {"blocker": "stop", "caution": "high", "note": "unknown"}
"""Severity of a finding -> kind of state on the sheet."""
COUNTED = {
    "blocker": (say("1 blocker"), "{number} blockers"),
    "caution": (say("1 caution"), "{number} cautions"),
    "note": (say("1 note"), "{number} notes"),
}
"""One finding of a severity, and several."""
SECTIONS = {
    "job": say("The job"),
    "vehicle": say("Vehicle and supply"),
    "allowance": say("Allowance"),
    "tones": say("Set-up tones"),
    "access": say("Access time"),
}
"""Sections with a form of their own -> their titles."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A key that was changed while somebody else changed the job.

    Attributes
    ----------
    was, now, mine : its text when the form was made, its text now, the text that was typed.
    """

    label: str
    was: str
    now: str
    mine: str


def forms_of(site: Site, text: str) -> tuple[Form, ...]:
    """Return the forms of a job, cached."""
    from gainwright.jobfile.forms import forms

    return site.models.kept("forms", text, lambda: forms(site.models.read(text)))


def forms_at(site: Site, text: str, section: str, name: str = "") -> list[Form]:
    """Return the forms of a section: a stage comes with its outputs. CallError: there is none."""
    whole = ("stages" if section == "stage" else section, name) if name else (() if section == "job" else (section,))
    if section in _NAMED:
        whole = (_NAMED[section], name)
    matching = [f for f in forms_of(site, text) if f.path == whole or (name and f.path[:2] == whole)]
    if not matching:
        raise CallError(
            say("this job has no {section} {name}", section=section, name=name[:60])
            if name
            else say("this job has no section {section}", section=section[:60]),
            code=f"no_such_{section[:20]}",
            remedy=say("go back to the chain"),
        )
    return matching


def fields_of(forms: list[Form]) -> dict[str, Field]:
    """Return the fields of some forms by name."""
    return {field.name: field for form in forms for field in form.fields}


def was_of(forms: list[Form]) -> str:
    """Return the present texts of forms, as the value of their hidden field `was`."""
    return json.dumps({f.name: f.present for form in forms for f in form.fields if f.present}, ensure_ascii=False)


def typed_of(given: Mapping[str, str], *, strict: bool = False) -> dict[str, str]:
    """Return the keys that were changed on a form, as typed, compared with its hidden field `was`.

    Raises
    ------
    QuantityError : strict, and a part of a value with pickers is missing; `where` is its key.
    """
    was = _was(given)
    texts = picked_values.put_together(given, strict=strict)
    names = [name for name in texts if name.partition(".")[0] in _ROOTS]
    return {name: texts[name] for name in names if _plain(texts[name]) != _plain(str(was.get(name, "")))}


def _was(given: Mapping[str, str]) -> dict[str, Any]:
    """Return the texts that a form began with; empty where they can't be read."""
    try:
        was = json.loads(given.get("was") or "{}")
    except (ValueError, RecursionError):
        was = {}
    return was if isinstance(was, dict) else {}


_NAMED = {"instrument": "instruments", "cable": "supply"}
"""Section of an address -> the key of its forms in the file."""
_ROOTS = (
    "title",
    "customer",
    "note",
    "thd_limit",
    "vehicle",
    "allowance",
    "tones",
    "access",
    "supply",
    "instruments",
    "stages",
)


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").strip()


def differences(given: Mapping[str, str], fields: Mapping[str, Field]) -> list[Difference]:
    """Return the typed changes beside the present texts."""
    was = _was(given)
    return [
        Difference(
            fields[name].label if name in fields else name,
            str(was.get(name, "")),
            fields[name].present if name in fields else "",
            mine,
        )
        for name, mine in typed_of(given).items()
    ]


def findings_of(site: Site, text: str) -> tuple[Finding, ...] | None:
    """Return the engineering findings of a job if its plan is cached."""
    return site.models.plan(text).findings if site.models.has("plan", text) else None


def findings_at(findings: tuple[Finding, ...] | None, name: str) -> list[Finding]:
    """Return the findings at a stage or an instrument."""
    from gainwright.model import stages_at

    return [f for f in findings or () if name in stages_at(f.where)]


def findings_by_place(site: Site, text: str) -> dict[str, list[Finding]] | None:
    """Return the findings by stage in signal order, then by instrument; None when the chain isn't checked yet."""
    from gainwright.model import stages_at

    findings = findings_of(site, text)
    if findings is None:
        return None
    names = [*site.models.read(text).wiring.order]
    names += [name for f in findings for name in stages_at(f.where) if name not in names]
    by_place = {name: [f for f in findings if stages_at(f.where)[0] == name] for name in dict.fromkeys(names)}
    return {name: here for name, here in by_place.items() if here}


def counted_findings(severity: str, count: int) -> str:
    """Return `2 cautions`."""
    one, more = COUNTED[severity]
    return one if count == 1 else say(more, number=count)


def drawn(site: Site, text: str, title: str) -> DrawnChain:
    """Return a chain laid out across and down, with the findings at its stages."""
    from gainwright.report.chain_layout import lay_out_both_ways

    findings = findings_of(site, text) or ()
    job = site.models.job(text)
    notes: Notes = {}
    for name in job.stages:
        here = findings_at(findings, name)
        if here:
            grave = next(s for s in GRAVITY if any(f.severity == s for f in here))
            count = sum(f.severity == grave for f in here)
            notes[name] = (GRAVITY[grave], counted_findings(grave, count))
    return lay_out_both_ways(job, title=title, notes=notes)


def place_of(error_where: str, fields: Mapping[str, Field]) -> str:
    """Return the name of the field that an error is about, empty for none."""
    key = error_where.rpartition(" ")[2]
    while key:
        if key in fields:
            return key
        key = key.rpartition(".")[0]
    return ""


def without_file_place(error: GainwrightError | None, text: str) -> GainwrightError | None:
    """Return an error with the stage or instrument that it is about, by its name, in place of line, column and key of the file."""
    from gainwright.jobfile.editing import TextDraft

    if error is None or isinstance(error, ConflictError):
        return error
    section, _, rest = error.where.rpartition(" ")[2].partition(".")
    if section not in ("stages", "instruments", "job") and not error.where.startswith("job:"):
        return error
    key = rest.partition(".")[0]
    stage = (TextDraft(text).plain.get("stages") or {}).get(key, {})
    return error.with_place(str(stage.get("name") or key) if section in ("stages", "instruments") else "")


def place_in_chain(job: StoredJob, site: Site, stage: str) -> dict[str, Any]:
    """Return the position of a stage in its chain: what feeds it, what it feeds, where it can move."""
    from gainwright.jobfile import editing
    from gainwright.model import WITH_NAMED_OUTPUTS

    def made() -> dict[str, Any]:
        draft = editing.Draft(job.text, read=site.models.read(job.text))
        says = draft.plain["stages"][stage]
        fed = editing.references_of(draft, stage)
        feeds = editing.consumers(draft, stage)
        places = editing.places(draft)
        consumers = {r.consumer for r in feeds}
        return {
            "kind": says["kind"],
            "fed": {
                editing.short_reference(draft, r.stage, r.output, r.side): editing.called(
                    draft, r.stage, r.output, r.side
                )
                for r in sorted(fed, key=lambda r: (r.stage, r.output, r.side))
            },
            "fed_stages": list(dict.fromkeys(r.stage for r in fed)),
            "feeds": list(dict.fromkeys(r.consumer for r in feeds)),
            "outputs": editing.outputs_of(draft, stage) if says["kind"] in WITH_NAMED_OUTPUTS else [],
            "inputs": list(says.get("inputs", {})),
            "sources": sources_of(draft, without=stage),
            "places": [
                p
                for p in places
                if p.kind != "input"
                and stage not in _ends(p.id)
                and (p.kind == "lead" if says["kind"] != "speaker" else p.kind == "output")
            ],
            "earlier": editing.previous_place(draft, stage),
            "later": editing.next_place(draft, stage),
            "consumers": sorted(consumers),
        }

    found: dict[str, Any] = site.models.kept(f"place of {stage}", job.text, made)
    return found


def _ends(place: str) -> tuple[str, ...]:
    return tuple(part.partition(".")[0] for part in place.partition(":")[2].split("-"))


def sources_of(draft: Any, without: str = "") -> list[str]:
    """Return everything that a stage can be fed from, as it is written in a job."""
    from gainwright.jobfile import editing

    return [
        editing.short_reference(draft, stage, output)
        for stage in draft.plain["stages"]
        if stage != without
        for output in editing.outputs_of(draft, stage)
    ]
