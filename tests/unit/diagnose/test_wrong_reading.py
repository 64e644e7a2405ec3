"""One reading that fits nothing among others that do."""

from __future__ import annotations

import numpy as np

from gainwright.diagnose.belief import Observation, VoltsReading, weigh


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
