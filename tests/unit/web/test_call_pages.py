"""A fault without a job, in this process: one tap to the first question, and the case becomes a job when that is wanted."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient

from gainwright.app.cases.dialogue import WITH_INSTRUMENT
from gainwright.composition import compose
from gainwright.jobfile.starting.typical import CHAINS
from gainwright.web import Site, create_app

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A client of an app in this process."""
    world = compose()
    site = Site(world, world.store(str(tmp_path_factory.mktemp("call") / "store.sqlite")))
    with TestClient(create_app(site), base_url="http://127.0.0.1") as client:
        yield client


def test_one_tap_leads_to_the_first_question(client: TestClient) -> None:
    """The page is reached from both lists and offers every chain; a tapped one shows its case with a question, without a job."""
    jobs = client.get("/api/jobs").json()
    for page in ("/", "/cases"):
        assert 'href="/cases/new"' in client.get(page).text
    offered = re.findall(r'name="chain" value="(\w+)"', client.get("/cases/new").text)
    assert offered == [chain.id for chain in CHAINS]
    done = client.post("/cases/new", data={"chain": "radio_sub", "also:knob": "yes", "title": "Ms Hill"})
    assert done.status_code == 200
    assert "Ms Hill" in done.text
    assert 'id="ask"' in done.text
    name = done.url.path.rpartition("/")[2]
    told = client.get(f"/api/cases/{name}").json()
    assert "remote_level" in told["job"]
    assert client.get("/api/jobs").json() == jobs


def test_case_is_kept_as_a_job_once(client: TestClient) -> None:
    """The job has the case's chain and lists the case; asking again makes no second one, and the page no longer offers it."""
    new = client.post("/api/cases", json={"chain": "factory_sub", "evidence": [{"heard": "subwoofer", "is": "silent"}]})
    assert new.status_code == 201
    name = new.json()["name"]
    assert f'action="/cases/{name}/keep"' in client.get(f"/cases/{name}").text
    shown = client.post(f"/cases/{name}/keep").text
    job = client.post(f"/api/cases/{name}/keep").json()["job"]
    assert f'href="/jobs/{job}/fault"' in shown
    assert "/keep" not in shown
    assert client.get(f"/api/jobs/{job}").json()["text"] == new.json()["job"]
    assert name in client.get(f"/jobs/{job}/fault").text


def test_page_and_devices_are_in_the_language_of_the_page(client: TestClient) -> None:
    """In German the devices of the chain have German names, and their keys stay."""
    german = {"accept-language": "de"}
    assert "Vierkanal" in client.get("/cases/new", headers=german).text
    done = client.post("/cases/new", data={"chain": "radio_doors"}, headers=german)
    text = client.get(f"/api/cases/{done.url.path.rpartition('/')[2]}").json()["job"]
    assert re.search(r"\n  front_amplifier:\n    kind: amplifier\n    name: (?!Front amplifier)", text)


def test_case_is_in_the_language_of_the_page_throughout(client: TestClient) -> None:
    """Also where causes stand in one sentence, or are chosen from."""
    new = client.post(
        "/api/cases", json={"chain": "radio_sub", "evidence": [{"heard": "subwoofer", "is": "silent"}]}
    ).json()
    page = client.get(f"/cases/{new['name']}", headers={"accept-language": "de"}).text
    (alike, *_) = re.findall(r"unterscheidet diese: ([^<]*)", page)
    assert re.fullmatch(r"Leitung .*; Leitung .*", alike)
    assert {*re.findall(r'<optgroup label="([^"]*)"', page)} == {"Am wahrscheinlichsten", "Alle Ursachen"}
    assert not re.search(r"\blead from\b", page)


def test_unknown_chain_shows_the_page_again(client: TestClient) -> None:
    """With the error and what was ticked."""
    done = client.post("/cases/new", data={"chain": "horn", "also:meter": "yes"})
    assert done.status_code >= 400
    assert re.search(r'name="also:meter" value="yes" checked', done.text)
    assert client.post("/api/cases", json={"chain": "horn"}).status_code >= 400


def test_chain_can_be_described(client: TestClient) -> None:
    """What fits one chain begins it; what fits two shows these two, and what tells nothing is said so."""
    done = client.post("/cases/new", data={"said": "4-channel and mono amp, with a bass knob"})
    assert re.findall(r'name="chain" value="(\w+)"', done.text) == ["factory_doors_and_sub", "radio_doors_and_sub"]
    assert 'name="also:knob" value="yes" checked' in done.text
    assert "name its amplifiers" in client.post("/cases/new", data={"said": "it hums"}).text
    begun = client.post("/cases/new", data={"said": "five-channel amp", "title": "Blue"})
    assert 'id="ask"' in begun.text


