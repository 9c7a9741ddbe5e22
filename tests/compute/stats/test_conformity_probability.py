"""Probabilities of conformity and risks against published values, quadrature and simulation."""

import math

import numpy as np
import pytest
from scipy.integrate import dblquad, quad
from scipy.stats import multivariate_normal, norm

from sitegen.compute.stats.conformity_probability import (
    global_risks,
    posterior,
    probability_of_conformity,
)

NAN = math.nan


# JCGM 106:2012, equation (7): worked figures at the printed rounding.
@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "probability"),
    [
        (9.7, 0.2, None, 10.0, 0.933193),
        (10.0, 0.2, None, 10.0, 0.5),
        (0.5, 0.25, 0.0, 1.0, 0.954500),
        (0.9, 0.25, 0.0, 1.0, 0.655263),
    ],
)
def test_probability_of_conformity(
    value: float, u: float, lower: float | None, upper: float | None, probability: float
) -> None:
    found = probability_of_conformity(value, u, lower, upper)
    assert float(found) == pytest.approx(probability, abs=5e-7)


def test_probability_keeps_its_digits_in_both_tails() -> None:
    """A difference of two Phi near 1 would be 0; the integral of the density is the reference."""
    for value in (-9.0, 10.0):
        density = norm(value, 1.0).pdf
        expected = quad(density, 0.0, 1.0, epsabs=0, epsrel=1e-12)[0]
        found = float(probability_of_conformity(value, 1.0, 0.0, 1.0))
        assert found == pytest.approx(expected, rel=1e-9)
        assert found > 0


def test_probability_where_something_is_missing() -> None:
    found = probability_of_conformity([NAN, 1.0, 1.0, 2.1], [1.0, NAN, 0.0, 0.0], 1.0, 2.0)
    assert np.array_equal(found, [NAN, NAN, 1.0, 0.0], equal_nan=True)
    assert float(probability_of_conformity(3.0, 1.0, None, None)) == 1
    assert probability_of_conformity([], [], 0.0, 1.0).shape == (0,)
    with pytest.raises(ValueError, match="not be negative"):
        probability_of_conformity(1.0, -1.0, 0.0, 1.0)


def test_posterior_by_bayes_rule_on_a_grid() -> None:
    """The normalised product of prior and likelihood has the mean and spread that are stated."""
    eta = np.linspace(-4.0, 8.0, 200_001)
    for value, u, mean, spread in ((3.0, 0.5, 1.0, 0.8), (-1.0, 1.2, 2.0, 0.3)):
        weight = norm(mean, spread).pdf(eta) * norm(eta, u).pdf(value)
        weight /= weight.sum()
        expected = float((weight * eta).sum())
        expected_spread = math.sqrt(float((weight * (eta - expected) ** 2).sum()))
        found, found_spread = posterior(value, u, mean, spread)
        assert float(found) == pytest.approx(expected, rel=1e-9)
        assert float(found_spread) == pytest.approx(expected_spread, rel=1e-8)


def test_posterior_at_its_ends() -> None:
    """An exact value is what it is; a vague one leaves the prior, a vague prior the value."""
    assert [float(one) for one in posterior(3.0, 0.0, 1.0, 0.5)] == [3.0, 0.0]
    assert [float(one) for one in posterior(3.0, 1e9, 1.0, 0.5)] == pytest.approx([1.0, 0.5])
    assert [float(one) for one in posterior(3.0, 0.1, 1.0, 1e9)] == pytest.approx([3.0, 0.1])
    assert np.isnan(posterior([NAN, 1.0], [1.0, NAN], 0.0, 1.0)[0]).all()
    for spread in (0.0, -1.0, NAN, math.inf):
        with pytest.raises(ValueError, match="positive standard deviation"):
            posterior(1.0, 0.1, 0.0, spread)


# The resistor-type example of JCGM 106:2012, clause 9 (parameters quoted from memory): tolerance
# +-0.2, prior standard deviation 0.12, u 0.04. Figures recomputed with scipy, no printed ones seen.
@pytest.mark.parametrize(
    ("w", "consumer_percent", "producer_percent"),
    [
        (0.0, 1.894, 3.721),
        (0.02, 0.988, 6.903),
        (0.04, 0.433, 11.466),
        (0.05, 0.268, 14.278),
        (-0.02, 3.114, 1.755),
    ],
)
def test_global_risks_of_the_resistors(
    w: float, consumer_percent: float, producer_percent: float
) -> None:
    found = global_risks(0.0, 0.12, 0.04, (-0.2, 0.2), (-0.2 + w, 0.2 - w))
    assert round(100 * found.consumer, 3) == consumer_percent
    assert round(100 * found.producer, 3) == producer_percent
    assert round(found.conforming, 4) == 0.9044


CASES = [
    (0.05, 0.12, 0.04, (-0.2, 0.2), (-0.16, 0.17)),
    (0.0, 1.0, 0.01, (-1.0, 2.0), (-0.98, 1.98)),
    (0.0, 1.0, 3.0, (-1.0, 2.0), (-0.5, 1.5)),
    (3.0, 0.5, 0.2, (None, 3.5), (None, 3.1)),
    (3.0, 0.5, 0.2, (2.5, None), (2.3, None)),
]


