"""Summary of one parameter's values: location, spread, quantiles and extremes.

Values below the stored floor of the instrument are known only to lie between -floor and +floor,
values that were not reached only to lie beyond what was reached, on its side of zero. They keep
their place in the ranks, around zero and at the ends, and in the count, so a quantile that falls
among other values is still right. Where floors differ so that ranks are not known, and for mean and
standard deviation, the estimators of `censored` serve, on values of one sign.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from sitegen.compute.stats.censored import LogNormal, ProductLimit, left_censored, right_censored

QUANTILE_METHOD = 'linear interpolation of the order statistics ("type 7")'
"""Name of the quantile definition, to be printed beside the quantiles (Hyndman and Fan 1996)."""

MAD_TO_SIGMA = 1.4826
"""Factor that makes the median absolute deviation estimate sigma of normal data, 1/Phi^-1(3/4)."""

BELOW_FLOOR = float("-inf")
"""Stands for "below the floor" where a quantile or an extreme falls among censored readings.

It never is a measured value: `summarise` refuses infinite input.
"""

BEYOND_REACH = float("inf")
"""Stands for "beyond what was reached", on either side of zero, in the same way."""

LEAST_UNCENSORED = 5
"""Uncensored values that an estimate of mean and spread needs; our own choice."""

GREATEST_CENSORED_SHARE = {"normal": 0.5, "log-normal": 0.8}
"""Up to which share of censored values an estimate is stated, by distribution.

Source: Helsel 2012, Statistics for Censored Environmental Data, recommends Kaplan-Meier up to half,
likelihood up to 80 %, and no estimate above (quoted from memory).
"""

KAPLAN_MEIER_BELOW = "Kaplan-Meier on flipped values"
AT_LOWEST_FLOOR = ", what lies below the lowest floor taken at it"
KAPLAN_MEIER_BEYOND = "Kaplan-Meier"
AT_FARTHEST_REACHED = ", what lies beyond the farthest value reached taken at it"
LIKELIHOOD = "log-normal by maximum likelihood"

Distribution = Literal["normal", "log-normal"]


@dataclass(frozen=True)
class Summary:
    """Summary of the values of one parameter; every figure is in the unit of the values.

    A figure is None where it is not defined (no values; fewer than two for a standard deviation)
    or not stated because of censored values: `estimator` says why for mean and standard deviation;
    the robust spread, and a quantile between a censored and another value, are not. Median,
    quantiles and extremes are `BELOW_FLOOR` where they fall among readings below the floor and
    `BEYOND_REACH` where they fall among values that were not reached.
    """

    n: int
    """Values present, those below the floor included."""
    missing: int
    """Places without a value."""
    n_below_floor: int
    """Values known only to lie below the floor; part of `n`."""
    highest_floor: float | None
    """Highest floor of those values, for text such as "< 10 pA"; None where no floors are given."""
    n_not_reached: int
    """Values known only to lie beyond what was reached; part of `n`."""
    least_reached: float | None
    """Of those, what was reached nearest to zero, for text such as "> 18 V"."""
    mean: float | None
    standard_deviation: float | None
    """Sample standard deviation with the divisor n - 1; of a fitted law, the law's."""
    estimator: str
    """How mean and standard deviation were found of censored values, or why they are not stated."""
    median: float | None
    robust_spread: float | None
    """1.4826 times the median absolute deviation from the median."""
    quantile_05: float | None
    quantile_25: float | None
    quantile_75: float | None
    quantile_95: float | None
    """Quantiles as `QUANTILE_METHOD` defines them; where floors differ so that ranks are not known,
    the least value at which the Kaplan-Meier distribution reaches the share."""
    minimum: float | None
    maximum: float | None


def summarise(
    values: npt.ArrayLike,
    below_floor: npt.ArrayLike | None = None,
    floor: npt.ArrayLike | None = None,
    not_reached: npt.ArrayLike | None = None,
    distribution: Distribution = "normal",
) -> Summary:
    """Summarise a one-dimensional array in which NaN means missing.

    values: (n,), promoted to float64 before any arithmetic.
    below_floor: (n,) bool, True where the reading lay below the floor; such a place counts as
    measured even where its value is NaN. floor: (n,) or scalar, the floors in the values' unit.
    not_reached: (n,) bool, True where the value itself lies beyond the number; a place that is also
    below the floor counts as below it. distribution: the law taken for mean and standard deviation
    where values are censored; 'normal' takes none (Kaplan-Meier).

    Mean and standard deviation are computed in two passes: deviations are taken from the mean
    before they are squared.

    Raises ValueError for another shape or for infinite values.
    """
    sample = _sample(values, below_floor, floor, not_reached)
    ranked, kind = _ranks(sample)
    if sample.plain.all():
        mean, standard_deviation, robust_spread = moments(ranked)
        estimator = ""
    else:
        mean, standard_deviation, estimator = _censored_moments(sample, distribution)
        robust_spread = None
    quantiles = _limit_quantiles(sample, kind) or {
        percent: _quantile(ranked, kind, percent) for percent in (5, 25, 50, 75, 95)
    }
    return Summary(
        n=ranked.size,
        missing=np.size(values) - ranked.size,
        n_below_floor=int(sample.below.sum()),
        highest_floor=sample.highest_floor,
        n_not_reached=int(sample.beyond.sum()),
        least_reached=sample.least_reached,
        mean=mean,
        standard_deviation=standard_deviation,
        estimator=estimator,
        median=quantiles[50],
        robust_spread=robust_spread,
        quantile_05=quantiles[5],
        quantile_25=quantiles[25],
        quantile_75=quantiles[75],
        quantile_95=quantiles[95],
        minimum=_quantile(ranked, kind, 0),
        maximum=_quantile(ranked, kind, 100),
    )


