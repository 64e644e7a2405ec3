"""Papers contain the job's numbers and texts, whatever they are, and the same input gives the same bytes."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from gainwright.adapters.paper_pdf import TypstPrinter
from gainwright.app.papers.papers import paper_bytes
from gainwright.composition import compose
from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.jobfile import example_text, read_entry, read_job_text
from gainwright.model import Job
from gainwright.plan import FullScale, Plan, full_scale_text, make_plan
from gainwright.report.allowance import allowance_chart, allowances
from gainwright.report.chain_drawing import asked_of_customer
from gainwright.report.figures import volts
from gainwright.report.full_volume import at_full_volume
from gainwright.report.handover import handover
from gainwright.report.hearing import hearing_blocks, hearing_rows
from gainwright.report.languages import language
from gainwright.report.paper import BulletList, Figure, Heading, Paper, Paragraph, StepBlock, Table
from gainwright.report.setup_sheet import setup_sheet
from gainwright.report.sheet import sheet_lines
from gainwright.report.support_papers import case_paper, customer_paper
from gainwright.results import to_json
from gainwright.texts import sentence

EXAMPLE = "two_way_and_sub"
NASTY = (
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "#set text(red)", "$ x^2 $", "*bold* _it_ `raw`",
    "#read(\"/etc/passwd\")", "= Heading", "\\u{41} // /* */", "@label <label>", "'; DROP TABLE jobs; --",
)  # fmt: skip


@pytest.fixture(scope="module")
def job() -> Job:
    """Return a shipped example."""
    return read_job_text(example_text(EXAMPLE)).job


@pytest.fixture(scope="module")
def plan(job: Job) -> Plan:
    """Return its plan."""
    return make_plan(job)


def written(paper: Paper, suffix: str, *, code: str = "en", size: str = "a4") -> bytes:
    """Return a paper as it is written."""
    world = compose()
    return paper_bytes(paper, suffix, charts=world.charts, printer=world.printer, code=code, size=size)


def pages(pdf: bytes) -> list[str]:
    """Return the text of each page, by pdfium, spaces and invisible breaks taken together."""
    found = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf)]
    return [
        re.sub(r"\s+", " ", re.sub(r"[\u200b\u00ad\ufffe]", "", text)) for text in found
    ]  # U+FFFE: a word is broken there


def letters(text: str) -> str:
    """Return a text without spaces and hyphens, for lines that were broken."""
    return re.sub(r"[\s\u200b\u00ad\-\u2010]", "", text)


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text += data


def parsed(html: bytes) -> _Page:
    """Return a page read by the standard library's parser."""
    page = _Page()
    page.feed(html.decode())
    return page


@pytest.mark.parametrize(("short", "most"), [(False, 4), (True, 3)], ids=["full", "short"])
def test_the_set_up_sheet_says_the_plan(job: Job, plan: Plan, *, short: bool, most: int) -> None:
    """Every line, reading and target of the plan stands on few pages, A4 and Letter (ISO 216, ANSI Y14.1), in both forms."""
    paper = setup_sheet(job, plan, date="2026-11-26", short=short)
    for size, (width_mm, height_mm) in {"a4": (210, 297), "letter": (215.9, 279.4)}.items():
        pdf = written(paper, ".pdf", size=size)
        box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
        assert float(box.width) * 25.4 / 72 == pytest.approx(width_mm, abs=0.05)
        assert float(box.height) * 25.4 / 72 == pytest.approx(height_mm, abs=0.05)
        shown = pages(pdf)
        assert 1 <= len(shown) <= most
        text = letters("".join(shown))
        said = [line.short if short else line.do for line in plan.lines]
        assert [words for words in said if letters(words) not in text] == []
        rows = [row.texts for line in sheet_lines(plan, short=short) for row in line.rows]
        assert [t for row in rows for t in row if letters(t) not in text] == []
        assert [t.stage for t in plan.targets if letters(f"{sentence(t.where_text)}{volts(t.v_rms)}") not in text] == []
        assert letters(paper.fingerprint) in text
        assert "2026" in text


