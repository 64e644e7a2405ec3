"""The chart of the allowance for music: names stand where their lines end, and never on each other."""

from __future__ import annotations

from typing import Any

from gainwright.adapters.music_chart import music_spec
from gainwright.report.music_chart import MusicChart


def names_on(panel: dict[str, Any]) -> list[str]:
    """Return the names that a panel prints."""
    (layer,) = [one for one in panel["layer"] if one["mark"]["type"] == "text"]
    return [row["name"] for row in layer["data"]["values"]]


def test_equal_bands_share_a_name_tag() -> None:
    """Two bands of the same levels end at one point: their names stand below each other; a third that ends elsewhere has its own."""
    ends = {"front": (-3.0, 0.01), "rear": (-3.0, 0.011), "sub": (-20.0, 0.5)}
    levels = tuple(
        (name, level, percent)
        for name, (last, least) in ends.items()
        for level, percent in ((-40.0, 90.0), (last, least))
    )
    clipped = tuple((name, db, 0.02 * (1 + db)) for name in ends for db in (0.0, 10.0, 20.0))
    chart = MusicChart("Music", "", levels, clipped, tuple((name, 6.0) for name in ends), 0.1, "")
    above, under = music_spec(chart)["vconcat"]
    assert names_on(above) == ["front\nrear", "sub"]
    assert names_on(under) == ["front\nrear\nsub"]
    (tag,) = [one["mark"] for one in above["layer"] if one["mark"]["type"] == "text"]
    assert tag["lineBreak"] == "\n"