def moments(ranked: npt.NDArray[np.float64]) -> tuple[float | None, float | None, float | None]:
    """Mean, standard deviation (n - 1) and robust spread of sorted finite values of shape (n,)."""
    n = ranked.size
    if n == 0:
        return None, None, None
    # The mean of equal values can miss them by a rounding; the mean lies between the extremes.
    mean = float(np.clip(np.mean(ranked), ranked[0], ranked[-1]))
    deviations = ranked - mean
    spread = float(np.sqrt(np.dot(deviations, deviations) / (n - 1))) if n > 1 else None
    median_deviation = np.median(np.abs(ranked - np.median(ranked)))
    robust = float(MAD_TO_SIGMA * median_deviation) if n > 1 else None
    return mean, spread, robust


@dataclass(frozen=True, eq=False)
class _Sample:
    """Values that are there, (n,), and which of them are censored."""

    number: npt.NDArray[np.float64]
    below: npt.NDArray[np.bool_]
    floor: npt.NDArray[np.float64]
    """NaN where none is given or needed."""
    beyond: npt.NDArray[np.bool_]

    @property
    def plain(self) -> npt.NDArray[np.bool_]:
        """Which values are not censored."""
        return np.asarray(~self.below & ~self.beyond)

    @property
    def highest_floor(self) -> float | None:
        """Of the readings below one."""
        floors = self.floor[self.below]
        return float(floors.max()) if len(floors) and np.isfinite(floors).all() else None

    @property
    def least_reached(self) -> float | None:
        """Of the values not reached, the bound nearest to zero."""
        bounds = self.number[self.beyond]
        return float(bounds[np.argmin(np.abs(bounds))]) if len(bounds) else None

    @property
    def sign(self) -> int:
        """Of all values and bounds; 0 where both are there."""
        known = self.number[~self.below]
        return 1 if (known >= 0).all() else -1 if (known <= 0).all() else 0

    def product_limit(self) -> ProductLimit | None:
        """Of the magnitudes; None for values of both signs or censored on both sides."""
        if self.sign == 0 or (self.below.any() and self.beyond.any()) or not len(self.number):
            return None
        if self.beyond.any():
            return right_censored(np.abs(self.number), self.beyond)
        if self.below.any() and self.highest_floor is None:
            return None
        return left_censored(np.where(self.below, self.floor, np.abs(self.number)), self.below)


_KNOWN, _BELOW, _BEYOND = 0, 1, 2
_STANDS_FOR = {_BELOW: BELOW_FLOOR, _BEYOND: BEYOND_REACH}


def _ranks(sample: _Sample) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int8]]:
    """Values in ascending order, and at which ranks the order is not known.

    A value whose magnitude lies under the highest floor has no known order among those below it,
    one beyond the least bound none among those not reached: they are ranked with the censored ones.
    """
    number, kind = sample.number, np.zeros(sample.number.shape, dtype=np.int8)
    below = sample.below.copy()
    if sample.highest_floor is not None:
        below |= np.abs(number) < sample.highest_floor
    beyond = np.zeros(number.shape, dtype=bool)
    for sign in (1.0, -1.0):
        bounds = sign * number[sample.beyond]
        if (bounds >= 0).any():
            beyond |= sign * number > bounds[bounds >= 0].min()
    beyond = (beyond & ~sample.below) | sample.beyond
    kind[below], kind[beyond] = _BELOW, _BEYOND
    ranked = np.where(beyond, np.copysign(np.inf, number), np.where(below, 0.0, number))
    order = np.argsort(ranked, kind="stable")
    return ranked[order], kind[order]


