"""Wiring that is resolved once a job."""

from __future__ import annotations

from gainwright.jobfile import example_text, read_job_text
from gainwright.model import resolve
from gainwright.model.wiring import resolve_anew


def test_a_job_is_resolved_once_and_another_by_itself() -> None:
    """The same object gives the same wiring, which is what resolving gives; a like one has its own."""
    text = example_text("two_way_and_sub")
    one, like = (read_job_text(text, name).job for name in ("one.yaml", "like.yaml"))
    assert resolve(one) is resolve(one)
    assert resolve(one) == resolve_anew(one)
    assert resolve(like) is not resolve(one)


def test_what_stands_before_a_stage_is_found_once() -> None:
    """Asked again, a stage has the nodes before it that its ports have; one side has fewer."""
    wiring = resolve(read_job_text(example_text("two_way_and_sub")).job)
    ports = wiring.ports("woofer")
    assert wiring.upstream("woofer") is wiring.upstream("woofer")
    assert wiring.upstream("woofer") == wiring.upstream("woofer", ports)
    assert set(wiring.upstream("woofer", ports[:1])) < set(wiring.upstream("woofer"))
