"""Restricted likelihood of nested variance components, its gradient and its information."""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.stats.nested_design import Design, IntArray, Mixed
from sitegen.model.arrays import BoolArray, FloatArray


@dataclass(frozen=True, eq=False)
class Deviance:
    """-2 times the restricted log likelihood of b data sets at b sets of components."""

    value: FloatArray
    """(b,), with the constant (n - 1) log(2 pi)."""
    gradient: FloatArray
    """(k, b): by each component."""
    information: FloatArray
    """(b, k, k): twice the expected information of the components."""
    mean: FloatArray
    """(b,): estimate of the mean."""
    mean_variance: FloatArray
    """(b,): its variance at these components."""

    def only(self, columns: IntArray | BoolArray) -> "Deviance":
        """Of these data sets."""
        return Deviance(
            self.value[columns],
            self.gradient[:, columns],
            self.information[columns],
            self.mean[columns],
            self.mean_variance[columns],
        )

    def put(self, columns: IntArray | BoolArray, other: "Deviance") -> None:
        """Overwrite what is stated of these data sets."""
        self.value[columns] = other.value
        self.gradient[:, columns] = other.gradient
        self.information[columns] = other.information
        self.mean[columns] = other.mean
        self.mean_variance[columns] = other.mean_variance


@dataclass(eq=False)
class _Groups:
    """Precision and mean of the mixed groups of one level, with derivatives by the components."""

    inverse: FloatArray
    """(p, b): variance of the group's mean, given the group."""
    d_inverse: FloatArray
    """(k, p, b)."""
    dd_inverse: FloatArray
    """(k, k, p, b)."""
    mean: FloatArray
    """(p, b)."""
    d_mean: FloatArray
    """(k, p, b)."""


def deviance(data: Design, components: FloatArray) -> Deviance:
    """Restricted deviance of a nested design.

    components: (k, b) variances, innermost first, the innermost above zero. data may be of one
    data set, which then serves all b.

    Each group is integrated over its mean: with members of mean m_i and variance v_i,
    P = sum 1/v_i and M = sum m_i/v_i / P, it adds sum log v_i + log P + sum (m_i - M)^2 / v_i and
    is itself a member of mean M and variance 1/P plus its own component. The outermost step is
    over the mean of all, which makes the likelihood the restricted one (Patterson and Thompson
    1971, Biometrika 58, 545; Searle, Casella and McCulloch 1992, Variance Components, 6.6).
    """
    b = components.shape[1]
    expected = data.coefficient @ components
    degrees = data.degrees[:, None]
    value = data.constant + np.sum(
        degrees * np.log(expected) + data.square / expected, axis=0
    )  # fmt: skip
    slope = degrees / expected - data.square / expected**2
    gradient = data.coefficient.T @ slope
    weight = degrees / expected**2
    information = np.einsum("sk,sj,sb->bkj", data.coefficient, data.coefficient, weight)
    below: _Groups | None = None
    for level in data.mixed:
        below, added = _level(level, below, components)
        value = value + added[0]
        gradient = gradient + added[1]
        information = information + added[2]
    if below is not None:
        mean, variance = below.mean[0], below.inverse[0]
    else:
        mean, variance = data.mean, data.mean_coefficient @ components
    return Deviance(
        value + (data.n - 1) * np.log(2 * np.pi),
        gradient,
        information,
        np.broadcast_to(data.origin + mean, b).copy(),
        np.broadcast_to(variance, b).copy(),
    )


def _level(
    rows: Mixed, below: _Groups | None, components: FloatArray
) -> tuple[_Groups, tuple[FloatArray, FloatArray, FloatArray]]:
    """The groups of one level, and what they add to value, gradient and information."""
    k, b = components.shape
    count = rows.count[:, None]
    variance = rows.coefficient @ components
    d_variance: FloatArray = rows.coefficient.T[:, :, None]
    mean = rows.mean
    d_mean: FloatArray = np.zeros((k, len(rows.count), 1))
    dd_variance = None
    inner = np.flatnonzero(rows.member >= 0)
    if below is not None and inner.size:
        members = rows.member[inner]
        variance[inner] = components[rows.level] + below.inverse[members]
        d_variance, d_mean = (np.repeat(one, b, axis=2) for one in (d_variance, d_mean))
        d_variance[:, inner] = below.d_inverse[:, members]
        d_variance[rows.level, inner] += 1.0
        mean = np.array(np.broadcast_to(mean, variance.shape))
        mean[inner] = below.mean[members]
        d_mean[:, inner] = below.d_mean[:, members]
        dd_variance = np.zeros((k, k, len(rows.count), b))
        dd_variance[:, :, inner] = below.dd_inverse[:, :, members]
    weight = 1.0 / variance
    d_weight = -(weight**2) * d_variance
    products = d_variance[:, None] * d_variance[None, :]
    dd_weight = 2.0 * weight**3 * products
    dd_logarithm = -(weight**2) * products
    if dd_variance is not None:
        dd_weight -= weight**2 * dd_variance
        dd_logarithm += weight * dd_variance

    def over(array: FloatArray) -> FloatArray:
        return np.asarray(np.add.reduceat(array, rows.first, axis=-2))

    total = over(count * weight)
    d_total, dd_total = over(count * d_weight), over(count * dd_weight)
    center = over(count * weight * mean) / total
    rest = mean - center[rows.group]
    square = count * rest**2 + rows.square
    value = np.sum(count * np.log(variance) + weight * square, axis=0)
    value = value + np.log(total).sum(axis=0)
    gradient = np.sum(
        count * weight * d_variance + d_weight * square + 2.0 * count * weight * rest * d_mean,
        axis=1,
    ) + np.sum(d_total / total, axis=1)
    crossed = d_total[:, None] * d_total[None, :]
    curvature = (count * dd_logarithm).sum(axis=2) + (dd_total / total - crossed / total**2).sum(
        axis=2
    )
    groups = _Groups(
        inverse=1.0 / total,
        d_inverse=-d_total / total**2,
        dd_inverse=2.0 * crossed / total**3 - dd_total / total**2,
        mean=center,
        d_mean=over(count * (d_weight * rest + weight * d_mean)) / total,
    )
    return groups, (value, gradient, -np.moveaxis(curvature, 2, 0))