def test_each_reading_has_its_own_box(job: Job, plan: Plan) -> None:
    """A box for every reading with its unit: both conductors of a lead, a step of the volume where one is found, else volts or ohms."""
    blocks = [b for b in setup_sheet(job, plan).blocks if isinstance(b, StepBlock)]
    boxes = {line.number: block for line, block in zip(plan.lines, blocks, strict=True)}
    by_id = {step.id: step for step in plan.steps}
    for line in plan.lines:
        block, steps = boxes[line.number], [by_id[step] for step in line.steps]
        if line.group == "leads":
            assert set(block.boxes) == {("ohm", "ohm", "")}
        elif steps[0].adjust is not None and steps[0].adjust.until == "last_clean":
            assert set(block.boxes) == {("step", "V")}
        elif len(steps) > 1:
            wanted = {"v_rms": "V", "ohm": "ohm"}
            assert block.boxes == tuple((wanted[s.expect.quantity] if s.expect else "",) for s in steps)
        elif steps[0].id.endswith((".limit", ".volume")):
            assert block.box == "step"
        assert len(block.rows) == len(block.boxes)
        assert not block.rows or len(block.rows) == len(steps)


def test_cautions_stand_at_every_step_that_needs_them(job: Job, plan: Plan) -> None:
    """Each step's own at its line, or the number of the line just above that has the same; what holds throughout once before the first."""
    blocks = setup_sheet(job, plan).blocks
    steps = [b for b in blocks if isinstance(b, StepBlock)]
    by_id = {step.id: step for step in plan.steps}
    printed: dict[int, set[str]] = {}
    for line, block in zip(plan.lines, steps, strict=True):
        needed = {c for step in line.steps for c in by_id[step].cautions}
        above = re.fullmatch(r"as at step ([0-9]+)\.", " ".join(block.cautions))
        if above is None:
            assert set(block.cautions) == needed
            printed[line.number] = needed
        else:
            assert needed <= printed[int(above[1])]
            assert plan.lines[int(above[1]) - 1].phase == line.phase
    throughout = [b for b in blocks if isinstance(b, BulletList) and b.items == plan.cautions]
    assert len(throughout) == 1
    assert blocks.index(throughout[0]) < blocks.index(steps[0])
    assert not set(plan.cautions) & {c for s in plan.steps for c in s.cautions}
    short = [c for line in sheet_lines(plan, short=True) for c in line.cautions]
    assert sorted(short) == sorted({c for s in plan.steps for c in s.cautions})


def test_pdf_is_tagged_pdf_ua_with_alternative_texts(job: Job, plan: Plan) -> None:
    """ISO 14289-1 (PDF/UA-1): marked, a title, a language, the identifier in XMP, and alternative texts of figures."""
    reader = PdfReader(io.BytesIO(written(handover(job, plan), ".pdf")))
    root: Any = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata is not None
    assert reader.metadata.title == job.title
    assert "pdfuaid:part" in root["/Metadata"].get_object().get_data().decode()
    alternatives = _alternatives(root["/StructTreeRoot"])
    assert any("tightest at" in text for text in alternatives)
    assert len(alternatives) >= 3


def _alternatives(node: Any) -> list[str]:
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, list):
        return [text for child in node for text in _alternatives(child)]
    if not isinstance(node, dict):
        return []
    found = [str(node["/Alt"])] if "/Alt" in node else []
    return found + (_alternatives(node["/K"]) if "/K" in node else [])


def test_pages_are_grey_and_inside_the_margins(job: Job, plan: Plan, tmp_path: Path) -> None:
    """Rendered by PDFium: content on every page, nothing in the outer 4 mm, the sheet without colour."""
    document = pypdfium2.PdfDocument(written(setup_sheet(job, plan), ".pdf"))
    for number, page in enumerate(document):
        picture = page.render(scale=2).to_numpy()
        page.render(scale=2).to_pil().save(tmp_path / f"setup-{number}.png")
        edge = round(4 / 25.4 * 72 * 2)
        ink = picture.min(axis=2) < 200
        assert 0.005 < ink.mean() < 0.4
        assert not np.concatenate(
            [ink[:edge].ravel(), ink[-edge:].ravel(), ink[:, :edge].ravel(), ink[:, -edge:].ravel()]
        ).any()
        assert int(np.ptp(picture[..., :3].astype(int), axis=2).max()) <= 2


@pytest.mark.parametrize("suffix", [".pdf", ".html", ".json", ".csv"])
def test_the_same_input_gives_the_same_bytes(job: Job, plan: Plan, suffix: str) -> None:
    """Twice the same; another date gives another file."""
    one = written(handover(job, plan, date="2026-11-26"), suffix)
    assert written(handover(job, plan, date="2026-11-26"), suffix) == one
    if suffix != ".csv":
        assert written(handover(job, plan, date="2026-11-27"), suffix) != one


