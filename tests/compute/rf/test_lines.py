"""A line's constants from its S-parameters, against the lines of scikit-rf's media."""

import numpy as np
import pytest
import skrf
from skrf.media import CPW, DefinedGammaZ0

from sitegen.compute.rf.lines import SPEED_OF_LIGHT_M_PER_S, propagation, quantity_at
from sitegen.compute.rf.propagation import Deviation
from sitegen.model.arrays import ComplexArray, FloatArray
from tests.compute.rf import forward as fw

BAND_HZ = np.linspace(1e9, 110e9, 110)
LENGTH_M = 1.0e-3


def coplanar() -> tuple[ComplexArray, ComplexArray]:
    """A coplanar line, 75 um wide beside gaps of 50 um on a thick substrate of 12.9 with some
    loss, seen from 50 ohm, and its propagation constant by scikit-rf's model."""
    frequency = skrf.Frequency.from_f(BAND_HZ, unit="Hz")
    line = CPW(
        frequency, w=75e-6, s=50e-6, ep_r=12.9, tand=0.005, diel="frequencyinvariant", z0_port=50
    )
    return line.line(LENGTH_M, "m").s, line.gamma


def defined(z0_ohm: complex, gamma: ComplexArray, length_m: float) -> ComplexArray:
    frequency = skrf.Frequency.from_f(BAND_HZ, unit="Hz")
    medium = DefinedGammaZ0(frequency, z0_port=50, z0=z0_ohm, gamma=gamma)
    return np.asarray(medium.line(length_m, "m").s)


def gamma_of(permittivity: float, db_per_mm_at_100_ghz: float) -> ComplexArray:
    loss = db_per_mm_at_100_ghz * 1e3 * np.log(10) / 20 * np.sqrt(BAND_HZ / 100e9)
    phase = 2 * np.pi * BAND_HZ * np.sqrt(permittivity) / SPEED_OF_LIGHT_M_PER_S
    return np.asarray(loss + 1j * phase)


def permittivity_of(gamma: ComplexArray) -> FloatArray:
    return np.real(-((SPEED_OF_LIGHT_M_PER_S * gamma / (2 * np.pi * BAND_HZ)) ** 2))


def test_a_coplanar_line_of_scikit_rf() -> None:
    s, gamma = coplanar()
    line = propagation(s, BAND_HZ, LENGTH_M, None)
    expected = permittivity_of(gamma)
    known = np.isfinite(line.gamma_l)
    assert known.sum() > 75
    assert line.gamma_l[known] == pytest.approx(gamma[known] * LENGTH_M, rel=1e-9)
    at = 30
    assert known[at]
    found, u = quantity_at(line, "effective permittivity", BAND_HZ[at], LENGTH_M)
    assert found == pytest.approx(expected[at], rel=1e-9) and u is None
    # Closed form for thin conductors on a thick substrate: (1 + 12.9)/2 = 6.950.
    assert found == pytest.approx(6.950, rel=1e-3)


@pytest.mark.parametrize("z0_ohm", [50.0, 70.0, 38.0 - 2.0j])
@pytest.mark.parametrize("length_m", [0.45e-3, 1.8e-3, 5.25e-3])
def test_any_impedance_and_any_number_of_turns(z0_ohm: complex, length_m: float) -> None:
    gamma = gamma_of(5.2, 0.4)
    line = propagation(defined(z0_ohm, gamma, length_m), BAND_HZ, length_m, None)
    known = np.isfinite(line.gamma_l)
    assert known.mean() > 0.6
    assert line.gamma_l[known] == pytest.approx(gamma[known] * length_m, rel=1e-7)
    at_hz = float(BAND_HZ[np.flatnonzero(known)[-1]])
    db, _ = quantity_at(line, "attenuation db per mm", at_hz, length_m)
    assert db == pytest.approx(0.4 * np.sqrt(at_hz / 100e9), rel=1e-6)
    deg, _ = quantity_at(line, "phase deg per mm", at_hz, length_m)
    assert deg == pytest.approx(
        360 * at_hz * np.sqrt(5.2) / SPEED_OF_LIGHT_M_PER_S * 1e-3, rel=1e-6
    )


