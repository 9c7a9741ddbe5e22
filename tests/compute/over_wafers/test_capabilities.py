"""Capability of samples: values, intervals, what is not stated and why."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import stats

from sitegen.compute.over_wafers.capabilities import capability
from sitegen.compute.stats.capability import independent_interval
from sitegen.model.distribution_results import Capability
from tests.compute.over_wafers.sample_data import sample

FloatArray = npt.NDArray[np.float64]


def exact(n: int, mean: float, spread: float, seed: int = 1) -> FloatArray:
    """Values whose mean and standard deviation are just these."""
    values = np.random.default_rng(seed).normal(size=n)
    values -= values.mean()
    return np.asarray(mean + spread * values / values.std(ddof=1))


def test_example_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6 (quoted from memory): limits 8 and 20, mean 16, s 2."""
    found = capability(sample([exact(50, 16, 2)], lower=8, upper=20))
    assert found.pp.value == pytest.approx(1.0)
    assert found.ppk.value == pytest.approx(0.6667, abs=5e-5)
    assert (found.method, found.side, found.nearer, found.n, found.wafers) == (
        "normal",
        "both",
        "upper",
        50,
        1,
    )
    law = stats.norm(16, 2)
    assert found.expected_outside == pytest.approx(law.cdf(8) + law.sf(20))
    assert found.ppk.reason == "needs 5 wafers, there is 1"
    assert found.cp.value is None
    assert found.cp.reason == "needs 5 wafers with two values, there is 1"


def test_printed_intervals_of_independent_dies() -> None:
    """One die on each of 50 wafers: Cpk 0.6667 from 0.5056 to 0.8278, Cp 1 from 0.8025 to 1.1971
    (recomputed independently); of 20, Montgomery's 2.29 from 1.57 to 3.01 (from memory)."""
    found = capability(sample([[one] for one in exact(50, 16, 2)], lower=8, upper=20))
    assert rounded(found, "pp") == [1.0, 0.8025, 1.1971]
    assert rounded(found, "ppk") == [0.6667, 0.5056, 0.8278]
    assert found.cpk.reason == "needs 5 wafers with two values, there are 0"
    book = capability(sample([[one] for one in exact(20, 50, 1.75)], lower=38, upper=62))
    assert rounded(book, "pp") == [2.2857, 1.5649, 3.0056]


def rounded(found: Capability, name: str) -> list[float]:
    figure = getattr(found, name)
    return [round(one, 4) for one in (figure.value, figure.lower, figure.upper)]


def test_total_and_within() -> None:
    """Wafers that differ: Cp by the pooled spread of 1, Pp by the total one."""
    parts = [exact(30, mean, 1.0, seed) for seed, mean in enumerate((8.0, 9.0, 10.0, 11.0, 12.0))]
    found = capability(sample(parts, lower=4, upper=16))
    values = np.concatenate(parts)
    assert found.cp.value == pytest.approx(2.0)
    assert found.cpk.value == pytest.approx(2.0)
    assert found.pp.value == pytest.approx(2.0 / values.std(ddof=1))
    within = np.sqrt(145 / stats.chi2.ppf([0.975, 0.025], 145))
    assert found.cp.lower == pytest.approx(2.0 / within[1])
    assert found.cp.upper == pytest.approx(2.0 / within[0])
    # The wafers' means alone, of variance 2.5 with 4 degrees of freedom, leave Ppk wide open.
    assert found.ppk.lower is not None and found.ppk.lower < 0.5 * (found.ppk.value or 0)
    independent = independent_interval(found.ppk.value or 0, 150, 0.95)
    assert found.ppk.lower < independent[0]


def test_one_limit_alone() -> None:
    parts = [exact(30, 5, 1.0, seed) for seed in range(5)]
    found = capability(sample(parts, upper=8))
    assert (found.side, found.nearer) == ("upper", "upper")
    assert (found.pp.value, found.pp.reason) == (None, "not stated for one limit")
    assert (found.cp.value, found.cp.reason) == (None, "not stated for one limit")
    assert found.ppk.value is not None and found.ppk.lower is not None
    assert found.cpk.value == pytest.approx(1.0)
    below = capability(sample(parts, lower=2))
    assert (below.side, below.nearer) == ("lower", "lower")
    assert below.ppk.value == pytest.approx(found.ppk.value)


def test_limits_on_one_side_of_all_values() -> None:
    found = capability(sample([exact(20, 5, 1.0, seed) for seed in range(6)], lower=10, upper=12))
    assert found.ppk.value is not None and found.ppk.upper is not None
    assert found.ppk.value < -1 and found.ppk.upper < 0
    assert found.nearer == "lower"
    assert found.expected_outside == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ([], "needs 2 values, there are 0"),
        ([1.0], "needs 2 values, there is 1"),
        ([0.1] * 30, "undefined: no spread: all values are equal"),
    ],
)
def test_undefined_is_not_infinite(values: list[float], reason: str) -> None:
    found = capability(sample([values], lower=0, upper=2))
    assert (found.method, found.reason) == ("", reason)
    for figure in (found.pp, found.ppk, found.cp, found.cpk):
        assert (figure.value, figure.lower, figure.reason) == (None, None, reason)


def test_no_limits_and_censored() -> None:
    assert capability(sample([exact(20, 5, 1)])).reason == "no limits"
    hidden = replace(sample([exact(20, 5, 1)], lower=0), censored=np.array([1]))
    assert capability(hidden).reason == ("1 value has no number (below the floor or not reached)")


