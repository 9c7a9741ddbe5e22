"""Figures as a sweep without any error would give them, each by its own estimator's law.

Worked from admittances of the device itself; nothing here passes through S-parameters but the
levels at the probe tips. Quantities at the points of a window are combined as the estimator does: a
cut-off along -20 dB per decade is the mean level over the window, an element the mean of the middle
half of the window's points.
"""

from collections.abc import Callable

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray

Law = Callable[[ComplexArray, FloatArray], FloatArray]
"""From admittances (n, n_freq, 2, 2) and frequencies (n_freq,) to a quantity, (n, n_freq)."""


def _h21(y: ComplexArray, _: FloatArray) -> FloatArray:
    return np.asarray(20 * np.log10(np.abs(y[..., 1, 0] / y[..., 0, 0])))


def _unilateral(y: ComplexArray, _: FloatArray) -> FloatArray:
    """Mason's gain (IRE Trans. Circuit Theory 1 (1954) 20, quoted from memory), in dB."""
    above = np.abs(y[..., 1, 0] - y[..., 0, 1]) ** 2
    below = 4 * (y[..., 0, 0].real * y[..., 1, 1].real - y[..., 0, 1].real * y[..., 1, 0].real)
    return np.asarray(10 * np.log10(above / below))


def _inner(y: ComplexArray) -> ComplexArray:
    """Without the gate resistance Re(1/Y11)."""
    z = np.linalg.inv(y)
    z[..., 0, 0] -= (1.0 / y[..., 0, 0]).real
    return np.asarray(np.linalg.inv(z))


def _branch(y: ComplexArray) -> ComplexArray:
    """Impedance between the ports."""
    return np.asarray(-1.0 / y[..., 0, 1])


def _element(of: Callable[[ComplexArray, FloatArray], FloatArray]) -> Law:
    return lambda y, omega: of(_inner(y), omega)


LAWS: dict[str, Law] = {
    "h21 magnitude": _h21,
    "transit frequency by extrapolation": _h21,
    "maximum frequency of oscillation from U": _unilateral,
    "transconductance": _element(lambda y, _: np.abs(y[..., 1, 0] - y[..., 0, 1])),
    "output conductance": _element(lambda y, _: (y[..., 1, 1] + y[..., 0, 1]).real),
    "gate-source capacitance": _element(lambda y, w: (y[..., 0, 0] + y[..., 0, 1]).imag / w),
    "gate-drain capacitance": _element(lambda y, w: -y[..., 0, 1].imag / w),
    "drain-source capacitance": _element(lambda y, w: (y[..., 1, 1] + y[..., 0, 1]).imag / w),
    "inductance": lambda y, w: (1 / y[..., 0, 0]).imag / w,
    "inductor quality": lambda y, _: -y[..., 0, 0].imag / y[..., 0, 0].real,
    "capacitance": lambda y, w: -1.0 / (w * _branch(y).imag),
    "capacitor quality": lambda y, _: -_branch(y).imag / _branch(y).real,
    "equivalent series resistance": lambda y, _: _branch(y).real,
    "series resistance": lambda y, _: _branch(y).real,
}
"""By the figure's name; of a figure over a window the quantity at each point."""
_CUTOFFS = ("transit frequency by extrapolation", "maximum frequency of oscillation from U")
_DECIBELS_A_DECADE = 20.0


def over_window(figure: str, y: ComplexArray, frequency_hz: FloatArray) -> FloatArray:
    """The figure (n,) from admittances at the window's points, or at its one frequency."""
    points = LAWS[figure](y, 2 * np.pi * frequency_hz)
    if figure in _CUTOFFS:
        level = points + _DECIBELS_A_DECADE * np.log10(frequency_hz)
        return np.asarray(10 ** (level.mean(axis=-1) / _DECIBELS_A_DECADE))
    return _middle_half(points)


def _middle_half(points: FloatArray) -> FloatArray:
    """Mean of the middle half of the points (..., n) by size, those at its ends in part."""
    n = points.shape[-1]
    edges = np.clip(np.arange(n + 1) / n, 0.25, 0.75)
    return np.asarray(np.sort(points, axis=-1) @ (2.0 * np.diff(edges)))
