"""Nested variance components by restricted maximum likelihood, with profile intervals."""

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, digamma

from sitegen.compute.stats.nested_design import Design, IntArray
from sitegen.compute.stats.nested_likelihood import Deviance, deviance
from sitegen.model.arrays import BoolArray, FloatArray

_MOST_ROUNDS, _STEPS_A_ROUND, _MOST_SEARCH = 20, 12, 60
_MOST_LEFT = 0.75
"""Share of the slope that a step left, which the next one takes into account."""
_LEAST_SIZE = 1e-9
"""Of a step that is halved, where the search ends."""
_FLOOR = 1e-12
"""Least innermost component, of the mean square of all values about their mean."""
_EXACT, _CLOSE = 1e-14, 1e-7
"""Decrease of the deviance that another step would bring, where the search ends."""
_ROUNDING = 1e-11
"""Of the deviance: a step that should lower it by less and does not has lost it in rounding."""
_ON_ROOT = 1e-6
"""Distance of the root of the deviance's rise from that asked for, where an end is found."""


@dataclass(frozen=True, eq=False)
class Fit:
    """Components (k, b), innermost first, and what the likelihood says of them."""

    components: FloatArray
    deviance: FloatArray
    """(b,): -2 log restricted likelihood."""
    standard_error: FloatArray
    """(k, b): from the expected information, of a component by itself; a scale, not a claim."""
    mean: FloatArray
    """(b,)."""
    mean_variance: FloatArray
    """(b,)."""


def fit(data: Design) -> Fit:
    """Components of greatest restricted likelihood, none below zero.

    Scoring with the expected information on the components themselves, which for balanced data
    ends at the method of moments in one step; a component at zero that wants to fall stays there,
    and a step that does not lower the deviance is halved.

    Raises ValueError where a level has no degrees of freedom or the innermost has no spread.
    """
    if min(data.degrees_of_freedom) < 1:
        raise ValueError("each level of variance needs a degree of freedom")
    if (data.square[0] <= 0).any():
        raise ValueError("the innermost values do not spread")
    total = _mean_square(data)
    start = np.repeat(total[None] / data.k, data.k, axis=0)
    free = np.ones_like(start, dtype=bool)
    found, here = _least(data, start, free, total * _FLOOR, _EXACT)
    deviation = 1.0 / np.sqrt(np.einsum("bkk->kb", here.information) / 2.0)
    return Fit(found, here.value, deviation, here.mean, here.mean_variance)


def threshold(degrees_of_freedom: int, confidence: float) -> float:
    """How far the deviance may rise above its least inside an interval of a component.

    The quantile of chi-squared with one degree of freedom, times Bartlett's factor of a variance
    that is estimated with so many degrees of freedom nu: the mean of its likelihood ratio,
    nu (log(nu / 2) - digamma(nu / 2)), which is 1 for many (Bartlett 1937, Proc. R. Soc. A 160,
    268; the factor follows from the mean of the logarithm of chi-squared).
    """
    half = degrees_of_freedom / 2.0
    factor = degrees_of_freedom * (np.log(half) - digamma(half))
    return float(chdtri(1, 1.0 - confidence) * factor)


def rises_without(data: Design, best: Fit) -> FloatArray:
    """(k, b): rise of the deviance where a component is zero; infinite for the innermost."""
    k, b = best.components.shape
    outer = np.repeat(np.arange(1, k), b)
    many, start = _copies(data, best, k - 1)
    risen, _ = _profile(many, start, outer, np.zeros(outer.size), np.tile(best.deviance, k - 1))
    return np.concatenate([np.full((1, b), np.inf), risen.reshape(k - 1, b)])


