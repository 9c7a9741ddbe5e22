"""Figures of merit against closed forms of lumped circuits."""

import subprocess
import sys
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from skrf.network import s2y

from sitegen.compute.rf.figures import (
    FIGURES,
    Surroundings,
    admittance,
    figure_at,
    used_frequencies,
)
from sitegen.model.figures import (
    FIGURE_FORMULAS,
    FIGURE_NAMES,
    FIGURE_PLACES,
    FIGURE_UNITS,
    TWO_PORT_ONLY,
    Place,
)
from tests.compute.rf import forward as fw

AT_HZ = 9.9091e9
OMEGA = 2 * np.pi * AT_HZ


def scattering(y: NDArray[Any]) -> fw.Array:
    """S at 50 ohm of Y-parameters, by matrix algebra."""
    unit = np.eye(2)
    s: fw.Array = np.linalg.inv(unit + 50.0 * y).astype(np.complex128) @ (unit - 50.0 * y)
    return s


def pi_circuit(left: complex, between: complex, right: complex) -> fw.Array:
    """S of admittances at port 1, between the ports, and at port 2."""
    return scattering(np.array([[left + between, -between], [-between, right + between]]))


def figure(name: str, s: fw.Array, at_hz: float = AT_HZ) -> float:
    return float(figure_at(FIGURES[name], s[np.newaxis], np.array([at_hz]), at_hz, 50.0))


def test_inductor() -> None:
    """0.5 nH with 2 ohm in series and 20 fF across, at 9.9091 GHz: .520074 nH, Q 14.9593.

    The numbers come from an independent program.
    """
    between = 1 / (2 + 1j * OMEGA * 0.5e-9) + 1j * OMEGA * 20e-15
    s = pi_circuit(0, between, 0)
    assert figure("inductance", s) == pytest.approx(0.520074e-9, rel=1e-6)
    assert figure("inductor quality", s) == pytest.approx(14.9593, abs=5e-5)


def test_series_capacitor_is_exact_with_series_resistance_and_any_shunt() -> None:
    between = 1 / (3 + 1 / (1j * OMEGA * 100e-15))
    s = pi_circuit(1j * OMEGA * 15e-15 + 1e-3, between, 1j * OMEGA * 25e-15)
    assert figure("capacitance", s) == pytest.approx(100e-15, rel=1e-12)


def test_current_gain_of_a_hybrid_pi() -> None:
    """gm .1 S, gds 5 mS, Cgs 80, Cgd 20, Cds 30 fF, Rg 5 ohm: |h21| 24.037088 dB at 10 GHz.

    S at 10 GHz is checked too; the numbers come from an independent program.
    """
    w = 2 * np.pi * 10e9
    gm, gds, cgs, cgd, cds = 0.1, 5e-3, 80e-15, 20e-15, 30e-15
    y: fw.Array = np.array(
        [[1j * w * (cgs + cgd), -1j * w * cgd], [gm - 1j * w * cgd, gds + 1j * w * (cds + cgd)]]
    )
    z = np.linalg.inv(y)
    z[0, 0] += 5.0
    s = scattering(np.linalg.inv(z))
    printed = [
        [0.476014 - 0.769951j, 0.050763 + 0.065180j],
        [-5.136071 + 4.104761j, 0.316563 - 0.449428j],
    ]
    assert np.abs(s - printed).max() < 1e-6
    assert figure("h21 magnitude", s, 10e9) == pytest.approx(24.037088, abs=5e-7)


def test_admittance_agrees_with_scikit_rf() -> None:
    s = fw.active_devices(3, 20, 7)
    theirs = np.stack([s2y(each, 50.0) for each in s])
    assert np.abs(admittance(s, 50.0) - theirs).max() < 1e-9 * np.abs(theirs).max()


