"""Wafers and splits against each other: what counts, what is added, and what is not stated."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import ttest_ind

from sitegen.compute.over_wafers.comparisons import NOT_MEASURED, comparisons
from sitegen.compute.stats.comparison import Group, welch
from sitegen.compute.stats.multiple import holm
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.declared_statistics import Split
from sitegen.model.relation_results import Comparison
from sitegen.model.wafer_means import WaferDifference
from tests.compute.over_wafers.sample_data import sample
from tests.compute.settings import parameter, setting

RNG = np.random.default_rng(41)


def campaign(*splits: Sequence[str]) -> CampaignRecord:
    declared = tuple(
        Split(id=f"S{place}", name="s", wafers=tuple(wafers))
        for place, wafers in enumerate(splits, 1)
    )
    return setting(parameter("P")).campaign.model_copy(update={"splits": declared})


def measured(first: str, second: str, u_common: float | None, **changes: Any) -> WaferDifference:
    given: dict[str, Any] = {
        "parameter": "P",
        "condition": "RT",
        "first": first,
        "second": second,
        "n_first": 1,
        "n_second": 1,
        "difference": 0.0,
        "u": u_common,
        "u_common": u_common,
        "u_own": 0.0,
        "expanded_uncertainty": None,
        "same_calibration": None,
        "reason": "",
    }
    return WaferDifference(**{**given, **changes})


def only(found: Sequence[Comparison], kind: str) -> list[Comparison]:
    return [one for one in found if one.kind == kind]


def test_of_wafers_the_values_are_the_units() -> None:
    values = [RNG.normal(place, 1 + place, 20 + place) for place in range(3)]
    found = comparisons(sample(values), campaign(), ())
    names = [(one.first, one.second) for one in found]
    assert names == [("W1", "W2"), ("W1", "W3"), ("W2", "W3")]
    for one in found:
        a, b = (values[int(name[1]) - 1] for name in (one.first, one.second))
        expected = ttest_ind(a, b, equal_var=False)
        ends = expected.confidence_interval(0.95)
        assert one.difference.value == pytest.approx(a.mean() - b.mean())
        assert (one.difference.lower, one.difference.upper) == pytest.approx((ends.low, ends.high))
        assert one.p_value == pytest.approx(expected.pvalue)
        assert (one.n_first, one.n_second) == (len(a), len(b))
        assert (one.wafers_first, one.wafers_second) == (1, 1)
        assert one.u_measurement is None and one.reason == NOT_MEASURED
        assert one.equivalence is None and one.within_sd is None
    p_values = [one.p_value for one in found if one.p_value is not None]
    assert [one.adjusted_p for one in found] == pytest.approx(list(holm(p_values)))


def test_shared_errors_widen_the_interval_and_own_ones_do_not() -> None:
    values = [RNG.normal(0, 1, 30), RNG.normal(0, 1, 30)]
    data = sample(values, equivalence_margin=2.0)
    (plain,) = comparisons(data, campaign(), ())
    told = [measured("W1", "W2", 0.4, u_own=5.0), measured("W1", "W2", 9.0, parameter="Q")]
    (wide,) = comparisons(data, campaign(), told)
    assert wide.u_measurement == 0.4 and wide.reason == ""
    assert wide.difference.value == plain.difference.value
    sampling = np.hypot(*(np.std(one, ddof=1) / np.sqrt(30) for one in values))
    assert wide.difference.upper is not None and wide.difference.value is not None
    half = wide.difference.upper - wide.difference.value
    assert half == pytest.approx(1.96 * np.hypot(sampling, 0.4), rel=0.01)
    assert wide.p_value is not None and plain.p_value is not None and wide.p_value > plain.p_value
    assert wide.effect_size == plain.effect_size, "a size in spreads is of the wafers alone"
    assert wide.equivalence is not None and wide.equivalence.upper is not None
    assert wide.equivalence.upper < wide.difference.upper
    (turned,) = comparisons(data, campaign(), [measured("W2", "W1", 0.4)])
    assert turned == wide


@pytest.mark.parametrize(
    ("margin", "apart", "verdict"),
    [
        (1.0, 0.0, "equivalent"),
        (1.0, 5.0, "different by more"),
        (1.0, 1.0, "not shown"),
    ],
)
def test_equivalence(margin: float, apart: float, verdict: str) -> None:
    base = RNG.normal(0, 1, 50)
    (found,) = comparisons(sample([base + apart, base], equivalence_margin=margin), campaign(), ())
    assert found.equivalence is not None
    assert (found.equivalence.margin, found.equivalence.verdict) == (margin, verdict)
    assert found.equivalence.reason == NOT_MEASURED


def test_of_splits_the_wafer_is_the_unit() -> None:
    """However many dies there are: the means of three wafers against those of two."""
    levels = [1.0, 1.4, 0.9, 2.0, 2.6]
    values = [
        level + RNG.normal(0, 0.3, n) for level, n in zip(levels, (50, 9, 80, 20, 300), strict=True)
    ]
    declared = campaign(("W1", "W2", "W3"), ("W4", "W5"))
    (found,) = only(comparisons(sample(values), declared, ()), "splits")
    means = [one.mean() for one in values]
    expected = ttest_ind(means[:3], means[3:], equal_var=False)
    ends = expected.confidence_interval(0.95)
    assert (found.first, found.second) == ("S1", "S2")
    assert (found.n_first, found.n_second) == (139, 320)
    assert (found.wafers_first, found.wafers_second) == (3, 2)
    assert found.difference.value == pytest.approx(np.mean(means[:3]) - np.mean(means[3:]))
    assert (found.difference.lower, found.difference.upper) == pytest.approx((ends.low, ends.high))
    assert found.p_value == found.adjusted_p == pytest.approx(expected.pvalue)
    pooled = sum((len(one) - 1) * one.var(ddof=1) for one in values) / (459 - 5)
    assert found.within_sd == pytest.approx(np.sqrt(pooled))
    more = sample([np.tile(one, 10) for one in values])
    (again,) = only(comparisons(more, declared, ()), "splits")
    assert again.p_value == pytest.approx(found.p_value), "the same dies ten times say no more"


def all_pairs(covariance: FloatArray) -> list[WaferDifference]:
    """Of every two wafers, from the covariances of their means by shared errors."""
    names = [f"W{place + 1}" for place in range(len(covariance))]
    return [
        measured(
            names[a], names[b], np.sqrt(covariance[a, a] + covariance[b, b] - 2 * covariance[a, b])
        )
        for a in range(len(names))
        for b in range(a + 1, len(names))
    ]


def test_what_the_spread_of_means_does_not_show() -> None:
    """Calibrations of W1, W2 and W3, W4; the rest of each wafer its own. By simulation of it."""
    calibration = np.kron(np.eye(2), np.ones((2, 2)))
    data = sample([RNG.normal(0, 1, 30) for _ in range(4)])
    declared = campaign(("W1", "W2"), ("W3", "W4"))

    def u(covariance: FloatArray) -> float | None:
        (found,) = only(comparisons(data, declared, all_pairs(covariance)), "splits")
        return found.u_measurement

    assert u(0.09 * np.eye(4)) == pytest.approx(0.0, abs=1e-8), "all of it is in the spread"
    assert u(0.09 * np.ones((4, 4))) == pytest.approx(0.0, abs=1e-8), "all of it cancels"
    assert u(0.09 * calibration) == pytest.approx(0.3 * np.sqrt(2))
    assert u(0.09 * calibration + 0.5 * np.eye(4)) == pytest.approx(0.3 * np.sqrt(2))
    covariance = 0.09 * calibration + 0.02 + np.diag([0.1, 0.4, 0.2, 0.3])
    root = np.linalg.cholesky(covariance)
    errors = (root @ np.random.default_rng(2).normal(size=(4, 200_000))).T
    whole = (errors[:, :2].mean(axis=1) - errors[:, 2:].mean(axis=1)).var()
    shown = (errors[:, :2].var(axis=1, ddof=1) / 2 + errors[:, 2:].var(axis=1, ddof=1) / 2).mean()
    assert u(covariance) == pytest.approx(np.sqrt(whole - shown), rel=0.02)


def test_what_is_not_stated_and_why() -> None:
    made = sample([RNG.normal(0, 1, 5), [1.0], [], [2.0, 2.0]], equivalence_margin=1.0)
    found = comparisons(made, campaign(("W1", "W2"), ("W3", "W4"), ("W3",)), ())
    by_name = {(one.first, one.second): one for one in found}
    assert ("W1", "W3") not in by_name, "a wafer without a value is not compared"
    lone = by_name["W1", "W2"]
    assert lone.difference.value is not None and lone.difference.lower is None
    assert lone.reason == "needs 2 values on each wafer, there are 5 and 1"
    assert lone.difference.reason == lone.effect_size.reason == lone.reason
    assert lone.p_value is None and lone.adjusted_p is None and lone.effect_size.value is None
    assert lone.equivalence is not None and lone.equivalence.verdict == "not stated"
    assert lone.equivalence.reason == lone.reason
    assert by_name["S1", "S2"].reason == (
        "needs 2 wafers with a value on each split, there are 2 and 1"
    )
    assert by_name["S1", "S3"].difference.value is None
    level = comparisons(sample([[0.1] * 5, [0.3] * 4]), campaign(), ())[0]
    assert level.difference.value == pytest.approx(-0.2)
    assert level.reason == "neither wafer has a spread"


def test_values_that_are_not_seen_leave_the_mean_unknown() -> None:
    values = [RNG.normal(0, 1, 9) for _ in range(4)]
    made = replace(sample(values), censored=np.array([0, 3, 0, 0]))
    found = comparisons(made, campaign(("W1", "W2"), ("W3", "W4")), ())
    told = "3 values are below the floor or were not reached: means are not known"
    for one in found:
        hidden = "W2" in (one.first, one.second) or one.kind == "splits"
        assert (one.difference.value is None) == hidden
        assert (one.reason == told) == hidden


def test_nothing_at_all() -> None:
    for made in (sample([]), sample([[], []]), sample([[1.0]])):
        assert comparisons(made, campaign(), ()) == ()


def test_units_order_and_float32_do_not_matter() -> None:
    values = [RNG.normal(3, 1, 25), RNG.normal(3.5, 1, 20)]

    def found(change: Any) -> Comparison:
        (one,) = comparisons(sample([change(part) for part in values]), campaign(), ())
        return one

    plain = found(lambda part: part)
    assert found(lambda part: part[::-1]).p_value == pytest.approx(plain.p_value, rel=1e-12)
    assert found(lambda part: 1e-12 * part).p_value == pytest.approx(plain.p_value, rel=1e-9)
    assert found(lambda part: part + 1e6).p_value == pytest.approx(plain.p_value, rel=1e-5)
    assert found(np.float32).p_value == pytest.approx(plain.p_value, rel=1e-4)
    assert found(lambda part: -part).difference.value == pytest.approx(
        -(plain.difference.value or 0.0)
    )


@pytest.mark.parametrize("wafers", [2, 3, 5])
@pytest.mark.parametrize("correlation", [0.0, 0.01, 0.05, 0.2])
def test_intervals_between_splits_hold_whatever_dies_of_a_wafer_share(
    wafers: int, correlation: float
) -> None:
    """20 dies a wafer, correlated within it; 5,000 pairs of splits without a difference.

    By means of wafers, which `comparisons` takes (see above), never below 93 %; with the dies as
    units it would be 60 to 75 % where they share a fifth of their variance.
    """
    rng = np.random.default_rng(int(1000 * correlation) + wafers)
    levels = np.sqrt(correlation) * rng.normal(size=(2, 5000, wafers, 1))
    dies = levels + np.sqrt(1 - correlation) * rng.normal(size=(2, 5000, wafers, 20))

    def held(units: FloatArray) -> float:
        n = np.full(5000, float(units.shape[-1]))
        first, second = (Group(n, one.mean(axis=1), one.var(axis=1, ddof=1)) for one in units)
        low, high = welch(first, second).interval()
        return float(((low <= 0) & (high >= 0)).mean())

    assert held(dies.mean(axis=-1)) >= 0.93
    if correlation == 0.2:
        assert held(dies.reshape(2, 5000, -1)) < 0.75
