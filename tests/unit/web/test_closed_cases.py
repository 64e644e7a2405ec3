"""How cases were closed moves the priors by one rule, whoever asks: the command, a page, the API, a paper."""

from __future__ import annotations

from contextlib import closing
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient
from typical_chains import typical_text

from gainwright.app.papers.papers import PaperMaterial, make_paper
from gainwright.cli.faults import _without_case
from gainwright.cli.stored_cases import counted_cases
from gainwright.composition import compose
from gainwright.diagnose import ClosedCount, Diagnoser
from gainwright.jobfile import read_job_text
from gainwright.model import chain_kind
from gainwright.model.case import Case, Closure
from gainwright.web import Site, create_app

if TYPE_CHECKING:
    from pathlib import Path

TEXT = typical_text("radio_sub")
READ = read_job_text(TEXT)
PLACE = "sub_amplifier"
ENDINGS = (
    *({"outcome": "something_else", "named": f"water in the plug {i}"} for i in range(5)),
    {"outcome": "two_faults", "cause": "gain_low", "where": PLACE, "second_cause": "boost_on", "second_where": PLACE},
    {"outcome": "found", "cause": "gain_low", "where": PLACE},
    {"outcome": "unsolved"},
)
OUTSIDE = 5.8 / 48
"""By hand: 5 cases of something else among 8 counts (of two faults each counts, an unsolved case doesn't), (40 x 0.02 + 5)/(40 + 8)."""


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with closed cases of one kind of chain."""
    path = tmp_path_factory.mktemp("closed") / "store.sqlite"
    with closing(compose().store(str(path))) as store:
        for number, ending in enumerate(ENDINGS):
            closed = Closure.model_validate({**ending, "chain": chain_kind(READ.job)})
            store.cases.write(f"case {number}", Case(job=TEXT, closed=closed), seen=0)
    return path


def test_each_outcome_counts_where_it_should(place: Path) -> None:
    """Something else for what is outside, each of two faults for its cause, unsolved for nothing; in numbers worked by hand."""
    counted = counted_cases(str(place))
    kind = chain_kind(READ.job)
    assert counted.rows == tuple(
        ClosedCount(cause, cases, "", kind)
        for cause, cases in (("boost_on", 1), ("gain_low", 2), ("something_else", 5), ("two_faults", 1))
    )
    plain, shop = Diagnoser(READ.job), Diagnoser(READ.job, closed=counted)
    assert plain.unknown == 0.02
    assert shop.two == pytest.approx((40 * 0.03 + 1) / (40 + 7))  # of seven cases one had two faults
    assert shop.unknown == pytest.approx(OUTSIDE)
    for cause, cases in (("boost_on", 1), ("gain_low", 2), ("lead_open", 0)):
        assert shop.prior_of(cause) == pytest.approx((40 * plain.prior_of(cause) + cases) / (40 + 3))


def test_command_page_api_and_paper_believe_the_same(place: Path) -> None:
    """Before the first entry each of them gives what is outside the share that was worked by hand."""
    counted = counted_cases(str(place))
    assert _without_case(READ, None, "", counted, [], as_json=True).surprise == pytest.approx(OUTSIDE)
    paper = make_paper(READ.job, kind="case", material=PaperMaterial((), None, counted=counted))
    assert f"('something not modelled', '{100 * OUTSIDE:.0f} %', '')" in str(paper)
    world = compose()
    with closing(world.store(str(place))) as store:
        client = TestClient(create_app(Site(world, store)), base_url="http://127.0.0.1")
        name = client.post("/api/cases", json={"chain": "radio_sub"}).json()["name"]
        assert client.get(f"/api/cases/{name}/diagnosis").json()["surprise"] == pytest.approx(OUTSIDE)
        page = client.get(f"/cases/{name}").text
        assert f"{100 * OUTSIDE:.0f} %" in page.partition("something the model does not cover")[0][-60:]
