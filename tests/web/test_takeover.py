"""Taking over what a run set: the preview, the new revision, what stays of the run, undo, conflicts; in this process."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile
from music_tasks import Here
from starlette.testclient import TestClient

from gainwright.app.cases.dialogue import Dialogue
from gainwright.composition import compose
from gainwright.errors import CallError, DoubtfulReadingError
from gainwright.jobfile import example_text
from gainwright.web.music import scans
from gainwright.web.server import create_app
from gainwright.web.site import Site

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ENTERED = {
    "source.head.sub.40hz.amp_sub": "34",
    "source.head.front.315hz.amp_front": "36",
    "source.head.front.5000hz.amp_high": "35",
    "amplifier.amp_sub": "28.2 at 62",
    "amplifier.amp_front": "16.7",
    "verify.amp_front.out.left": "16.7",
}
"""What is typed: clean steps of three sources, a gain with its position and one without, and a reading after them."""


@pytest.fixture(name="bay")
def bay_fixture(tmp_path: Path) -> Iterator[TestClient]:
    """A client of an app in this process."""
    world = compose()
    with TestClient(
        create_app(Site(world, world.store(str(tmp_path / "s.sqlite")))), base_url="http://127.0.0.1"
    ) as on:
        yield on


@pytest.fixture(name="job")
def job_fixture(bay: TestClient) -> str:
    """A job like the example, with its run far enough to have settings."""
    job = str(bay.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"])
    bay.post(f"/api/jobs/{job}/run", json={"step": "control.knob.level", "kind": "done", "seen": 0}).raise_for_status()
    for step, text in ENTERED.items():
        bay.post(f"/api/jobs/{job}/run", json={"step": step, "text": text, "seen": 0}).raise_for_status()
    return job


def run_of(bay: TestClient, job: str) -> dict[str, Any]:
    """Return the run."""
    return dict(bay.get(f"/api/jobs/{job}/run").json())


def test_settings_found_become_a_revision_and_the_run_stands(bay: TestClient, job: str) -> None:
    """The lowest clean step and the gains stand in the job, its comments kept; every step, verdict and reading is as before."""
    where = f"/api/jobs/{job}/run/takeover"
    before, text = run_of(bay, job), bay.get(f"/api/jobs/{job}").json()["text"]
    preview = bay.get(where).json()
    rows = {c["control"]: (c["where_text"], c["old"], c["new"], c["how"]) for c in preview["controls"]}
    assert rows["head.volume"] == ("volume of the head unit", "30", "34", "clean_step")
    assert rows["amp_sub.gain"] == ("gain of the sub amplifier", "20 %", "62 %", "read_off")
    assert rows["amp_front.gain"][1] == ""
    assert rows["amp_front.gain"][3] == "worked_out"
    assert list(rows) == ["head.volume", "amp_sub.gain", "amp_front.gain"]
    taken = bay.post(where, json={"basis": preview["revision"]}).json()
    assert taken["controls"] == preview["controls"]
    assert taken["revision"] == preview["revision"] + 1
    now = bay.get(f"/api/jobs/{job}").json()
    assert now["revision"] == taken["revision"]
    changed = [line for line in now["text"].splitlines() if line not in text.splitlines()]
    assert [line.strip() for line in changed[:2]] == [
        "volume: {steps: 40, at: 34}",
        "gain: {at: 62 %, mutes_at_minimum: unknown}",
    ]
    assert len(changed) == 3
    after = run_of(bay, job)
    assert after["steps"] == before["steps"]
    assert after["evidence"] == before["evidence"]
    again = bay.post(where, json={"basis": preview["revision"]})
    assert (again.status_code, again.json()) == (200, {"revision": taken["revision"], "controls": []})
    bay.post(f"/api/jobs/{job}/undo", json={"seen": taken["revision"]}).raise_for_status()
    assert bay.get(f"/api/jobs/{job}").json()["text"] == text
    assert bay.get(where).json()["controls"] == preview["controls"]


def test_changed_job_is_not_overwritten(bay: TestClient, job: str) -> None:
    """A revision that somebody wrote after the preview stands; nothing is taken over then."""
    kept = bay.get(f"/api/jobs/{job}").json()
    other = kept["text"].replace("Blue estate", "Red estate")
    bay.put(f"/api/jobs/{job}/text", json={"text": other, "seen": kept["revision"]}).raise_for_status()
    assert bay.post(f"/api/jobs/{job}/run/takeover", json={"basis": kept["revision"]}).status_code == 409
    assert bay.get(f"/api/jobs/{job}").json()["text"] == other


def test_page_shows_old_and_new_takes_them_over_and_undoes_it(bay: TestClient, job: str) -> None:
    """The page names the controls in words, takes them over with one button, and offers to undo it."""
    page = f"/jobs/{job}/takeover"
    shown = bay.get(page).text
    for words in ("Volume of the head unit", "step 30", "step 34", "Gain of the sub amplifier", "20 %", "62 %"):
        assert words in shown
    assert f'href="{page}"' in bay.get(f"/jobs/{job}/setup").text
    revision = bay.get(f"/api/jobs/{job}").json()["revision"]
    done = bay.post(page, data={"basis": revision})
    assert f"Taken over as revision {revision + 1}" in done.text
    assert "step 30" not in done.text
    back = bay.post(f"{page}/undo", data={"seen": revision + 1})
    assert "step 34" in back.text
    assert bay.post(page, data={"basis": revision}).status_code == 409


def test_corridor_papers_and_cases_speak_from_what_was_set_before_it_is_taken_over(bay: TestClient, job: str) -> None:
    """The corridor stands as the run left it; the handover prints it with the clean step; a case begins with it and its readings."""
    corridor = bay.get(f"/jobs/{job}/corridor?tone=315&level=-6").text
    assert "As set in the run" in corridor
    assert 'name="set.amp_sub.gain" inputmode="decimal" size="5" value="62"' in corridor
    assert 'name="set.head.volume" inputmode="decimal" size="5" value="34"' in corridor
    assert 'value="20"' in bay.get(f"/jobs/{job}/corridor?as=job").text
    asked: dict[str, Any] = {"tone": 40, "level": -8}
    as_run, as_job = (bay.get(f"/api/jobs/{job}/levels", params=asked | more).json() for more in ({}, {"as": "job"}))
    same = ["head.volume=34", "amp_sub.gain=62 %"]
    sub, typed = (
        next(
            n["v_rms"]
            for p in found["paths"]
            if p["path"].startswith("sub")
            for n in p["nodes"]
            if n["node"] == "amp_sub.out.mono"
        )
        for found in (as_run, bay.get(f"/api/jobs/{job}/levels", params=asked | {"as": "job", "set": same}).json())
    )
    assert sub == pytest.approx(typed)
    assert as_job != as_run
    paper = bay.get(f"/api/jobs/{job}/papers/handover.json").json()
    assert paper["controls"]["head.volume"].removesuffix(".0") == "34"
    assert paper["controls"]["amp_sub.gain"] == "62 %"
    assert paper["last_clean_step"] == 34
    sheet = bay.get(f"/api/jobs/{job}/papers/handover.html").text
    assert "The highest clean step of the head unit is 34, as found in the set-up." in sheet
    assert "34 at 40 Hz, 36 at 315 Hz, 35 at 5000 Hz" in sheet
    assert "was not measured" not in sheet
    case = bay.post("/api/cases", json={"job": job, "name": "as set"}).json()
    assert "volume: {steps: 40, at: 34}" in case["job"]
    assert case["evidence"] == run_of(bay, job)["evidence"]
    assert "/renew" not in bay.get("/cases/as%20set").text
    bay.post(f"/api/jobs/{job}/run/takeover", json={"basis": 1}).raise_for_status()
    assert bay.get(f"/api/jobs/{job}").json()["text"] == case["job"]


def test_music_is_scanned_for_what_the_run_set_and_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The power of the sub's band is that of the volts read at its target, and the page says where it comes from."""
    (tmp_path / "music").mkdir()
    noise = np.random.default_rng(5).normal(scale=0.2, size=44_100)
    soundfile.write(tmp_path / "music" / "noise.wav", np.clip(noise, -1, 1), 44_100)
    world = compose()
    monkeypatch.setattr(type(world), "music_workers", lambda _world: Here())

    def no_cache(_world: object) -> None:
        raise CallError("no folder for it", code="no_cache")

    monkeypatch.setattr(type(world), "music_cache", no_cache)
    site = Site(world, world.store(str(tmp_path / "s.sqlite")), music=(str(tmp_path / "music"),))
    with TestClient(create_app(site), base_url="http://127.0.0.1") as on:
        job = str(on.post("/api/jobs", json={"like": "two_way_and_sub"}).json()["id"])
        target = next(t["v_rms"] for t in on.get(f"/api/jobs/{job}/plan").json()["targets"] if t["stage"] == "amp_sub")
        found = []
        for read in ("", f"{0.9 * target:.5g} at 62"):
            if read:
                entry = {"step": "amplifier.amp_sub", "text": read, "seen": 0}
                on.post(f"/api/jobs/{job}/run", json=entry).raise_for_status()
            work = scans.start(site, [on.get("/api/music/folders").json()[0]["id"]], job)
            while work.going:
                time.sleep(0.01)
            found.append(scans.result(site, on.get("/api/music").json()[0]["id"]))
        assert [kept.as_run for kept in found] == [False, True]
        before, after = (kept.found.choice["sub"].target_w for kept in found)
        assert before
        assert after == pytest.approx(0.81 * before, rel=1e-3)
        words = "With the controls as its set-up run left them"
        shown = [on.get(f"/music/{music['id']}").text for music in on.get("/api/music").json()]
        assert [words in text for text in shown] == [True, False]