def test_the_fingerprint_is_of_the_data(job: Job, plan: Plan) -> None:
    """Date and language don't affect it; a different number does."""
    sheet = setup_sheet(job, plan)
    assert setup_sheet(job, plan, date="2026-11-26").fingerprint == sheet.fingerprint
    other = dataclasses.replace(sheet, data=dataclasses.replace(sheet.data, customer="another"))
    assert other.fingerprint != sheet.fingerprint
    assert re.fullmatch(r"[0-9a-f]{16}", sheet.fingerprint)


def test_json_and_csv_hold_the_numbers(job: Job, plan: Plan) -> None:
    """JSON contains the plan's own JSON; CSV, read by the standard library, its targets."""
    paper = setup_sheet(job, plan)
    assert json.loads(written(paper, ".json"))["plan"] == json.loads(json.dumps(to_json(plan)))
    rows = list(csv.reader(io.StringIO(written(paper, ".csv").decode(), newline="")))
    for target in plan.targets:
        assert any(row[:2] == [sentence(target.where_text), volts(target.v_rms)] for row in rows)


def test_reached_voltage_has_its_uncertainty(job: Job, plan: Plan) -> None:
    """A reading at the target's tone counts: value, half interval by the meter's data, dB off; one elsewhere doesn't."""
    step = next(s for s in plan.steps if s.phase == "amplifier" and s.tone_hz)
    entry = {"at": _output(job, step.stage), "with": "meter", "tone": f"{step.tone_hz} Hz", "level": f"{step.level_dbfs} dBFS"}  # fmt: skip
    target = next(t for t in plan.targets if t.stage == step.stage)
    read = read_entry({**entry, "reads": f"{target.v_rms / 2:.5g} V"}, job)
    data = handover(job, plan, entries=[read]).data.targets
    found = next(t for t in data if t.stage == step.stage)
    assert found.reached_v == pytest.approx(target.v_rms / 2, rel=1e-3)
    assert 0 < found.reached_half_v < 0.1 * target.v_rms
    digit_v = 0.001 if target.v_rms / 2 < 6 else 0.01  # 6000 counts: ranges of 6 and 60 V
    assert found.reached_half_v == pytest.approx(0.012 * target.v_rms / 2 + 3 * digit_v, rel=1e-3)  # its data sheet
    texts = [c for _, table in handover(job, plan, entries=[read]).tables() for row in table.rows for c in row]
    assert "-6.0 dB" in texts
    other = read_entry({**entry, "tone": "777 Hz", "reads": "1 V"}, job)
    assert all(t.reached_v is None for t in handover(job, plan, entries=[other]).data.targets)


def test_a_recorders_reading_has_the_recorders_uncertainty(job: Job, plan: Plan) -> None:
    """A calibrated recorder is accurate to 0.05 dB, its divider of common resistors to 0.4 dB (common practice): 0.45 dB are 5.3 %."""
    step = next(s for s in plan.steps if s.phase == "amplifier")
    entry = {"at": _output(job, step.stage), "with": "interface", "tone": f"{step.tone_hz} Hz", "level": f"{step.level_dbfs} dBFS"}  # fmt: skip
    read = read_entry({**entry, "reads": "10 V"}, job)
    found = next(t for t in handover(job, plan, entries=[read]).data.targets if t.stage == step.stage)
    assert found.reached_half_v == pytest.approx(10 * (10 ** (0.45 / 20) - 1))
    assert found.reached_half_v == pytest.approx(0.532, abs=5e-4)


def _output(job: Job, stage: str) -> str:
    from gainwright.solve import Chain

    return next(str(n) for n in Chain(job).nodes if n.stage == stage)


def test_the_allowance_is_the_jobs(job: Job, plan: Plan) -> None:
    """Each output's allowance as in the job; the chart's bars end that far below full scale, as do the set-up tones."""
    chart = allowance_chart(job, title="Allowance")
    asked = {name: float(str(value).split()[0]) for name, value in job.allowance.items()}
    assert {name: -level for name, level, _ in chart.bars} == asked
    assert handover(job, plan).data.allowance_db == asked
    tones = {s.level_dbfs for s in plan.steps if s.phase == "amplifier"}
    assert tones == {level for _, level, _ in chart.bars}
    assert compose().charts.render(chart, ".svg").startswith(b"<svg")