def test_scattering_figures() -> None:
    s = np.array([[0.1, 0.2], [-0.5j, 1.0]], complex)
    assert figure("s11 magnitude", s) == pytest.approx(-20.0)
    assert figure("s21 magnitude", s) == pytest.approx(-6.0206, abs=1e-4)
    assert figure("s21 phase", s) == pytest.approx(-90.0)
    assert figure("s12 magnitude", s) == pytest.approx(-13.9794, abs=1e-4)
    assert figure("s22 phase", s) == 0.0


def test_many_sweeps_at_once_and_between_points() -> None:
    s = fw.passive_devices(4, 12, 5).reshape(3, 4, 5, 2, 2)
    frequency_hz = np.linspace(1e9, 5e9, 5)
    found = figure_at(FIGURES["s21 magnitude"], s, frequency_hz, 2.25e9, 50.0)
    between = 0.75 * s[..., 1, 1, 0] + 0.25 * s[..., 2, 1, 0]
    assert found.shape == (3, 4)
    assert np.abs(found - 20 * np.log10(np.abs(between))).max() < 1e-12


@pytest.mark.parametrize("name", FIGURES)
def test_nothing_is_extrapolated_and_nan_stays(name: str) -> None:
    s = fw.passive_devices(5, 2, 3)
    s[1] = np.nan
    frequency_hz = np.array([1e9, 2e9, 3e9])
    inside = figure_at(FIGURES[name], s, frequency_hz, 1.5e9, 50.0, 1e-3)
    assert np.isfinite(inside).tolist() == [True, False]
    for outside_hz in (0.9e9, 3.1e9):
        outside = figure_at(FIGURES[name], s, frequency_hz, outside_hz, 50.0, 1e-3)
        assert np.isnan(outside).all()


def test_an_undefined_figure_is_nan_without_a_warning(recwarn: pytest.WarningsRecorder) -> None:
    nothing = np.zeros((2, 2), complex)
    assert np.isnan(figure("s21 magnitude", nothing))
    assert np.isnan(figure("s21 phase", nothing))
    assert np.isnan(figure("capacitance", nothing))
    assert not recwarn.list


def test_every_figure_says_what_it_is() -> None:
    for key, each in FIGURES.items():
        assert each.name and each.unit and each.formula and each.source, key
        assert each.key == key


def test_the_catalogue_of_names_needs_no_arrays() -> None:
    """A page of reference can be made without the libraries that compute."""
    told = "import sys, sitegen.model.figures; print('numpy' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


def test_every_figure_that_a_record_can_name_is_computed_in_the_unit_it_declares() -> None:
    assert set(FIGURES) == set(FIGURE_NAMES)
    assert {name: figure.unit for name, figure in FIGURES.items()} == FIGURE_UNITS
    assert {name: figure.formula for name, figure in FIGURES.items()} == FIGURE_FORMULAS


SWEEP_HZ = np.linspace(1e9, 40e9, 40)
AROUND = Surroundings(50.0, 1e-3)


def resonators(n: int, n_port: int = 2) -> fw.Array:
    """Sweeps of inductors that resonate inside the band, between the ports and to ground."""
    w = 2 * np.pi * SWEEP_HZ
    found = []
    for k in range(n):
        coil = 1 / ((2 + k) + 1j * w * 1e-9) + 1j * w * (40 + k) * 1e-15
        pad = 1j * w * 10e-15 + 1e-3
        y = np.array([[pad + coil, -coil], [-coil, pad + coil]])
        found.append(scattering(np.moveaxis(y, -1, 0)))
    return np.stack(found)


