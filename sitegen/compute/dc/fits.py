"""Straight lines and polynomials through points of many curves at once, by least squares.

Readings y err independently and by the same standard deviation within one fit; x is exact.
Source: C. L. Lawson, R. J. Hanson, Solving Least Squares Problems (1974), the pseudo-inverse.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from sitegen.compute.dc.curves import Ordered
from sitegen.compute.dc.estimates import widened
from sitegen.model.arrays import BoolArray, FloatArray

LOCAL_POINTS, LOCAL_DEGREE = 7, 3
"""A derivative at a point is that of a cubic through the seven points around it (A. Savitzky,
M. J. E. Golay, Anal. Chem. 36 (1964) 1627, for points that need not be equally spaced)."""


BENT = 0.01
"""Probability at which a polynomial of higher degree is kept against one of lower degree."""


@dataclass(frozen=True, eq=False)
class Polynomial:
    """sum over k of c[:, k] (x - at)^k, of each curve."""

    at: FloatArray
    """(n,)."""
    c: FloatArray
    """(n, degree + 1)."""
    shape: FloatArray
    """(n, degree + 1, degree + 1): covariance of c for readings of unit variance."""
    s: FloatArray
    """(n,) standard deviation of the readings, shared and widened by `estimates.widened`."""
    freedom: npt.NDArray[np.int64]
    """(n,) points less coefficients."""
    s_plain: FloatArray
    """(n,) standard deviation of the curve's own readings about it."""

    def value(self, x: FloatArray, order: int = 0) -> FloatArray:
        """(n,) the polynomial, or its derivative of an order, at x (n,)."""
        return np.asarray((self.row(x, order) * self.c).sum(axis=1))

    def row(self, x: FloatArray, order: int = 0) -> FloatArray:
        """(n, degree + 1): what the coefficients are multiplied by in `value`."""
        d = x - self.at
        found = np.zeros(self.c.shape)
        for k in range(order, self.c.shape[1]):
            factor = float(np.prod(np.arange(k - order + 1, k + 1)))
            found[:, k] = factor * d ** (k - order)
        return found

    def u(self, row: FloatArray) -> FloatArray:
        """(n,) standard uncertainty of sum over k of row[:, k] c[:, k]."""
        square = np.einsum("ni,nij,nj->n", row, self.shape, row)
        return np.asarray(self.s * np.sqrt(square))


def polynomial(
    x: FloatArray,
    y: FloatArray,
    used: BoolArray,
    at: FloatArray,
    degree: int | npt.NDArray[np.int64],
) -> Polynomial:
    """The polynomial of a degree through the used points; NaN where they are too few.

    x, y, used: (n, p); at: (n,); degree: one for all, or (n,).
    """
    degrees = np.broadcast_to(degree, (len(x),))
    powers = np.arange(int(np.max(degree, initial=0)) + 1)
    d = np.where(used, x - at[:, None], 0.0)
    span = np.abs(d).max(axis=1, initial=0.0)
    span[~(span > 0)] = 1.0
    design = (d / span[:, None])[..., None] ** powers * used[..., None]
    design *= (powers <= degrees[:, None])[:, None, :]
    enough = used.sum(axis=1) > degrees
    inverse = np.linalg.pinv(design * enough[:, None, None])
    filled = np.where(used, y, 0.0)
    c = np.einsum("nkp,np->nk", inverse, filled)
    left = np.where(used, filled - np.einsum("npk,nk->np", design, c), 0.0)
    freedom = np.maximum(used.sum(axis=1) - degrees - 1, 0)
    scale = span[:, None] ** -powers.astype(np.float64)
    c = np.where(enough[:, None], c * scale, np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        s = np.sqrt((left**2).sum(axis=1) / freedom)
    return Polynomial(
        at=at,
        c=c,
        shape=np.einsum("nip,njp->nij", inverse, inverse) * scale[:, :, None] * scale[:, None, :],
        s=widened(s, freedom),
        freedom=freedom,
        s_plain=s,
    )


def window_around(
    points: Ordered, middle: npt.NDArray[np.int64], size: int = LOCAL_POINTS
) -> npt.NDArray[np.int64]:
    """(n, size) indices of the points around one; at an end the window is moved inwards.

    Indices at or beyond `points.count` hold no point.
    """
    start = np.clip(middle - size // 2, 0, np.maximum(points.count - size, 0))
    return np.asarray(start[:, None] + np.arange(size))


def gathered(
    points: Ordered, y: FloatArray, where: npt.NDArray[np.int64]
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """x, y and which places hold a point, of a window of indices."""
    inside = where < points.count[:, None]
    held = np.minimum(where, points.x.shape[1] - 1)
    x = np.take_along_axis(points.x, held, axis=1)
    return x, np.take_along_axis(y, held, axis=1), inside


def local(
    points: Ordered,
    y: FloatArray,
    middle: npt.NDArray[np.int64],
    at: FloatArray,
    degree: int = LOCAL_DEGREE,
) -> tuple[Polynomial, BoolArray]:
    """The cubic, or of the degree, through the points around an index, and which points it uses.

    y: (n, p), in the order of `points`: its readings or a function of them.
    """
    where = window_around(points, middle)
    x, values, inside = gathered(points, y, where)
    used = np.zeros(points.x.shape, dtype=bool)
    held = np.minimum(where, points.x.shape[1] - 1)
    rows = np.broadcast_to(np.arange(len(used))[:, None], held.shape)
    used[rows[inside], held[inside]] = True
    return polynomial(x, values, inside, at, degree), used


def noise_around(
    points: Ordered, y: FloatArray, middle: npt.NDArray[np.int64], cubic: Polynomial
) -> FloatArray:
    """(n,) standard deviation of the readings about the local cubic, without the curves' own bend.

    Where the curves together say that a quintic leaves less than the cubics do, by Fisher's F at
    1 %, the scatter is that about the quintic: on a coarse grid a cubic's remainder is bend.
    """
    quintic, _ = local(points, y, middle, cubic.at, LOCAL_DEGREE + 2)
    both = quintic.freedom > 0
    more, less = (
        float((one.freedom[both] * one.s_plain[both] ** 2).sum()) for one in (cubic, quintic)
    )
    free = int(quintic.freedom[both].sum())
    lost = int(cubic.freedom[both].sum()) - free
    if not less > 0 or stats.f.sf((more - less) / lost / (less / free), lost, free) >= BENT:
        return cubic.s
    return np.asarray(np.where(both, quintic.s, cubic.s))


def through(x: FloatArray, inside: BoolArray, at: FloatArray) -> FloatArray:
    """(n, k) weights of the points' y in the value of the polynomial through them all at a place.

    x, inside: (n, k), no two x of one row alike; at: (n,). Lagrange's form.
    """
    weights = np.where(inside, 1.0, 0.0)
    for other in range(x.shape[1]):
        apart = x - x[:, [other]]
        counts = inside & inside[:, [other]] & (apart != 0)
        weights *= np.where(counts, (at - x[:, other])[:, None], 1.0) / np.where(counts, apart, 1.0)
    return weights


def line(x: FloatArray, y: FloatArray, used: BoolArray) -> Polynomial:
    """The straight line through the used points, about their mean x."""
    n = np.maximum(used.sum(axis=1), 1)
    mean = np.where(used, x, 0.0).sum(axis=1) / n
    return polynomial(x, y, used, mean, 1)
