"""Decisions about conformity: of a value to its limits, and of a die by its values.

Sources: JCGM 106:2012 (decision rules, guarded acceptance in 8.3.2), ISO 14253-1 and
ILAC-G8:09/2019. The value's outcome, its place in a guard band and its standing are three things:
this module knows nothing of why a value has no standing.

Simple rule: within where lower <= value <= upper; a value exactly on a limit is within.
Guarded rule (JCGM 106:2012, 8.3.2): acceptance limits lower + w and upper - w with w = r U,
U = k u. Where 2 w >= upper - lower no value could be accepted: values between the tolerance limits
are then not assessable, and only values beyond them are outside.

A reading below the floor is known to lie between -floor and +floor; a value that was not reached
between what was reached and infinity, on the side of zero on which it was sought (of -20 V: at
-20 V or below). Such an interval is within where all of it can be accepted, outside where it all
lies beyond a limit, not proven where it all lies between the limits and some of it in a guard
band; else not assessable. JCGM 106:2012 has no clause for either: this asks 8.3.2 of every value
that the measurand can have, with the uncertainty at the floor, or at what was reached.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
CodeArray = npt.NDArray[np.int8]


class Outcome(IntEnum):
    """Outcome of a decision; arrays hold these places in `model.results.OUTCOMES` as int8."""

    WITHIN = 0
    NOT_PROVEN = 1
    OUTSIDE = 2
    NOT_ASSESSABLE = 3
    NOT_MEASURED = 4
    NO_LIMITS = 5


class Reason(IntEnum):
    """Why a value is not assessable; arrays hold these numbers as int8. `REASONS` has the words."""

    NONE = 0
    NO_UNCERTAINTY = 1
    NO_ACCEPTANCE_ZONE = 2
    FLOOR_ABOVE_LIMIT = 3
    FLOOR_AND_LOWER_LIMIT = 4
    NOT_REACHED = 5


REASONS = (
    "",
    "no uncertainty stated for a guarded rule",
    "guard bands leave no acceptance zone",
    "floor above the limit",
    "a reading below the floor cannot show that a lower limit is met",
    "the value was not reached, and lies somewhere beyond what was",
)
"""Words of each reason at its number; the first, empty one stands where no reason is needed."""

RULE_LOGIC = {
    "simple": (
        "Simple acceptance: a value is within when it lies between its limits or exactly on one. "
        "The measurement uncertainty is not taken into account."
    ),
    "guarded": (
        "Guarded acceptance: each limit is drawn in by the guard band w = r k u, and a value is "
        "within only between the acceptance limits or exactly on one. Between an acceptance limit "
        "and its tolerance limit it is not proven; beyond a tolerance limit it is outside."
    ),
}
"""Decision rules in the words that the pages print."""

DIE_VERDICT_LOGIC = (
    "A die is outside when a value with standing lies outside its limits; otherwise it is not "
    "assessable when a planned value with limits is not measured, has no standing or cannot be "
    "assessed, not proven when one is not proven, and within only when every one is within. "
    "A value without standing makes a die neither conform nor fail, and a die on which nothing "
    "was measured is not measured."
)
"""Logic of `die_verdict` in the words that the pages print."""


@dataclass(frozen=True)
class DecisionRule:
    """How a value is judged. Raises ValueError for a guarded rule without positive k and r."""

    kind: Literal["simple", "guarded"]
    coverage_factor: float = 2.0
    """k in U = k u."""
    guard_ratio: float = 1.0
    """r in w = r U: 1 gives U itself, 0.83 about 5 % worst-case false acceptance for k = 2."""

    def __post_init__(self) -> None:
        if self.kind == "guarded" and not (
            0 < self.coverage_factor < np.inf and 0 < self.guard_ratio < np.inf
        ):
            raise ValueError(
                "a guarded rule needs a positive coverage factor and guard ratio; "
                f"found k = {self.coverage_factor}, r = {self.guard_ratio}"
            )


@dataclass(frozen=True)
class Conformity:
    """Decisions of shape (n,)."""

    outcome: CodeArray
    """Numbers of `Outcome`."""
    reason: CodeArray
    """Numbers of `Reason`; not `NONE` exactly where the outcome is not assessable."""
    acceptance_lower: FloatArray
    acceptance_upper: FloatArray
    """Acceptance limits; NaN where there is no such limit or no uncertainty for its guard band."""


def decide(
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    lower: float | None,
    upper: float | None,
    rule: DecisionRule,
    below_floor: npt.ArrayLike | None = None,
    floor: npt.ArrayLike | None = None,
    not_reached: npt.ArrayLike | None = None,
) -> Conformity:
    """Judge the values of one parameter against its tolerance limits, as the module says.

    value, standard_uncertainty: (n,), NaN for not measured and not stated. lower, upper: tolerance
    limits, taken as exact, either may be None. All in one unit. below_floor: (n,) bool; floor:
    (n,) or scalar, needed where below_floor is True; such a place counts as measured even where
    its value is NaN. not_reached: (n,) bool, True where the value itself lies beyond the number; a
    place that is also below the floor counts as below it.

    Raises ValueError for limits that cross or are not finite, infinite values, a negative
    uncertainty, a missing floor, or shapes that do not fit.
    """
    _check_limits(lower, upper)
    y = np.asarray(value, dtype=np.float64)
    u = np.broadcast_to(np.asarray(standard_uncertainty, dtype=np.float64), y.shape)
    if np.isinf(y).any() or np.isinf(u).any() or (u < 0).any():
        raise ValueError("values must be finite or NaN, uncertainties also not negative")
    least, greatest, below, beyond_reach = _known(y, below_floor, floor, not_reached)
    low = -np.inf if lower is None else lower
    high = np.inf if upper is None else upper
    guarded = rule.kind == "guarded"
    w = rule.guard_ratio * rule.coverage_factor * u if guarded else np.zeros(y.shape)

    beyond = (least > high) | (greatest < low)
    accepted = (least >= low + w) & (greatest <= high - w)
    reason = _reasons(least, greatest, below, beyond_reach, w, low, high)
    outcome = np.select(
        [
            np.isnan(greatest),
            np.full(y.shape, lower is None and upper is None),
            reason == Reason.NO_UNCERTAINTY,
            beyond,
            reason != Reason.NONE,
            accepted,
        ],
        [
            Outcome.NOT_MEASURED,
            Outcome.NO_LIMITS,
            Outcome.NOT_ASSESSABLE,
            Outcome.OUTSIDE,
            Outcome.NOT_ASSESSABLE,
            Outcome.WITHIN,
        ],
        Outcome.NOT_PROVEN,
    ).astype(np.int8)
    return Conformity(
        outcome=outcome,
        reason=np.where(outcome == Outcome.NOT_ASSESSABLE, reason, Reason.NONE).astype(np.int8),
        acceptance_lower=low + w if lower is not None else np.full(y.shape, np.nan),
        acceptance_upper=high - w if upper is not None else np.full(y.shape, np.nan),
    )


def probability_of_conformity(
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    lower: float | None,
    upper: float | None,
) -> FloatArray:
    """Probability that a normal measurand lies between its limits, given value and uncertainty.

    p = Phi((upper - y) / u) - Phi((lower - y) / u), JCGM 106:2012, equation (7) (its number quoted
    from memory). Shapes (n,) or scalar, one unit; NaN where value or uncertainty is NaN; for u = 0
    it is 1 between the limits or on one, else 0. Raises ValueError as `decide` does.
    """
    _check_limits(lower, upper)
    y, u = np.broadcast_arrays(
        np.asarray(value, dtype=np.float64), np.asarray(standard_uncertainty, dtype=np.float64)
    )
    if (u < 0).any():
        raise ValueError("a standard uncertainty must not be negative")
    low = -np.inf if lower is None else lower
    high = np.inf if upper is None else upper
    divisor = np.where(u > 0, u, 1.0)
    a, b = (low - y) / divisor, (high - y) / divisor
    # Both tails are taken on the side where Phi is small, so that no digits are lost.
    spread = np.where(a > 0, ndtr(-a) - ndtr(-b), ndtr(b) - ndtr(a))
    exact = ((y >= low) & (y <= high)).astype(np.float64)
    known = ~(np.isnan(y) | np.isnan(u))
    return np.asarray(np.where(known, np.where(u > 0, spread, exact), np.nan), dtype=np.float64)


def die_verdict(
    outcome: npt.ArrayLike,
    standing: npt.ArrayLike,
    has_limits: npt.ArrayLike,
    measured: npt.ArrayLike,
    planned: npt.ArrayLike | None = None,
) -> CodeArray:
    """Outcome of each die from the outcomes of its values; see `DIE_VERDICT_LOGIC`.

    All arrays broadcast to (n_die, n_value). outcome: numbers of `Outcome`. standing: valid
    evidence stands behind the value. planned: the value belongs to the die's plan; None means that
    all do. What is neither planned nor measured does not count; what was measured always counts.
    A die that was measured, but has no value with limits to count, has the outcome no limits.

    The precedence is outside, not assessable, not proven, within. Returns int8 of shape (n_die,).
    """
    codes = np.atleast_2d(np.asarray(outcome, dtype=np.int8))

    def spread(flags: npt.ArrayLike) -> BoolArray:
        return np.broadcast_to(np.asarray(flags, dtype=bool), codes.shape)

    stands, limited, present = spread(standing), spread(has_limits), spread(measured)
    counted = limited & (present | (True if planned is None else spread(planned)))
    judged = counted & present & stands
    outside = (judged & (codes == Outcome.OUTSIDE)).any(axis=1)
    not_proven = (judged & (codes == Outcome.NOT_PROVEN)).any(axis=1)
    settled = judged & (codes <= Outcome.OUTSIDE)
    open_ = (counted & ~settled).any(axis=1)
    return np.select(
        [~present.any(axis=1), ~counted.any(axis=1), outside, open_, not_proven],
        [
            Outcome.NOT_MEASURED,
            Outcome.NO_LIMITS,
            Outcome.OUTSIDE,
            Outcome.NOT_ASSESSABLE,
            Outcome.NOT_PROVEN,
        ],
        Outcome.WITHIN,
    ).astype(np.int8)


def _reasons(
    least: FloatArray,
    greatest: FloatArray,
    below: BoolArray,
    beyond_reach: BoolArray,
    w: FloatArray,
    low: float,
    high: float,
) -> CodeArray:
    """Reason for which a value between the limits cannot be assessed, or `NONE`."""
    return np.select(
        [
            np.isnan(w),
            (w > 0) & (2 * w >= high - low),
            below & (greatest > high),
            below & (least < low),
            beyond_reach & ((greatest > high) | (least < low)),
        ],
        [
            Reason.NO_UNCERTAINTY,
            Reason.NO_ACCEPTANCE_ZONE,
            Reason.FLOOR_ABOVE_LIMIT,
            Reason.FLOOR_AND_LOWER_LIMIT,
            Reason.NOT_REACHED,
        ],
        Reason.NONE,
    ).astype(np.int8)


def _check_limits(lower: float | None, upper: float | None) -> None:
    for limit in (lower, upper):
        if limit is not None and not np.isfinite(limit):
            raise ValueError(f"a limit must be finite or None, not {limit}")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError(f"the lower limit {lower} lies above the upper limit {upper}")


def _known(
    y: FloatArray,
    below_floor: npt.ArrayLike | None,
    floor: npt.ArrayLike | None,
    not_reached: npt.ArrayLike | None,
) -> tuple[FloatArray, FloatArray, BoolArray, BoolArray]:
    """Between which numbers each value is known to lie, and which lie below a floor or beyond."""
    below = _flags(y.shape, below_floor)
    floors = np.broadcast_to(np.asarray(np.nan if floor is None else floor, np.float64), y.shape)
    if not np.isfinite(floors[below]).all():
        raise ValueError("a reading below the floor needs a finite floor")
    beyond = _flags(y.shape, not_reached) & ~below & ~np.isnan(y)
    least = np.where(below, -floors, np.where(beyond & (y < 0), -np.inf, y))
    greatest = np.where(below, floors, np.where(beyond & (y >= 0), np.inf, y))
    return least, greatest, below, beyond


def _flags(shape: tuple[int, ...], flags: npt.ArrayLike | None) -> BoolArray:
    return np.broadcast_to(np.asarray(False if flags is None else flags, dtype=bool), shape)
