"""Inductors, capacitors, resistors and lines against closed forms and scikit-rf's lines."""

import numpy as np
import pytest
import skrf
from skrf.media import CPW, DefinedGammaZ0

from sitegen.compute.rf.figure_records import Estimate
from sitegen.compute.rf.figures import FIGURES, Surroundings, figure_at, used_frequencies
from sitegen.compute.rf.lines import SPEED_OF_LIGHT_M_PER_S
from sitegen.compute.rf.seen import seen
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.figures import Place

AROUND = Surroundings(50.0)
AT_HZ = 9.9091e9
BAND_HZ = np.linspace(0.5e9, 110e9, 220)
LENGTH_M = 1e-3


def scattering(y: ComplexArray) -> ComplexArray:
    """S at 50 ohm of (n_f, 2, 2) admittances, by matrix algebra."""
    return np.asarray(np.linalg.inv(np.eye(2) + 50.0 * y) @ (np.eye(2) - 50.0 * y))


def pi(left: ComplexArray, between: ComplexArray, right: ComplexArray) -> ComplexArray:
    y = np.array([[left + between, -between], [-between, right + between]])
    return scattering(np.moveaxis(y, -1, 0))


def inductor(frequency_hz: FloatArray, pad_f: float = 0.0) -> ComplexArray:
    """0.5 nH with 2 ohm in series and 20 fF across; a capacitance from each port to ground."""
    w = 2 * np.pi * frequency_hz
    pad = 1j * w * pad_f
    return pi(pad, 1 / (2 + 1j * w * 0.5e-9) + 1j * w * 20e-15, pad)


def taken(name: str, s: ComplexArray, frequency_hz: FloatArray, place: Place) -> Estimate:
    quantity = FIGURES[name].quantity(s[None], frequency_hz, AROUND)
    return FIGURES[name].estimate(quantity, frequency_hz, place)


def at(name: str, s: ComplexArray, frequency_hz: FloatArray = np.array([AT_HZ])) -> float:  # noqa: B008
    return float(figure_at(FIGURES[name], s[None], frequency_hz, AT_HZ, 50.0)[0])


@pytest.mark.parametrize("pad_f", [0.0, 30e-15])
def test_series_inductance_does_not_see_what_hangs_on_the_ports(pad_f: float) -> None:
    """At 9.9091 GHz .520074 nH and Q 14.9593; the numbers come from an independent program."""
    s = inductor(np.array([AT_HZ]), pad_f)
    assert at("series inductance", s) == pytest.approx(0.520074e-9, abs=5e-16)
    assert at("series inductor quality", s) == pytest.approx(14.9593, abs=5e-5)
    if not pad_f:
        assert at("inductance", s) == pytest.approx(0.520074e-9, abs=5e-16)
        assert at("inductor quality", s) == pytest.approx(14.9593, abs=5e-5)


@pytest.mark.parametrize("points", [56, 110, 201, 401])
def test_self_resonance(points: int) -> None:
    """Exactly 50.32519 GHz: w^2 = 1/(L C) - (R/L)^2, on any grid of points."""
    f = np.linspace(0.5e9, 110e9, points)
    found = taken("self-resonance", inductor(f), f, "whole")
    exact = np.sqrt(1 / (0.5e-9 * 20e-15) - (2 / 0.5e-9) ** 2) / (2 * np.pi)
    assert exact == pytest.approx(50.32519e9, abs=5e3)
    assert found.value[0] == pytest.approx(exact, abs=5e3)
    assert found.u_extraction[0] < 0.02 * found.details["step_hz"][0]
    assert not found.remarks[0]


def test_no_self_resonance_in_the_band_says_up_to_where() -> None:
    f = np.linspace(1e9, 40e9, 40)
    found = taken("self-resonance", inductor(f), f, "whole")
    assert found.no_value[0] == "no self-resonance up to 40\u202fGHz"
    assert found.details["not_below_hz"][0] == 40e9
    capacitor = pi(0j * f, 2j * np.pi * f * 1e-13, 0j * f)
    never = taken("self-resonance", capacitor, f, "whole")
    assert never.no_value[0] == "not inductive at the lowest frequency, 1\u202fGHz"
    assert np.isnan(never.details["not_below_hz"][0])