def test_missing_measurements_are_listed(job: Job, plan: Plan) -> None:
    """Without readings each target, the clean limit, distortion and each supply are listed; a reading removes one."""
    missing = next(b for b in reversed(handover(job, plan).blocks) if isinstance(b, BulletList)).items
    for target in plan.targets:
        assert any(target.where_text in m for m in missing)
    assert any("clean limit" in m for m in missing)
    assert any("Distortion" in m for m in missing)


def test_hearing_times_are_those_of_the_tables() -> None:
    """NIOSH 98-126 table 1-1 (85 to 115 dBA) and 29 CFR 1910.95 table G-16 (8 h at 90 to 15 min at 115 dBA)."""
    rows = {level: (niosh, osha) for level, niosh, osha in hearing_rows()}
    assert rows["85 dB"] == ("8 h", "-")
    assert rows["100 dB"] == ("15 min", "2 h")
    assert [rows[f"{level} dB"][1] for level in (90, 95, 105, 110, 115)] == ["8 h", "4 h", "1 h", "30 min", "15 min"]
    assert rows["115 dB"][0] == "28 s"


def test_the_customers_page_is_one_page(job: Job) -> None:
    """In both languages and on both sizes; one action a line, numbered throughout, each with its box."""
    entry = read_entry({"heard": "sub", "tone": "50 Hz", "is": "silent"}, job)
    found = make_diagnosis(Diagnoser(job), (entry,))
    loud = make_plan(job).full_scale
    paper = customer_paper(job, found, full_scale=loud, date="2026-11-27")
    lines = [b for b in paper.blocks if isinstance(b, StepBlock)]
    assert [line.number for line in lines] == list(range(1, len(lines) + 1))
    assert all(line.do.count(". ") == 0 for line in lines)
    pdf = written(paper, ".pdf", size="letter")
    for code in ("en", "de"):
        for size in ("a4", "letter"):
            assert len(pages(written(paper, ".pdf", size=size, code=code))) == 1
    said = letters(pages(pdf)[0])
    assert letters("830 W") in said
    assert "20261127" in said
    assert all(letters(line.do) in said for line in lines)


def test_the_customers_page_says_what_each_outcome_means(job: Job) -> None:
    """Which volts to expect, every outcome that the diagnosis lists, cautions at their line, and no probability of a cause."""
    entry = read_entry({"heard": "sub", "tone": "50 Hz", "is": "silent"}, job)
    found = make_diagnosis(Diagnoser(job), (entry,))
    paper = customer_paper(job, found)
    asked = asked_of_customer(found, 2)
    assert len({test.where for test in asked}) == 2
    lines = [b for b in paper.blocks if isinstance(b, StepBlock)]
    assert [line.expect for line in lines if line.expect] == [
        f"When nothing is wrong: {test.healthy}." for test in asked
    ]
    tables = [b for b in paper.blocks if isinstance(b, Table)]
    assert [row[1] for table in tables for row in table.rows] == [o.meaning for t in asked for o in t.outcomes]
    connects = next(line for line in lines if line.do.startswith("Connect the meter"))
    assert set(connects.cautions) == set(next(t for t in asked if t.test == "measure").cautions)
    words = " ".join([*(line.do for line in lines), *(cell for t in tables for row in t.rows for cell in row)])
    assert "%" not in words
    drawn = next(b for b in paper.blocks if isinstance(b, Figure)).alternative
    assert "%" not in drawn
    assert "check 1" in drawn


@pytest.mark.parametrize("over_db", [2.5, -1.0])
def test_a_customers_page_says_what_loud_recordings_do(over_db: float) -> None:
    """By how much the amplifier clips, volts and watts beside the rating, what to do: in words, in German too; nothing where all is clean."""
    watts = 14.0**2 / 4
    loud = FullScale("amp_sub", 40.0, over_db, 14.0, watts, "sub", 40.0, 6.0, "the sub amplifier", "the sub speaker")
    texts = at_full_volume([loud])
    said = " ".join(texts)
    assert ("2.5 dB" in said) == (over_db > 0)
    assert "14 V, 49 W into the sub speaker (rated 40 W)" in said
    assert "must not last" in said
    assert ("turn the volume down" in said) == (over_db > 0)
    assert "_" not in said
    german = [language("de").translate(text) for text in texts]
    assert all(g != text for g, text in zip(german, texts, strict=True))
    assert "clean" not in " ".join(german)
    assert at_full_volume([replace(loud, over_db=-1.0, watts=30.0)]) == ()
    assert language("de").translate(full_scale_text(loud)) != full_scale_text(loud)