@pytest.mark.parametrize(
    ("name", "place"), [(name, place) for name in FIGURES for place in FIGURE_PLACES[name]]
)
def test_weights_are_what_the_quantity_changes_in_the_value(name: str, place: Place) -> None:
    """To first order, with the choice of points held; NaN points have no weight."""
    figure = FIGURES[name]
    if name == "self-resonance":
        q = figure.quantity(resonators(5), SWEEP_HZ, AROUND)
    else:
        rng = np.random.default_rng(8)
        q = 30.0 - 20.0 * np.log10(SWEEP_HZ / 1e10) + 0.3 * rng.normal(size=(5, 40))
        q[3, 20] += 8.0
    q[1, 3] = q[4] = np.nan
    found = figure.estimate(q, SWEEP_HZ, place)
    assert np.isfinite(found.value).tolist() == [True, True, True, True, False]
    assert (found.no_value != "").tolist() == [False, False, False, False, True]
    assert found.weights.shape == q.shape and not found.weights[np.isnan(q)].any()
    change = 1e-7 * np.random.default_rng(9).normal(size=q.shape) * np.nanmax(np.abs(q))
    moved = figure.estimate(q + change, SWEEP_HZ, place)
    expected = np.where(np.isnan(q), 0.0, found.weights * change).sum(axis=1)
    size = np.abs(np.where(np.isnan(q), 0.0, found.weights * change)).sum(axis=1)
    known = slice(0, 4)
    off = np.abs(moved.value - found.value - expected)[known]
    assert (off <= 1e-5 * size[known] + 1e-13 * np.abs(found.value[known])).all()


@pytest.mark.parametrize("name", FIGURES)
def test_each_point_depends_on_its_own_sweep_and_frequency_only(name: str) -> None:
    s = resonators(3)
    whole = FIGURES[name].quantity(s, SWEEP_HZ, AROUND)
    few = FIGURES[name].quantity(s[1:2, 7:11], SWEEP_HZ[7:11], AROUND)
    np.testing.assert_allclose(few, whole[1:2, 7:11], rtol=1e-12, atol=0)
    moved = s.copy()
    moved[1, 8] *= 1.001
    changed = FIGURES[name].quantity(moved, SWEEP_HZ, AROUND) != whole
    changed &= ~np.isnan(whole)
    changed[1, 8] = False
    assert not changed.any()


@pytest.mark.parametrize("name", sorted(set(FIGURES) - TWO_PORT_ONLY))
def test_a_one_port_device_is_the_first_port_beside_a_matched_one(name: str) -> None:
    """A one-port inductor and resistor in parallel with a capacitor, to ground."""
    w = 2 * np.pi * SWEEP_HZ
    y = 1 / (2 + 1j * w * 1e-9) + 1j * w * 40e-15
    s: fw.Array = np.zeros((1, 40, 2, 2), complex)
    s[0, :, 0, 0] = (1 / 50 - y) / (1 / 50 + y)
    expected = {
        "inductance": np.imag(1 / y) / w,
        "inductor quality": -y.imag / y.real,
        "self-resonance": w * y.imag,
        "shunt capacitance": y.imag / w,
        "shunt capacitor quality": y.imag / y.real,
        "shunt resistance": np.real(1 / y),
        "s11 magnitude": 20 * np.log10(np.abs(s[0, :, 0, 0])),
        "s11 phase": np.degrees(np.angle(s[0, :, 0, 0])),
    }[name]
    found = FIGURES[name].quantity(s, SWEEP_HZ, AROUND)[0]
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_which_points_a_value_is_taken_from() -> None:
    f = np.array([1.0, 2.0, 3.0, 4.0])
    gain, phase = FIGURES["h21 magnitude"], FIGURES["effective permittivity"]
    assert used_frequencies(gain, f, at_hz=2.5).tolist() == [2.5]
    assert used_frequencies(phase, f, at_hz=2.5).tolist() == [1.0, 2.0, 2.5]
    assert used_frequencies(phase, f, at_hz=3.0).tolist() == [1.0, 2.0, 3.0]
    assert used_frequencies(gain, f, window_hz=(2.0, 3.0)).tolist() == [2.0, 3.0]
    assert used_frequencies(gain, f).tolist() == [1.0, 2.0, 3.0, 4.0]