@pytest.mark.parametrize("name", ["inductance", "series inductance"])
def test_an_inductance_near_its_self_resonance_says_so(name: str) -> None:
    advise = FIGURES[name].advise
    assert advise is not None
    at = seen(inductor(BAND_HZ)[None], BAND_HZ, AROUND)
    assert advise(at, 25e9).tolist() == [""]
    half, above = "taken above half the self-resonance, ", "taken above the self-resonance, "
    assert advise(at, 25.5e9).tolist() == [half + "50.325\u202fGHz"]
    assert advise(at, 60e9).tolist() == [above + "50.325\u202fGHz"]


def test_capacitor_with_series_resistance() -> None:
    """100 fF and 3 ohm between the ports: Q = 1/(w R C), whatever hangs on the ports."""
    w = 2 * np.pi * np.array([AT_HZ])
    s = pi(1j * w * 15e-15 + 1e-3, 1 / (3 + 1 / (1j * w * 100e-15)), 1j * w * 25e-15)
    assert at("capacitance", s) == pytest.approx(100e-15, rel=1e-12)
    assert at("equivalent series resistance", s) == pytest.approx(3.0, rel=1e-10)
    assert at("capacitor quality", s) == pytest.approx(1 / (w[0] * 3 * 100e-15), rel=1e-10)
    assert at("shunt capacitance", s) == pytest.approx(15e-15, rel=1e-10)
    assert at("shunt capacitor quality", s) == pytest.approx(w[0] * 15e-15 / 1e-3, rel=1e-10)


def test_resistors_over_frequency() -> None:
    f = np.linspace(1e9, 20e9, 39)
    w = 2 * np.pi * f
    between = 1 / (50.0 + 1j * w * 10e-12)
    found = taken("series resistance", pi(1j * w * 10e-15, between, 1j * w * 10e-15), f, "window")
    assert found.value[0] == pytest.approx(50.0, rel=1e-10) and not found.remarks[0]
    skin = np.asarray(1 / (3.0 * np.sqrt(f / 1e9)), np.complex128)
    rising = taken("shunt resistance", pi(skin, 0j * w + 1e-9, 0j * w), f, "window")
    assert rising.remarks[0].startswith("not flat over the window")


def coplanar(w: float, s: float, ep_r: float, rho: float | None = None) -> CPW:
    frequency = skrf.Frequency.from_f(BAND_HZ, unit="Hz")
    kept = {"t": 12e-6, "rho": rho} if rho else {}
    return CPW(frequency, w=w, s=s, ep_r=ep_r, z0_port=50, **kept)


@pytest.mark.parametrize(
    ("w", "s", "ep_r", "z0_ohm", "permittivity"),
    [
        # Closed form of thin conductors on a thick substrate with eta0/4; the first also
        # stands in scikit-rf's own tests as 77.93 ohm and 2.39.
        (40e-6, 20e-6, 3.78, 77.9347, 2.390),
        (75e-6, 50e-6, 12.9, 49.6679, 6.950),
        (50e-6, 25e-6, 9.9, 51.6097, 5.450),
        (50e-6, 25e-6, 11.7, 47.8127, 6.350),
    ],
)
def test_coplanar_lines(
    w: float, s: float, ep_r: float, z0_ohm: float, permittivity: float
) -> None:
    line = coplanar(w, s, ep_r).line(LENGTH_M, "m").s
    z0 = figure_at(FIGURES["characteristic impedance"], line, BAND_HZ, 20e9, 50.0)
    assert z0 == pytest.approx(z0_ohm, abs=5e-4)
    found = figure_at(FIGURES["effective permittivity"], line, BAND_HZ, 20e9, 50.0, LENGTH_M)
    assert found == pytest.approx(permittivity, abs=5e-4)


