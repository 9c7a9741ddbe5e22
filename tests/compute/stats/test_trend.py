"""Trends against scipy and NIST's certified line; the interval of a forecast by simulation."""

import math

import numpy as np
import pytest
from scipy.stats import linregress, t

from sitegen.compute.stats.trend import CONFIDENCE, SIGNIFICANCE, crossing, line_through

RNG = np.random.default_rng(21)
X = np.sort(RNG.uniform(0, 60, 24))


@pytest.mark.parametrize("slope", [0.0, 0.02, -1.5])
@pytest.mark.parametrize("n", [3, 8, 24])
def test_slope_and_its_test_are_scipys(slope: float, n: int) -> None:
    y = 5 + slope * X[:n] + RNG.normal(0, 0.3, n)
    line, expected = line_through(X[:n], y), linregress(X[:n], y)
    assert line is not None
    assert line.slope == pytest.approx(expected.slope, rel=1e-10)
    assert line.at(0.0) == pytest.approx(expected.intercept, rel=1e-10)
    assert line.slope_u == pytest.approx(expected.stderr, rel=1e-9)
    assert line.p_value == pytest.approx(expected.pvalue, rel=1e-8)


def test_nists_certified_line() -> None:
    """NIST StRD, linear regression, Norris (quoted from memory: certified slope 1.00211681802045,
    standard error 0.000429796848199937, residual standard deviation 0.884796396144373)."""
    y = np.array(
        [
            *(0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3),
            *(0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3),
            *(0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2),
        ]
    )
    x = np.array(
        [
            *(0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4),
            *(0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3),
            *(0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5),
        ]
    )
    line = line_through(x, y)
    assert line is not None
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.slope_u == pytest.approx(0.000429796848199937, rel=1e-10)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)


def test_the_guides_calibration_line() -> None:
    """JCGM 100:2008, H.3: a thermometer's correction b against its reading t, about 20 °C
    (printed values quoted from memory)."""
    reading = [
        21.521,
        22.012,
        22.512,
        23.003,
        23.507,
        23.999,
        24.513,
        25.002,
        25.503,
        26.010,
        26.511,
    ]
    correction = [-171, -169, -166, -159, -164, -165, -156, -157, -159, -161, -160]
    line = line_through(np.array(reading) - 20.0, np.array(correction) * 1e-3)
    assert line is not None
    at_20, u_20 = line.at(0.0), line.u_at(0.0)
    assert (round(at_20, 4), round(u_20, 4)) == (-0.1712, 0.0029)
    assert (round(line.slope, 5), round(line.slope_u, 5)) == (0.00218, 0.00067)
    assert round(line.residual_sd, 4) == 0.0035
    assert (round(line.at(10.0), 4), round(line.u_at(10.0), 4)) == (-0.1494, 0.0041)
    # u²(30) = u²(20) + 10² u²(slope) + 2 10 r u(20) u(slope)
    together = line.u_at(10.0) ** 2 - u_20**2 - 100 * line.slope_u**2
    assert round(together / (20 * u_20 * line.slope_u), 3) == -0.930


def test_points_on_a_line_and_points_that_are_none() -> None:
    line = line_through([0.0, 1.0, 2.0], [1.0, 3.0, 5.0])
    assert line is not None and (line.slope, line.p_value) == (2.0, 0.0)
    met = crossing(line, 9.0)
    assert met is not None and (met.at, met.earliest, met.latest) == (4.0, 4.0, 4.0)
    level = line_through([0.0, 1.0, 2.0], [1.0, 1.0, 1.0])
    assert level is not None and level.p_value == 1.0
    assert crossing(level, 2.0) is None
    assert line_through([0.0, 1.0], [1.0, 2.0]) is None
    assert line_through([1.0, 1.0, 1.0], [1.0, 2.0, 3.0]) is None
    with pytest.raises(ValueError, match="finite"):
        line_through([0.0, 1.0, np.nan], [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="shape"):
        line_through([0.0, 1.0], [1.0, 2.0, 3.0])


def test_the_ends_lie_where_the_lines_own_band_meets_the_height() -> None:
    """The band by its textbook formula, at both ends that are named."""
    y = 5 + 0.05 * X + RNG.normal(0, 0.3, len(X))
    line = line_through(X, y)
    assert line is not None
    found = crossing(line, 12.0, 0.9)
    assert found is not None and found.earliest is not None and found.latest is not None
    assert found.earliest < found.at < found.latest
    for end, sign in ((found.earliest, 1), (found.latest, -1)):
        half = t.ppf(0.95, line.n - 2) * line.residual_sd
        half *= math.sqrt(1 / line.n + (end - line.mean_x) ** 2 / line.sum_of_squares_x)
        assert line.at(end) + sign * half == pytest.approx(12.0, abs=1e-9)


def test_an_end_is_open_just_where_the_slope_is_not_significant() -> None:
    """At the confidence 1 - p the interval begins to be open."""
    y = 5 + 0.01 * X + RNG.normal(0, 0.3, len(X))
    line = line_through(X, y)
    assert line is not None and 1e-6 < line.p_value < 0.5
    height = line.at(200.0)
    closed = crossing(line, height, 1 - line.p_value * 1.05)
    opened = crossing(line, height, 1 - line.p_value * 0.95)
    assert closed is not None and closed.latest is not None
    assert opened is not None and opened.latest is None
    backwards = crossing(line, line.at(-200.0), 1 - line.p_value * 0.95)
    assert backwards is not None and backwards.earliest is None and backwards.latest is not None
    everywhere = crossing(line, line.mean_y, 1 - line.p_value * 0.95)
    assert everywhere is not None and (everywhere.earliest, everywhere.latest) == (None, None)


@pytest.mark.parametrize("confidence", [0.95, 0.99])
def test_the_set_holds_the_true_crossing_as_often_as_it_says(confidence: float) -> None:
    """2,000 simulated sets of 20 points with a clear slope, none of whose ends is open."""
    hits, stated = covered(0.05, confidence)
    assert stated == 2000
    assert abs(hits / stated - confidence) < 4 * math.sqrt(confidence * (1 - confidence) / stated)


@pytest.mark.parametrize("slope", [0.03, 0.01, 0.006], ids=["clear", "seen by half", "by a fifth"])
def test_stated_forecasts_hold_the_true_crossing(slope: float) -> None:
    """Only where the slope is significant and has its true sign; at least 95 % of them."""
    hits, stated = covered(slope, CONFIDENCE)
    assert stated > 300
    assert hits / stated >= 0.95


def covered(slope: float, confidence: float) -> tuple[int, int]:
    """Of 2,000 lines: how often the stated interval holds the truth, and how many are stated."""
    x, rng, truth = np.linspace(0, 60, 20), np.random.default_rng(22), 2.0 / slope
    hits = stated = 0
    for _ in range(2000):
        line = line_through(x, 5 + slope * x + rng.normal(0, 0.4, len(x)))
        assert line is not None
        if line.p_value >= SIGNIFICANCE or line.slope < 0:
            continue
        found = crossing(line, 7.0, confidence)
        assert found is not None
        low = -math.inf if found.earliest is None else found.earliest
        high = math.inf if found.latest is None else found.latest
        hits += low <= truth <= high
        stated += 1
    return hits, stated
