"""Texts with several parts: filters, ranges, bands, ratings, ends, coils, accuracies, sensitivities."""

from __future__ import annotations

import pytest

from gainwright.errors import QuantityError
from gainwright.model import (
    Accuracy,
    Coils,
    Ends,
    Equaliser,
    EqualiserBand,
    FilterRange,
    FilterSetting,
    PowerRating,
    SpeakerSensitivity,
    WireSize,
)
from gainwright.model.compounds import several_ratings
from gainwright.quantities import parse


def test_filters() -> None:
    """Shape, slope, corner; off; a spread in the corner."""
    lr = FilterSetting.parse("linkwitz-riley 24 at 80 Hz")
    assert (lr.shape, lr.slope_db_per_octave) == ("linkwitz-riley", 24)
    assert lr.corner is not None
    assert lr.corner.nominal == 80
    assert FilterSetting.parse("Bessel 12 dB/oct at 3.2 kHz ± 5 %").slope_db_per_octave == 12
    assert FilterSetting.parse("off").off
    assert str(lr) == "linkwitz-riley 24 at 80 Hz"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("cascaded 24 at 80 Hz", "shapes are"),
        ("lr 18 at 80 Hz", "12, 24, 36, 48"),
        ("24 dB at 80", "write linkwitz-riley 24 at 80 Hz or butterworth 24 at 80 Hz"),
        ("BW6 at 80 Hz", "write butterworth 36 at 80 Hz or butterworth 6 at 80 Hz"),
        ("linkwitz-riley 18 at 80 Hz", "12, 24, 36, 48"),
        ("butterworth 10 at 80 Hz", "6, 12, 18"),
        ("butterworth 12", "linkwitz-riley 24 at 80 Hz"),
        ("butterworth 12 at 3.2", "has no unit"),
        ("butterworth 12 at 0 Hz", "above 0 Hz"),
    ],
)
def test_invalid_filters(text: str, says: str) -> None:
    """Each message says what would be valid."""
    with pytest.raises(QuantityError, match=says.replace("/", ".")):
        FilterSetting.parse(text)


@pytest.mark.parametrize(
    ("text", "means"),
    [
        ("80 Hz LR4", ("linkwitz-riley", 24, 80)),
        ("LR4 80Hz", ("linkwitz-riley", 24, 80)),
        ("LR24 @ 80", ("linkwitz-riley", 24, 80)),
        ("lr 24 at 80 Hz", ("linkwitz-riley", 24, 80)),
        ("Linkwitz Riley 24 dB/oct at 3,2 kHz", ("linkwitz-riley", 24, 3200)),
        ("24 dB LR at 80 Hz", ("linkwitz-riley", 24, 80)),
        ("24 dB at 80 Hz LR", ("linkwitz-riley", 24, 80)),
        ("12 dB/octave butterworth 1kHz", ("butterworth", 12, 1000)),
        ("BW3 at 200 Hz ± 5 %", ("butterworth", 18, 200)),
        ("butterworth 6 at 5kHz", ("butterworth", 6, 5000)),
        ("bessel 12 at 80", ("bessel", 12, 80)),
        ("L-R 24 at 80 Hz", ("linkwitz-riley", 24, 80)),
        ("2nd order butterworth at 80 Hz", ("butterworth", 12, 80)),
        ("LR4 2.5k", ("linkwitz-riley", 24, 2500)),
    ],
)
def test_filters_as_people_write_them(text: str, means: tuple[str, int, float]) -> None:
    """Orders and slopes, abbreviations, either order; the text stays as written."""
    read = FilterSetting.parse(text)
    assert read.corner is not None
    assert (read.shape, read.slope_db_per_octave, read.corner.nominal) == means
    assert read.as_written() == text


@pytest.mark.parametrize(
    "text",
    [
        "75 Watts at 4 Ohms",
        "75 W into 4 ohm",
        "75W RMS @ 4 ohm",
        "75 W RMS in 4 Ω",
        "4 x 75 W @ 4 ohm",
        "75 W x 4 @ 4 ohm",
        "75 W x 4 RMS at 4 ohms",
        "75 W, 4 ohm",
        "75 W RMS 4 ohm",
        "75 W an 4 Ohm",
        "75 W RMS per channel at 4 ohms",
    ],
)
def test_ratings_as_people_write_them(text: str) -> None:
    """Watts, RMS, into, at; for several channels a rating is that of one."""
    rating = PowerRating.parse(text)
    assert (rating.power.nominal, rating.load.nominal) == (75, 4)
    assert rating.as_written() == text