def test_attenuation_grows_with_the_square_root_of_frequency() -> None:
    """Skin effect of gold, 2.44e-8 ohm m, by scikit-rf's model of a coplanar line."""
    made = coplanar(75e-6, 50e-6, 12.9, 2.44e-8)
    line = made.line(LENGTH_M, "m").s
    figure = FIGURES["attenuation per length"]
    found = figure.quantity(line, BAND_HZ, Surroundings(50.0, LENGTH_M))
    expected = 20 * np.log10(np.e) * made.gamma.real
    known = np.isfinite(found)
    assert known.mean() > 0.9
    assert found[known] == pytest.approx(expected[known], rel=1e-6)
    at_hz = np.array([np.argmin(np.abs(BAND_HZ - f)) for f in (10e9, 100e9)])
    low, high = found[at_hz]
    ratio = np.sqrt(BAND_HZ[at_hz[1]] / BAND_HZ[at_hz[0]])
    assert high / low == pytest.approx(ratio, rel=1e-3)


@pytest.mark.parametrize("z0_ohm", [50.0, 70.0, 38.0 - 2.0j])
@pytest.mark.parametrize("length_m", [0.2e-3, 1.8e-3, 5.25e-3])
def test_whole_turns_of_long_lines_are_counted(z0_ohm: complex, length_m: float) -> None:
    gamma = 3.0 * np.sqrt(BAND_HZ / 1e9) + 2j * np.pi * BAND_HZ * np.sqrt(6.2) / (
        SPEED_OF_LIGHT_M_PER_S
    )
    frequency = skrf.Frequency.from_f(BAND_HZ, unit="Hz")
    line = DefinedGammaZ0(frequency, z0_port=50, z0=z0_ohm, gamma=gamma).line(length_m, "m").s
    around = Surroundings(50.0, length_m)
    found = FIGURES["effective permittivity"].quantity(line[None], BAND_HZ, around)[0]
    expected = -np.real((gamma * SPEED_OF_LIGHT_M_PER_S / (2 * np.pi * BAND_HZ)) ** 2)
    known = np.isfinite(found)
    assert known.mean() > 0.85
    assert found[known] == pytest.approx(expected[known], rel=1e-8)
    gap = line.copy()
    gap[100:103] = np.nan
    around_gap = FIGURES["effective permittivity"].quantity(gap[None], BAND_HZ, around)[0]
    np.testing.assert_allclose(around_gap[103:], found[103:], rtol=1e-12)
    z0 = FIGURES["characteristic impedance"].quantity(line, BAND_HZ, around)
    assert z0[known] == pytest.approx(np.real(z0_ohm), rel=1e-6)


def test_a_line_at_one_frequency_is_followed_from_the_lowest() -> None:
    figure = FIGURES["effective permittivity"]
    line = coplanar(75e-6, 50e-6, 12.9).line(5e-3, "m").s
    used = used_frequencies(figure, BAND_HZ, at_hz=93.5e9)
    assert used[-1] == 93.5e9 and len(used) > 180
    found = figure_at(figure, line, BAND_HZ, 93.5e9, 50.0, 5e-3)
    assert found == pytest.approx(6.95, rel=2e-3)


def test_a_band_that_starts_after_several_turns() -> None:
    """75 to 110 GHz, 5 mm: the phase at the lowest point is more than a turn already."""
    high = BAND_HZ > 75e9
    line = coplanar(75e-6, 50e-6, 12.9).line(5e-3, "m").s[high]
    around = Surroundings(50.0, 5e-3)
    found = FIGURES["effective permittivity"].quantity(line, BAND_HZ[high], around)
    known = np.isfinite(found)
    assert known.mean() > 0.9
    assert found[known] == pytest.approx(6.95, rel=2e-3)


def test_steps_too_wide_to_count_turns() -> None:
    f = np.array([1e9, 2e9, 3e9, 60e9, 61e9])
    around = Surroundings(50.0, 5e-3)
    frequency = skrf.Frequency.from_f(f, unit="Hz")
    medium = CPW(frequency, w=75e-6, s=50e-6, ep_r=12.9, z0_port=50)
    quantity = FIGURES["effective permittivity"].quantity(medium.line(5e-3, "m").s, f, around)
    assert np.isfinite(quantity).tolist() == [True, True, True, False, False]
    attenuation = FIGURES["attenuation per length"].quantity(
        medium.line(5e-3, "m").s, f, Surroundings(50.0)
    )
    assert np.isnan(attenuation).all()  # no length is stated
