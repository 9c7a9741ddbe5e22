"""The table of nested data, of one grouping, against NIST's certified analyses of variance."""

import math
from fractions import Fraction
from importlib.resources import files

import numpy as np
import numpy.typing as npt
import pytest
from scipy.stats import f_oneway

from sitegen.compute.stats.nested_design import design
from sitegen.compute.stats.variance import NestedLevel, nested_table

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


def table_of(groups: list[FloatArray]) -> tuple[NestedLevel, NestedLevel]:
    """Within groups, and between them."""
    labels = np.repeat(np.arange(len(groups)), [len(one) for one in groups])
    within, between = nested_table(design([labels], np.concatenate(groups)))
    return within, between


def figures_of(groups: list[FloatArray]) -> dict[str, float | None]:
    """Of the table, as NIST names them."""
    within, between = table_of(groups)
    assert within.sum_of_squares is not None and between.sum_of_squares is not None
    assert within.mean_square is not None
    return {
        "df_between": between.degrees_of_freedom,
        "ss_between": between.sum_of_squares,
        "ms_between": between.mean_square,
        "f": between.f,
        "df_within": within.degrees_of_freedom,
        "ss_within": within.sum_of_squares,
        "ms_within": within.mean_square,
        "r_squared": between.sum_of_squares / (between.sum_of_squares + within.sum_of_squares),
        "residual_sd": math.sqrt(within.mean_square),
    }


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
    found = figures_of(groups)
    for figure, value in certified.items():
        error = abs((found[figure] or 0.0) - value) / value
        digits = 15.0 if error == 0 else -math.log10(error)
        gate = LEFT_BY_STORAGE if figure in ("ss_between", "ms_between") else GATES[name]
        assert digits >= min(gate, GATES[name]), f"{figure} of {name} agrees to {digits:.1f} digits"


@pytest.mark.parametrize("name", ["SmLs07", "SmLs08", "SmLs09"])
def test_only_storage_costs_digits(name: str) -> None:
    """Against exact whole-number arithmetic on the stored values, which are multiples of 2^-13."""
    groups, certified = strd(name)
    found = figures_of(groups)
    whole = [[int(value * 2**13) for value in group] for group in groups]
    assert all(np.array_equal(np.array(w) / 2**13, g) for w, g in zip(whole, groups, strict=True))
    everything = [value for group in whole for value in group]
    corrections = [Fraction(sum(group) ** 2, len(group)) for group in whole]
    between = sum(corrections) - Fraction(sum(everything) ** 2, len(everything))
    within = sum(value**2 for value in everything) - sum(corrections)
    assert found["ss_between"] == pytest.approx(float(between / 2**26), rel=1e-11)
    assert found["ss_within"] == pytest.approx(float(within / 2**26), rel=1e-11)
    off = abs(float(between / 2**26) - certified["ss_between"]) / certified["ss_between"]
    assert LEFT_BY_STORAGE <= -math.log10(off) < 4.1


def test_probability_agrees_with_scipy() -> None:
    groups, _ = strd("SiRstv")
    _, between = table_of(groups)
    assert between.p_value == pytest.approx(float(f_oneway(*groups).pvalue), rel=1e-10)
    assert between.p_value == pytest.approx(0.349447, abs=5e-7)
