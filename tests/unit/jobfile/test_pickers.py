"""Filters by shape, slope and corner, ratings by watts and ohms: their parts, and the text made of them."""

from __future__ import annotations

import pytest

from gainwright.errors import QuantityError
from gainwright.jobfile.forms.pickers import FilterParts, filter_parts, filter_text, rating_pairs, ratings_text
from gainwright.model import FilterSetting, PowerRating


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("", FilterParts()),
        ("off", FilterParts("off")),
        ("linkwitz-riley 24 at 80 Hz", FilterParts("linkwitz-riley", "24", "80")),
        ("80 Hz LR4", FilterParts("linkwitz-riley", "24", "80")),
        ("butterworth 12 at 3.2 kHz", FilterParts("butterworth", "12", "3.2 kHz")),
        ("bessel 18 at 80 Hz ± 5 %", FilterParts("bessel", "18", "80 Hz ± 5 %")),
    ],
)
def test_filter_has_parts_and_is_the_same_again(text: str, parts: FilterParts) -> None:
    """The text of the parts is the same filter as before, as the model reads it."""
    assert filter_parts(text) == parts
    again = filter_text(parts)
    if text:
        first, second = FilterSetting.parse(text), FilterSetting.parse(again)
        assert (first.shape, first.slope_db_per_octave, first.corner) == (
            second.shape,
            second.slope_db_per_octave,
            second.corner,
        )
    else:
        assert again == ""


@pytest.mark.parametrize(
    ("parts", "what"),
    [
        (FilterParts("bessel", "12", ""), "corner missing"),
        (FilterParts("bessel", "", ""), "slope, corner missing"),
        (FilterParts("", "24", "80"), "shape missing"),
    ],
)
def test_filter_without_a_part_is_refused(parts: FilterParts, what: str) -> None:
    """It says which."""
    with pytest.raises(QuantityError, match=what):
        filter_text(parts)


def test_bare_corner_is_in_hertz_only_where_that_is_certain() -> None:
    """80 is 80 Hz; 3.2 may be kilohertz, so the reader asks."""
    assert filter_text(FilterParts("bessel", "12", "80,5")) == "bessel 12 at 80.5 Hz"
    with pytest.raises(QuantityError):
        FilterSetting.parse(filter_text(FilterParts("bessel", "12", "3.2")))


def test_ratings_have_parts_and_are_the_same_again() -> None:
    """Watts and ohms of each line; unknown power and spreads stay."""
    text = "500 W ± 5 % @ 2 ohm\n300 W @ 4 ohm\nunknown @ 8 ohm"
    pairs = rating_pairs(text)
    assert pairs == [("500 W ± 5 %", "2"), ("300", "4"), ("unknown", "8")]
    assert ratings_text(pairs) == text
    assert ratings_text([("75", "4"), ("", "")]) == "75 W @ 4 ohm"
    assert PowerRating.parse(ratings_text([("0,5", "4")])).power.nominal == 0.5
    assert filter_parts("anything") is None
    assert rating_pairs("anything") is None
