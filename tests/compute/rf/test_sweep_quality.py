"""Faults planted in sweeps are found; clean sweeps, resonators that few points resolve among them,
raise no alarm. Sizes and bounds are common practice or our own choice, as each says."""

import time
from typing import Any

import numpy as np
import pytest
import skrf
from skrf.calibration.deembedding import IEEEP370_FD_QM

from sitegen.compute.rf import sweep_quality as quality

F_HZ = np.linspace(0.55e9, 110e9, 201)
W = 2j * np.pi * F_HZ
N = 400
"""Clean sweeps of each kind; their seeds are fixed below."""
Matrix = np.ndarray[Any, np.dtype[Any]]


def s_of(a: Any, b: Any, c: Any, d: Any) -> Matrix:
    y = np.empty((*np.broadcast_shapes(*(np.shape(x) for x in (a, b, c, d))), 2, 2), complex)
    y[..., 0, 0], y[..., 0, 1], y[..., 1, 0], y[..., 1, 1] = a, b, c, d
    s: Matrix = (np.eye(2) - 50 * y) @ np.linalg.inv(np.eye(2) + 50 * y)
    return s


def spread(rng: np.random.Generator) -> Matrix:
    return 1 + 0.05 * rng.standard_normal((N, 1))


def transistors(rng: np.random.Generator) -> Matrix:
    """Hybrid-pi of 0.1 S, 80, 20 and 30 fF behind pads."""
    cgs, cgd, cds = (c * spread(rng) for c in (80e-15, 20e-15, 30e-15))
    gm, gds = 0.1 * spread(rng), 5e-3 * spread(rng)
    return s_of(W * (cgs + cgd + 25e-15), -W * cgd, gm - W * cgd, gds + W * (cds + cgd + 28e-15))


def inductors(rng: np.random.Generator) -> Matrix:
    across = 1 / (2 * spread(rng) + W * 0.5e-9 * spread(rng)) + W * 20e-15
    return s_of(across + W * 15e-15, -across, -across, across + W * 15e-15)


def resonators(rng: np.random.Generator) -> Matrix:
    """Series resonances across, of Q 60 at 20 to 90 GHz: 0.6 to 3 points wide."""
    ratio = F_HZ / rng.uniform(20e9, 90e9, (N, 1))
    across = 0.02 / (1 + 60j * (ratio - 1 / ratio))
    return s_of(across + 0.02, -0.02 + 0 * across, -0.02 + 0 * across, across + 0.02)


KINDS = {"transistors": transistors, "inductors": inductors, "resonators": resonators}


def noisy(s: Matrix, rms: float, rng: np.random.Generator) -> Matrix:
    """Noise with the S-parameter where that is above 1, as a receiver's."""
    noise = rng.standard_normal(s.shape) + 1j * rng.standard_normal(s.shape)
    found: Matrix = s + rms / np.sqrt(2) * noise * np.maximum(1.0, np.abs(s))
    return found


def steps(s: Matrix) -> quality.Steps:
    return quality.steps(s, quality.noise_rms(s), F_HZ)


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("rms", [1e-4, 1e-3, 3e-3])
def test_clean_sweeps_raise_no_alarm(kind: str, rms: float) -> None:
    """0 of 400 are flagged for noise, steps or causality."""
    rng = np.random.default_rng(20_001)
    s = noisy(KINDS[kind](rng), rms, rng)
    noise = quality.noise_rms(s)
    assert int(((noise / quality.sizes(s)).max(axis=(1, 2)) > quality.MOST_NOISE).sum()) == 0
    assert int(steps(s).suspect.sum()) == 0
    percent = quality.causality_percent(s, F_HZ, noise)
    assert int((percent <= 20.0).sum()) == 0


@pytest.mark.parametrize("kind", ["transistors", "inductors"])
def test_noise_is_measured_as_it_is(kind: str) -> None:
    """S11 and S22 bear 3e-3; the least of five estimates lies up to a tenth below."""
    rng = np.random.default_rng(20_002)
    s = noisy(KINDS[kind](rng), 3e-3, rng)
    found = np.median(quality.noise_rms(s), axis=0)
    assert found[0, 0] == pytest.approx(3e-3, rel=0.1)
    loud = noisy(KINDS[kind](rng), 0.02, rng)
    share = (quality.noise_rms(loud) / quality.sizes(loud)).max(axis=(1, 2))
    assert np.mean(share > quality.MOST_NOISE) == 1.0


@pytest.mark.parametrize("kind", ["transistors", "inductors"])
@pytest.mark.parametrize(("rms", "size"), [(1e-4, 0.02), (1e-3, 0.05)])
def test_planted_steps_are_found(kind: str, rms: float, size: float) -> None:
    """At least 95 % of 400, anywhere but in the last three points of either end."""
    rng = np.random.default_rng(20_003)
    s = noisy(KINDS[kind](rng), rms, rng)
    places = rng.integers(4, 197, N)
    for row, place in enumerate(places):
        s[row, place:, 0, 0] += size * np.exp(2j * np.pi * rng.uniform())
    found = steps(s)
    assert np.mean(found.suspect) >= 0.95
    middle_hz = 0.5 * (F_HZ[places] + F_HZ[places - 1])
    right = np.abs(found.at_hz - middle_hz) < 1.5 * (F_HZ[1] - F_HZ[0])
    assert np.mean(right[found.suspect]) >= 0.95


