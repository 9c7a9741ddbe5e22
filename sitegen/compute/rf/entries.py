"""Matrices of one or two ports by entry: (n_port^2, ..., n_f) complex, row by row.

Each entry is an array of its own, contiguous over frequency, so that arithmetic on many matrices
runs over memory in order. S11, S12, S21, S22 of two ports; S11 of one.
"""

from collections.abc import Sequence

import numpy as np

from sitegen.model.arrays import ComplexArray

Entries = ComplexArray | Sequence[ComplexArray]


def by_entry(s: ComplexArray) -> ComplexArray:
    """Entries of (..., n_f, n_port, n_port); no copy where they lie so in memory already."""
    moved = np.ascontiguousarray(s.transpose(s.ndim - 2, s.ndim - 1, *range(s.ndim - 2)))
    return moved.reshape(moved.shape[0] * moved.shape[1], *moved.shape[2:])


def as_matrices(entries: ComplexArray) -> ComplexArray:
    """(..., n_f, n_port, n_port) of entries, on the same memory."""
    n_ports = 1 if len(entries) == 1 else 2
    whole = entries.reshape(n_ports, n_ports, *entries.shape[1:])
    return whole.transpose(*range(2, whole.ndim), 0, 1)


def product(left: Entries, right: Entries) -> ComplexArray:
    """Matrix products, each factor broadcast against the other."""
    if len(left) == 1:
        return np.asarray(left[0] * right[0])[np.newaxis]
    a, b, c, d = left
    e, f, g, h = right
    shape = np.broadcast_shapes(a.shape, e.shape)
    made = np.empty((4, *shape), np.result_type(a, e))
    for place, (one, first, two, second) in enumerate(
        ((a, e, b, g), (a, f, b, h), (c, e, d, g), (c, f, d, h))
    ):
        np.multiply(one, first, out=made[place])
        made[place] += two * second
    return made


def inverse(matrix: ComplexArray) -> ComplexArray:
    """Inverses; not finite where there is none."""
    if len(matrix) == 1:
        return 1.0 / matrix
    a, b, c, d = matrix
    over = 1.0 / (a * d - b * c)
    return np.stack([d * over, -b * over, -c * over, a * over])


def transposed(matrix: Entries) -> Entries:
    """Transposes, on the same memory."""
    if len(matrix) == 1:
        return matrix
    a, b, c, d = matrix
    return a, c, b, d


def known(matrix: ComplexArray) -> ComplexArray:
    """The same with 0 where it is not finite."""
    return matrix if np.isfinite(matrix.sum()) else np.where(np.isfinite(matrix), matrix, 0.0)


def through(left: ComplexArray, slope: ComplexArray, right: ComplexArray) -> ComplexArray:
    """Slopes by W from those by X, where dX = L dW R."""
    return product(transposed(left), product(slope, transposed(right)))


def passed_back(derivatives: ComplexArray, slope: ComplexArray) -> ComplexArray:
    """Slopes by what goes into a change of matrices, from those by what comes out.

    Args:
        derivatives: (n_out, n_in, ..., n_f) of each entry that comes out by each that goes in.
        slope: (n_out, ..., n_f) with dv = Re(sum of slope dS), over entries and points.
    """
    n_out, n_in = derivatives.shape[:2]
    shape = np.broadcast_shapes(derivatives.shape[2:], slope.shape[1:])
    back = np.empty((n_in, *shape), np.result_type(derivatives, slope))
    for place in range(n_in):
        np.multiply(derivatives[0, place], slope[0], out=back[place])
        for out in range(1, n_out):
            back[place] += derivatives[out, place] * slope[out]
    return back
