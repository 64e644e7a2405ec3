"""The chain of a job over HTTP: forms with assumed values, places for stages, findings, and changes."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field, StringConstraints

from gainwright.app.jobs import chain_edits
from gainwright.jobfile.forms import Assumed
from gainwright.plan.result import Finding
from gainwright.web.errors import ERROR_RESPONSES
from gainwright.web.form_fields import Seen
from gainwright.web.jobs import chain_view as view
from gainwright.web.jobs.api import JobWhole, whole
from gainwright.web.site import Actor, CurrentJob, CurrentSite

router = APIRouter(prefix="/api/jobs/{job}/chain", tags=["chain"], responses=ERROR_RESPONSES)

Text = Annotated[str, StringConstraints(max_length=20_000)]
Name = Annotated[str, StringConstraints(max_length=200)]


class FieldShown(BaseModel):
    """A key of the job file: its type, its text, and the value assumed without one."""

    name: str
    label: str
    help: str
    kind: str
    dimension: str
    example: str
    choices: list[str]
    required: bool
    present: str
    assumed: Assumed | None
    silent: str


class FormShown(BaseModel):
    """A section, a stage, an output or an instrument."""

    path: list[str]
    title: str
    kind: str
    about: str
    fields: list[FieldShown]


class PlaceShown(BaseModel):
    """A place where a stage can be inserted."""

    id: str
    kind: Literal["lead", "output", "input"]
    words: str


class LeadShown(BaseModel):
    """Which stage feeds which."""

    source: str
    target: str


class ChainShown(BaseModel):
    """A chain: stages in signal order, leads, places, and every form."""

    revision: int
    order: list[str]
    leads: list[LeadShown]
    places: list[PlaceShown]
    forms: list[FormShown]


class Keys(Seen):
    """Texts of keys by path, as typed into forms; an empty text removes a key."""

    texts: dict[Name, Text] = Field(max_length=400, examples=[{"stages.head.volume.at": "25"}])


class Edit(Seen):
    """One change to a chain, and its arguments.

    `add_stage` (kind, new, place, values), `add_branch` (source, amplifier, power, speaker, output, takes), `add_output`
    (stage, new, feeding, takes), `add_input` (stage, new, source), `add_instrument` (kind, new, values), `move` (stage,
    place), `rewire` (stage, source, entry), `rename_stage` (stage, new), `rename_output` (stage, output, new),
    `rename_input` (stage, entry, new), `rename_instrument` (instrument, new), `remove_stage` (stage), `remove_branch`
    (stage), `remove_output` (stage, output, to), `remove_input` (stage, entry), `remove_instrument` (instrument).
    """

    what: Literal[chain_edits.EDITS]  # type: ignore[valid-type]
    stage: Name = ""
    new: Name = ""
    kind: Name = ""
    place: Name = ""
    values: dict[Name, Text | list[Text]] = Field(default_factory=dict, max_length=40)
    source: Name = ""
    entry: Name = ""
    output: Name = ""
    to: Name = ""
    takes: Name = ""
    feeding: list[Name] = Field(default_factory=list, max_length=200)
    amplifier: Name = ""
    speaker: Name = ""
    power: Name = ""
    instrument: Name = ""


@router.get("")
def get_chain(site: CurrentSite, job: CurrentJob) -> ChainShown:
    """Return a chain with its forms."""
    from gainwright.jobfile import editing

    read = site.models.read(job.text)
    pairs = dict.fromkeys((run.source_stage, run.target) for run in read.wiring.leads)
    forms = [
        FormShown(
            path=list(form.path),
            title=form.title,
            kind=form.kind,
            about=form.about,
            fields=[
                FieldShown(
                    name=f.name,
                    label=f.label,
                    help=f.help,
                    kind=f.type.name,
                    dimension=f.type.dimension,
                    example=f.type.example,
                    choices=list(f.type.choices),
                    required=f.required,
                    present=f.present,
                    assumed=f.assumed,
                    silent=f.if_empty,
                )
                for f in form.fields
            ],
        )
        for form in view.forms_of(site, job.text)
    ]
    places = editing.places(editing.Draft(job.text, read=read))
    return ChainShown(
        revision=job.revision,
        order=list(read.wiring.order),
        leads=[LeadShown(source=s, target=t) for s, t in pairs],
        places=[PlaceShown.model_validate(p, from_attributes=True) for p in places],
        forms=forms,
    )


@router.get("/findings")
def get_findings(site: CurrentSite, job: CurrentJob) -> tuple[Finding, ...]:
    """Return the findings of the engineering check, gravest first."""
    return site.models.plan(job.text).findings


@router.put("/keys")
def put_keys(site: CurrentSite, actor: Actor, job: str, keys: Keys) -> JobWhole:
    """Set keys: all of them, or none. 409 when somebody else changed the job since `seen`."""
    changed = chain_edits.change_job(
        site.store, job, lambda text: chain_edits.fill_in_fields(text, keys.texts), seen=keys.seen, by=actor
    )
    return whole(changed)


@router.post("/edits")
def post_edit(site: CurrentSite, actor: Actor, job: str, edit: Edit) -> JobWhole:
    """Make one change to the chain, or refuse it with the reason. 409 when somebody else changed the job since `seen`."""
    given = edit.model_dump(exclude={"seen", "what"})
    done = chain_edits.change_job(
        site.store, job, lambda text: chain_edits.apply_edit(text, edit.what, given), seen=edit.seen, by=actor
    )
    return whole(done)