def test_a_contact_lost_during_the_sweep_is_a_step() -> None:
    """Both ports open and alone from some point on; at least 95 % of 400."""
    rng = np.random.default_rng(20_004)
    s = transistors(rng)
    for row, place in enumerate(rng.integers(4, 197, N)):
        s[row, place:] = np.eye(2)
    assert np.mean(steps(noisy(s, 1e-3, rng)).suspect) >= 0.95


def test_passivity_and_reciprocity_use_the_uncertainty_that_is_stated() -> None:
    """A calibration's error, common to all points: 0 of 400 in error by its own u are flagged, all
    in error by 10 u are."""
    rng = np.random.default_rng(20_005)
    s: Matrix = 0.999 * inductors(rng)
    u = 0.003
    covariance = np.zeros((*s.shape, 3))
    covariance[..., :2] = u**2
    error: Matrix = u * (rng.standard_normal((N, 1, 2, 2)) + 1j * rng.standard_normal((N, 1, 2, 2)))
    for judge in (quality.passivity, quality.reciprocity):
        assert int(judge(s + error, covariance, F_HZ).suspect.sum()) == 0
    active: Matrix = (1.0 + 10 * 2 * u) * s / np.linalg.norm(s, 2, axis=(-2, -1))[..., None, None]
    assert quality.passivity(active, covariance, F_HZ).suspect.all()
    apart: Matrix = s + np.array([[0, 0], [20 * u, 0]], dtype=complex)
    found = quality.reciprocity(apart, covariance, F_HZ)
    assert found.suspect.all() and np.allclose(found.greatest, 20 * u)
    assert quality.reciprocity(apart, None, F_HZ).suspect.all()


def test_passive_sweeps_have_the_singular_value_that_numpy_gives() -> None:
    rng = np.random.default_rng(20_006)
    s = transistors(rng)
    expected = np.linalg.norm(s, 2, axis=(-2, -1)).max(axis=1)
    assert np.allclose(quality.passivity(s, None, F_HZ).greatest, expected, rtol=1e-12)


def test_causality_is_that_of_scikit_rf() -> None:
    """`IEEEP370_FD_QM`, which implements the standard's frequency-domain quality."""
    rng = np.random.default_rng(20_007)
    hz = np.linspace(10e6, 50e9, 5000)[:200]
    for s in (0.3 * rng.standard_normal((3, 200, 2, 2)) + 0.1j, transistors(rng)[:3, :200]):
        s = s.astype(complex)
        expected = [
            IEEEP370_FD_QM().check_causality(
                skrf.Network(frequency=skrf.Frequency.from_f(hz, unit="hz"), s=one, z0=50)
            )
            for one in s
        ]
        assert np.allclose(quality.causality_percent(s, hz), expected, rtol=1e-9)


def test_time_turned_backwards_is_not_causal() -> None:
    rng = np.random.default_rng(20_008)
    s = transistors(rng)
    noise = quality.noise_rms(noisy(s, 1e-4, rng))
    percent = quality.causality_percent(noisy(s.conj(), 1e-4, rng), F_HZ, noise)
    assert np.mean(percent <= 20.0) >= 0.95
    assert quality.causality_grade(20.0) == "poor" and quality.causality_grade(80.1) == "good"


@pytest.mark.parametrize(
    ("frequency_hz", "why"),
    [
        (0.5e9 * np.arange(1, 221), ""),
        (np.geomspace(0.1e9, 40e9, 100), "not equidistant"),
        (np.linspace(10e9, 40e9, 31), "near DC"),
        (np.linspace(0.3e9, 40e9, 41), "multiples"),
        (np.linspace(60e9, 110e9, 101), "fewer than"),
    ],
)
def test_where_causality_cannot_be_assessed_it_says_why(frequency_hz: Matrix, why: str) -> None:
    told = quality.not_causal_because(frequency_hz)
    assert (why in told) if why else told == ""


def test_few_points_and_uncorrected_sweeps_are_not_judged() -> None:
    rng = np.random.default_rng(20_009)
    few = transistors(rng)[:2, :10]
    assert np.isnan(quality.noise_rms(few)).all()
    assert not quality.steps(few, quality.noise_rms(few), F_HZ[:10]).suspect.any()
    empty = np.full((2, 201, 2, 2), complex(np.nan, np.nan))
    assert not steps(empty).suspect.any()
    assert not quality.passivity(empty, None, F_HZ).suspect.any()


def test_six_hundred_sweeps_take_well_under_a_second_or_two() -> None:
    """About 0.6 s on one core; the bound leaves room for a busy machine."""
    rng = np.random.default_rng(20_010)
    s = np.concatenate([transistors(rng), inductors(rng)])[:600]
    began = time.perf_counter()
    noise = quality.noise_rms(s)
    quality.steps(s, noise, F_HZ)
    quality.causality_percent(s, F_HZ, noise)
    quality.passivity(s, None, F_HZ)
    assert time.perf_counter() - began < 3.0
