"""Noise of raw sweeps, estimated from sweeps repeated without lifting."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray

_MOST_STEPS = 50


@dataclass(frozen=True)
class SweepNoise:
    """Standard deviations of each of real and imaginary part of a raw S-parameter.

    sigma^2 = floor^2 + (trace |S|)^2: the floor is there whatever the size of S, trace noise
    grows with it.
    """

    floor: float
    trace: float
    degrees_of_freedom: int
    """Of all variances together, both parts counted."""


def noise_from_repeats(repeated: Sequence[ComplexArray]) -> SweepNoise | None:
    """Noise floor and trace noise from sweeps that nothing but noise can tell apart.

    Each S-parameter at each frequency gives a sample variance, sum |x_i - mean|^2 / 2(n - 1).
    Those of Gaussian noise are proportional to chi-squared, so the two squares are found by
    maximum likelihood: least squares with weights 1/sigma^4, iterated (a generalised linear
    model of the gamma family with identity link; McCullagh and Nelder, Generalized Linear
    Models, 1989, chapter 8, quoted from memory), neither below zero.

    Args:
        repeated: for each contact its sweeps, (n_repeat, n_freq, n_port, n_port), two or more.

    Returns:
        None where no contact was swept twice or nothing is finite.
    """
    variances, powers, freedoms = [], [], []
    for sweeps in repeated:
        if len(sweeps) < 2:
            continue
        mean = sweeps.mean(axis=0)
        freedom = 2 * (len(sweeps) - 1)
        variance = (np.abs(sweeps - mean) ** 2).sum(axis=0) / freedom
        finite = np.isfinite(variance)
        variances.append(variance[finite])
        powers.append(np.abs(mean[finite]) ** 2)
        freedoms.append(np.full(int(finite.sum()), float(freedom)))
    if not variances or not sum(map(len, variances)):
        return None
    freedom_of = np.concatenate(freedoms)
    floor, trace = _fitted(np.concatenate(variances), np.concatenate(powers), freedom_of)
    return SweepNoise(floor, trace, int(freedom_of.sum()))


def _fitted(variance: FloatArray, power: FloatArray, freedom: FloatArray) -> tuple[float, float]:
    """Square roots of intercept and slope of variance against power."""
    overall = float(np.average(variance, weights=freedom))
    if not overall > 0:
        return 0.0, 0.0
    expected: FloatArray = np.full(len(variance), overall)
    squares: FloatArray = np.zeros(2)
    for _ in range(_MOST_STEPS):
        weight = freedom / expected**2
        squares = _line_above_zero(variance, power, weight)
        new = np.maximum(squares[0] + squares[1] * power, 1e-6 * overall)
        done = np.allclose(new, expected, rtol=1e-6)
        expected = new
        if done:
            break
    return float(np.sqrt(squares[0])), float(np.sqrt(squares[1]))


def _line_above_zero(y: FloatArray, x: FloatArray, weight: FloatArray) -> FloatArray:
    """Intercept and slope of the weighted least-squares line, neither below zero."""
    total, sx, sy = weight.sum(), weight @ x, weight @ y
    sxx, sxy = weight @ x**2, weight @ (x * y)
    spread = total * sxx - sx**2
    if spread > 1e-9 * total * sxx:
        line: FloatArray = np.array([sxx * sy - sx * sxy, total * sxy - sx * sy]) / spread
        if line.min() >= 0:
            return line
        if line[0] < 0:
            return np.array([0.0, sxy / sxx])
    return np.array([sy / total, 0.0])