def test_reading_is_judged_by_what_is_shown(bay: TestClient, job: str) -> None:
    """A step after a reading at its place shows where that was read, over HTTP and on its page, and judges by it."""
    step = "verify.amp_front.out.right"
    expect = next(s["expect"] for s in run_of(bay, job)["steps"] if s["id"] == step)
    assert expect["value"] == pytest.approx(16.7)
    page = bay.get(f"/jobs/{job}/setup/{step}").text
    assert "It follows from 16.7 V read at step" in page
    assert "26.5 V" in bay.get(f"/jobs/{job}/setup?short=true").text
    assert "26.5 V" in bay.get(f"/jobs/{job}/live?step=verify.amp_sub.out.mono").text
    sent = bay.post(f"/api/jobs/{job}/run", json={"step": step, "text": "16.6", "seen": 0}).json()["value"]
    assert (sent["expected"], sent["low"], sent["high"]) == (expect["value"], expect["low"], expect["high"])
    assert sent["verdict"] == "fits"
    typed = bay.post(f"/jobs/{job}/setup/verify.amp_sub.out.mono", data={"text": "26.5", "seen": 0, "basis": "plan"})
    assert typed.status_code == 200
    at_hand = next(s for s in run_of(bay, job)["steps"] if s["id"] == "verify.amp_sub.out.mono")["value"]
    assert at_hand["expected"] == pytest.approx(26.62 * 28.2 / 28.284, rel=1e-3)


