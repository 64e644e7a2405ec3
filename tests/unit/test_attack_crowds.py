"""What an attack by number counts as a fall: no answer, or a wait that the machine alone doesn't explain."""

from __future__ import annotations

from pathlib import Path

import pytest
from attack_crowds import Watch
from attack_figures import OWN_SERVED_WITHIN_S, Figures
from web_server import WebServer


@pytest.mark.parametrize(
    ("waited_s", "beside_s", "held"),
    [(0.9, 0.0, True), (1.1, 0.0, False), (1.6, 0.7, True), (2.0, 0.7, False)],
)
def test_a_wait_over_a_second_is_a_fall_unless_an_idle_server_waited_so_long(
    waited_s: float, beside_s: float, *, held: bool
) -> None:
    """A server that nobody attacks, on the same machine at the same time, shows what the machine's other work adds."""
    watch, figures = Watch(WebServer(Path()), longest_s=waited_s, beside_s=beside_s), Figures("uploads")
    watch.judge(figures, "6 uploads")
    assert figures.held == held
    assert figures.own_served_s == waited_s
    assert held or f"waited {waited_s:.2f} s beside 6 uploads" in figures.falls[0]


def test_a_request_that_failed_is_a_fall() -> None:
    """However soon."""
    watch, figures = Watch(WebServer(Path()), failed=["the own machine was not served"]), Figures("uploads")
    watch.judge(figures, "6 uploads")
    assert figures.falls == ["the own machine was not served"]
    assert OWN_SERVED_WITHIN_S == 1.0
