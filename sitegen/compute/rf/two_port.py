"""Two-ports in their several forms, in closed form for any number of them at once.

All arrays are (..., 2, 2) complex. S at one real reference impedance (power waves); Y in siemens, Z
in ohm; the chain matrix relates (V1, I1) to (V2, -I2), so that cascades are products (Pozar,
"Microwave Engineering", conversion tables; quoted from memory). Where a form does not exist the
result is not finite, without a warning. Results lie in memory entry by entry (`entries`).
"""

from typing import Any

import numpy as np

from sitegen.compute.rf import entries
from sitegen.compute.rf.entries import as_matrices
from sitegen.model.arrays import ComplexArray

Entries = np.ndarray[tuple[Any, ...], np.dtype[Any]]


def _matrix(a: Entries, b: Entries, c: Entries, d: Entries, times: Entries) -> ComplexArray:
    """Of its entries, all times a factor."""
    shape = np.broadcast_shapes(a.shape, b.shape, c.shape, d.shape)
    made = np.empty((4, *shape), dtype=np.complex128)
    for place, entry in enumerate((a, b, c, d)):
        np.multiply(entry, times, out=made[place])
    return as_matrices(made)


def _entries(
    matrix: ComplexArray,
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    return matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 0], matrix[..., 1, 1]


def product(left: ComplexArray, right: ComplexArray) -> ComplexArray:
    """Matrix product of two-by-two matrices."""
    return as_matrices(entries.product(_entries(left), _entries(right)))


@np.errstate(all="ignore")
def inverse(matrix: ComplexArray) -> ComplexArray:
    """Inverse of two-by-two matrices; Y to Z and back."""
    a, b, c, d = _entries(matrix)
    over = 1.0 / (a * d - b * c)
    return _matrix(d, -b, -c, a, over)


@np.errstate(all="ignore")
def admittance(s: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """Y = (1/Z0)(I - S)(I + S)^-1."""
    s11, s12, s21, s22 = _entries(s)
    crossed = s12 * s21
    over = 1.0 / (((1 + s11) * (1 + s22) - crossed) * z_ref_ohm)
    return _matrix(
        (1 - s11) * (1 + s22) + crossed,
        -2 * s12,
        -2 * s21,
        (1 + s11) * (1 - s22) + crossed,
        over,
    )


@np.errstate(all="ignore")
def impedance(s: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """Z = Z0 (I + S)(I - S)^-1."""
    s11, s12, s21, s22 = _entries(s)
    crossed = s12 * s21
    over = z_ref_ohm / ((1 - s11) * (1 - s22) - crossed)
    return _matrix(
        (1 + s11) * (1 - s22) + crossed,
        2 * s12,
        2 * s21,
        (1 - s11) * (1 + s22) + crossed,
        over,
    )


@np.errstate(all="ignore")
def from_admittance(y: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """S = (I - Z0 Y)(I + Z0 Y)^-1."""
    a, b, c, d = _entries(y * z_ref_ohm)
    crossed = b * c
    over = 1.0 / ((1 + a) * (1 + d) - crossed)
    return _matrix(
        (1 - a) * (1 + d) + crossed,
        -2 * b,
        -2 * c,
        (1 + a) * (1 - d) + crossed,
        over,
    )


@np.errstate(all="ignore")
def from_impedance(z: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """S = (Z/Z0 - I)(Z/Z0 + I)^-1."""
    a, b, c, d = _entries(z / z_ref_ohm)
    crossed = b * c
    over = 1.0 / ((a + 1) * (d + 1) - crossed)
    return _matrix(
        (a - 1) * (d + 1) - crossed,
        2 * b,
        2 * c,
        (a + 1) * (d - 1) - crossed,
        over,
    )


@np.errstate(all="ignore")
def chain(s: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """Chain (ABCD) matrices; S21 must not be zero."""
    s11, s12, s21, s22 = _entries(s)
    crossed = s12 * s21
    return _matrix(
        (1 + s11) * (1 - s22) + crossed,
        ((1 + s11) * (1 + s22) - crossed) * z_ref_ohm,
        ((1 - s11) * (1 - s22) - crossed) / z_ref_ohm,
        (1 - s11) * (1 + s22) + crossed,
        0.5 / s21,
    )


@np.errstate(all="ignore")
def from_chain(abcd: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """S of chain matrices."""
    a, b, c, d = _entries(abcd)
    series, shunt = b / z_ref_ohm, c * z_ref_ohm
    over = 1.0 / (a + series + shunt + d)
    return _matrix(
        a + series - shunt - d,
        2.0 * (a * d - b * c),
        np.asarray(2.0),
        d + series - shunt - a,
        over,
    )


def mirrored(abcd: ComplexArray) -> ComplexArray:
    """The chain matrix of a reciprocal two-port seen from its other side: A and D exchanged."""
    a, b, c, d = _entries(abcd)
    return as_matrices(np.array([d, b, c, a]))


def as_two_port(s: ComplexArray, reflection: ComplexArray | float = 0.0) -> ComplexArray:
    """One-port S (..., 1, 1) as the first port of a two-port whose second stands by itself.

    reflection: of the second port, (...) or one for all; 0: it is matched. S of two ports stays.
    """
    if s.shape[-1] == 2:
        return s
    widened: ComplexArray = np.zeros((*s.shape[:-2], 2, 2), dtype=np.complex128)
    widened[..., 0, 0], widened[..., 1, 1] = s[..., 0, 0], reflection
    return widened
