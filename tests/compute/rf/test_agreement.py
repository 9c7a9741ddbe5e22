"""Normalised deviations and limits for whole sweeps, against scipy and simulations of their own.

The simulations here draw from covariance matrices with numpy and form every figure with matrices;
the program draws source by source and takes symmetric powers of covariances.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from sitegen.compute.rf.agreement import (
    CHI_SQUARE_95,
    Rule,
    drawn,
    figures,
    largest_u,
    normalised_deviation,
    sweep_limits,
    u_along,
)
from sitegen.compute.rf.differences import OverFrequency, Part
from sitegen.compute.rf.propagation import Kind, part_covariance
from sitegen.model.arrays import ComplexArray, FloatArray

RULES: tuple[Rule, ...] = ("share of points", "greatest value")
N_FREQ = 25
X = np.linspace(0.0, 1.0, N_FREQ)


def band(probability: float, trials: int) -> tuple[float, float]:
    """Where a share lies with 99.9 % probability, by the binomial distribution."""
    low, high = stats.binom.interval(0.999, trials, probability)
    return float(low) / trials, float(high) / trials


def covariance_of(u_re: float, u_im: float, correlation: float) -> FloatArray:
    return np.array([u_re**2, u_im**2, correlation * u_re * u_im])


def as_matrix(covariance: FloatArray) -> NDArray[np.float64]:
    a, b, c = (float(value) for value in covariance)
    return np.array([[a, c], [c, b]])


def draws_of(covariance: FloatArray, number: int, seed: int) -> ComplexArray:
    parts = np.random.default_rng(seed).multivariate_normal([0, 0], as_matrix(covariance), number)
    return np.asarray(parts[:, 0] + 1j * parts[:, 1])


COVARIANCES = (
    covariance_of(1e-3, 1e-3, 0.0),
    covariance_of(3e-3, 1e-4, 0.0),
    covariance_of(2e-3, 1e-3, 0.9),
    covariance_of(2e-3, 1e-3, -0.99),
)


class TestNormalisedDeviation:
    def test_the_quantile_is_that_of_chi_square(self) -> None:
        # scipy, and the printed 5.991 and k = 2.45 of the chi-square tables.
        assert pytest.approx(stats.chi2.ppf(0.95, 2), rel=1e-12) == CHI_SQUARE_95
        assert round(CHI_SQUARE_95, 3) == 5.991
        assert round(float(np.sqrt(CHI_SQUARE_95)), 2) == 2.45

    @pytest.mark.parametrize("covariance", COVARIANCES)
    def test_it_is_the_quadratic_form(self, covariance: FloatArray) -> None:
        difference = draws_of(covariance, 50, 3)
        found = normalised_deviation(difference, np.broadcast_to(covariance, (50, 3)))
        inverse = np.linalg.inv(as_matrix(covariance))
        for value, d in zip(found, difference, strict=True):
            vector = np.array([d.real, d.imag])
            assert value == pytest.approx(
                np.sqrt(vector @ inverse @ vector / 5.991464547), rel=1e-6
            )

    @pytest.mark.parametrize("covariance", COVARIANCES)
    def test_95_percent_of_points_that_agree_lie_below_1(self, covariance: FloatArray) -> None:
        number = 20_000
        difference = draws_of(covariance, number, 5)
        found = normalised_deviation(difference, np.broadcast_to(covariance, (number, 3)))
        low, high = band(0.95, number)
        assert low <= np.mean(found <= 1.0) <= high

    def test_k_of_2_holds_only_86_5_percent(self) -> None:
        # 1 - exp(-k^2/2) = 0.8647: two components need k = 2.45 for 95 %.
        number = 20_000
        difference = draws_of(COVARIANCES[0], number, 7)
        found = normalised_deviation(difference, np.broadcast_to(COVARIANCES[0], (number, 3)))
        low, high = band(1.0 - np.exp(-2.0), number)
        assert low <= np.mean(found * np.sqrt(CHI_SQUARE_95) <= 2.0) <= high

    def test_one_direction_only(self) -> None:
        along = 1e-3 * np.exp(0.7j)
        covariance = part_covariance([("real", np.array([along]))], (1,))
        (inside,) = normalised_deviation(np.array([2 * along]), covariance)
        (beside,) = normalised_deviation(np.array([2 * along + 1e-5j * along / 1e-3]), covariance)
        assert inside == pytest.approx(2 / np.sqrt(CHI_SQUARE_95), rel=1e-6)
        assert beside > 1e3

    def test_without_uncertainty_nothing_is_said(self) -> None:
        found = normalised_deviation(np.array([0.1 + 0j, complex(np.nan)]), np.zeros((2, 3)))
        assert np.isnan(found).all()

    @pytest.mark.parametrize("covariance", COVARIANCES)
    def test_uncertainty_along_a_direction(self, covariance: FloatArray) -> None:
        matrix = as_matrix(covariance)
        assert largest_u(covariance) == pytest.approx(np.sqrt(np.linalg.eigvalsh(matrix)[-1]))
        direction = np.exp(1j * np.linspace(0, np.pi, 7))
        for one in direction:
            vector = np.array([one.real, one.imag])
            assert u_along(covariance, np.asarray(one)) == pytest.approx(
                np.sqrt(vector @ matrix @ vector)
            )


def part(
    kind: Kind, over_frequency: OverFrequency, *shapes: Callable[[FloatArray], ComplexArray]
) -> Part:
    absolute = np.array([shape(X) for shape in shapes])
    return Part(kind, over_frequency, absolute, absolute)


def some_parts(unknown: bool = False) -> list[Part]:
    """Two S-parameters: a length, a contact, noise, and maybe a reference."""
    parts = [
        part("real", "the same", lambda x: 2e-3j * x, lambda x: 1e-3 + 1e-3j * x),
        part(
            "circular", "the same", lambda x: 1e-3 * (1 + 0j * x), lambda x: 5e-4 * np.exp(3j * x)
        ),
        part("circular", "anew", lambda x: 6e-4 + 0j * x, lambda x: 3e-4 + 0j * x),
        part("real", "anew", lambda x: 2e-4j + 0j * x, lambda x: 0j * x),
    ]
    if unknown:
        parts.append(part("circular", "not known", lambda x: 1e-3 + 0j * x, lambda x: 0j * x))
        parts.append(part("circular", "not known", lambda x: 0j * x, lambda x: 1e-3 + 0j * x))
    return parts


def simulated(parts: list[Part], number: int, seed: int, unknown: str) -> FloatArray:
    """Normalised deviations of sweeps that agree, (number, 2, N_FREQ), by other means."""
    rng = np.random.default_rng(seed)
    total = np.zeros((number, 2, N_FREQ), complex)
    matrices = np.zeros((2, N_FREQ, 2, 2))
    for one in parts:
        over = unknown if one.over_frequency == "not known" else one.over_frequency
        shape = (number, 1, 1) if over == "the same" else (number, 2, N_FREQ)
        factor = rng.normal(size=shape).astype(complex)
        columns = [np.stack([one.absolute.real, one.absolute.imag], -1)]
        if one.kind == "circular":
            factor = factor + 1j * rng.normal(size=shape)
            turned = 1j * one.absolute
            columns.append(np.stack([turned.real, turned.imag], -1))
        total += factor * one.absolute
        matrices += sum(column[..., :, None] * column[..., None, :] for column in columns)
    vectors = np.stack([total.real, total.imag], -1)
    solved = np.linalg.solve(matrices, vectors[..., None])[..., 0]
    return np.asarray(np.sqrt(np.sum(vectors * solved, axis=-1) / stats.chi2.ppf(0.95, 2)))


class TestWholeSweep:
    @pytest.mark.parametrize("rate", [0.05, 0.2])
    @pytest.mark.parametrize("rule", RULES)
    def test_the_false_alarm_rate_is_the_declared_one(self, rule: Rule, rate: float) -> None:
        parts, number = some_parts(), 4000
        limits = sweep_limits(parts, rule, rate, np.random.default_rng(11)).limits
        alarms = (figures(simulated(parts, number, 12, ""), rule) > limits).any(axis=1)
        low, high = band(rate, number)
        # The limit comes from draws itself: its own spread adds to the band, and a share of
        # 25 points takes steps, so that the rate may lie below.
        spread = 3 * np.sqrt(rate * (1 - rate) / max(50 / rate, 2000))
        assert np.mean(alarms) <= high + spread
        assert np.mean(alarms) >= (low - spread if rule == "greatest value" else 0.3 * rate)

    @pytest.mark.parametrize("unknown", ["the same", "anew"])
    @pytest.mark.parametrize("rule", RULES)
    def test_what_is_not_known_over_frequency_never_raises_the_rate(
        self, rule: Rule, unknown: str
    ) -> None:
        parts, rate, number = some_parts(unknown=True), 0.1, 4000
        limits = sweep_limits(parts, rule, rate, np.random.default_rng(21)).limits
        alarms = (figures(simulated(parts, number, 22, unknown), rule) > limits).any(axis=1)
        assert np.mean(alarms) <= band(rate, number)[1] + 3 * np.sqrt(rate * 0.9 / 2000)

    @pytest.mark.parametrize("rule", RULES)
    def test_a_sweep_that_does_not_agree_is_refused(self, rule: Rule) -> None:
        parts, number = some_parts(), 200
        limits = sweep_limits(parts, rule, 0.05, np.random.default_rng(31)).limits
        off = drawn(parts, number, (2, N_FREQ), np.random.default_rng(32)) + 1.2e-2
        square = part_covariance(((one.kind, one.absolute) for one in parts), (2, N_FREQ))
        alarms = (figures(normalised_deviation(off, square), rule) > limits).any(axis=1)
        assert alarms.mean() > 0.95

    def test_points_without_a_number_are_left_out(self) -> None:
        parts = some_parts()
        for one in parts:
            one.absolute[:, 5] = np.nan
        found = sweep_limits(parts, "greatest value", 0.05, np.random.default_rng(41))
        assert np.isfinite(found.limits).all()

    def test_the_same_seed_gives_the_same_limit(self) -> None:
        first, second = (
            sweep_limits(some_parts(), "greatest value", 0.05, np.random.default_rng(1))
            for _ in range(2)
        )
        assert np.array_equal(first.limits, second.limits)
        assert first.draws == 2000

    @pytest.mark.parametrize("rule", RULES)
    def test_a_last_digit_changes_no_limit(self, rule: Rule) -> None:
        """Of noise that is a circle nothing says in which direction its axes lie."""
        noise = some_parts()[-1]
        exact = [*some_parts(), replace(noise, kind="circular", over_frequency="anew")]
        rng = np.random.default_rng(3)
        near = [
            replace(one, absolute=one.absolute * (1.0 + 1e-14 * rng.normal(size=X.shape)))
            for one in exact
        ]
        one, other = (
            sweep_limits(parts, rule, 0.05, np.random.default_rng(1)) for parts in (exact, near)
        )
        assert other.limits == pytest.approx(one.limits, rel=1e-5)

    def test_figures(self) -> None:
        values = np.array([[0.2, 1.5, np.nan, 1.0], [np.nan, np.nan, np.nan, np.nan]])
        assert figures(values, "share of points").tolist() == [pytest.approx(1 / 3), 0.0]
        assert figures(values, "greatest value")[0] == 1.5


def test_drawn_differences_have_the_covariance_of_their_parts() -> None:
    parts = some_parts()
    found = drawn(parts, 20_000, (2, N_FREQ), np.random.default_rng(51))
    square = part_covariance(((one.kind, one.absolute) for one in parts), (2, N_FREQ))
    assert np.var(found.real, axis=0) == pytest.approx(square[..., 0], rel=0.06)
    assert np.var(found.imag, axis=0) == pytest.approx(square[..., 1], rel=0.06)
    ends = np.mean(found[:, 0, 0] * np.conj(found[:, 0, -1]))
    # Of the three sources at both ends only the contact is the same: 2 |1e-3|^2.
    assert ends.real == pytest.approx(2e-6, rel=0.1)
