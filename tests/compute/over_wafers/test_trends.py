"""Trends and run rules of wafers: planted ones are found, others are not claimed."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.stats import binom, linregress

from sitegen.compute.over_wafers.samples import Sample
from sitegen.compute.over_wafers.trends import LEAST, SINCE, TOUCHDOWN, trends
from sitegen.compute.stats.multiple import holm
from sitegen.compute.stats.runs import BEYOND, RULES, SIDE
from sitegen.model.relation_results import Trend
from tests.compute.over_wafers.sample_data import grid, sample
from tests.compute.relation_chain import CALIBRATION, MADE, touched


def against(found: tuple[Trend, ...], what: str) -> list[Trend]:
    return [one for one in found if one.against == what]


def test_a_trend_is_told_in_the_parameters_unit() -> None:
    """0.02 a touchdown is 1.2 an hour where a touchdown takes a minute."""
    found = trends(touched("plane and bowl", "at random", 3, 1, slope=0.02), MADE)
    assert [(one.wafer, one.against) for one in found] == [
        (wafer, what) for wafer in ("W1", "W2", "W3") for what in (TOUCHDOWN, SINCE)
    ]
    for number, hours in zip(against(found, TOUCHDOWN), against(found, SINCE), strict=True):
        assert number.slope.lower is not None and number.slope.upper is not None
        assert number.slope.lower < 0.02 < number.slope.upper
        assert number.slope.value is not None and hours.slope.value is not None
        assert hours.slope.value == pytest.approx(60 * number.slope.value, rel=1e-9)
        assert number.p_value == pytest.approx(hours.p_value, rel=1e-6)
        assert number.adjusted_p is not None and number.adjusted_p < 1e-3
        assert number.n == hours.n == 97 and number.reason == hours.reason == ""
        assert hours.runs == () and hours.expected_runs is None
    p_values = [one.p_value for one in found if one.p_value is not None]
    assert [one.adjusted_p for one in found] == pytest.approx(list(holm(p_values)))


@pytest.mark.parametrize("path", ["row after row", "rows to and fro", "from the centre"])
def test_what_place_could_explain_is_not_claimed(path: str) -> None:
    for one in trends(touched("nothing", path, 1, 2, slope=0.5), MADE):
        assert one.slope.value is None and one.p_value is None and one.adjusted_p is None
        assert one.slope.reason == one.reason
        assert "could not be told from place; needs less than 95 %" in one.reason


def test_two_calibrations_tell_time_since_from_the_touchdown() -> None:
    """Values drift with the hours since the calibration, which a second one begins again."""
    made = touched("nothing", "at random", 1, 4, noise=0.1)
    second = np.datetime64("2026-04-20T09:48:00", "us")
    later = made.measured_at >= second
    began = np.where(later, second, np.datetime64("2026-04-20T08:00:00", "us"))
    hours = (made.measured_at - began).astype("timedelta64[s]").astype(float) / 3600
    names = np.where(later, "CAL-2", CALIBRATION).astype(object)
    drifting = replace(made, value=made.value + 0.5 * hours, calibration=names)
    at = {**MADE, "CAL-2": MADE[CALIBRATION] + timedelta(hours=1, minutes=48)}
    (since,) = against(trends(drifting, at), SINCE)
    assert since.slope.value == pytest.approx(0.5, abs=0.1)
    (unknown,) = against(trends(drifting, MADE), SINCE)
    assert unknown.n == int((~later).sum())


def on_two(path: str, wafers: int, seed: int, step: float) -> tuple[Sample, dict[str, datetime]]:
    """Clean wafers with a second calibration after 48 of 97 touchdowns, where values step."""
    made = touched("nothing", path, wafers, seed)
    later = made.measured_at >= np.datetime64("2026-04-20T09:48:00", "us")
    names = np.where(later, "CAL-2", CALIBRATION).astype(object)
    at = {**MADE, "CAL-2": MADE[CALIBRATION] + timedelta(hours=1, minutes=48)}
    return replace(made, value=made.value + step * later, calibration=names), at


@pytest.mark.parametrize("path", ["at random", "every third row"])
@pytest.mark.parametrize("what", [SINCE, TOUCHDOWN])
def test_a_step_between_two_calibrations_is_no_drift(path: str, what: str) -> None:
    """A step of one standard deviation moves nothing; without a term of its own, 96 % of wafers and
    more are called."""
    found = against(trends(*on_two(path, 400, 3, 1.0)), what)
    plain = against(trends(*on_two(path, 400, 3, 0.0)), what)
    for one, other in zip(found, plain, strict=True):
        assert one.p_value == pytest.approx(other.p_value, rel=1e-6)
    called = sum(one.p_value is not None and one.p_value < 0.05 for one in found)
    assert binom.ppf(0.0005, 400, 0.035) <= called <= binom.ppf(0.9995, 400, 0.05)
    inside = [
        one.slope.lower is not None
        and one.slope.upper is not None
        and one.slope.lower <= 0 <= one.slope.upper
        for one in found
    ]
    assert sum(inside) == 400 - called, "the interval has the degrees of freedom of the test"


def test_calibrations_that_leave_nothing_of_the_time() -> None:
    """Each die as long after its calibration as every other one of it."""
    made, at = on_two("at random", 1, 3, 0.0)
    later = made.calibration == "CAL-2"
    measured = np.where(later, made.measured_at[later].min(), made.measured_at[~later].min())
    at["CAL-2"] = datetime(2026, 4, 20, 9, 30, tzinfo=UTC)
    (since,) = against(trends(replace(made, measured_at=measured), at), SINCE)
    assert since.reason.startswith(
        "a plane, a bowl and the calibrations explain 100.0 % of the order of measurement"
    )
    every = np.array([f"CAL-{n}" for n in range(made.n)], dtype=object)
    times = dict.fromkeys(every.tolist(), MADE[CALIBRATION])
    (since,) = against(trends(replace(made, calibration=every), times), SINCE)
    assert since.reason == f"needs {LEAST + 96} values with a time, there are 97"


@pytest.mark.parametrize(("surface", "most"), [("nothing", 0.05), ("plane and bowl", 0.05)])
@pytest.mark.parametrize("path", ["at random", "every third row"])
def test_clean_wafers_show_a_trend_as_often_as_stated(surface: str, most: float, path: str) -> None:
    """400 wafers; the table beside the tests has more, and surfaces that no bowl describes."""
    found = against(trends(touched(surface, path, 400, 5), MADE), TOUCHDOWN)
    called = sum(one.p_value is not None and one.p_value < 0.05 for one in found)
    assert binom.ppf(0.0005, 400, 0.035) <= called <= binom.ppf(0.9995, 400, most)
    covered = sum(
        one.slope.lower is not None
        and one.slope.upper is not None
        and one.slope.lower <= 0 <= one.slope.upper
        for one in found
    )
    assert covered == 400 - called
    assert all(one.adjusted_p is not None and one.adjusted_p > 0.01 for one in found)


def test_run_rules_on_what_the_surface_leaves() -> None:
    clean = against(trends(touched("plane and bowl", "at random", 400, 6), MADE), TOUCHDOWN)
    counts = [sum(n for _, n in one.runs) for one in clean]
    expected = clean[0].expected_runs
    assert expected is not None and expected == pytest.approx(1.25, abs=0.01)
    error = np.std(counts) / np.sqrt(len(counts))
    assert 0.8 * expected - 4 * error < np.mean(counts) < expected + 4 * error
    stepped = touched("nothing", "at random", 1, 7)
    order = np.argsort(stepped.measured_at)
    value = stepped.value.copy()
    value[order[40:60]] += 4.0
    value[order[5]] += 40.0
    (one, _) = trends(replace(stepped, value=value), MADE)
    assert dict(one.runs)[SIDE] > 5 and dict(one.runs)[BEYOND] >= 1
    assert tuple(name for name, _ in one.runs) == RULES


def few(n: int) -> Sample:
    return sample([np.arange(float(n))], dies=[grid(5.6)[:n]])


def test_what_is_not_judged_and_why() -> None:
    made = touched("nothing", "at random", 1, 8)
    (number, since) = trends(replace(made, calibration=np.full(97, "", dtype=object)), MADE)
    assert number.p_value is not None
    assert since.reason == "no calibration is in force for these values" and since.n == 0
    (number, since) = trends(few(LEAST - 1), {})
    assert number.reason == f"needs {LEAST} values with a time, there are {LEAST - 1}"
    assert number.runs == () and number.expected_runs is None
    untimed = made.measured_at.copy()
    untimed[:90] = np.datetime64("NaT")
    (number, since) = trends(replace(made, measured_at=untimed), MADE)
    for one in (number, since):
        assert one.reason == f"needs {LEAST} values with a time, there are 7; 90 more have no time"
    untimed[96] = np.datetime64("NaT")
    untimed[:95] = np.datetime64("NaT")
    (number, since) = trends(replace(made, measured_at=untimed), MADE)
    assert number.reason == f"needs {LEAST} values with a time, there is 1; 96 more have no time"
    (number, since) = trends(replace(made, measured_at=np.full(97, made.measured_at[0])), MADE)
    assert number.reason == since.reason == "all values carry one time"
    (number, since) = trends(replace(made, value=np.full(97, 0.1)), MADE)
    assert number.reason == "a plane and a bowl leave nothing of the values"
    assert number.runs == ()


def test_no_values_at_all() -> None:
    assert trends(sample([]), {}) == ()
    assert trends(sample([[], []]), {}) == ()
    assert len(trends(sample([[1.0], []]), {})) == 2


def test_units_places_and_order_of_rows_do_not_matter() -> None:
    made = touched("high edge", "every third row", 2, 9, slope=0.01)
    plain = trends(made, MADE)
    shuffled = np.random.default_rng(1).permutation(made.n)
    moved = {
        name: getattr(made, name)[shuffled]
        for name in ("wafer", "x_mm", "y_mm", "value", "calibration", "measured_at")
    }
    others = [
        (replace(made, **moved), 1.0),
        (replace(made, value=1e-12 * made.value), 1e-12),
        (replace(made, value=1e3 + made.value), 1.0),
        (replace(made, x_mm=-made.y_mm, y_mm=made.x_mm), 1.0),
        (replace(made, value=made.value.astype(np.float32)), 1.0),
    ]
    for other, scale in others:
        for before, after in zip(plain, trends(other, MADE), strict=True):
            assert after.p_value == pytest.approx(before.p_value, rel=1e-4)
            assert before.slope.value is not None and after.slope.value is not None
            assert after.slope.value == pytest.approx(scale * before.slope.value, rel=1e-5)


def test_without_any_place_it_is_scipys_slope() -> None:
    """Many dies touched at random: the surface takes next to nothing of the order away."""
    made = touched("nothing", "at random", 1, 10, slope=0.05)
    order = np.argsort(made.measured_at)
    expected = linregress(np.arange(97), made.value[order])
    (number, _) = trends(made, MADE)
    assert number.slope.value == pytest.approx(expected.slope, abs=expected.stderr)