@pytest.mark.parametrize("text", ["75 W RMS", "75 W"])
def test_a_rating_without_its_load_is_one_question(text: str) -> None:
    """The error asks into which load, and keeps the power."""
    with pytest.raises(QuantityError, match="doesn't say into which load") as caught:
        PowerRating.parse(text)
    assert caught.value.remedy == f"write, for example, {text} @ 4 ohm"
    assert PowerRating.parse(caught.value.remedy.removeprefix("write, for example, ")).power.nominal == 75


def test_several_ratings_in_one_text() -> None:
    """As a data sheet lists them; a comma inside a number doesn't end one."""
    assert several_ratings("75 W @ 4 ohm, 110 W @ 2 ohm") == ["75 W @ 4 ohm", "110 W @ 2 ohm"]
    assert several_ratings("75 W RMS at 4 Ω / 110 W at 2 Ω") == ["75 W RMS at 4 Ω", "110 W at 2 Ω"]
    for one in ("1,500 W @ 4 ohm", "75 W / 4 ohm"):
        assert several_ratings(one) == [one]


@pytest.mark.parametrize("text", ["0,2 .. 5 V", "0.2 - 5 V", "0.2-5V", "200 mV to 5 V", "200mV – 5V", "0,2 bis 5 V"])
def test_ends_as_people_write_them(text: str) -> None:
    """Two dots, a dash or a word between them; a decimal comma in either."""
    ends = Ends.of("voltage").parse(text)
    assert (ends.first.nominal, ends.second.nominal) == (0.2, 5.0)
    assert ends.as_written() == text


@pytest.mark.parametrize(
    "text", ["2 × 4 Ω parallel", "dual 4 ohm parallel", "DVC 4 ohm in parallel", "2x4 ohm in parallel"]
)
def test_coils_as_people_write_them(text: str) -> None:
    """Two coils, however they are called."""
    coils = Coils.parse(text)
    assert (coils.number, coils.each.nominal, coils.wiring) == (2, 4.0, "parallel")


@pytest.mark.parametrize(
    ("text", "per_watt"),
    [
        ("88 dB/W/m", True),
        ("88 dB 1W/1m", True),
        ("88 dB @ 1 W/1 m", True),
        ("88 dB SPL (1 W, 1 m)", True),
        ("88 dB (2.83 V)", False),
        ("88 dB / 2,83 V / 1 m", False),
        ("88 dB", False),
    ],
)
def test_sensitivities_as_data_sheets_write_them(text: str, per_watt: bool) -> None:
    """For one watt or for 2.83 V, with or without the metre."""
    read = SpeakerSensitivity.parse(text)
    assert (read.level.nominal, read.per_watt) == (88.0, per_watt)
    with pytest.raises(QuantityError):
        SpeakerSensitivity.parse("88 dB @ 5 W")


def test_a_corner_alone_is_one_question() -> None:
    """The frequency is kept; which shape and slope is asked."""
    with pytest.raises(QuantityError, match="doesn't say which shape") as caught:
        FilterSetting.parse("80 Hz")
    assert "butterworth 24 at 80 Hz" in caught.value.remedy


def test_wire_gauges_with_a_slash_need_no_unit() -> None:
    """`1/0` is nothing but a gauge, for cables and leads (53.5 mm2, ASTM B258)."""
    assert WireSize.parse("1/0").gauge == 0
    assert parse("1/0", "area").nominal == pytest.approx(53.49e-6, rel=1e-3)


def test_ranges_of_filters() -> None:
    """Fixed, free, two ends, two ends or off."""
    assert FilterRange.parse("fixed").fixed
    assert FilterRange.parse("free").can_be_off
    for text in ("50-250 Hz or off", "50 to 250 Hz or off"):
        assert FilterRange.parse(text).low_hz == 50
    some = FilterRange.parse("50 .. 250 Hz or off")
    assert (some.low_hz, some.high_hz, some.can_be_off) == (50, 250, True)
    assert not FilterRange.parse("50 .. 250 Hz").can_be_off
    for wrong in ("50 Hz", "50 .. 250 Hz or on", "50 .. 250 V", "250 .. 50 Hz", "somewhere"):
        with pytest.raises(QuantityError):
            FilterRange.parse(wrong)


