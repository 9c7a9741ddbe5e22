"""Gains and stability of two-ports at each point, and their slopes by S.

Power waves at one real reference impedance, equal at both ports. D is the determinant of S. Where
a definition fails the result is NaN. References quoted from memory.
"""

import numpy as np

from sitegen.compute.rf.entries import product, transposed
from sitegen.compute.rf.seen import Seen
from sitegen.model.arrays import ComplexArray, FloatArray

DB_PER_NEPER = 20.0 / np.log(10.0)


def decibel(ratio: ComplexArray | FloatArray) -> FloatArray:
    """20 log10 of a ratio of amplitudes."""
    level: FloatArray = 20.0 * np.log10(np.abs(ratio))
    return level


def current_gain(at: Seen) -> ComplexArray:
    """h21 = I2/I1 with port 2 shorted, Y21/Y11, whatever the reference impedance."""
    h21: ComplexArray = -2.0 * at.s[2] / at.driven
    return h21


def relative_by_current_gain(at: Seen) -> ComplexArray:
    """dh21/h21 by S."""
    s11, s12, s21, s22 = at.s
    over = 1.0 / at.driven
    found = np.empty_like(at.s)
    found[0] = (1.0 + s22) * over
    found[1] = -s21 * over
    found[2] = 1.0 / s21 - s12 * over
    found[3] = (s11 - 1.0) * over
    return found


def current_gain_db(at: Seen) -> FloatArray:
    """|h21| in dB."""
    return decibel(current_gain(at))


def by_current_gain_db(at: Seen) -> ComplexArray:
    """Slopes of |h21| in dB."""
    return np.asarray(DB_PER_NEPER * relative_by_current_gain(at))


def _passive(at: Seen) -> ComplexArray:
    """1 - S S* by entry, with the conjugate of each entry and nothing transposed."""
    found = -product(at.s, at.s.conj())
    found[0] += 1.0
    found[3] += 1.0
    return found


def unilateral_gain(at: Seen) -> FloatArray:
    """Mason's invariant U, a ratio of powers; it can be negative.

    U = |Y21 - Y12|^2 / (4 (Re Y11 Re Y22 - Re Y12 Re Y21)) (Mason, "Power gain in feedback
    amplifiers", IRE Trans. Circuit Theory 1, 1954) is |Y21 - Y12|^2 / det(Y + Y*), with the
    conjugate of each entry and nothing transposed; in S it reads |S21 - S12|^2 / det(1 - S S*)
    (Gupta, IEEE Trans. MTT 40, 1992), without a detour over a matrix that may not exist.
    """
    a, b, c, d = _passive(at)
    gain: FloatArray = np.abs(at.s[2] - at.s[1]) ** 2 / np.real(a * d - b * c)
    return gain


def unilateral_gain_db(at: Seen) -> FloatArray:
    """U in dB; NaN where it is not above 0."""
    gain = unilateral_gain(at)
    return 10.0 * np.log10(np.where(gain > 0, gain, np.nan))


def by_unilateral_gain_db(at: Seen) -> ComplexArray:
    """Slopes of U in dB: d det(1 - S S*) = -2 Re trace(S* adj(1 - S S*) dS)."""
    a, b, c, d = _passive(at)
    over = 1.0 / np.real(a * d - b * c)
    found = transposed(product(at.s.conj(), (d, -b, -c, a))) * over
    apart = 1.0 / (at.s[2] - at.s[1])
    found[2] += apart
    found[1] -= apart
    return np.asarray(DB_PER_NEPER * found)


def stability_k(at: Seen) -> FloatArray:
    """Rollett's K = (1 - |S11|^2 - |S22|^2 + |D|^2) / (2 |S12 S21|).

    Rollett, IRE Trans. Circuit Theory 9, 1962.
    """
    s11, _, _, s22 = at.s
    over = 1.0 - np.abs(s11) ** 2 - np.abs(s22) ** 2 + np.abs(at.determinant) ** 2
    k: FloatArray = over / (2.0 * np.abs(at.crossed))
    return k


def by_stability_k(at: Seen) -> ComplexArray:
    """Slopes of K."""
    s11, s12, s21, s22 = at.s
    d, k, over = at.determinant.conj(), stability_k(at), 1.0 / np.abs(at.crossed)
    found = np.empty_like(at.s)
    found[0] = (d * s22 - s11.conj()) * over
    found[1] = -d * s21 * over - k / s12
    found[2] = -d * s12 * over - k / s21
    found[3] = (d * s11 - s22.conj()) * over
    return found


def stability_mu(at: Seen) -> FloatArray:
    """mu = (1 - |S11|^2) / (|S22 - D S11*| + |S12 S21|), above 1 if unconditionally stable.

    The least distance from the centre of the load's chart to a load that makes the input unstable
    (Edwards and Sinsky, IEEE Trans. MTT 40, 1992).
    """
    s11, _, _, s22 = at.s
    apart = np.abs(s22 - at.determinant * s11.conj())
    mu: FloatArray = (1.0 - np.abs(s11) ** 2) / (apart + np.abs(at.crossed))
    return mu


def by_stability_mu(at: Seen) -> ComplexArray:
    """Slopes of mu."""
    s11, s12, s21, s22 = at.s
    d, p = at.determinant, np.abs(at.crossed)
    apart = s22 - d * s11.conj()
    turned = apart.conj() / np.abs(apart)
    over = 1.0 / (np.abs(apart) + p)
    found = np.empty_like(at.s)
    found[0] = -turned * s11.conj() * s22 - (turned * d).conj()
    found[1] = turned * s11.conj() * s21 + p / s12
    found[2] = turned * s11.conj() * s12 + p / s21
    found[3] = turned * (1.0 - np.abs(s11) ** 2)
    found *= -stability_mu(at) * over
    found[0] -= 2.0 * s11.conj() * over
    return found


def stable_gain_db(at: Seen) -> FloatArray:
    """MSG = |S21/S12|, a ratio of powers, in dB."""
    gain: FloatArray = 10.0 * np.log10(np.abs(at.s[2]) / np.abs(at.s[1]))
    return gain


def by_stable_gain_db(at: Seen) -> ComplexArray:
    """Slopes of MSG in dB."""
    found = np.zeros_like(at.s)
    found[1] = -0.5 * DB_PER_NEPER / at.s[1]
    found[2] = 0.5 * DB_PER_NEPER / at.s[2]
    return found


def available_gain_db(at: Seen) -> FloatArray:
    """MAG = |S21/S12| (K - sqrt(K^2 - 1)), a ratio of powers, in dB, of devices that are stable.

    Both ports matched at once; that needs K >= 1 and |D| < 1, elsewhere NaN. Computed as
    |S21/S12| / (K + sqrt(K^2 - 1)), which does not cancel.
    """
    k = stability_k(at)
    stable = (k >= 1.0) & (np.abs(at.determinant) < 1.0)
    less_db = 10.0 * np.log10(k + np.sqrt(k**2 - 1.0))
    return np.where(stable, stable_gain_db(at) - less_db, np.nan)


def by_available_gain_db(at: Seen) -> ComplexArray:
    """Slopes of MAG in dB."""
    per_k = 0.5 * DB_PER_NEPER / np.sqrt(stability_k(at) ** 2 - 1.0)
    return np.asarray(by_stable_gain_db(at) - per_k * by_stability_k(at))