def test_test_of_a_case_says_where_the_controls_stand_and_plays_its_tone(bay: TestClient, job: str) -> None:
    """A reading that a case asks for names volume, gain and filters as the run set them, and its page has the tone."""
    name = bay.post("/api/cases", json={"job": job, "evidence": [{"heard": "sub", "is": "silent"}]}).json()["name"]
    tests = bay.get(f"/api/cases/{name}/diagnosis").json()["next"]
    number, test = next((i, t) for i, t in enumerate(tests, start=1) if t["entry"].get("at", "").startswith("amp_sub"))
    page = bay.get(f"/cases/{name}?test={number}").text
    assert "<dt>Volume of the head unit</dt>" in page
    assert "step 34</dd>" in page
    assert "<dt>Gain of the sub amplifier</dt>" in page
    hz, dbfs = (float(test["entry"][key].split()[0]) for key in ("tone", "level"))
    assert f"/api/tones.wav?hz={hz:g}&amp;dbfs={dbfs:g}&amp;seconds=" in page


@pytest.mark.parametrize(
    ("check", "typed", "meant"), [("amp.supply_voltage", "138", "13.8"), ("sub.resistance", "34", "3.4")]
)
def test_lost_point_is_asked_about_in_fault_finding(bay: TestClient, check: str, typed: str, meant: str) -> None:
    """An answer that would be usual with its point elsewhere is asked about, over HTTP and on the page; both answers can be given."""
    job = str(bay.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"])
    case = bay.post("/api/cases", json={"job": job, "evidence": [{"heard": "sub", "is": "faint"}]}).json()
    where, answer = f"/api/cases/{case['name']}/answer", {"entry": {"check": check}, "seen": case["revision"]}
    asked = bay.post(where, json=answer | {"text": typed})
    assert (asked.status_code, asked.json()["code"], asked.json()["candidate"]) == (422, "asked_about", meant)
    form = {"entry": json.dumps({"check": check}), "seen": case["revision"], "text": typed}
    page = bay.post(f"/cases/{case['name']}/answer", data=form).text
    assert f'<strong class="figure">{meant}?</strong> {typed} was typed; a decimal point may be missing.' in page
    assert f">{typed}, as typed</button>" in page
    done = bay.post(f"/cases/{case['name']}/answer", data=form | {"sure": "true"})
    assert done.status_code == 200
    assert bay.get(f"/api/cases/{case['name']}").json()["evidence"][-1]["reads"].startswith(typed)


def test_second_time_a_doubtful_answer_is_taken_at_the_terminal() -> None:
    """The dialogue asks once; the same text again is what the meter shows, and another one is asked about anew."""
    dialogue = Dialogue(example_text("one_amplifier"))
    test = next(t for t in dialogue.diagnosis().next if t.entry.get("check") == "sub.resistance")
    for text in ("34", "340"):
        with pytest.raises(DoubtfulReadingError, match="34"):
            dialogue.answer_or_skip(test, text)
    dialogue.answer_or_skip(test, "340")
    assert dialogue.entries == [{"check": "sub.resistance", "reads": "340 ohm"}]