def test_complaint_comes_with_the_tap_or_is_asked_on_the_case(client: TestClient) -> None:
    """A sentence becomes findings; what tells nothing is asked again, with everything that was typed and ticked."""
    said = {"chain": "factory_doors_and_sub", "complaint": "no bass, the doors play"}
    begun = client.post("/cases/new", data=said)
    assert "What is wrong?" not in begun.text
    name = begun.url.path.rpartition("/")[2]
    assert [e["is"] for e in client.get(f"/api/cases/{name}").json()["evidence"]] == ["silent", "normal", "normal"]
    again = client.post("/cases/new", data=said | {"complaint": "it is broken"})
    assert "no bass, the doors play" in again.text
    assert 'value="it is broken"' in again.text
    new = client.post("/api/cases", json={"chain": "radio_only"}).json()
    asked = client.get(f"/cases/{new['name']}")
    assert "What is wrong?" in asked.text
    send = {"seen": new["revision"], "text": "hinten kommt nichts"}
    assert 'value="front"' not in client.post(f"/cases/{new['name']}/complaint", data=send).text
    told = client.get(f"/api/cases/{new['name']}").json()
    assert told["evidence"] == [{"heard": "rear_speakers", "is": "silent"}]
    assert (
        client.post(f"/api/cases/{new['name']}/complaint", json={"seen": told["revision"], "text": "hm"}).status_code
        == 422
    )


def test_who_has_nothing_to_measure_with_says_so_at_a_test_that_needs_it(client: TestClient) -> None:
    """A button of such tests alone; the page says what was said, and a typed answer does the same."""
    chain = {"chain": "radio_sub", "also": ["meter"], "evidence": [{"heard": "subwoofer", "is": "silent"}]}
    for said in ({"do": "only_ears"}, {"text": "I have no meter"}):
        new = client.post("/api/cases", json=chain).json()
        address = f"/cases/{new['name']}"
        tests = client.get(f"/api{address}/diagnosis").json()["next"][:5]
        needing = [test["test"] in WITH_INSTRUMENT for test in tests]
        for needs in (True, False):
            shown = client.get(address, params={"test": str(needing.index(needs) + 1)}).text
            assert ('value="only_ears"' in shown) == needs
        entry = json.dumps(tests[needing.index(True)]["entry"])
        page = client.post(f"{address}/answer", data={"seen": str(new["revision"]), "entry": entry} | said).text
        assert "nothing to measure with" in page
        left = client.get(f"/api{address}/diagnosis").json()["next"]
        assert left
        assert not [test for test in left if test["test"] in WITH_INSTRUMENT]


def test_page_says_why_nothing_is_measured(client: TestClient) -> None:
    """It does as long as the chain names no instrument and no reading was entered."""
    says = "No measuring instrument is named for this chain"
    silent = {"heard": "subwoofer", "is": "silent"}
    read = {"at": "sub_amplifier.out.mono", "with": "meter", "tone": "50 Hz", "reads": "0.1 V"}
    for also, evidence, told in ([], [silent], True), ([], [silent, read], False), (["meter"], [silent], False):
        sent = {"chain": "radio_sub", "also": also, "evidence": evidence}
        new = client.post("/api/cases", json=sent).json()
        assert (says in client.get(f"/cases/{new['name']}").text) == told


def test_what_is_wrong_is_tapped(client: TestClient) -> None:
    """A tap for the kind, one for each question that isn't as it stands, and Enter; over HTTP the same, with what can be chosen."""
    new = client.post("/api/cases", json={"chain": "radio_sub", "also": ["knob"]}).json()
    page, address = client.get(f"/cases/{new['name']}").text, f"/cases/{new['name']}"
    kinds = client.get(f"/api{address}/complaints").json()
    assert re.findall(r'name="wrong" value="(\w+)"', page) == [kind["kind"] for kind in kinds]
    for kind in kinds:
        for question in kind["questions"]:
            if len(question["choices"]) > 1:
                offered = re.findall(rf'name="{kind["kind"]}:{question["key"]}" value="([^"]*)"', page)
                assert offered == [value for value, _ in question["choices"]]
    taps = {"wrong": "speaker", "speaker:which": "subwoofer", "speaker:rest": "plays", "quiet:which": "all"}
    shown = client.post(f"{address}/complaint", data=taps | {"seen": str(new["revision"])}, follow_redirects=False)
    assert shown.status_code == 303
    told = client.get(f"/api{address}").json()["evidence"]
    words = {e["heard"]: e["is"] for e in told}
    assert words == {"subwoofer": "silent", "front_speakers": "normal"}
    chosen = {"kind": "speaker", "which": "subwoofer", "rest": "plays"}
    begun = client.post("/api/cases", json={"chain": "radio_sub", "chosen": chosen})
    assert begun.json()["evidence"] == told
    more = {"seen": begun.json()["revision"], "chosen": {"kind": "distorts", "which": "front_speakers", "volume": "24"}}
    after = client.post(f"/api/cases/{begun.json()['name']}/complaint", json=more)
    assert after.json()["evidence"][2:] == [
        {"heard": "front_speakers", "set": {"radio.volume": "24"}, "is": "distorted"},
        {"heard": "front_speakers", "level": "-20 dBFS", "is": "normal"},
    ]


