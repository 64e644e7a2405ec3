"""A paper's blocks as plain data in one language, for any printer, and as HTML and CSV."""

from __future__ import annotations

from dataclasses import fields
from html import escape
from typing import TYPE_CHECKING, Any

from gainwright.harmless import csv_text
from gainwright.report.paper import Block, Figure, Paper, Picture
from gainwright.report.photos import picture_svg
from gainwright.texts import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from gainwright.report.charts import Chart
    from gainwright.report.languages import Language

SIZES = {"setup": 10.5, "handover": 10.0, "customer": 11.5, "case": 10.0, "power": 10.0}
"""Type size of each kind, points."""
PAGES = {"setup": 4, "customer": 1, "power": 2}
"""Pages that a kind should fit on, with smaller type if necessary."""


def paper_content(
    paper: Paper, into: Language, draw: Callable[[Chart, Language], str], *, size: str = "a4"
) -> dict[str, Any]:
    """Return everything on a paper as texts in one language.

    Parameters
    ----------
    draw : returns a chart as SVG.
    size : a4 or letter.
    """
    footer = say("Gainwright · {date} · data {fingerprint}", date=paper.date or "-", fingerprint=paper.fingerprint)
    return {
        "kind": paper.kind,
        "title": into.translate(paper.title),
        "subtitle": into.translate(paper.subtitle),
        "language": into.code,
        "paper": {"a4": "a4", "letter": "us-letter"}[size],
        "size": SIZES[paper.kind],
        "pages": PAGES.get(paper.kind, 0) if paper.pages is None else paper.pages,
        "footer": into.translate(footer),
        "words": {"caution": into.translate(say("Caution:")), "page": into.translate(say("page"))},
        "blocks": [_block(block, into, draw) for block in paper.blocks],
    }


def _block(block: Block, into: Language, draw: Callable[[Chart, Language], str]) -> dict[str, Any]:
    if isinstance(block, Figure):
        alternative = into.translate(block.alternative)
        return {"kind": block.kind, "svg": draw(block.chart, into), "alternative": alternative, "share": block.share}
    if isinstance(block, Picture):
        alternative = into.translate(block.alternative)
        return {"kind": block.kind, "svg": picture_svg(block), "alternative": alternative, "share": 1.0}
    parts = {f.name: _translated(getattr(block, f.name), into) for f in fields(block)}
    return {"kind": block.kind, **parts}


def _translated(value: Any, into: Language) -> Any:
    if isinstance(value, tuple):
        return [_translated(item, into) for item in value]
    return into.translate(value) if isinstance(value, str) else value


STYLE = (
    "body{font:17px/1.45 Georgia,serif;max-width:48rem;margin:2rem auto;padding:0 1rem;color:#1c1c1c;background:#fff}"
    "h1{font-size:1.5rem;overflow-wrap:anywhere}h2{font-size:1.1rem;border-bottom:1px solid #1c1c1c;margin-top:1.6rem}"
    "table{border-collapse:collapse;width:100%;font-size:.94em}th,td{text-align:left;padding:.2rem .4rem;border-bottom:1px solid #999;"
    "overflow-wrap:anywhere;vertical-align:top}th{border-bottom:2px solid #1c1c1c}.right{text-align:right}"
    ".caution{border-left:4px double #1c1c1c;padding-left:.6rem;font-size:.92em}figure{margin:1rem 0;overflow-x:auto}"
    "svg{max-width:100%;height:auto}.step{display:grid;grid-template-columns:2.2rem 1fr 7rem;gap:.5rem;margin:.7rem 0;break-inside:avoid}"
    ".box{border:1.5px solid #1c1c1c;height:2.1rem;text-align:right;padding:.3rem .4rem;font-size:.85em}.tick{width:1.3rem;height:1.3rem;"
    "border:1.5px solid #1c1c1c}.step .wide{grid-column:2/-1}td .box{min-width:4.5rem}.step p{margin:0 0 .2rem}.fill{border-bottom:1px solid #1c1c1c;height:2rem}footer{font-size:.75em;"
    "border-top:1px solid #1c1c1c;margin-top:2rem}@media print{body{margin:0;font-size:11pt}}"
)