def test_near_half_turns_and_between_them_nothing_is_made_up() -> None:
    gamma = gamma_of(5.2, 0.0)
    line = propagation(defined(70.0, gamma, LENGTH_M), BAND_HZ, LENGTH_M, None)
    turn_deg = np.degrees(gamma.imag * LENGTH_M) % 180
    near = np.minimum(turn_deg, 180 - turn_deg) < 19.9
    assert np.isnan(line.gamma_l[near]).all()
    assert np.isfinite(line.gamma_l[~near & (np.minimum(turn_deg, 180 - turn_deg) > 20.1)]).all()
    at_hz = float(BAND_HZ[np.flatnonzero(near)[-1]])
    assert np.isnan(quantity_at(line, "phase deg per mm", at_hz, LENGTH_M)[0])


def test_turns_that_cannot_be_counted_are_not_guessed() -> None:
    few = slice(None, None, 22)
    s = defined(50.0, gamma_of(5.2, 0.4), 5.25e-3)[few]
    assert np.isnan(propagation(s, BAND_HZ[few], 5.25e-3, None).gamma_l).all()


def test_two_points_of_a_short_line() -> None:
    gamma, some = gamma_of(5.2, 0.4), [30, 45]
    s = defined(50.0, gamma, LENGTH_M)[some]
    line = propagation(s, BAND_HZ[some], LENGTH_M, None)
    assert line.gamma_l[0] == pytest.approx(gamma[30] * LENGTH_M, rel=1e-9)
    assert np.isnan(line.gamma_l[1])


def noisy_sources(size: float) -> list[Deviation]:
    found = []
    for i, j in np.ndindex(2, 2):
        values = np.zeros((len(BAND_HZ), 2, 2), complex)
        values[:, i, j] = size
        found.append(Deviation("noise of the sweep", f"S{i + 1}{j + 1}", "circular", values))
    both = np.zeros((len(BAND_HZ), 2, 2), complex)
    both[:, 0, 1] = both[:, 1, 0] = 2j * size
    found.append(Deviation("definitions", "delay of thru", "real", both))
    return found


@pytest.mark.parametrize(
    "name, true",
    [
        ("effective permittivity", 5.2 - (0.4e3 * np.log(10) / 20 * 0.2998 / 2 / np.pi / 100) ** 2),
        ("attenuation db per mm", 0.4),
        ("phase deg per mm", 0.36e12 * np.sqrt(5.2) / SPEED_OF_LIGHT_M_PER_S * 100e-3),
    ],
)
def test_intervals_hold_the_truth_in_95_of_100(name: str, true: float) -> None:
    """1,000 simulated sweeps, each with its own noise and its own error of a definition."""
    rng = np.random.default_rng(17)
    length_m, size, trials = 0.9e-3, 2e-3, 1000
    clean = fw.line_s(BAND_HZ, gamma_of(5.2, 0.4) * length_m, np.full(len(BAND_HZ), 47.0 + 0j))
    sources = noisy_sources(size)
    inside = 0
    for _ in range(trials):
        noise = rng.normal(size=clean.shape) + 1j * rng.normal(size=clean.shape)
        s = clean + size * noise + sources[-1].values * rng.normal()
        line = propagation(s, BAND_HZ, length_m, sources)
        match name:
            case "effective permittivity" | "attenuation db per mm" | "phase deg per mm":
                value, u = quantity_at(line, name, 100e9, length_m)
        assert u is not None
        inside += abs(value - true) <= 1.96 * u
    assert 0.93 <= inside / trials <= 0.97


def test_a_large_uncertainty_is_not_determined() -> None:
    s = defined(47.0, gamma_of(5.2, 0.4), LENGTH_M)
    known = [
        np.isfinite(propagation(s, BAND_HZ, LENGTH_M, noisy_sources(size)).gamma_l).sum()
        for size in (1e-4, 3e-3, 0.1)
    ]
    assert known[0] > known[1] > known[2]
