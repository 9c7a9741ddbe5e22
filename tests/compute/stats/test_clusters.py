"""Wafers as clusters: mean squares against NIST, and what one die a wafer makes of them."""

from importlib.resources import files

import numpy as np
import pytest
from scipy.stats import chi2, t

from sitegen.compute.stats.clusters import (
    clusters,
    comparable,
    mean_reach,
    spread_ends,
    within_wafers,
)


def test_mean_squares_are_certified() -> None:
    """NIST StRD SiRstv: five instruments with five values each."""
    text = (files("scipy.stats.tests") / "data" / "nist_anova" / "SiRstv.dat").read_text("ascii")
    rows = np.array([line.split() for line in text.splitlines()[60:] if line.strip()], float)
    found = clusters(rows[:, 1], rows[:, 0].astype(int))
    assert (found.wafers, found.n, found.df_between, found.df_within) == (5, 25, 4, 20)
    assert found.dies == pytest.approx(5)
    assert 5 * found.between == pytest.approx(1.27865654000000e-02, rel=1e-11)
    assert found.within == pytest.approx(1.08318280000000e-02, rel=1e-11)
    assert found.mean == pytest.approx(196.189156, abs=5e-7)
    # Between 3.909475E-04 and within together, as REML of R's nlme has them.
    assert found.variance == pytest.approx(3.909475e-4 + 0.010831828, rel=1e-7)
    inside = within_wafers(rows[:, 1], rows[:, 0].astype(int))
    assert inside @ inside / 25 == pytest.approx(found.within, rel=1e-11)


def test_unequal_wafers() -> None:
    found = clusters([1.0, 3.0, 10.0, 4.0, 5.0, 9.0], [0, 0, 2, 3, 3, 3])
    assert (found.wafers, found.n) == (3, 6)
    assert found.mean == pytest.approx((2 + 10 + 6) / 3)
    assert found.between == pytest.approx(16)
    assert found.within == pytest.approx((2 + 14) / 3)
    assert found.dies == pytest.approx(3 / (1 / 2 + 1 + 1 / 3))


def test_one_die_a_wafer_is_an_independent_sample() -> None:
    values = np.random.default_rng(1).normal(5, 2, 12)
    found = clusters(values, np.arange(12))
    s = values.std(ddof=1)
    assert found.variance == pytest.approx(s**2)
    assert spread_ends(found, 0.95) == pytest.approx(
        (s * np.sqrt(11 / chi2.ppf(0.975, 11)), s * np.sqrt(11 / chi2.ppf(0.025, 11)))
    )
    assert mean_reach(found, 0.95) == pytest.approx(t.ppf(0.975, 11) * s / np.sqrt(12))


def test_wafers_of_few_dies_are_not_comparable() -> None:
    wafer = np.repeat([0, 2, 3, 4], [100, 25, 24, 1])
    assert np.unique(wafer[comparable(wafer)]).tolist() == [0, 2]
    assert comparable(np.array([], dtype=np.int64)).tolist() == []