def test_the_case_paper(job: Job) -> None:
    """Every entry, every probable cause and the probabilities step by step are on it, and that the case is open."""
    entries = [read_entry(e, job) for e in ({"heard": "sub", "tone": "50 Hz", "is": "silent"}, {"check": "amp_sub.power_lamp", "is": "off"})]  # fmt: skip
    diagnoser = Diagnoser(job)
    found = make_diagnosis(diagnoser, entries)
    paper = case_paper(job, diagnoser, entries, found, None)
    text = letters("".join(pages(written(paper, ".pdf"))))
    for entry in found.evidence:
        assert letters(entry.said) in text
    first = found.causes[0]
    assert letters(sentence(first.name)) in text
    assert f"{100 * first.probability:.0f}%±" in text
    assert letters("The case is open.") in text


def test_german(job: Job, plan: Plan) -> None:
    """Headings, steps and charts are German, decimals have commas, names of the job stay; the sheet fits as well."""
    assert len(pages(written(setup_sheet(job, plan), ".pdf", code="de"))) <= 4
    pdf = written(handover(job, plan), ".pdf", code="de")
    text = " ".join(pages(pdf))
    assert "Was eingebaut ist" in text
    assert "What is installed" not in text
    assert re.search(r"\d,\d+ V", text)
    assert not re.search(r"\d\.\d+ V\b", " ".join(t for t in text.split("Wo jeder Regler steht")[:1]))
    assert "amp sub" in text
    assert "amp_sub" not in text
    assert PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/Lang"] == "de"  # type: ignore[index]


@pytest.mark.parametrize("text", NASTY)
def test_no_text_of_a_job_becomes_markup(job: Job, plan: Plan, text: str) -> None:
    """In every field: as typed on PDF and HTML; it becomes no tag, no handler, no formula."""
    odd = job.model_copy(
        update={"title": text, "customer": text, "vehicle": job.vehicle.model_copy(update={"description": text})}
    )
    paper = setup_sheet(odd, plan)
    paper = dataclasses.replace(paper, blocks=(Heading(text), Paragraph(text), BulletList((text,)), Table((text,), ((text,),)), StepBlock(1, text, text, text, text, (text,))))  # fmt: skip
    page = parsed(written(paper, ".html"))
    assert page.text.count(text) >= 12
    assert page.tags & {"script", "img", "iframe", "a", "link", "object"} == set()
    assert not any(name.startswith("on") or name in ("src", "href") for name in page.attributes)
    pdf = letters("".join(pages(written(paper, ".pdf"))))
    assert pdf.count(letters(text)) >= 8
    for row in csv.reader(io.StringIO(written(paper, ".csv").decode())):
        assert not any(cell.startswith(("=", "@", "-", "+", "\t")) for cell in row)


SCRIPTS = (
    "Жёлтый фургон",
    "Ωμέγα όχημα",
    "מכונית כחולה",
    "سيارة زرقاء",
    "青い車 低音",
    "파란 차",
    "x" * 400,
    "a " * 300,
    "🚗🔊",
)


@pytest.mark.parametrize("text", SCRIPTS)
def test_other_scripts_and_overlong_texts(job: Job, plan: Plan, text: str) -> None:
    """A file is made, whatever fonts there are; nothing runs off the page; Cyrillic, Greek and Hebrew are set."""
    odd = job.model_copy(update={"title": text, "customer": text})
    pdf = written(setup_sheet(odd, plan), ".pdf")
    document = pypdfium2.PdfDocument(pdf)
    for page in document:
        picture = page.render(scale=1).to_numpy()
        assert not (picture[:, -8:].min(axis=2) < 128).any()
    if text in SCRIPTS[:2]:
        assert letters(text) in letters(pages(pdf)[0])
    assert text.strip()[:20] in written(setup_sheet(odd, plan), ".html").decode()


