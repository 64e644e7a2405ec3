"""Whatever edit of a job file's text is requested, in whatever order: the result is a valid job, or a refusal and no change."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from search_length import up_to

from gainwright.errors import GainwrightError
from gainwright.jobfile import editing, example_text, examples, read_job_text
from gainwright.model import STAGES

if TYPE_CHECKING:
    from collections.abc import Callable

TEXTS = [example_text(name) for name in examples()]
NAMES = ("a1", "zwölf", "sub", "in", "out", "head", "with space", "", "yes")
VALUES: tuple[Any, ...] = (
    "4 V",
    "4 ohm ± 5 %",
    "-6 dB",
    "yes",
    "off",
    "unknown",
    "a: b # c",
    "two\nlines",
    12,
    0.5,
    "linkwitz-riley 24 at 80 Hz",
    ["100 W @ 4 ohm", "150 W @ 2 ohm"],
    ["left"],
    {"at": 3},
    "x, y",
    "",
)
KEYS = (
    ("title",),
    ("note",),
    ("thd_limit",),
    ("vehicle", "running"),
    ("allowance", "all"),
    ("allowance", "sub"),
    ("tones", "all"),
    ("instruments", "meter", "counts"),
)
STAGE_KEYS = (
    ("rated_output",),
    ("power",),
    ("gain",),
    ("gain", "at"),
    ("volume", "at"),
    ("sides",),
    ("note",),
    ("lead", "length"),
    ("low_pass",),
    ("impedance",),
    ("coils",),
    ("reachable",),
    ("outputs", "sub", "level"),
    ("outputs", "sub", "low_pass"),
    ("input_limit",),
)


def _edit(draw: Callable[[st.SearchStrategy[Any]], Any], text: str) -> str:
    """Do one edit of any kind to things that are there, mostly."""
    draft = editing.Draft(text)
    names = list(draft.plain["stages"])
    stage, other = draw(st.sampled_from(names)), draw(st.sampled_from(names))
    place = draw(st.sampled_from([p.id for p in editing.places(draft)]))
    new = draw(st.sampled_from((*NAMES, other)))
    output = draw(st.sampled_from(editing.outputs_of(draft, stage) or ["out"]))
    path = draw(st.sampled_from([*KEYS, *(("stages", stage, *key) for key in STAGE_KEYS)]))
    source = draw(st.sampled_from((other, f"{other}.{output}", [stage, other], {"left": f"{other}.left"})))
    kind = draw(st.sampled_from(list(STAGES)))
    values = {key: {"gain": "6 dB", "power": "50 W @ 4 ohm"}.get(key, "4 V") for key in editing.REQUIRED.get(kind, ())}
    edits: tuple[Callable[[], str], ...] = (
        lambda: editing.set_key(text, path, draw(st.sampled_from(VALUES))),
        lambda: editing.unset_key(text, path),
        lambda: editing.add_stage(text, kind, new, place, values=values),
        lambda: editing.remove_stage(text, stage),
        lambda: editing.remove_branch(text, stage),
        lambda: editing.rename_stage(text, stage, new),
        lambda: editing.rename_output(text, stage, output, new),
        lambda: editing.rename_input(text, stage, output, new),
        lambda: editing.move_stage(text, stage, place),
        lambda: editing.rewire(text, stage, source, entry=draw(st.sampled_from(("", output)))),
        lambda: editing.add_branch(
            text, stage, new, new + "_s", power="50 W @ 4 ohm", output=draw(st.sampled_from(("", "x")))
        ),
        lambda: editing.add_output(text, stage, new, [other]),
        lambda: editing.remove_output(text, stage, output, to="front"),
        lambda: editing.add_input(text, stage, new, source),
        lambda: editing.remove_input(text, stage, output),
        lambda: editing.add_instrument(text, "indicator", new, values={"marks": {"clip": "thd over 3 %"}}),
        lambda: editing.remove_instrument(text, "meter"),
        lambda: editing.rename_instrument(text, "meter", new),
    )
    return str(draw(st.sampled_from(edits))())


@settings(max_examples=up_to(50), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data(), text=st.sampled_from(TEXTS), crlf=st.booleans())
def test_any_edits_in_any_order(data: st.DataObject, text: str, crlf: bool) -> None:
    """Each step gives a readable job with every comment that has its own line, or is refused with a sentence."""
    if crlf:
        text = text.replace("\n", "\r\n")
    for _ in range(data.draw(st.integers(1, 6))):
        try:
            new = _edit(data.draw, text)
        except GainwrightError as error:
            assert str(error)
            assert error.code
            assert "Traceback" not in str(error)
            continue
        read_job_text(new)
        lost = Counter(editing.comments(text)) - Counter(editing.comments(new))
        alone = Counter(line.strip() for line in text.splitlines() if line.lstrip().startswith("#"))
        assert not lost & alone, "a comment on a line of its own was lost"
        text = new


@settings(max_examples=up_to(15), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data(), text=st.sampled_from(TEXTS))
def test_renaming_back_restores_the_file(data: st.DataObject, text: str) -> None:
    """Renaming a stage and back gives the same file; in between it is the same chain under another name."""
    stage = data.draw(st.sampled_from(list(read_job_text(text).job.stages)))
    between = editing.rename_stage(text, stage, "renamed")
    assert read_job_text(editing.rename_stage(between, "renamed", stage)).job == read_job_text(text).job
    swapped = {"renamed": stage}
    nodes = [(swapped.get(n.stage, n.stage), n.output, n.side) for n in read_job_text(between).wiring.nodes]
    assert nodes == [(n.stage, n.output, n.side) for n in read_job_text(text).wiring.nodes]


@settings(max_examples=up_to(15), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data(), text=st.sampled_from(TEXTS))
def test_adding_and_removing_a_stage_keeps_the_wiring(data: st.DataObject, text: str) -> None:
    """A stage added anywhere and removed again leaves the chain wired as before."""
    place = data.draw(st.sampled_from([p.id for p in editing.places(editing.Draft(text)) if p.kind != "input"]))
    wiring = read_job_text(text).wiring
    digital = {str(run).partition(":")[2].partition("-")[0] for run in wiring.leads if wiring.is_digital(run)}
    source = place.partition(":")[2].partition("-")[0].removesuffix(".out")
    kind = "processor" if source in digital else "level_control"  # samples are no volts: only a processor takes them
    with_it = editing.add_stage(text, kind, "new_one", place)
    read = read_job_text(with_it)
    assert len(read.job.stages) == len(read_job_text(text).job.stages) + 1
    again, before = read_job_text(editing.remove_stage(with_it, "new_one")), read_job_text(text)
    assert (again.wiring.feeds, again.wiring.routes, again.job.allowance) == (
        before.wiring.feeds,
        before.wiring.routes,
        before.job.allowance,
    )