@pytest.mark.parametrize(("m", "s", "u", "tolerance", "acceptance"), CASES)
def test_global_risks_by_double_integration(
    m: float,
    s: float,
    u: float,
    tolerance: tuple[float | None, float | None],
    acceptance: tuple[float | None, float | None],
) -> None:
    """Over measurand and measured value together (scipy dblquad); shares no code with it."""
    low, high = (
        end if end is not None else sign * 60.0
        for sign, end in zip((-1, 1), tolerance, strict=True)
    )
    start, end = (
        end if end is not None else sign * 60.0
        for sign, end in zip((-1, 1), acceptance, strict=True)
    )
    least, greatest = m - 9 * s, m + 9 * s

    def density(y: float, eta: float) -> float:
        a, b = (eta - m) / s, (y - eta) / u
        return math.exp(-0.5 * (a * a + b * b)) / (2 * math.pi * s * u)

    def over(regions: list[tuple[float, float]], ends: list[tuple[float, float]]) -> float:
        total = 0.0
        for bottom, top in regions:
            bottom, top = max(bottom, least), min(top, greatest)
            if bottom < top:
                for left, right in ends:
                    total += dblquad(
                        density,
                        bottom,
                        top,
                        lambda eta, left=left: max(left, eta - 9 * u),
                        lambda eta, left=left, right=right: max(
                            max(left, eta - 9 * u), min(right, eta + 9 * u)
                        ),
                        epsabs=1e-9,
                    )[0]
        return total

    found = global_risks(m, s, u, tolerance, acceptance)
    accepted, refused = [(start, end)], [(-60.0, start), (end, 60.0)]
    assert found.consumer == pytest.approx(
        over([(least, low), (high, greatest)], accepted), rel=1e-5, abs=2e-8
    )
    assert found.producer == pytest.approx(over([(low, high)], refused), rel=1e-5, abs=2e-8)


def test_global_risks_by_the_bivariate_normal_law() -> None:
    """P(eta inside and y accepted) is a bivariate normal probability (scipy); so is each risk."""
    s, u = 0.12, 0.04
    covariance = [[s**2, s**2], [s**2, s**2 + u**2]]
    both = multivariate_normal.cdf(
        [0.2, 0.16], [0.0, 0.0], covariance, lower_limit=[-0.2, -0.16], abseps=1e-10, releps=1e-10
    )
    accepted = np.diff(norm(0.0, math.hypot(s, u)).cdf([-0.16, 0.16]))[0]
    inside = np.diff(norm(0.0, s).cdf([-0.2, 0.2]))[0]
    found = global_risks(0.0, s, u, (-0.2, 0.2), (-0.16, 0.16))
    assert found.consumer == pytest.approx(accepted - both, abs=1e-8)
    assert found.producer == pytest.approx(inside - both, abs=1e-8)
    assert found.conforming == pytest.approx(inside, rel=1e-12)


def test_global_risks_by_simulation() -> None:
    random = np.random.default_rng(106)
    n = 1_000_000
    eta = random.normal(0.05, 0.12, n)
    y = random.normal(eta, 0.04)
    accepted, inside = np.abs(y) <= 0.17, np.abs(eta) <= 0.2
    found = global_risks(0.05, 0.12, 0.04, (-0.2, 0.2), (-0.17, 0.17))
    for p, share in (
        (found.consumer, (accepted & ~inside).mean()),
        (found.producer, (~accepted & inside).mean()),
    ):
        assert abs(share - p) < 4.0 * math.sqrt(p / n)


def test_small_risks_are_no_difference_of_large_figures() -> None:
    """Ten standard deviations away, u = s / 10: the mode of the tail decides; against quad."""
    found = global_risks(0.0, 1.0, 0.1, (None, 10.0), (None, 10.0))
    expected = quad(
        lambda eta: norm.pdf(eta) * norm.sf((eta - 10.0) / 0.1), 10.0, 12.0, epsabs=0, epsrel=1e-10
    )[0]
    assert found.consumer == pytest.approx(expected, rel=1e-8)
    assert 0 < found.consumer < 1e-23


def test_ends_of_global_risks() -> None:
    exact = global_risks(0.0, 1.0, 0.0, (-1.0, 1.0), (-1.0, 1.0))
    assert (exact.consumer, exact.producer) == (0.0, 0.0)
    nothing = global_risks(0.0, 1.0, 0.5, (-1.0, 1.0), (0.2, -0.2))
    assert nothing.consumer == 0.0
    assert nothing.producer == nothing.conforming == pytest.approx(0.682689, abs=1e-6)
    everything = global_risks(0.0, 1.0, 0.5, (None, 1.0), (None, None))
    assert everything.producer == 0.0
    assert everything.consumer == pytest.approx(1 - everything.conforming)
    for s, u in ((0.0, 0.1), (1.0, -0.1), (1.0, math.inf)):
        with pytest.raises(ValueError, match="risks need"):
            global_risks(0.0, s, u, (-1.0, 1.0), (-1.0, 1.0))


def test_global_risks_keep_under_shift_scale_and_mirroring() -> None:
    found = global_risks(0.05, 0.12, 0.04, (-0.2, 0.2), (-0.17, 0.17))
    moved = global_risks(1050.0, 120.0, 40.0, (800.0, 1200.0), (830.0, 1170.0))
    mirrored = global_risks(-0.05, 0.12, 0.04, (-0.2, 0.2), (-0.17, 0.17))
    for other in (moved, mirrored):
        assert other.consumer == pytest.approx(found.consumer, rel=1e-10)
        assert other.producer == pytest.approx(found.producer, rel=1e-10)


def test_drawing_limits_in_trades_the_consumers_risk_for_the_producers() -> None:
    risks = [
        global_risks(0.0, 0.12, 0.04, (-0.2, 0.2), (-0.2 + w, 0.2 - w))
        for w in np.linspace(-0.08, 0.15, 24)
    ]
    assert (np.diff([one.consumer for one in risks]) < 0).all()
    assert (np.diff([one.producer for one in risks]) > 0).all()