def test_forty_stages() -> None:
    """A chain of forty stages with long names: sheet and handover stay within the page, each name complete."""
    text = example_text("one_amplifier")
    amp, sub = (re.search(rf"^  {name}:.*(?:\n    .*)*", text, re.MULTILINE) for name in ("amp", "sub"))
    assert amp is not None
    assert sub is not None
    names = [f"amp_{i:02d}_behind_the_seat" for i in range(19)]
    added = ["  knob: {kind: level_control, from: head.sub, range: -40 .. 0 dB, at: 0 dB}"]
    for name in names:
        added.append(amp[0].replace("  amp:", f"  {name}:").replace("from: head.sub", "from: knob"))
        added.append(sub[0].replace("  sub:", f"  sub_of_{name}:").replace("from: amp", f"from: {name}"))
    many = read_job_text(text[: amp.start()] + "\n".join(added) + "\n").job
    assert len(many.stages) == 40
    plan = make_plan(many)
    for paper in (setup_sheet(many, plan), handover(many, plan)):
        pdf = written(paper, ".pdf")
        found = letters("".join(pages(pdf)))
        names = [n.removeprefix("amp_").replace("_", "") for n in many.stages]
        assert [n for n in names if letters(n) not in found] == []
        for page in pypdfium2.PdfDocument(pdf):
            assert not (page.render(scale=1).to_numpy()[:, -8:].min(axis=2) < 128).any()


TAGS = {*("html", "head", "meta", "title", "style", "body", "h1", "h2", "p", "strong", "ul", "li", "table", "thead"), *("tbody", "tr", "th", "td", "div", "b", "em", "small", "footer")}  # fmt: skip


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(st.text(max_size=60), min_size=6, max_size=6))
def test_any_text_prints(texts: list[str]) -> None:
    """Any texts give a PDF, or one clear sentence."""
    a, b, c, d, e, f = (t.encode("utf-8", "ignore").decode() for t in texts)
    blocks = (
        Heading(a),
        Paragraph(b, strong=True),
        BulletList((c, d)),
        Table((a, b), ((c, d), (e, f))),
        StepBlock(1, e, f, a, b, (c,)),
    )
    from gainwright.report.languages import language
    from gainwright.report.paper_content import paper_content, paper_html

    content = paper_content(Paper("case", a, b, blocks), language("en"), lambda _c, _l: "")
    assert TypstPrinter().pdf(content, date="").startswith(b"%PDF-")
    assert parsed(paper_html(content).encode()).tags <= TAGS  # fmt: skip


def test_a_low_tone_counts_as_the_rules_count_it() -> None:
    """103 dB at 40 Hz is 68.4 dB (A) (IEC 61672-1 table 3: -34.6 dB), at 1 kHz it is 103: 7.5 min by NIOSH 98-126, not the same."""
    job = read_job_text(example_text("two_way_and_sub")).job
    *_, table = hearing_blocks(job, {"sub": 103.0, "woofer": 103.0}, {"sub": 40.0, "woofer": 1000.0})
    assert isinstance(table, Table)
    assert [row[1:] for row in table.rows] == [
        ("103 dB at 40 Hz", "68 dB", "24 h"),
        ("103 dB at 1000 Hz", "103 dB", "7.5 min"),
    ]


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("", {"all": 6.0}),
        ("allowance: unknown", {"all": 6.0}),
        ("allowance: 7 dB", {"all": 7.0}),
        ("allowance: {sub: 9 dB}", {"sub": 9.0, "the others": 6.0}),
        ("allowance: {sub: -9 dB, front: 4 dB}", {"sub": 9.0, "front": 4.0}),
    ],
)
def test_allowance_on_paper_is_that_of_the_tones(said: str, shown: dict[str, float]) -> None:
    """What the job doesn't say is 6 dB on the paper as in the plan, and each output that isn't named has it."""
    text = f"""format: 1
{said}
stages:
  head: {{kind: head_unit, rated_output: 4 V, outputs: {{front: {{}}, sub: {{sides: [mono]}}}}}}
  a: {{kind: amplifier, from: head.front, power: 90 W @ 4 ohm}}
  b: {{kind: amplifier, from: head.sub, power: 300 W @ 4 ohm}}
  front_speaker: {{kind: speaker, from: a}}
  sub_speaker: {{kind: speaker, from: b}}
"""
    found = read_job_text(text).job
    assert {str(name): db for name, db in allowances(found).items()} == shown
    tones = {
        -s.level_dbfs for s in make_plan(found).steps if s.id.startswith("amplifier.") and s.level_dbfs is not None
    }
    assert tones == set(shown.values())
