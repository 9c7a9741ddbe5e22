"""Control charts of single values: limits, an exponentially weighted average, rules of signals.

Limits come from the first `BASIS` points and stay: later points do not move them, so a slow change
cannot carry its own limits along. Sigma is found from moving ranges, which a step or a trend
hardly widens.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals) and 6.3.2.4 (EWMA);
Nelson 1984, Journal of Quality Technology 16:237 (tests of signals).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import FloatArray
from sitegen.model.followed_results import SIGNAL_RULES, ControlLimits

BASIS = 20
"""Points that limits come from; with fewer they are provisional."""
D2 = 1.128
"""Mean range of two values over their standard deviation, 2/sqrt(pi) rounded as tables print it."""
LIMIT_SIGMAS = 3.0
RUN = 9
LAMBDA = 0.2
"""Weight of the newest point in the average."""
EWMA_SIGMAS = 2.7
BEYOND, SIDE, AVERAGE = SIGNAL_RULES
"""Names of the rules.

Average number of points until a process in control, normal and without memory, gives a false
signal: 370 by the first rule alone, about 225 with the second and about 130 with all three
(simulated, limits known exactly). Limits from 20 points are not exact: of stretches of 30 points,
those 20 among them, about 23 % show a signal somewhere.
"""


@dataclass(frozen=True)
class MovingAverage:
    """An EWMA with its limits; arrays (n,) in the unit of the values."""

    values: FloatArray
    lower: FloatArray
    upper: FloatArray

    def signals(self) -> npt.NDArray[np.bool_]:
        """(n,) where the average leaves its limits."""
        return (self.values < self.lower) | (self.values > self.upper)


def control_limits(values: npt.ArrayLike, basis: int = BASIS) -> ControlLimits | None:
    """Limits of a chart of single values from the first `basis` of them, shape (n,), in time order.

    Centre: their mean; sigma: mean moving range of neighbours over 1.128; limits: three sigma,
    2.66 mean moving ranges, to both sides (e-Handbook 6.3.2.2). None with fewer than two values or
    where they do not vary: no limits follow from them.

    Raises ValueError for another shape or for values that are not finite.
    """
    first = _vector(values)[:basis]
    if len(first) < 2:
        return None
    sigma = float(np.mean(np.abs(np.diff(first)))) / D2
    centre = float(np.mean(first))
    if sigma <= 1e-12 * abs(centre):
        return None
    reach = LIMIT_SIGMAS * sigma
    return ControlLimits(
        centre, centre - reach, centre + reach, sigma, len(first), len(first) < BASIS
    )


def ewma(values: npt.ArrayLike, centre: float, sigma: float) -> MovingAverage:
    """The exponentially weighted moving average, begun at the centre, with its limits.

    z[i] = LAMBDA x[i] + (1 - LAMBDA) z[i-1], z[-1] = centre; limits in their exact form for every
    i from 1, centre +- EWMA_SIGMAS sigma sqrt(LAMBDA/(2 - LAMBDA) (1 - (1 - LAMBDA)^(2 i)))
    (e-Handbook 6.3.2.4, which prints the form for large i).
    """
    return weighted_average(values, centre, sigma, LAMBDA, EWMA_SIGMAS)


def weighted_average(
    values: npt.ArrayLike, centre: float, sigma: float, weight: float, width: float
) -> MovingAverage:
    """`ewma` with any weight between 0 and 1 and any width of the limits."""
    numbers = _vector(values)
    average = np.empty_like(numbers)
    last = centre
    for place, value in enumerate(numbers):
        last = weight * float(value) + (1.0 - weight) * last
        average[place] = last
    number = np.arange(1, len(numbers) + 1)
    share = weight / (2.0 - weight) * -np.expm1(2.0 * number * np.log1p(-weight))
    reach = width * sigma * np.sqrt(share)
    return MovingAverage(average, centre - reach, centre + reach)


def signals(values: npt.ArrayLike, limits: ControlLimits) -> tuple[tuple[str, ...], ...]:
    """For each value the names of the rules, `BEYOND` and `SIDE`, that it completes."""
    numbers = _vector(values)
    beyond = (numbers < limits.lower) | (numbers > limits.upper)
    side = _runs(np.sign(numbers - limits.centre), RUN)
    return tuple(
        tuple(name for name, broken in ((BEYOND, out), (SIDE, run)) if broken)
        for out, run in zip(beyond.tolist(), side, strict=True)
    )


def _runs(sides: FloatArray, length: int) -> Sequence[bool]:
    """Where a value ends at least `length` values in a row on one side; 0 is on neither."""
    completed = []
    run, before = 0, 0.0
    for side in sides.tolist():
        run = run + 1 if side == before else 1
        before = side
        completed.append(side != 0 and run >= length)
    return completed


def _vector(values: npt.ArrayLike) -> FloatArray:
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.ndim != 1 or not np.isfinite(numbers).all():
        raise ValueError("a control chart needs one row of finite values")
    return numbers
