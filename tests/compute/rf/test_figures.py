"""Figures of merit against closed forms of lumped circuits."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from skrf.network import s2y

from sitegen.compute.rf.figures import FIGURES, admittance, figure_at
from sitegen.model.figures import FIGURE_FORMULAS, FIGURE_UNITS
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
    inside = figure_at(FIGURES[name], s, frequency_hz, 1.5e9, 50.0)
    assert np.isfinite(inside).tolist() == [True, False]
    for outside_hz in (0.9e9, 3.1e9):
        assert np.isnan(figure_at(FIGURES[name], s, frequency_hz, outside_hz, 50.0)).all()


def test_an_undefined_figure_is_nan_without_a_warning(recwarn: pytest.WarningsRecorder) -> None:
    nothing = np.zeros((2, 2), complex)
    assert np.isnan(figure("s21 magnitude", nothing))
    assert np.isnan(figure("s21 phase", nothing))
    assert np.isnan(figure("capacitance", nothing))
    assert not recwarn.list


def test_every_figure_says_what_it_is() -> None:
    for key, each in FIGURES.items():
        assert each.name and each.unit and each.formula and each.source, key


def test_every_figure_that_a_record_can_name_is_computed_in_the_unit_it_declares() -> None:
    assert {name: figure.unit for name, figure in FIGURES.items()} == FIGURE_UNITS
    assert {name: figure.formula for name, figure in FIGURES.items()} == FIGURE_FORMULAS
