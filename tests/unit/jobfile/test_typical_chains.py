"""The typical chains of a call: valid for every command, without blockers or brands, and found by a caller's words."""

from __future__ import annotations

import functools
from pathlib import Path

import pytest

from gainwright.errors import CallError
from gainwright.jobfile import read_job_text
from gainwright.jobfile.starting.described import described_chain
from gainwright.jobfile.starting.typical import CHAINS, EXTRAS, chain_text
from gainwright.model import Amplifier, HeadUnit
from gainwright.plan import check_job

plain_text = functools.cache(chain_text)
"""The job file of a typical chain without extras."""
EVERY = tuple(extra.id for extra in EXTRAS)


@pytest.mark.parametrize(
    ("chain", "extras"),
    [*((chain.id, ()) for chain in CHAINS), *((chain, EVERY) for chain in ("factory_doors_and_sub", "radio_sub"))],
)
def test_each_chain_is_a_job_without_blockers(chain: str, extras: tuple[str, ...]) -> None:
    """The reader takes it and the check finds nothing that stops a plan; no rating is known, and every device has a name."""
    job = read_job_text(chain_text(chain, extras) if extras else plain_text(chain)).job
    assert [f for f in check_job(job) if f.severity == "blocker"] == []
    for stage in job.stages.values():
        assert stage.name
        if isinstance(stage, Amplifier):
            assert not any(rating.power.known for rating in stage.power)
        if isinstance(stage, HeadUnit):
            assert stage.rated_output is not None
            assert not stage.rated_output.known
    assert set(job.instruments) == ({"meter"} if extras else set())


def test_there_are_ten_and_each_is_told_from_the_others() -> None:
    """Two with the same title differ in where the signal comes from."""
    assert len(CHAINS) == 10
    assert len({(chain.title, chain.about) for chain in CHAINS}) == 10
    assert len({plain_text(chain.id) for chain in CHAINS}) == 10


def test_extras_are_added_where_they_belong() -> None:
    """A knob at the subwoofer's amplifier only; amplifiers that take speaker wires replace the converter only."""
    plain = read_job_text(plain_text("factory_doors_and_sub")).job
    more = read_job_text(chain_text("factory_doors_and_sub", ("knob", "speaker_wires"))).job
    assert "converter" in plain.stages
    assert "converter" not in more.stages
    assert all(s.high_level for s in more.stages.values() if isinstance(s, Amplifier))
    knobs = [name for name, stage in more.stages.items() if isinstance(stage, Amplifier) and stage.remote_level]
    assert knobs == ["sub_amplifier"]
    assert chain_text("radio_doors", ("knob", "speaker_wires")) == plain_text("radio_doors")


def test_names_and_title_can_be_translated() -> None:
    """The keys stay those of the English names, as the usual wiring is made by them."""
    text = chain_text("radio_doors", into=lambda words: f"«{words}»")
    job = read_job_text(text).job
    assert job.title == "«Four-channel amplifier on the doors, no sub»"
    assert job.stages["front_amplifier"].name == "«Front amplifier»"


@pytest.mark.parametrize(("chain", "extras"), [("radio_dors", ()), ("radio_doors", ("nob",))])
def test_unknown_chain_or_extra_is_refused(chain: str, extras: tuple[str, ...]) -> None:
    """The rule lists what there is."""
    with pytest.raises(CallError, match="there is no") as caught:
        chain_text(chain, extras)
    assert caught.value.rule.startswith("there is ")


@pytest.mark.parametrize(
    ("said", "chains", "extras"),
    [
        ("a 4-channel amp on the doors, a mono amp on a sub, factory radio", ["factory_doors_and_sub"], ()),
        ("Four channel and a monoblock, aftermarket radio with RCA", ["radio_doors_and_sub"], ()),
        ("4-channel amp and mono amp on a sub", ["factory_doors_and_sub", "radio_doors_and_sub"], ()),
        ("factory radio and just a mono amp for the sub with a bass knob", ["factory_sub"], ("knob",)),
        ("Werksradio, Monoendstufe am Subwoofer, Türen am Radio", ["factory_sub"], ()),
        ("Vierkanal-Endstufe an den Türen, kein Sub, Radio mit Cinch", ["radio_doors"], ()),
        ("four-channel amp, rear pair bridged on the sub", ["radio_bridged"], ()),
        ("Fünfkanal-Endstufe", ["radio_five_channel"], ()),
        ("original radio, DSP, 4-Kanal und Mono am Sub", ["factory_processor"], ()),
        ("only the radio, no amplifier, and I have a multimeter", ["radio_only"], ("meter",)),
        ("it just doesn't play", [], ()),
    ],
)
def test_description_in_words_finds_its_chain(said: str, chains: list[str], extras: tuple[str, ...]) -> None:
    """As a caller says it, in English or German; where it fits two equally, both are offered."""
    found = described_chain(said)
    assert [chain.id for chain in found.chains] == chains
    assert found.extras == extras


def test_chains_and_extras_are_documented() -> None:
    """The page about a call without a job has each by its id."""
    page = (Path(__file__).parents[3] / "docs" / "no-job-yet.md").read_text(encoding="utf-8")
    for one in (*CHAINS, *EXTRAS):
        assert f"`{one.id}`" in page
