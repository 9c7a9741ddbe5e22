"""Two-ports as chain (ABCD) matrices: elements, cascades, and S-parameters from them.

All arrays are (..., 2, 2) complex; B in ohm and C in siemens. Chain matrices relate
(V1, I1) at the left port to (V2, -I2) at the right one, so cascades are matrix products
(D. M. Pozar, "Microwave Engineering", section 4.4, quoted from memory).
"""

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import ComplexArray

Z_REF_OHM = 50.0
"""Reference impedance of every S-parameter made here."""


def chain(a: npt.ArrayLike, b: npt.ArrayLike, c: npt.ArrayLike, d: npt.ArrayLike) -> ComplexArray:
    """Chain matrices (..., 2, 2) from their four elements, broadcast against each other."""
    a, b, c, d = np.broadcast_arrays(a, b, c, d)
    matrices = np.stack([a, b, c, d], axis=-1).astype(np.complex128)
    return matrices.reshape((*matrices.shape[:-1], 2, 2))


def series(impedance_ohm: npt.ArrayLike) -> ComplexArray:
    """An impedance from the left port to the right one."""
    return chain(1.0, impedance_ohm, 0.0, 1.0)


def shunt(admittance_s: npt.ArrayLike) -> ComplexArray:
    """An admittance from the line to ground."""
    return chain(1.0, 0.0, admittance_s, 1.0)


def line(gamma_l: npt.ArrayLike, z0_ohm: npt.ArrayLike) -> ComplexArray:
    """A uniform line of complex propagation constant times length, and real impedance."""
    cosh, sinh = np.cosh(gamma_l), np.sinh(gamma_l)
    return chain(cosh, z0_ohm * sinh, sinh / z0_ohm, cosh)


def from_admittance(y: ComplexArray) -> ComplexArray:
    """Chain matrices of admittance matrices (..., 2, 2) in siemens; Y21 must not be zero."""
    y11, y12, y21, y22 = (y[..., i, j] for i in (0, 1) for j in (0, 1))
    return chain(-y22 / y21, -1.0 / y21, -(y11 * y22 - y12 * y21) / y21, -y11 / y21)


def to_scattering(chains: ComplexArray) -> ComplexArray:
    """S-parameters at both ports' reference impedance `Z_REF_OHM`, receiving port first."""
    a, d = chains[..., 0, 0], chains[..., 1, 1]
    b, c = chains[..., 0, 1] / Z_REF_OHM, chains[..., 1, 0] * Z_REF_OHM
    total = a + b + c + d
    s = np.empty(chains.shape, dtype=np.complex128)
    s[..., 0, 0] = (a + b - c - d) / total
    s[..., 0, 1] = 2.0 * (a * d - b * c) / total
    s[..., 1, 0] = 2.0 / total
    s[..., 1, 1] = (-a + b - c + d) / total
    return s


def join(left: ComplexArray, right: ComplexArray) -> ComplexArray:
    """S-parameters of two two-ports in a row: left's port 2 on right's port 1.

    Worked with the waves between them, so that a reflecting two-port (S21 = 0) is no exception.
    """
    l11, l12, l21, l22 = (left[..., i, j] for i in (0, 1) for j in (0, 1))
    r11, r12, r21, r22 = (right[..., i, j] for i in (0, 1) for j in (0, 1))
    loop = 1.0 - l22 * r11
    s = np.empty(np.broadcast_shapes(left.shape, right.shape), dtype=np.complex128)
    s[..., 0, 0] = l11 + l12 * l21 * r11 / loop
    s[..., 0, 1] = l12 * r12 / loop
    s[..., 1, 0] = l21 * r21 / loop
    s[..., 1, 1] = r22 + r12 * r21 * l22 / loop
    return s


def part(whole: ComplexArray, left: ComplexArray, right: ComplexArray) -> ComplexArray:
    """The two-port between `left` and `right`, from the S-parameters of all three in a row.

    One step from either side: with `left` taken off first, the remaining S'11 is
    (m - l11) / (l12 l21 + l22 (m - l11)), and so on; the inverse of `join(join(left, x), right)`.
    """
    return _without_right(_without_left(whole, left), right)


def _without_left(whole: ComplexArray, left: ComplexArray) -> ComplexArray:
    l11, l12, l21, l22 = (left[..., i, j] for i in (0, 1) for j in (0, 1))
    excess = whole[..., 0, 0] - l11
    below = l12 * l21 + l22 * excess
    s = np.empty(np.broadcast_shapes(whole.shape, left.shape), dtype=np.complex128)
    s[..., 0, 0] = excess / below
    s[..., 1, 0] = whole[..., 1, 0] * l12 / below
    s[..., 0, 1] = whole[..., 0, 1] * l21 / below
    s[..., 1, 1] = whole[..., 1, 1] - whole[..., 1, 0] * whole[..., 0, 1] * l22 / below
    return s


def _without_right(whole: ComplexArray, right: ComplexArray) -> ComplexArray:
    turned = _without_left(whole[..., ::-1, ::-1], right[..., ::-1, ::-1])
    return turned[..., ::-1, ::-1]
