"""Ranges, ticks and classes."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.chart import axis
from sitegen.chart.axis import snapped_range
from sitegen.model.results import AxisRange

ENDS = st.floats(-1e12, 1e12, allow_nan=False)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(ENDS, ENDS)
def test_range_holds_its_ends_in_few_round_steps(one: float, other: float) -> None:
    found = snapped_range(one, other)
    steps = (found.upper - found.lower) / found.step
    assert found.lower <= min(one, other) + 1e-8 * found.step
    assert found.upper >= max(one, other) - 1e-8 * found.step
    assert 1 <= round(steps) <= axis.MOST_STEPS
    assert steps == pytest.approx(round(steps), rel=1e-6)
    assert float(f"{found.step:e}".split("e")[0]) in (1, 2, 5)


@pytest.mark.parametrize(
    ("lower", "upper", "expected"),
    [
        (0.0, 100.0, AxisRange(0.0, 100.0, 20.0)),
        (0.383, 0.437, AxisRange(0.38, 0.44, 0.01)),
        (-0.7, 3.9, AxisRange(-1.0, 4.0, 1.0)),
        (4.0, -1.0, AxisRange(-1.0, 4.0, 1.0)),
        (5.0, 5.0, AxisRange(4.7, 5.3, 0.1)),
        (0.0, 0.0, AxisRange(-1.0, 1.0, 0.5)),
        (math.nan, 5.0, AxisRange(4.7, 5.3, 0.1)),
        (math.nan, math.inf, AxisRange(0.0, 1.0, 0.2)),
        (1e-12, 9e-12, AxisRange(1e-12, 9e-12, 1e-12)),
    ],
)
def test_ranges(lower: float, upper: float, expected: AxisRange) -> None:
    assert snapped_range(lower, upper) == expected


@pytest.mark.parametrize(
    ("frequencies", "log"),
    [
        (np.linspace(1e7, 110e9, 201), False),
        (np.geomspace(1e7, 110e9, 201), True),
        (np.array([1e9, 2e9]), False),
        (np.array([1e9]), False),
        (np.array([0.0, 1e9, 10e9]), False),
        (np.array([1e6, 2e6, 5e6, 1e7, 2e7, 5e7, 1e8]), True),
    ],
)
def test_axis_is_logarithmic_when_its_points_are(frequencies: np.ndarray, log: bool) -> None:
    found, factor = axis.frequency_axis(frequencies)
    assert found.log is log
    assert found.lower < found.upper
    assert found.upper >= frequencies[-1] * factor
    assert all(found.lower <= tick <= found.upper * (1 + 1e-9) for tick in found.ticks)


def test_units_follow_the_list() -> None:
    assert axis.frequency_axis(np.linspace(1e7, 110e9, 5))[0].title == "frequency / GHz"
    assert axis.frequency_axis(np.linspace(1e5, 9e7, 5))[0].title == "frequency / MHz"


def test_decades_have_few_ticks() -> None:
    assert axis.log_ticks(0.01, 110.0) == (0.01, 0.1, 1.0, 10.0, 100.0)
    assert axis.log_ticks(1.0, 60.0) == (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


def test_last_tick_is_drawn_whatever_rounding_says() -> None:
    """7 steps of 0.05 are 0.35000000000000003, which lies beyond an axis that ends at 0.35."""
    found = axis.value_axis(AxisRange(0.0, 0.35, 0.05), 1.0, "")
    assert len(found.ticks) == 8
    assert found.ticks[-1] == found.upper


def test_classes() -> None:
    assert axis.equal_classes(AxisRange(0.0, 5.0, 1.0)) == (0, 1, 2, 3, 4, 5)
    eight = axis.equal_classes(AxisRange(0.0, 8.0, 1.0))
    assert eight == (0, 2, 4, 6, 8)


def test_numbers_keep_the_places_they_need() -> None:
    assert axis.decimals([0.38, 0.4]) == 2
    assert axis.decimals([0.1 + 0.2]) == 1
    assert axis.decimals([390.0]) == 0
    assert axis.fixed(-0.0004, 2) == "0.00"
    assert axis.fixed(-1.5, 1) == "−1.5"
