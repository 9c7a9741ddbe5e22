"""Values known only to lie below a floor, or beyond what a measurement reached.

Left-censored: below its own floor. Right-censored: above its own bound. Two estimators: the
product limit of Kaplan and Meier, which assumes no law, and the log-normal law by maximum
likelihood.

Sources: Kaplan and Meier 1958, Journal of the American Statistical Association 53:457 (product
limit, restricted mean); Helsel 2012, Statistics for Censored Environmental Data, chapter 6
(flipping left-censored values, quoted from memory); Cohen 1959, Technometrics 1:217 (likelihood of
censored normal samples).
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtri

from sitegen.model.arrays import BoolArray, FloatArray

ROUNDING = 1e-12
"""Shares closer than this are equal: each is a product of as many factors as there are values."""
NEWTON_STEPS = 100
HALF_LOG_TWO_PI = 0.5 * float(np.log(2 * np.pi))


@dataclass(frozen=True, eq=False)
class ProductLimit:
    """Distribution of censored values as far as it is known; in the values' unit."""

    n: int
    value: FloatArray
    """Uncensored values without repeats, ascending, (k,)."""
    share: FloatArray
    """Share of the distribution at each of them, (k,)."""
    share_below: float
    """Share of which nothing is known but that it lies below `lowest` (left-censored)."""
    share_above: float
    """Share of which nothing is known but that it lies above `highest` (right-censored)."""
    lowest: float
    """The least of all values and floors."""
    highest: float
    """The greatest of all values and bounds."""

    def at_or_below(self) -> FloatArray:
        """Share of the distribution at or below each of `value`, (k,)."""
        return np.asarray(self.share_below + np.cumsum(self.share))

    def quantile(self, p: float) -> float:
        """The least value at or below which lies the share p.

        -inf: inside the share below the floor; inf: inside the share above the bound.
        """
        if p <= self.share_below + ROUNDING and self.share_below > 0:
            return -np.inf
        reached = np.flatnonzero(self.at_or_below() >= p - ROUNDING)
        return float(self.value[reached[0]]) if len(reached) else np.inf

    def mean(self) -> float:
        """Mean restricted to where the distribution is known.

        What is known only to lie below `lowest` is taken at it, and above `highest` likewise: of
        left-censored values an upper bound of the mean, of right-censored ones a lower bound.
        """
        values, shares = self._restricted()
        return float(np.dot(shares, values))

    def standard_deviation(self) -> float:
        """Of the restricted distribution, times sqrt(n / (n - 1)) as for a sample; NaN for n = 1.

        Without a censored value it is the sample standard deviation.
        """
        if self.n < 2:
            return float("nan")
        values, shares = self._restricted()
        square = float(np.dot(shares, (values - self.mean()) ** 2))
        return float(np.sqrt(square * self.n / (self.n - 1)))

    def _restricted(self) -> tuple[FloatArray, FloatArray]:
        return (
            np.concatenate(([self.lowest], self.value, [self.highest])),
            np.concatenate(([self.share_below], self.share, [self.share_above])),
        )


def right_censored(values: npt.ArrayLike, censored: npt.ArrayLike) -> ProductLimit:
    """Product limit of values (n,) of which those marked are known only to lie above the number.

    S(t) = Π (1 - d_j / n_j) over the values t_j <= t: d_j lie at t_j, n_j at or above it, a
    censored one at t_j among them (Kaplan and Meier 1958, equation (2b), quoted from memory).

    Raises ValueError for no values, for shapes that do not fit, and for values that are not finite.
    """
    numbers, hidden = _sample(values, censored)
    at, deaths = np.unique(numbers[~hidden], return_counts=True)
    at_risk = len(numbers) - np.searchsorted(np.sort(numbers), at, side="left")
    survive = np.cumprod(1.0 - deaths / at_risk)
    before = np.concatenate(([1.0], survive))
    return ProductLimit(
        n=len(numbers),
        value=at,
        share=before[:-1] - before[1:],
        share_below=0.0,
        share_above=float(before[-1]) if hidden.any() and before[-1] > ROUNDING else 0.0,
        lowest=float(numbers.min()),
        highest=float(numbers.max()),
    )


def left_censored(values: npt.ArrayLike, censored: npt.ArrayLike) -> ProductLimit:
    """Product limit of values (n,) of which those marked are known only to lie below the number.

    The values are flipped, so that left is right, and the result is flipped back (Helsel 2012).
    Raises ValueError as `right_censored` does.
    """
    numbers, hidden = _sample(values, censored)
    flipped = right_censored(-numbers, hidden)
    return ProductLimit(
        n=flipped.n,
        value=-flipped.value[::-1],
        share=flipped.share[::-1],
        share_below=flipped.share_above,
        share_above=0.0,
        lowest=-flipped.highest,
        highest=-flipped.lowest,
    )


