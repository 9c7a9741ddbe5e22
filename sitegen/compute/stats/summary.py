"""Summary of one parameter's values: location, spread, quantiles and extremes.

Values below the stored floor of the instrument are known only to lie between -floor and +floor.
They keep their place in the ranks, around zero, and in the count, so a quantile that falls among
other values is still right; what would need their numbers (mean, spreads) is not stated.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

QUANTILE_METHOD = 'linear interpolation of the order statistics ("type 7")'
"""Name of the quantile definition, to be printed beside the quantiles (Hyndman and Fan 1996)."""

MAD_TO_SIGMA = 1.4826
"""Factor that makes the median absolute deviation estimate sigma of normal data, 1/Phi^-1(3/4)."""

BELOW_FLOOR = float("-inf")
"""Stands for "below the floor" where a quantile or an extreme falls among censored readings.

It never is a measured value: `summarise` refuses infinite input.
"""


@dataclass(frozen=True)
class Summary:
    """Summary of the values of one parameter; every figure is in the unit of the values.

    A figure is None where it is not defined (no values; fewer than two for a standard deviation)
    or not stated because readings lie below the floor (mean and both spreads; a quantile between
    such a reading and another value). Median, quantiles and extremes are `BELOW_FLOOR` where they
    fall among readings below the floor.
    """

    n: int
    """Values present, those below the floor included."""
    missing: int
    """Places without a value."""
    n_below_floor: int
    """Values known only to lie below the floor; part of `n`."""
    highest_floor: float | None
    """Highest floor of those values, for text such as "< 10 pA"; None where no floors are given."""
    mean: float | None
    standard_deviation: float | None
    """Sample standard deviation with the divisor n - 1."""
    median: float | None
    robust_spread: float | None
    """1.4826 times the median absolute deviation from the median."""
    quantile_05: float | None
    quantile_25: float | None
    quantile_75: float | None
    quantile_95: float | None
    """Quantiles as `QUANTILE_METHOD` defines them."""
    minimum: float | None
    maximum: float | None


def summarise(
    values: npt.ArrayLike,
    below_floor: npt.ArrayLike | None = None,
    floor: npt.ArrayLike | None = None,
) -> Summary:
    """Summarise a one-dimensional array in which NaN means missing.

    values: (n,), promoted to float64 before any arithmetic.
    below_floor: (n,) bool, True where the reading lay below the floor; such a place counts as
    measured even where its value is NaN. floor: (n,) or scalar, the floors in the values' unit.
    Where floors differ, every value whose magnitude lies under the highest floor of a censored
    reading is ranked with the censored ones, because its order among them is unknown.

    Mean and standard deviation are computed in two passes: deviations are taken from the mean
    before they are squared.

    Raises ValueError for another shape or for infinite values.
    """
    numbers = _vector(values, "values")
    censored = np.zeros(numbers.shape, dtype=bool)
    if below_floor is not None:
        censored = np.asarray(below_floor, dtype=bool)
        if censored.shape != numbers.shape:
            raise ValueError(f"below_floor has shape {censored.shape}, values {numbers.shape}")
    present = ~np.isnan(numbers) | censored
    n_below = int(censored.sum())
    highest = _highest_floor(floor, censored)
    if highest is not None:
        censored = censored | (np.abs(numbers) < highest)
    ranked = np.where(censored, 0.0, numbers)[present]
    order = np.argsort(ranked, kind="stable")
    ranked, unknown = ranked[order], censored[present][order]
    mean, standard_deviation, robust_spread = (
        moments(ranked) if n_below == 0 else (None, None, None)
    )
    return Summary(
        n=ranked.size,
        missing=numbers.size - ranked.size,
        n_below_floor=n_below,
        highest_floor=highest,
        mean=mean,
        standard_deviation=standard_deviation,
        median=_quantile(ranked, unknown, 50),
        robust_spread=robust_spread,
        quantile_05=_quantile(ranked, unknown, 5),
        quantile_25=_quantile(ranked, unknown, 25),
        quantile_75=_quantile(ranked, unknown, 75),
        quantile_95=_quantile(ranked, unknown, 95),
        minimum=_quantile(ranked, unknown, 0),
        maximum=_quantile(ranked, unknown, 100),
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


def _quantile(
    ranked: npt.NDArray[np.float64], unknown: npt.NDArray[np.bool_], percent: int
) -> float | None:
    """Quantile of ascending values of shape (n,) at a whole percentage, type 7; None for n = 0.

    unknown: (n,) True at ranks of readings known only to lie below the floor. h = (n - 1) p is
    split exactly, in whole numbers, so that a quantile which is an order statistic never takes
    weight from its neighbour. Source: Hyndman and Fan 1996, The American Statistician 50:361,
    definition 7.
    """
    if ranked.size == 0:
        return None
    position, hundredths = divmod((ranked.size - 1) * percent, 100)
    places = [position] if hundredths == 0 else [position, position + 1]
    among = [bool(unknown[place]) for place in places]
    if any(among):
        return BELOW_FLOOR if all(among) else None
    lower, upper = float(ranked[places[0]]), float(ranked[places[-1]])
    return lower + (upper - lower) * (hundredths / 100)


def _vector(values: npt.ArrayLike, name: str) -> npt.NDArray[np.float64]:
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.ndim != 1:
        raise ValueError(f"{name} must have one dimension, not {numbers.ndim}")
    if np.isinf(numbers).any():
        raise ValueError(f"{name} must be finite or NaN, but hold an infinite number")
    return numbers


def _highest_floor(floor: npt.ArrayLike | None, censored: npt.NDArray[np.bool_]) -> float | None:
    if floor is None or not censored.any():
        return None
    floors = np.broadcast_to(np.asarray(floor, dtype=np.float64), censored.shape)[censored]
    if not np.isfinite(floors).all():
        raise ValueError("a reading below the floor needs a finite floor")
    return float(floors.max())
