"""One reading that fits nothing among others that do."""

from __future__ import annotations

import numpy as np

from gainwright.diagnose import Diagnoser, make_diagnosis
from gainwright.diagnose.belief import Observation, VoltsReading, weigh
from gainwright.diagnose.ensemble import Stimulus
from gainwright.jobfile import example_text, read_entry, read_job_text


def test_a_wrong_reading_does_not_decide() -> None:
    """Of three readings that fit one cause and one that no draw gives, that one is taken as wrong and the cause stays."""
    rng = np.random.default_rng(3)
    predicted = np.array([0.0, 10.0])[:, None] + 0.5 * rng.standard_normal((2, 256))
    alive = np.ones((2, 256), dtype=bool)

    def read(level: float, entry: int) -> Observation:
        return Observation(entry, None, VoltsReading(predicted, alive, level, 0.3, 0.02), 1 / 90)

    belief = weigh(np.array([0.5, 0.5]), [read(0.1, 0), read(-0.2, 1), read(10.0, 2)], draws=256, unknown=1e-9)
    assert belief.probability[0] > 0.95
    assert belief.wrong[2] > 0.95
    assert belief.wrong[0] < 0.05


def test_two_wrong_readings_of_many_do_not_decide() -> None:
    """Of eight readings two fit nothing: both are taken as wrong, and the cause that the others fit stays."""
    rng = np.random.default_rng(4)
    predicted = np.array([0.0, 10.0])[:, None] + 0.5 * rng.standard_normal((2, 256))
    alive = np.ones((2, 256), dtype=bool)
    levels = [0.1, -0.2, 10.0, 0.0, 0.2, 30.0, -0.1, 0.1]
    read = [Observation(i, None, VoltsReading(predicted, alive, x, 0.3, 0.02), 1 / 90) for i, x in enumerate(levels)]
    belief = weigh(np.array([0.5, 0.5]), read, draws=256, unknown=1e-9)
    assert belief.probability[0] > 0.95
    assert belief.wrong[2] > 0.95
    assert belief.wrong[5] > 0.95
    assert belief.wrong[0] < 0.05


def test_millivolts_at_several_floating_outputs_are_what_a_lead_picks_up() -> None:
    """Just above the bound of what counts as silence, at three outputs of a box without power: no mistakes, no unknown fault."""
    job = read_job_text(example_text("two_way_and_sub")).job
    played = {"tone": "100 Hz", "level": "-12 dBFS", "with": "meter"}
    diagnoser = Diagnoser(job, draws=32)
    observer, head = diagnoser.rough.observer, next(n for n in diagnoser.chain.nodes if n.stage == "head")
    usual_v = float(np.median(observer.usual_v(Stimulus(100.0, -12.0), head)))
    told = [
        *({"heard": name, "is": "silent"} for name in ("tweeter", "woofer", "sub")),
        {"at": str(head), **played, "reads": f"{usual_v:.3g} V"},
        *(
            {"at": f"desk.{output}", **played, "reads": f"{volts} V"}
            for output, volts in (("woofer.left", 0.0017), ("woofer.right", 0.0021), ("sub.mono", 0.0018))
        ),
    ]
    found = make_diagnosis(diagnoser, [read_entry(e, job) for e in told])
    dead = ("box_no_power", "shared_no_supply", "shared_no_turn_on")
    assert sum(c.probability for c in found.causes if c.cause in dead) > 0.9
    assert found.surprise < 0.1
    assert max(e.doubt for e in found.evidence) < 0.1


def test_what_a_lead_picks_up_costs_less_than_mistakes() -> None:
    """Three small readings where a cause gives no signal, which are more than may be wrong at once: each by its own density."""
    predicted, alive = np.zeros((2, 64)), np.array([[False], [True]]) & np.ones((2, 64), dtype=bool)
    predicted[1] = -30.0 + np.random.default_rng(5).standard_normal(64)

    def weighed(stray: float) -> float:
        read = [
            Observation(i, None, VoltsReading(predicted, alive, -55.0, 0.3, 0.015, stray=stray), 1 / 90)
            for i in range(3)
        ]
        silent = Observation(3, np.array([[0.95], [0.05]]), None, 0.5)
        return float(weigh(np.array([0.5, 0.5]), [*read, silent], draws=64, unknown=1e-9).log_evidence[0])

    assert weighed(0.02 / 12) - weighed(1e-9) > 3 * np.log(0.02 / 12 / (0.015 / 90)) - 0.1