def _quantile(
    ranked: npt.NDArray[np.float64], kind: npt.NDArray[np.int8], percent: int
) -> float | None:
    """Quantile of ascending values of shape (n,) at a whole percentage, type 7; None for n = 0.

    kind: (n,) ranks of values known only to lie below the floor or beyond what was reached. h =
    (n - 1) p is split exactly, in whole numbers, so that a quantile which is an order statistic
    never takes weight from its neighbour. Source: Hyndman and Fan 1996, The American Statistician
    50:361, definition 7.
    """
    if ranked.size == 0:
        return None
    position, hundredths = divmod((ranked.size - 1) * percent, 100)
    places = [position] if hundredths == 0 else [position, position + 1]
    among = {int(kind[place]) for place in places}
    if among != {_KNOWN}:
        return _STANDS_FOR[among.pop()] if len(among) == 1 else None
    lower, upper = float(ranked[places[0]]), float(ranked[places[-1]])
    return lower + (upper - lower) * (hundredths / 100)


def _limit_quantiles(sample: _Sample, kind: npt.NDArray[np.int8]) -> dict[int, float | None] | None:
    """Quantiles by Kaplan-Meier where ranks alone lose values, None where they lose none."""
    if int((kind == _KNOWN).sum()) == int(sample.plain.sum()):
        return None
    limit = sample.product_limit()
    if limit is None:
        return None
    found: dict[int, float | None] = {}
    for percent in (5, 25, 50, 75, 95):
        share = percent / 100 if sample.sign > 0 else 1 - percent / 100
        figure = limit.quantile(share)
        found[percent] = sample.sign * figure if np.isfinite(figure) else figure
    return found


def _censored_moments(
    sample: _Sample, distribution: Distribution
) -> tuple[float | None, float | None, str]:
    """Mean, standard deviation, and how they were found or why they are not stated."""
    refused = _why_not(sample, distribution)
    if refused:
        return None, None, f"not stated: {refused}"
    if distribution == "log-normal":
        size = np.where(sample.below, sample.floor, np.abs(sample.number))
        law = LogNormal.fitted(size, sample.below, sample.beyond)
        if law is None:
            return None, None, "not stated: all uncensored values are equal"
        if law.mean() > size.max() and not sample.beyond.any():
            return None, None, "not stated: the fitted mean lies beyond the greatest value"
        return sample.sign * law.mean(), law.standard_deviation(), LIKELIHOOD
    limit = sample.product_limit()
    if limit is None:
        return None, None, "not stated: Kaplan-Meier takes values censored on one side only"
    if sample.beyond.any():
        told = KAPLAN_MEIER_BEYOND + (AT_FARTHEST_REACHED if limit.share_above else "")
    else:
        told = KAPLAN_MEIER_BELOW + (AT_LOWEST_FLOOR if limit.share_below else "")
    return sample.sign * limit.mean(), limit.standard_deviation(), told


def _why_not(sample: _Sample, distribution: Distribution) -> str:
    plain, n = int(sample.plain.sum()), len(sample.number)
    most = GREATEST_CENSORED_SHARE[distribution]
    if plain < LEAST_UNCENSORED:
        return f"{LEAST_UNCENSORED} uncensored values are needed, and {plain} are there"
    if n - plain > most * n:
        return f"{n - plain} of {n} values are censored, and at most {100 * most:.0f} % may be"
    if sample.below.any() and sample.highest_floor is None:
        return "a reading below the floor states no floor"
    if sample.sign == 0:
        return "values of both signs beside censored ones"
    if distribution == "log-normal" and (sample.number[~sample.below] == 0).any():
        return "a log-normal law has no value of zero"
    return ""


def _sample(
    values: npt.ArrayLike,
    below_floor: npt.ArrayLike | None,
    floor: npt.ArrayLike | None,
    not_reached: npt.ArrayLike | None,
) -> _Sample:
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.ndim != 1:
        raise ValueError(f"values must have one dimension, not {numbers.ndim}")
    if np.isinf(numbers).any():
        raise ValueError("values must be finite or NaN, but hold an infinite number")
    below = _flags(below_floor, numbers.shape, "below_floor")
    beyond = _flags(not_reached, numbers.shape, "not_reached") & ~below
    floors = np.broadcast_to(np.asarray(np.nan if floor is None else floor, float), numbers.shape)
    if floor is not None and not np.isfinite(floors[below]).all():
        raise ValueError("a reading below the floor needs a finite floor")
    present = ~np.isnan(numbers) | below
    return _Sample(numbers[present], below[present], floors[present], beyond[present])


def _flags(flags: npt.ArrayLike | None, shape: tuple[int, ...], name: str) -> npt.NDArray[np.bool_]:
    if flags is None:
        return np.zeros(shape, dtype=bool)
    found = np.asarray(flags, dtype=bool)
    if found.shape != shape:
        raise ValueError(f"{name} has shape {found.shape}, values {shape}")
    return found
