"""Whether a sweep agrees with another within both uncertainties: at each point, and as a whole.

At one frequency a complex difference d with covariance V agrees with zero at 95 % where
d' V^-1 d <= 5.991, the quantile of chi-square with two degrees of freedom (JCGM 102:2011, 6.5,
quoted from memory); the square root of their ratio is the normalised deviation, at most 1.

Over a whole sweep 5 % of points exceed 1 though everything agrees, and not independently of one
another: most sources are the same at every frequency. Limits for a whole sweep are therefore
found by simulation (JCGM 101:2008): differences are drawn from the same sources, and what they
exceed with the declared false-alarm rate is the limit.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.stats import rankdata

from sitegen.compute.rf.differences import OverFrequency, Part
from sitegen.compute.rf.propagation import part_covariance
from sitegen.model.arrays import ComplexArray, FloatArray

CHI_SQUARE_95 = -2.0 * float(np.log(0.05))
"""5.991: 95 % quantile of chi-square with two degrees of freedom, in closed form."""
LEAST_RATIO = 1e-12
"""Least ratio of a covariance's eigenvalues: a source that moves along one line only leaves no
room beside it but for rounding."""
FEWEST_DRAWS, MOST_DRAWS = 2_000, 20_000
_ALARMS = 50
"""How many draws lie beyond a limit: it then has the declared rate within a seventh of it."""
_CHUNK = 1_000_000
"""S-parameters drawn at once."""

Rule = Literal["share of points", "greatest value"]


def normalised_deviation(difference: ComplexArray, covariance: FloatArray) -> FloatArray:
    """sqrt(d' V^-1 d / 5.991) of each point; above 1 it disagrees at 95 %.

    Args:
        difference: (...) complex.
        covariance: (..., 3) of its parts. Where all of it lies along one direction, a difference
            beside that direction is beyond any uncertainty and gives a very large value.

    Returns:
        (...), NaN where the difference is NaN or no uncertainty is stated.
    """
    return np.asarray(np.abs(_in_units_of(covariance, difference)) / np.sqrt(CHI_SQUARE_95))


def largest_u(covariance: FloatArray) -> FloatArray:
    """Standard uncertainty along the direction in which it is largest, (..., 3) to (...)."""
    return np.asarray(np.sqrt(_axes(covariance)[0]))


def u_along(covariance: FloatArray, direction: ComplexArray) -> FloatArray:
    """Standard uncertainty along unit phasors: sqrt(e' V e)."""
    c, s = direction.real, direction.imag
    square = covariance[..., 0] * c**2 + covariance[..., 1] * s**2 + 2 * covariance[..., 2] * c * s
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def figures(normalised: FloatArray, rule: Rule) -> FloatArray:
    """The rule's figure of each sweep, (..., n_freq) to (...), over the points that are numbers."""
    if rule == "share of points":
        known = np.isfinite(normalised).sum(axis=-1)
        above = (normalised > 1.0).sum(axis=-1)
        return np.asarray(above / np.maximum(known, 1))
    return np.asarray(np.max(np.where(np.isnan(normalised), -np.inf, normalised), axis=-1))


@dataclass(frozen=True, eq=False)
class SweepLimits:
    """What the figures of sweeps that agree exceed with the declared rate."""

    limits: FloatArray
    """(n_parameter,); any of them is exceeded with the false-alarm rate or less."""
    draws: int


def sweep_limits(
    parts: Sequence[Part], rule: Rule, false_alarm_rate: float, rng: np.random.Generator
) -> SweepLimits:
    """Limits of a rule for S-parameters judged together, by simulation.

    The rate is that of the sweep: the chance that any of its S-parameters exceeds its limit.
    Where it is not known how a source goes over frequency, both extremes are simulated, the same
    at every point and anew at each, and the larger limit holds: the rate is then at most the one
    declared. Noise is drawn for each S-parameter by itself.

    Args:
        parts: arrays (n_parameter, n_freq) in `absolute`; points without a number are left out.
        rng: a generator of the caller's, seeded by what is judged.
    """
    shape = parts[0].absolute.shape
    covariance = part_covariance(((one.kind, one.absolute) for one in parts), shape)
    draws = int(np.clip(round(_ALARMS / false_alarm_rate), FEWEST_DRAWS, MOST_DRAWS))
    turned = [each for one in parts for each in _normalised(one, covariance)]
    known = [one for one in turned if one.over_frequency != "not known"]
    unknown = [one for one in turned if one.over_frequency == "not known"]
    extremes: tuple[OverFrequency, ...] = ("the same", "anew") if unknown else ("the same",)
    simulated: list[list[FloatArray]] = [[] for _ in extremes]
    at_once = max(_CHUNK // max(parts[0].absolute.size, 1), 1)
    for start in range(0, draws, at_once):
        number = min(at_once, draws - start)
        common = drawn(known, number, shape, rng)
        for found, extreme in zip(simulated, extremes, strict=True):
            assumed = [replace(one, over_frequency=extreme) for one in unknown]
            found.append(figures(np.abs(common + drawn(assumed, number, shape, rng)), rule))
    limits = [_limits(np.concatenate(found), false_alarm_rate) for found in simulated]
    return SweepLimits(np.max(limits, axis=0), draws)


def drawn(
    parts: Sequence[Part], number: int, shape: tuple[int, ...], rng: np.random.Generator
) -> ComplexArray:
    """Differences drawn from their sources, (number, *shape), in single precision.

    A part that is not known over frequency counts as the same at every point.
    """
    total: ComplexArray = np.zeros((number, *shape), dtype=np.complex64)
    same = [
        turn * one.absolute
        for one in parts
        if one.over_frequency != "anew"
        for turn in ((1.0, 1j) if one.kind == "circular" else (1.0,))
    ]
    if same:
        values = np.array(same, dtype=np.complex64).reshape(len(same), -1).view(np.float32)
        factors = rng.standard_normal((number, len(same)), dtype=np.float32)
        total += (factors @ values).view(np.complex64).reshape(number, *shape)
    anew = [(one.kind, one.absolute) for one in parts if one.over_frequency == "anew"]
    if anew:
        straight, mirrored = _power(part_covariance(anew, shape), 0.5)
        pairs = rng.standard_normal((number, *shape, 2), dtype=np.float32)
        independent = pairs.view(np.complex64)[..., 0]
        total += straight.astype(np.float32) * independent
        total += mirrored.astype(np.complex64) * independent.conj()
    return total


def _limits(simulated: FloatArray, false_alarm_rate: float) -> FloatArray:
    """One quantile for each S-parameter, at the level at which together they have the rate."""
    ranks = rankdata(simulated, method="max", axis=0) / len(simulated)
    level = np.quantile(ranks.max(axis=1), 1.0 - false_alarm_rate, method="higher")
    return np.asarray(np.quantile(simulated, level, axis=0, method="higher"))


def _normalised(one: Part, covariance: FloatArray) -> Iterator[Part]:
    """A part in units in which the normalised deviation is a magnitude, so that it need not be
    formed for each draw; there a circular part is one along each axis."""
    for turn in (1.0, 1j) if one.kind == "circular" else (1.0,):
        values = _in_units_of(covariance, turn * one.absolute) / np.sqrt(CHI_SQUARE_95)
        yield replace(one, kind="real", absolute=values)


def _in_units_of(covariance: FloatArray, difference: ComplexArray) -> ComplexArray:
    """V^-1/2 d, uncorrelated parts of u = 1 each; NaN where no uncertainty is stated."""
    with np.errstate(all="ignore"):
        straight, mirrored = _power(covariance, -0.5)
        found = straight * difference + mirrored * difference.conj()
    return np.where(_axes(covariance)[0] > 0, found, complex(np.nan, np.nan))


def _power(covariance: FloatArray, exponent: float) -> tuple[FloatArray, ComplexArray]:
    """A symmetric power of each covariance, as p and q of d to p d + q d*.

    Unlike its axes it does not turn with the last digit of a covariance that is nearly a circle,
    and neither does what is drawn with it.
    """
    largest, least, angle = _axes(covariance)
    most, fewest = largest**exponent, least**exponent
    return 0.5 * (most + fewest), 0.5 * (most - fewest) * np.exp(2j * angle)


def _axes(covariance: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Largest and least variance of each covariance, and the angle of the largest one."""
    a, b, c = covariance[..., 0], covariance[..., 1], covariance[..., 2]
    middle, radius = 0.5 * (a + b), np.hypot(0.5 * (a - b), c)
    largest = middle + radius
    least = np.maximum(middle - radius, LEAST_RATIO * largest)
    return largest, least, 0.5 * np.arctan2(2.0 * c, a - b)