def test_no_spread_within_wafers() -> None:
    parts = [np.full(4, float(mean)) for mean in range(6)]
    found = capability(sample(parts, lower=-10, upper=10))
    assert found.pp.value is not None
    assert (found.cp.value, found.cp.reason) == (None, "undefined: no spread within wafers")
    equal = capability(sample([*parts[:4], [1.0, 2.0]], lower=-10, upper=10))
    assert equal.cp.value is not None


def test_log_normal_is_normal_in_logarithms() -> None:
    logs = [exact(30, 1.0, 0.2, seed) for seed in range(5)]
    plain = capability(sample(logs, lower=0.2, upper=1.6))
    found = capability(
        sample(
            [np.exp(one) for one in logs],
            lower=np.exp(0.2),
            upper=np.exp(1.6),
            distribution="log-normal",
        )
    )
    assert found.method == "log-normal"
    for name in ("pp", "ppk", "cp", "cpk"):
        assert rounded(found, name) == rounded(plain, name)
    assert found.expected_outside == pytest.approx(plain.expected_outside)


def test_limits_that_a_log_normal_law_cannot_reach() -> None:
    values = [np.exp(exact(30, 1.0, 0.2))]
    found = capability(sample(values, lower=0, upper=10, distribution="log-normal"))
    assert (found.side, found.pp.reason) == ("upper", "not stated for one limit")
    for lower, upper in ((None, 0.0), (-1.0, None)):
        none = capability(sample(values, distribution="log-normal", lower=lower, upper=upper))
        assert none.method == "" and "positive values only" in none.reason
    negative = capability(sample([[-1.0, 2.0]], upper=3, distribution="log-normal"))
    assert negative.reason == "a log-normal law has positive values only, and 1 is not"


def test_a_refused_law_with_few_values() -> None:
    rng = np.random.default_rng(1)
    found = capability(sample([rng.exponential(size=100) for _ in range(6)], upper=5))
    assert found.method == "normal"
    assert found.ppk.value is not None and found.ppk.lower is None
    assert found.expected_outside is None
    assert found.reason.startswith("the test refuses the normal law (p < 0.001); ")
    assert found.reason.endswith("the quantile method needs 2731 values, there are 600")
    assert found.ppk.reason == found.reason == found.cpk.reason


def test_a_refused_law_with_many_values() -> None:
    """Exponential values: by quantiles (5 - ln 2) / (6.6077 - ln 2) = 0.728 at a limit of 5."""
    rng = np.random.default_rng(1)
    parts = [rng.exponential(size=1500) for _ in range(6)]
    found = capability(sample(parts, upper=5))
    assert (found.method, found.nearer, found.expected_outside) == ("quantile", "upper", None)
    values = np.concatenate(parts)
    middle, high = np.quantile(values, [0.5, 0.99865])
    assert found.ppk.value == pytest.approx((5 - middle) / (high - middle))
    assert found.ppk.value == pytest.approx(0.728, abs=0.12)
    assert found.ppk.reason == "no interval by quantiles"
    assert found.cpk.value == pytest.approx(found.ppk.value, rel=0.02), "wafers are alike"
    few = capability(sample(parts[:3], upper=5))
    assert few.ppk.value is not None
    assert few.cpk.reason == "needs 5 wafers with two values, there are 3"


def test_nearer_changes_by_quantiles() -> None:
    """A long right tail brings the upper limit nearer than the mean and spread would say."""
    rng = np.random.default_rng(2)
    values = rng.exponential(size=9000)
    found = capability(sample([values], lower=-4, upper=6))
    assert found.method == "quantile" and found.pp.value is not None
    assert found.nearer == "upper"


def test_a_wafer_of_few_dies() -> None:
    """Its dies count in the values and in the spread within wafers, not in Ppk's interval."""
    parts = [*[exact(40, 5, 1.0, seed) for seed in range(5)], exact(3, 5, 1.0)]
    found = capability(sample(parts, lower=0, upper=10))
    assert (found.n, found.wafers) == (203, 6)
    assert found.ppk.lower is not None
    four = capability(sample([*parts[:4], *[exact(3, 5, 1.0)] * 2], lower=0, upper=10))
    why = "needs 5 wafers with at least a quarter of the most dies, there are 4"
    assert (four.ppk.reason, four.cpk.reason) == (why, why)
    assert four.cp.lower is not None


def test_measured_coverage_at_five_wafers() -> None:
    """End to end on unequal wafers alike in part (intraclass correlation 0.2): Ppk 1, Pp 7/6."""
    rng = np.random.default_rng(9)
    held, stated = {"pp": 0, "ppk": 0, "cp": 0, "cpk": 0}, 0
    inner = np.sqrt(0.8)
    truth = {"pp": 7 / 6, "ppk": 1.0, "cp": 7 / 6 / inner, "cpk": 1 / inner}
    for _ in range(400):
        parts = [rng.normal(np.sqrt(0.2) * rng.normal(), inner, n) for n in (100, 80, 60, 40, 25)]
        found = capability(sample(parts, lower=-4.0, upper=3.0))
        if found.reason:
            continue
        stated += 1
        for name, value in truth.items():
            figure = getattr(found, name)
            held[name] += figure.lower is None or figure.lower <= value <= figure.upper
    assert stated > 360, "the test of normality refuses 5 %"
    assert min(held.values()) / stated > 0.93