def profile_intervals(
    data: Design, best: Fit, rises: FloatArray, without: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(k, b) and (k, b): components where the profile deviance has risen by so much.

    rises: (k,), see `threshold`; without: see `rises_without`. The profile of a component is the
    least deviance over the others, none below zero. A lower end is zero where even there the
    deviance has not risen so far.
    """
    k, b = best.components.shape
    level = np.tile(np.repeat(np.arange(k), b), 2)
    many, start = _copies(data, best, 2 * k)
    least = np.tile(best.deviance, 2 * k)
    rise = rises[level]
    up = np.repeat([True, False], k * b)
    estimate = np.tile(best.components.ravel(), 2)
    error = np.tile(best.standard_error.ravel(), 2)
    done = ~up & ((np.tile(without.ravel(), 2) <= rise) | (estimate <= 0))

    def component(place: FloatArray) -> FloatArray:
        """Upwards in standard errors, downwards in powers of e: the roots are nearly straight."""
        down = estimate * np.exp(-np.where(up, 0.0, place))
        return np.where(up, estimate + error * place, down)

    inner, outer = np.zeros(up.size), np.where(up, 2.0, error / np.maximum(estimate, error))
    low = -np.sqrt(rise)
    high = low.copy()
    for _ in range(_MOST_SEARCH):
        risen, start = _profile(many, start, level, component(outer), least)
        high = np.where(done, 1.0, np.sqrt(risen) - np.sqrt(rise))
        short = high < 0
        if not short.any():
            break
        inner, low = np.where(short, outer, inner), np.where(short, high, low)
        outer = np.where(short, 2.0 * outer, outer)
    was_above = np.full(up.size, -1)
    for _ in range(_MOST_SEARCH):
        place = (inner * high - outer * low) / (high - low)
        risen, start = _profile(many, start, level, component(place), least)
        height = np.sqrt(risen) - np.sqrt(rise)
        if (done | (np.abs(height) < _ON_ROOT)).all():
            break
        above = height > 0
        # Illinois: the height of an end that stays for a second time counts half.
        again = above == was_above
        low, high = (
            np.where(above, np.where(again, low / 2.0, low), height),
            np.where(above, height, np.where(again, high / 2.0, high)),
        )
        was_above = np.where(above, 1, 0)
        inner, outer = np.where(above, inner, place), np.where(above, place, outer)
    ends = np.where(done, 0.0, component(place)).reshape(2, k, b)
    return ends[1], ends[0]


def _copies(data: Design, best: Fit, times: int) -> tuple[Design, FloatArray]:
    """The data sets so many times over, and the components to start from."""
    start = np.tile(best.components, times)
    return data.only(np.tile(np.arange(best.deviance.size), times)), start


def _profile(
    data: Design, start: FloatArray, level: IntArray, at: FloatArray, least: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(b,): rise of the profile deviance where the component `level` is `at`; and all components.

    The innermost other components are kept above zero.
    """
    columns = np.arange(at.size)
    begin = start.copy()
    begin[level, columns] = at
    begin[0] = np.maximum(begin[0], np.finfo(np.float64).tiny)
    free = np.ones_like(begin, dtype=bool)
    free[level, columns] = False
    found, here = _least(data, begin, free, _mean_square(data) * _FLOOR, _CLOSE)
    return np.maximum(here.value - least, 0.0), found


def _mean_square(data: Design) -> FloatArray:
    """(b,): a scale of all components together."""
    squares = data.square.sum(axis=0)
    for rows in data.mixed:
        center = np.sum(rows.count[:, None] * rows.mean, axis=0) / rows.count.sum()
        squares = squares + np.sum(rows.square, axis=0)
        squares = squares + np.sum(rows.count[:, None] * (rows.mean - center) ** 2, axis=0)
    return np.asarray(squares / (data.n - 1))


def _least(
    data: Design, start: FloatArray, free: BoolArray, floor: FloatArray, tolerance: float
) -> tuple[FloatArray, Deviance]:
    """Components of least deviance over those that are free, and the deviance there."""
    lowest = np.zeros_like(start)
    lowest[0] = floor
    place = np.where(free, np.maximum(start, lowest), start)
    here = deviance(data, place)
    left = np.arange(place.shape[1])
    for _ in range(_MOST_ROUNDS):
        found, there, going = _steps(
            data.only(left), place[:, left], here.only(left), free[:, left], lowest[:, left],
            tolerance,
        )  # fmt: skip
        place[:, left] = found
        here.put(left, there)
        left = left[going]
        if not left.size:
            break
    return place, here


def _steps(
    data: Design,
    place: FloatArray,
    here: Deviance,
    free: BoolArray,
    lowest: FloatArray,
    tolerance: float,
) -> tuple[FloatArray, Deviance, BoolArray]:
    """Some steps on; and which of the data sets have not arrived.

    Where the slope along a step has not come to zero, as with unequal groups, the next one is
    longer by what this one fell short.
    """
    step, gain = _step(here, place, free, lowest)
    size = np.ones(place.shape[1])
    for _ in range(_STEPS_A_ROUND):
        going = gain > tolerance
        if not going.any():
            break
        trial = np.where(going & free, np.maximum(place + size * step, lowest), place)
        there = deviance(data, trial)
        better = going & (there.value <= here.value + 1e-13 * np.abs(here.value))
        before = np.sum(here.gradient * (trial - place), axis=0)
        after = np.sum(there.gradient * (trial - place), axis=0)
        place = np.where(better, trial, place)
        here.put(better, there.only(better))
        next_step, next_gain = _step(here, place, free, lowest)
        step, gain = np.where(better, next_step, step), np.where(better, next_gain, gain)
        left = np.clip(after / np.where(before < 0, before, -1.0), 0.0, _MOST_LEFT)
        size = np.where(better, 1.0 / (1.0 - left), size / 2.0)
        lost = ~better & (gain < _ROUNDING * (1.0 + np.abs(here.value)))
        gain = np.where(lost | (size < _LEAST_SIZE), 0.0, gain)
    return place, here, gain > tolerance


def _step(
    here: Deviance, place: FloatArray, free: BoolArray, lowest: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The scoring step (k, b), and by how much it should lower the deviance, (b,)."""
    k = len(place)
    bound = place <= lowest
    active = free & ~(bound & (here.gradient > 0))
    step = np.zeros_like(place)
    for _ in range(k):
        both = active.T[:, :, None] & active.T[:, None, :]
        matrix = np.where(both, here.information, 0.0)
        matrix[:, np.arange(k), np.arange(k)] += ~active.T
        right = np.where(active, -here.gradient, 0.0).T[:, :, None]
        step = np.linalg.solve(matrix, right)[:, :, 0].T
        stuck = active & bound & (step < 0)
        if not stuck.any():
            break
        active &= ~stuck
    return np.where(active, step, 0.0), -np.sum(np.where(active, here.gradient * step, 0.0), axis=0)
