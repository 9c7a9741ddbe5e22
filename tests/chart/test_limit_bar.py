"""The bar of a value between its limits."""

import re
from xml.etree.ElementTree import fromstring

import pytest

from sitegen.chart.limit_bar import WIDTH, limit_bar


def bar(
    value: float | None,
    expanded: float | None = None,
    lower: float | None = None,
    upper: float | None = None,
    acceptance_lower: float | None = None,
    acceptance_upper: float | None = None,
    both_sides: bool = False,
) -> dict[str, list[str]]:
    """Path data of a bar by class."""
    text = limit_bar(
        value=value,
        expanded=expanded,
        lower=lower,
        upper=upper,
        acceptance_lower=acceptance_lower,
        acceptance_upper=acceptance_upper,
        both_sides=both_sides,
    )
    root = fromstring(text)
    assert root.attrib["aria-hidden"] == "true"
    found: dict[str, list[str]] = {}
    for part in root:
        found.setdefault(part.attrib["class"], []).append(part.attrib["d"])
    return found


def test_to_scale() -> None:
    """Limits 10 and 20 take two thirds of the bar: 26.7 and 133.3 of 160; 15 lies at 80."""
    found = bar(15.0, 1.0, 10.0, 20.0, 11.0, 19.0)
    assert found["limit"] == ["M26.7,1V15", "M133.3,1V15"]
    assert found["tolerance"] == ["M26.7,4H133.3V12H26.7z"]
    assert found["guard"] == ["M26.7,4H37.3V12H26.7z", "M133.3,4H122.7V12H133.3z"]
    assert found["value"] == ["M76.0,8L80.0,4 84.0,8 80.0,12z"]
    assert found["uncertainty"] == ["M69.3,8H90.7M69.3,5V11M90.7,5V11"]


def test_guard_bands_of_rules_that_guard_rejection_lie_outside() -> None:
    """Acceptance limits 9 and 21 of guarded rejection, and 11 and 19 of a non-binary rule."""
    outside = bar(15.0, 1.0, 10.0, 20.0, 9.0, 21.0)
    assert outside["guard"] == ["M26.7,4H16.0V12H26.7z", "M133.3,4H144.0V12H133.3z"]
    assert outside["acceptance"] == ["M16.0,4V12", "M144.0,4V12"]
    both = bar(15.0, 1.0, 10.0, 20.0, 11.0, 19.0, both_sides=True)
    assert both["guard"] == ["M16.0,4H37.3V12H16.0z", "M144.0,4H122.7V12H144.0z"]
    assert both["acceptance"] == ["M37.3,4V12", "M122.7,4V12"]
    wide = bar(15.0, 9.0, 10.0, 20.0, 1.0, 29.0)
    assert wide["guard"] == ["M26.7,4H0.0V12H26.7z", "M133.3,4H160.0V12H133.3z"]


def test_value_outside_the_bar_is_an_arrow_at_its_end() -> None:
    (above,) = bar(1e9, 1.0, 10.0, 20.0)["value"]
    (below,) = bar(-1e9, 1.0, 10.0, 20.0)["value"]
    assert above.startswith(f"M{WIDTH - 1},8")
    assert below.startswith("M1,8")
    assert "uncertainty" not in bar(1e9, 1.0, 10.0, 20.0)


@pytest.mark.parametrize(
    ("lower", "upper"), [(None, 10.0), (10.0, None), (None, -10.0), (None, 0.0)]
)
def test_one_limit_is_open_to_the_other_side(lower: float | None, upper: float | None) -> None:
    found = bar(5.0 if upper != -10.0 else -15.0, None, lower, upper)
    assert len(found["limit"]) == 1
    start, end = (float(n) for n in re.findall(r"M([\d.]+),4H([\d.]+)", found["tolerance"][0])[0])
    assert (start == 0.0) is (lower is None)
    assert (end == WIDTH) is (upper is None)


def test_without_limits_there_is_no_bar() -> None:
    assert (
        limit_bar(
            value=1.0,
            expanded=None,
            lower=None,
            upper=None,
            acceptance_lower=None,
            acceptance_upper=None,
        )
        == ""
    )


def test_without_a_value_the_limits_stand_alone() -> None:
    assert set(bar(None, None, 1.0, 2.0)) == {"tolerance", "limit"}
    assert set(bar(float("nan"), None, 1.0, 2.0)) == {"tolerance", "limit"}


def test_guard_band_wider_than_the_tolerance_stays_inside_the_bar() -> None:
    found = bar(1.5, 5.0, 1.0, 2.0, 6.0, -3.0)
    for data in found["guard"] + found["uncertainty"]:
        assert all(0 <= float(n) <= WIDTH for n in re.findall(r"[MH]([-\d.]+)", data))