@dataclass(frozen=True)
class LogNormal:
    """The log-normal law: ln(value / unit) is normal with mean mu and standard deviation sigma."""

    mu: float
    sigma: float

    def mean(self) -> float:
        """exp(mu + sigma²/2)."""
        return float(np.exp(self.mu + 0.5 * self.sigma**2))

    def standard_deviation(self) -> float:
        """mean sqrt(exp(sigma²) - 1)."""
        return float(self.mean() * np.sqrt(np.expm1(self.sigma**2)))

    def quantile(self, p: float) -> float:
        """exp(mu + sigma Phi^-1(p))."""
        return float(np.exp(self.mu + self.sigma * ndtri(p)))

    @classmethod
    def fitted(
        cls,
        values: npt.ArrayLike,
        below: npt.ArrayLike | None = None,
        above: npt.ArrayLike | None = None,
    ) -> Self | None:
        """The law by maximum likelihood from positive values (n,).

        below, above: (n,) bool, true where a value is known only to lie below or above the number.
        None where the likelihood has no maximum: fewer than two different uncensored values.
        sigma has the divisor n where nothing is censored, as a maximum-likelihood estimate has.

        Raises ValueError for shapes that do not fit, for values that are not positive and finite,
        and for a value that is censored on both sides.
        """
        numbers = np.asarray(values, dtype=np.float64)
        left, right = (
            np.zeros(numbers.shape, bool) if flags is None else np.asarray(flags, dtype=bool)
            for flags in (below, above)
        )
        if numbers.ndim != 1 or left.shape != numbers.shape or right.shape != numbers.shape:
            raise ValueError(
                f"shapes {numbers.shape}, {left.shape} and {right.shape} do not fit together"
            )
        if not (np.isfinite(numbers) & (numbers > 0)).all():
            raise ValueError("a log-normal law needs positive, finite values")
        if (left & right).any():
            raise ValueError("a value can be censored on one side only")
        logs = np.log(numbers)
        plain = logs[~left & ~right]
        if len(plain) < 2 or plain.min() == plain.max():
            return None
        mu, sigma = _normal_fit(plain, logs[left], logs[right])
        return cls(mu, sigma)


def _normal_fit(plain: FloatArray, below: FloatArray, above: FloatArray) -> tuple[float, float]:
    """Mean and standard deviation of a normal law by maximum likelihood, from censored values.

    Newton's method on gamma = mu/sigma and theta = 1/sigma, in which the log-likelihood is concave
    (Olsen 1978, Econometrica 46:1211); values are standardised first. A step that does not raise
    the likelihood is halved.
    """
    shift, scale = float(plain.mean()), float(plain.std())
    z, low, high = ((part - shift) / scale for part in (plain, below, above))
    at = np.array([0.0, 1.0])
    height, slope, curvature = _likelihood(at, z, low, high)
    for _ in range(NEWTON_STEPS):
        step = np.linalg.solve(curvature, -slope)
        if float(slope @ step) < ROUNDING * 1e-3:
            break
        while True:
            moved = at + step
            found = _likelihood(moved, z, low, high) if moved[1] > 0 else None
            if found is not None and found[0] >= height:
                break
            step = 0.5 * step
            if np.abs(step).max() < 1e-15:
                return shift + scale * float(at[0] / at[1]), scale / float(at[1])
        at = moved
        height, slope, curvature = found
    return shift + scale * float(at[0] / at[1]), scale / float(at[1])


def _likelihood(
    at: FloatArray, plain: FloatArray, below: FloatArray, above: FloatArray
) -> tuple[float, FloatArray, FloatArray]:
    """Log-likelihood with its first and second derivatives by gamma and theta.

    An uncensored value adds ln theta - r²/2 with r = theta z - gamma; one known to lie below z adds
    ln Phi(r), one above it ln Phi(-r).
    """
    gamma, theta = float(at[0]), float(at[1])
    r = theta * plain - gamma
    height = len(plain) * np.log(theta) - 0.5 * float(r @ r)
    slope = np.array([r.sum(), len(plain) / theta - float(r @ plain)])
    cross = plain.sum()
    curvature = np.array(
        [[-len(plain), cross], [cross, -len(plain) / theta**2 - float(plain @ plain)]],
        dtype=np.float64,
    )
    for sign, z in ((1.0, below), (-1.0, above)):
        t = sign * (theta * z - gamma)
        log_share = log_ndtr(t)
        ratio = np.exp(-0.5 * t**2 - HALF_LOG_TWO_PI - log_share)
        bend = -ratio * (t + ratio)
        height += float(log_share.sum())
        slope += sign * np.array([-ratio.sum(), float(ratio @ z)])
        mixed = -float(bend @ z)
        curvature += np.array([[bend.sum(), mixed], [mixed, float(bend @ z**2)]])
    return height, slope, curvature


def _sample(values: npt.ArrayLike, censored: npt.ArrayLike) -> tuple[FloatArray, BoolArray]:
    numbers, hidden = np.asarray(values, dtype=np.float64), np.asarray(censored, dtype=bool)
    if numbers.ndim != 1 or hidden.shape != numbers.shape:
        raise ValueError(f"shapes {numbers.shape} and {hidden.shape} do not fit together")
    if not len(numbers):
        raise ValueError("there are no values")
    if not np.isfinite(numbers).all():
        raise ValueError("values must be finite")
    return numbers, hidden