def test_equalisers() -> None:
    """Bands of three kinds; flat; a list."""
    band = EqualiserBand.parse("low-shelf +6 dB at 90 Hz q 0.7")
    assert (band.kind, band.gain.nominal, band.corner.nominal, band.q.nominal) == ("low-shelf", 6, 90, 0.7)
    assert Equaliser.parse("flat").flat
    assert Equaliser.parse(["flat"]).flat
    assert len(Equaliser.parse(["peak -3 dB at 50 Hz q 1.2", "high-shelf 2 dB at 8 kHz q 0.7"]).bands) == 2
    for wrong in ("peak 3 dB at 50 Hz", "notch 3 dB at 50 Hz q 1", "peak 3 V at 50 Hz q 1", "peak 3 dB at 50 Hz q 0"):
        with pytest.raises(QuantityError):
            EqualiserBand.parse(wrong)


def test_ratings() -> None:
    """Power into a load; both required and above zero, but the power may be unknown."""
    rating = PowerRating.parse("500 W ± 5 % @ 2 ohm")
    assert (rating.power.nominal, rating.load.nominal) == (500, 2)
    assert not PowerRating.parse("unknown @ 2 ohm").power.known
    for wrong in ("500 W", "unknown @ 0 ohm", "500 W @ 0 ohm", "500 W @ 2 W", "@"):
        with pytest.raises(QuantityError):
            PowerRating.parse(wrong)


def test_ends() -> None:
    """In the order written, one unit for both."""
    ends = Ends.of("voltage").parse("0.2 .. 5 V")
    assert (ends.first.nominal, ends.second.nominal, ends.low, ends.high) == (0.2, 5, 0.2, 5)
    assert Ends.of("voltage").parse("5 V .. 200 mV").first.nominal == 5
    assert Ends.of("ratio").parse("-40 .. 0 dB").low == -40
    assert Ends.of("voltage").parse("5 V").single  # the sensitivity of a fixed gain
    assert not ends.single
    for wrong in ("1 .. 2 .. 3 V", "5 .. 5 V", "x .. 5 V", "5 W"):
        with pytest.raises(QuantityError):
            Ends.of("voltage").parse(wrong)


@pytest.mark.parametrize(
    ("text", "ohm"),
    [
        ("2 x 4 ohm parallel", 2.0),
        ("2 x 4 ohm series", 8.0),
        ("2 x 4 ohm separate", 4.0),
        ("4 x 4 ohm series-parallel", 4.0),
        ("4 x 2 ohm parallel", 0.5),
        ("1 x 4 ohm", 4.0),
    ],
)
def test_coils(text: str, ohm: float) -> None:
    """The load of an amplifier: series adds, parallel divides (Ohm's law)."""
    coils = Coils.parse(text)
    assert coils.each.nominal * coils.factor == pytest.approx(ohm)


@pytest.mark.parametrize(
    "text",
    ["2 x 4 ohm", "0 x 4 ohm parallel", "2 x 0 ohm parallel", "2 x 4 V series", "2 x 4 ohm series-parallel", "two"],
)
def test_invalid_coils(text: str) -> None:
    """Several coils need their wiring."""
    with pytest.raises(QuantityError):
        Coils.parse(text)


def test_accuracy_and_sensitivity() -> None:
    """A percentage, counts, both; 2.83 V or 1 W."""
    assert (Accuracy.parse("1.2 % + 3 counts").ratio, Accuracy.parse("1.2 % + 3 counts").counts) == (0.012, 3)
    assert Accuracy.parse("0.5 %").counts == 0
    assert Accuracy.parse("5 digits").ratio == 0
    for wrong in ("", "good", "1 V", "1 % ± 1 %"):
        with pytest.raises(QuantityError):
            Accuracy.parse(wrong)
    assert not SpeakerSensitivity.parse("88 dB").per_watt
    assert SpeakerSensitivity.parse("88 dB @ 1 W").per_watt
    with pytest.raises(QuantityError):
        SpeakerSensitivity.parse("88 dB @ 2 W")
