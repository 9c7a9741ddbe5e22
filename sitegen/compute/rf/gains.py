"""Gains and stability of two-ports, pointwise from S-parameters (..., 2, 2) to (...).

Power waves at one real reference impedance, equal at both ports. D is the determinant of S. Where
a definition fails the result is NaN. References quoted from memory.
"""

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray


def decibel(ratio: ComplexArray | FloatArray) -> FloatArray:
    """20 log10 of a ratio of amplitudes."""
    level: FloatArray = 20.0 * np.log10(np.abs(ratio))
    return level


def current_gain(s: ComplexArray) -> ComplexArray:
    """h21 = I2/I1 with port 2 shorted, Y21/Y11, whatever the reference impedance."""
    s11, s12, s21, s22 = entries(s)
    h21: ComplexArray = -2.0 * s21 / ((1 - s11) * (1 + s22) + s12 * s21)
    return h21


def unilateral_gain(s: ComplexArray) -> FloatArray:
    """Mason's invariant U, a ratio of powers; it can be negative.

    U = |Y21 - Y12|^2 / (4 (Re Y11 Re Y22 - Re Y12 Re Y21)) (Mason, "Power gain in feedback
    amplifiers", IRE Trans. Circuit Theory 1, 1954) is |Y21 - Y12|^2 / det(Y + Y*), with the
    conjugate of each entry and nothing transposed; in S it reads |S21 - S12|^2 / det(1 - S S*)
    (Gupta, IEEE Trans. MTT 40, 1992), without a detour over a matrix that may not exist.
    """
    s11, s12, s21, s22 = entries(s)
    first = 1.0 - np.abs(s11) ** 2 - s12 * np.conj(s21)
    last = 1.0 - np.abs(s22) ** 2 - s21 * np.conj(s12)
    upper = s11 * np.conj(s12) + s12 * np.conj(s22)
    lower = s21 * np.conj(s11) + s22 * np.conj(s21)
    gain: FloatArray = np.abs(s21 - s12) ** 2 / np.real(first * last - upper * lower)
    return gain


def stability_k(s: ComplexArray) -> FloatArray:
    """Rollett's K = (1 - |S11|^2 - |S22|^2 + |D|^2) / (2 |S12 S21|).

    Rollett, IRE Trans. Circuit Theory 9, 1962.
    """
    s11, s12, s21, s22 = entries(s)
    d = s11 * s22 - s12 * s21
    over = 1.0 - np.abs(s11) ** 2 - np.abs(s22) ** 2 + np.abs(d) ** 2
    k: FloatArray = over / (2.0 * np.abs(s12 * s21))
    return k


def stability_mu(s: ComplexArray) -> FloatArray:
    """mu = (1 - |S11|^2) / (|S22 - D S11*| + |S12 S21|), above 1 if unconditionally stable.

    The least distance from the centre of the load's chart to a load that makes the input unstable
    (Edwards and Sinsky, IEEE Trans. MTT 40, 1992).
    """
    s11, s12, s21, s22 = entries(s)
    d = s11 * s22 - s12 * s21
    mu: FloatArray = (1.0 - np.abs(s11) ** 2) / (np.abs(s22 - d * np.conj(s11)) + np.abs(s12 * s21))
    return mu


def maximum_stable_gain(s: ComplexArray) -> FloatArray:
    """MSG = |S21/S12|, a ratio of powers."""
    gain: FloatArray = np.abs(s[..., 1, 0]) / np.abs(s[..., 0, 1])
    return gain


def maximum_available_gain(s: ComplexArray) -> FloatArray:
    """MAG = |S21/S12| (K - sqrt(K^2 - 1)), a ratio of powers, of unconditionally stable devices.

    Both ports matched at once; that needs K >= 1 and |D| < 1, elsewhere NaN. Computed as
    |S21/S12| / (K + sqrt(K^2 - 1)), which does not cancel.
    """
    s11, s12, s21, s22 = entries(s)
    k = stability_k(s)
    stable = (k >= 1.0) & (np.abs(s11 * s22 - s12 * s21) < 1.0)
    return np.where(stable, maximum_stable_gain(s) / (k + np.sqrt(k**2 - 1.0)), np.nan)


def entries(s: ComplexArray) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """S11, S12, S21, S22 of (..., 2, 2)."""
    return s[..., 0, 0], s[..., 0, 1], s[..., 1, 0], s[..., 1, 1]