def paper_html(content: dict[str, Any]) -> str:
    """Return a paper as one self-contained HTML file; all texts are escaped."""
    body = "".join(_HTML[block["kind"]](block, content["words"]) for block in content["blocks"])
    title, subtitle = escape(content["title"]), escape(content["subtitle"])
    return (
        f"<!doctype html><html lang={content['language']}><head><meta charset=utf-8>"
        f"<meta name=viewport content='width=device-width'><title>{title}</title><style>{STYLE}</style></head>"
        f"<body><h1>{title}</h1><p>{subtitle}</p>{body}<footer>{escape(content['footer'])}</footer></body></html>\n"
    )


def _table(block: dict[str, Any], words: dict[str, str]) -> str:
    del words

    def cell(tag: str, i: int, text: str) -> str:
        side = " class=right" if i in block["right"] else ""
        return f"<{tag}{side}>{escape(text)}</{tag}>"

    head = "".join(cell("th", i, c) for i, c in enumerate(block["columns"]))
    rows = "".join(f"<tr>{''.join(cell('td', i, c) for i, c in enumerate(row))}</tr>" for row in block["rows"])
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _step(block: dict[str, Any], words: dict[str, str]) -> str:
    lines = f"<p>{escape(block['do'])}</p>"
    lines += f"<p><em>{escape(block['expect'])}</em></p>" if block["expect"] else ""
    lines += f"<p><small>{escape(block['why'])}</small></p>" if block["why"] else ""
    if block["cautions"]:
        lines += f"<p class=caution>{escape(words['caution'])} {escape(' '.join(block['cautions']))}</p>"
    number = f"{block['number']}." if block["number"] else ""
    if block["rows"]:
        return f"<div class=step><b>{number}</b><div class=wide>{lines}{_rows(block)}</div></div>"
    return f"<div class=step><b>{number}</b><div>{lines}</div>{_box(block['box'])}</div>"


def _box(unit: str) -> str:
    return f"<div class=box>{escape(unit)}</div>" if unit else "<div class=tick></div>"


def _rows(block: dict[str, Any]) -> str:
    head = "".join(f"<th>{escape(c)}</th>" for c in block["columns"])
    rows = []
    for texts, boxes in zip(block["rows"], block["boxes"], strict=True):
        cells = "".join(f"<td>{escape(text)}</td>" for text in texts)
        rows.append(f"<tr>{cells}{''.join(f'<td>{_box(unit)}</td>' for unit in boxes)}</tr>")
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


_HTML: dict[str, Callable[[dict[str, Any], dict[str, str]], str]] = {
    "heading": lambda b, _: f"<h2>{escape(b['text'])}</h2>",
    "paragraph": lambda b, _: (
        f"<p>{'<strong>' if b['strong'] else ''}{escape(b['text'])}{'</strong>' if b['strong'] else ''}</p>"
    ),
    "listed": lambda b, _: f"<ul>{''.join(f'<li>{escape(i)}</li>' for i in b['items'])}</ul>",
    "table": _table,
    "step": _step,
    "figure": lambda b, _: f'<figure role=img aria-label="{escape(b["alternative"])}">{b["svg"]}</figure>',
    "fill": lambda b, _: "".join(f"<p>{escape(label)}</p><div class=fill></div>" for label in b["labels"]),
}


def paper_csv(content: dict[str, Any]) -> str:
    """Return the tables and steps of a paper as CSV, a heading before each (RFC 4180; UTF-8)."""
    rows: list[list[Any]] = []
    for block in content["blocks"]:
        if block["kind"] == "heading":
            rows.append([block["text"]])
        elif block["kind"] == "table":
            rows += [block["columns"], *block["rows"]]
        elif block["kind"] == "step":
            rows.append([block["number"] or "", block["do"], block["expect"]])
            rows += [["", *row] for row in block["rows"]]
    return csv_text(rows)