def test_a_choice_that_cannot_be_used_is_shown_again(client: TestClient) -> None:
    """With what was tapped; over HTTP neither a sentence nor a choice is refused, nor is a knob where there is none."""
    new = client.post("/api/cases", json={"chain": "radio_only"}).json()
    taps = {"wrong": "distorts", "distorts:volume": "loud", "seen": str(new["revision"])}
    shown = client.post(f"/cases/{new['name']}/complaint", data=taps)
    assert shown.status_code == 422
    assert re.search(r'name="wrong" value="distorts" required checked', shown.text)
    for wrong in ({}, {"chosen": {"kind": "knob"}}, {"chosen": {"kind": "speaker", "which": "horn"}}):
        sent = {"seen": new["revision"], **wrong}
        assert client.post(f"/api/cases/{new['name']}/complaint", json=sent).status_code == 422


def test_a_job_is_asked_in_the_same_way(client: TestClient) -> None:
    """Its form of a new case has the choices of the job's chain, and opens the case with their entries."""
    job = client.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"]
    kinds = [kind["kind"] for kind in client.get(f"/api/jobs/{job}/complaints").json()]
    page = client.get(f"/jobs/{job}/fault").text
    assert re.findall(r'name="wrong" value="(\w+)"', page) == kinds
    taps = {"wrong": "knob", "name": "idle knob"}
    assert client.post(f"/jobs/{job}/fault", data=taps).status_code == 200
    assert client.get("/api/cases/idle knob").json()["evidence"] == [{"check": "knob.travel", "is": "nothing"}]


def test_answer_after_a_repair_is_a_button(client: TestClient) -> None:
    """A repaired cause that didn't help: the page takes it as an entry, and shows the next test instead of the repair."""
    evidence = [
        {"heard": "subwoofer", "is": "silent"},
        {"check": "sub_amplifier.power_lamp", "is": "off"},
        {"check": "sub_amplifier.fuse", "is": "blown"},
    ]
    new = client.post("/api/cases", json={"chain": "factory_sub", "evidence": evidence}).json()
    page = client.get(f"/cases/{new['name']}").text
    form = re.search(r"name=\"entry\" value='(\{[^']*mended[^']*\})'", page)
    assert form is not None
    seen = re.search(r'name="seen" value="(\d+)"', page)
    assert seen is not None
    done = client.post(f"/cases/{new['name']}/answer", data={"entry": form[1], "text": "still_wrong", "seen": seen[1]})
    assert done.status_code == 200
    assert "it is as before" in done.text
    kept = client.get(f"/api/cases/{new['name']}").json()["evidence"]
    assert kept[-1] == {"check": "amplifier_no_supply@sub_amplifier.mended", "is": "still_wrong"}


def test_after_one_of_two_faults_is_mended_the_case_is_closed_with_both(client: TestClient) -> None:
    """The page offers the answer, goes on to the other fault, and has the ending ready, with the mended one as one of the two."""
    evidence = [
        {"heard": "subwoofer", "is": "silent"},
        {"heard": "front_speakers", "side": "left", "is": "silent"},
        {"check": "sub_amplifier.fuse", "is": "blown"},
        {"check": "amplifier_no_supply@sub_amplifier.mended", "is": "partly"},
    ]
    new = client.post("/api/cases", json={"chain": "radio_sub", "evidence": evidence}).json()
    page = client.get(f"/cases/{new['name']}").text
    assert 'value="two_faults" checked' in page
    also = page.partition('name="also"')[2].partition("</select>")[0]
    assert re.search(r'value="amplifier_no_supply\|sub_amplifier" selected', also)
    leading = client.get(f"/api/cases/{new['name']}/diagnosis").json()["causes"][0]
    assert "sub" not in leading["where"]
    closing = {"seen": str(new["revision"]), "outcome": "two_faults", "was": f"{leading['cause']}|{leading['where']}"}
    both = closing | {"also": "amplifier_no_supply|sub_amplifier"}
    client.post(f"/cases/{new['name']}/close", data=both, follow_redirects=False)
    assert client.get(f"/api/cases/{new['name']}").json()["closed"]["second_cause"] == "amplifier_no_supply"
