"""The sentences that a catalogue needs, read from the code, the templates of the pages and the scripts.

Called as a program it updates the catalogues: new sentences are added, empty, to be translated; unused ones are
removed; the translations are compiled.
"""

from __future__ import annotations

import ast
import functools
import sys
from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from jinja2 import nodes

import gainwright
from gainwright.web.page_language import script_texts
from gainwright.web.rendering import environment

PACKAGE = Path(gainwright.__file__).parent


def sentences() -> set[str]:
    """Return every English sentence that the code passes to `say`, or joins others with."""
    found: set[str] = set()
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            given = node.args[:1] if name == "say" else []
            given += [k.value for k in node.keywords if name == "joined" and k.arg == "by"]
            found |= {g.value for g in given if isinstance(g, ast.Constant) and isinstance(g.value, str)}
    return found | page_sentences() | set(script_texts())


def page_sentences() -> set[str]:
    """Return the sentences of the templates: what they pass to `say`, and the nouns that they count."""
    found: set[str] = set()
    for name in environment().list_templates():
        source = (PACKAGE / "web" / "templates" / name).read_text(encoding="utf-8")
        tree = environment().parse(source, name)
        for call in tree.find_all(nodes.Call):
            if isinstance(call.node, nodes.Name) and call.node.name == "say" and isinstance(call.args[0], nodes.Const):
                found.add(call.args[0].value)
        for counted in tree.find_all(nodes.Filter):
            given = [a.value for a in counted.args if isinstance(a, nodes.Const)]
            if counted.name == "counted":
                found |= {"{number} " + noun for noun in (given if len(given) == 2 else [given[0], given[0] + "s"])}
    return found


def words() -> set[str]:
    """Return the sentences and words that the code takes from its own tables."""
    from gainwright.diagnose import cause_texts, outcome_texts, wording
    from gainwright.plan.stage_steps import REASONS
    from gainwright.report.languages import CHART_WORDS, DECIMAL_SIGN, OWN_NAME
    from gainwright.report.text import PHASES, REMARKS, RESULTS, SET_BY
    from gainwright.web.jobs import chain_view

    found = (
        set(CHART_WORDS)
        | set(SET_BY.values())
        | set(PHASES.values())
        | {RESULTS, REMARKS, OWN_NAME, DECIMAL_SIGN}
        | {"left", "right"}
        | set(REASONS.values())
    )
    found |= {text for pair in cause_texts.CAUSE_TEXTS.values() for text in pair}
    found |= form_texts() | set(chain_view.GRAVITY)
    found |= {more for _, more in chain_view.COUNTED.values()}
    found |= {cause.replace("_", " ") for cause in cause_texts.CAUSE_TEXTS if cause not in cause_texts._SHORT_NAMES}
    return (
        found
        | set(wording._CHECKS.values())
        | set(outcome_texts._LABELS.values())
        | set(outcome_texts._PLACES.values())
        | set(cause_texts._SHORT_NAMES.values())
    )


def form_texts() -> set[str]:
    """Return what the forms of a chain say of its keys, as far as the examples have them, and what the pages say of kinds."""
    from gainwright.jobfile import example_text, examples, read_job_text
    from gainwright.jobfile.forms import forms
    from gainwright.web.jobs.chain_edit_pages import INSTRUMENTS, KINDS

    kinds = {**KINDS, **INSTRUMENTS}
    found = {*kinds.values(), *(kind.replace("_", " ") for kind in kinds), *examples().values()}
    for form in (form for name in examples() for form in forms(read_job_text(example_text(name)))):
        found.add(form.about)
        for field in form.fields:
            reason = field.assumed.reason if field.assumed else ""
            found |= {field.help, field.if_empty, getattr(reason, "template", reason)}
            if form.path[:1] not in (("allowance",), ("tones",), ("access",)) and not field.label.startswith("Input "):
                found.add(field.label)  # the others are names of a job's own
    return found - {""}


@functools.cache
def constants() -> frozenset[str]:
    """Return every string of the code, words of identifiers separated by spaces: results are translated word by word, too."""
    trees = (ast.parse(path.read_text(encoding="utf-8")) for path in sorted(PACKAGE.rglob("*.py")))
    texts = (
        n.value for tree in trees for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)
    )
    return frozenset(form for text in texts for form in (text, text.replace("_", " ")))


def main() -> None:
    """Update every catalogue, and print how many sentences need a translation."""
    wanted = sentences() | words()
    for po in sorted((PACKAGE / "locale").glob("*/LC_MESSAGES/gainwright.po")):
        with po.open("rb") as file:
            catalogue = read_po(file)
        for sentence in sorted(wanted):
            if sentence not in catalogue:
                catalogue.add(sentence)
        for unused in [m.id for m in catalogue if m.id and m.id not in wanted and str(m.id) not in constants()]:
            catalogue.delete(unused)
        with po.open("wb") as file:
            write_po(file, catalogue, width=110, sort_output=True)
        with po.with_suffix(".mo").open("wb") as file:
            write_mo(file, catalogue)
        waiting = sum(1 for message in catalogue if message.id and not message.string)
        sys.stdout.write(f"{po.parent.parent.name}: {waiting} to be translated\n")


if __name__ == "__main__":
    main()
