"""Units and the text of numbers."""

import math

import pytest

from sitegen import units


@pytest.mark.parametrize(
    ("value", "unit", "expanded", "text"),
    [
        (0.4123, "V", 0.0012, "(412.3 ± 1.2) mV"),
        (4.1e-12, "A", None, "4.100 pA"),
        (0.52, "nH", 0.0099, "(520.0 ± 9.9) pH"),
        (-12.3, "dB", 0.5, "(\u221212.30 ± 0.50) dB"),
        (0.0, "V", None, "0 V"),
        (3.0, "1", 0.4, "3.00 ± 0.40"),
        (-0.00004, "V", 0.0012, "(0.0 ± 1.2) mV"),
        (999.99, "mV", 0.96, "(999.99 ± 0.96) mV"),
        (45.0, "deg", None, "45.00°"),
        (None, "V", None, "–"),
        (math.nan, "V", 1.0, "–"),
    ],
)
def test_a_quantity_alone_in_a_sentence(
    value: float | None, unit: str, expanded: float | None, text: str
) -> None:
    assert units.quantity(value, unit, expanded).replace("\u202f", " ") == text


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        # JCGM 100:2008, 7.2.6: at most two significant digits of uncertainty, the value to match.
        (10.057_62, 0.027, "10.058 ± 0.027"),
        (9.96, 0.0996, "9.96 ± 0.10"),
        (95.0, 12.0, "95 ± 12"),
        (12345.0, 120.0, "12340 ± 120"),
        (1.0, 0.0, "1.000"),
    ],
)
def test_the_value_is_rounded_with_its_uncertainty(
    value: float, expanded: float, text: str
) -> None:
    assert units.with_uncertainty(value, expanded) == text


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (None, "–"),
        (float("nan"), "–"),
        (0.0, "0 %"),
        (-0.0, "0 %"),
        (1e-9, "0.1 %"),
        (0.7764, "77.6 %"),
        (0.9999, "99.9 %"),
        (1.0, "100 %"),
    ],
)
def test_a_share_that_is_not_whole_never_reads_nothing_or_all(
    share: float | None, text: str
) -> None:
    assert units.percent(share).replace(units.THIN, " ") == text


@pytest.mark.parametrize(
    ("ratio", "text"),
    [(None, "–"), (0.0, "0 %"), (0.0004, "0.0400 %"), (0.021, "2.10 %"), (1.4, "140 %")],
)
def test_a_ratio_may_exceed_one_and_is_not_held_to_it(ratio: float | None, text: str) -> None:
    assert units.percent_over(ratio).replace(units.THIN, " ") == text


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (None, "–"),
        (float("nan"), "–"),
        (0.0, "< 0.01 %"),
        (0.0001, "0.01 %"),
        (0.97725, "97.72 %"),
        (0.9999, "99.99 %"),
        (0.99995, "> 99.99 %"),
        (1.0, "> 99.99 %"),
    ],
)
def test_a_probability_is_never_told_as_certain_or_impossible(p: float | None, text: str) -> None:
    assert units.probability(p).replace(units.THIN, " ") == text


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [(412.34, 1.2, "412.3"), (-0.004, 0.096, "−0.004"), (9.99, 30.0, "10"), (1.0, 0.0, "1.000")],
)
def test_a_value_alone_ends_where_it_does_beside_its_uncertainty(
    value: float, expanded: float, text: str
) -> None:
    assert units.to_place_of(value, expanded) == text


@pytest.mark.parametrize(
    ("source", "target", "factor"),
    [
        ("mV", "V", 1e-3),
        ("nH", "pH", 1e3),
        ("ohm", "kΩ", 1e-3),
        ("um", "µm", 1.0),
        ("%", "1", 0.01),
    ],
)
def test_convertible_units_convert(source: str, target: str, factor: float) -> None:
    assert units.conversion(source, target) == pytest.approx(factor, rel=1e-15)


@pytest.mark.parametrize(("source", "target"), [("V", "A"), ("K", "°C"), ("dB", "1")])
def test_what_differs_is_not_converted(source: str, target: str) -> None:
    with pytest.raises(units.NotConvertible):
        units.conversion(source, target)


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(units.UnknownUnit, match="furlong"):
        units.parse("furlong")


@pytest.mark.parametrize("prefix", [*units.PREFIXES])
def test_every_prefix_is_shown_between_one_and_a_thousand(prefix: str) -> None:
    factor, symbol = units.shown_unit([3.3 * 10.0 ** units.PREFIXES[prefix]], "V")
    assert symbol == f"{prefix}V"
    assert 3.3 * 10.0 ** units.PREFIXES[prefix] * factor == pytest.approx(3.3)


def test_counts_read_well() -> None:
    assert [units.count(n, "die") for n in (0, 1, 2)] == ["no dies", "1 die", "2 dies"]
