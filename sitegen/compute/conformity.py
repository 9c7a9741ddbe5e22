"""Decisions about the conformity of values to their limits.

Sources: JCGM 106:2012 (decision rules: 8.2 simple acceptance, 8.3.2 guarded acceptance, 8.3.3
guarded rejection), ISO 14253-1:2017 and ILAC-G8:09/2019 (4.2); numbers of clauses are quoted from
memory. The value's outcome, its place in a guard band and its standing are three things: this
module knows nothing of why a value has no standing.

With w = r U, U = k u (0 under the simple rule), the outcome of a value is

    within        between the limits; guarded, non-binary: between lower + w and upper - w
    not proven    between the limits otherwise
    not refuted   beyond a limit by at most w; guarded rejection, non-binary only
    outside       beyond that; simple, guarded: beyond a limit

and a value exactly on a limit, drawn in or out or neither, is on its better side: also where the
conversion of a unit has moved it by a few units in the last place. Where 2 w >=
upper - lower a rule that draws limits in could accept nothing: values between the tolerance limits
are then not assessable. Guarded rejection draws nothing in, and has no such case.

A bound on the measurement's capability, U as a share of upper - lower, is looked at first, and a
value whose uncertainty exceeds it (by more than rounding) is not assessable wherever it lies. One
limit alone has no tolerance to take a share of: there the bound says nothing.

A reading below the floor is known to lie between -floor and +floor; a value that was not reached
between what was reached and infinity, on the side of zero on which it was sought (of -20 V: at
-20 V or below). Such an interval is within where all of it is, outside where all of it is, not
proven where it all lies between the limits otherwise, not refuted where it all lies beyond a limit
otherwise; one that reaches over a limit is not assessable. JCGM 106:2012 has no clause for either:
this asks its rules of every value that the measurand can have, with the uncertainty at the floor,
or at what was reached.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from sitegen.compute.stats.conformity_probability import ends
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.decision import Decision

CodeArray = npt.NDArray[np.int8]

_ROUNDING = 1e-9
"""Relative: what a share may exceed its bound by in floating point."""
_ULPS = 8
"""Units in the last place, of the larger of value and limit, that count as exactly on the limit."""


class Outcome(IntEnum):
    """Outcome of a decision; arrays hold these places in `model.results.OUTCOMES` as int8."""

    WITHIN = 0
    NOT_PROVEN = 1
    NOT_REFUTED = 2
    OUTSIDE = 3
    NOT_ASSESSABLE = 4
    NOT_MEASURED = 5
    NO_LIMITS = 6


class Reason(IntEnum):
    """Why a value is not assessable; arrays hold these numbers as int8. `REASONS` has the words."""

    NONE = 0
    NO_UNCERTAINTY = 1
    NO_ACCEPTANCE_ZONE = 2
    FLOOR_ABOVE_LIMIT = 3
    FLOOR_AND_LOWER_LIMIT = 4
    NOT_REACHED = 5
    UNCERTAINTY_TOO_LARGE = 6
    CAPABILITY_NOT_KNOWN = 7


REASONS = (
    "",
    "no uncertainty stated for a guarded rule",
    "guard bands leave no acceptance zone",
    "floor above the limit",
    "a reading below the floor cannot show that a lower limit is met",
    "the value was not reached, and lies somewhere beyond what was",
    "expanded uncertainty above its declared share of the tolerance",
    "no uncertainty stated, and its share of the tolerance has a declared bound",
)
"""Words of each reason at its number; the first, empty one stands where no reason is needed."""


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
    guard_band: FloatArray
    """w; NaN under the simple rule and without uncertainty."""
    uncertainty_share: FloatArray
    """U / (upper - lower); NaN for one limit alone and without uncertainty."""


def decide(
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    lower: float | None,
    upper: float | None,
    decision: Decision,
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
    known = _known(y, below_floor, floor, not_reached)
    low, high = ends(lower, upper)
    simple = decision.rule == "simple"
    inward, outward, acceptance = (
        np.zeros(y.shape) if simple else factor * u
        for factor in (decision.inward, decision.outward, decision.acceptance)
    )
    low_end, high_end = _with_slack(known, low, high)
    reason = _reasons(
        known, u, high - low, (known.least < low_end, known.greatest > high_end), decision
    )
    unfit = np.isin(reason, _UNFIT)
    outcome = np.select(
        [
            np.isnan(known.greatest),
            np.full(y.shape, lower is None and upper is None),
            unfit,
            (known.least > high_end + outward) | (known.greatest < low_end - outward),
            (known.least > high_end) | (known.greatest < low_end),
            reason != Reason.NONE,
            (known.least >= low_end + inward) & (known.greatest <= high_end - inward),
        ],
        [
            Outcome.NOT_MEASURED,
            Outcome.NO_LIMITS,
            Outcome.NOT_ASSESSABLE,
            Outcome.OUTSIDE,
            Outcome.NOT_REFUTED,
            Outcome.NOT_ASSESSABLE,
            Outcome.WITHIN,
        ],
        Outcome.NOT_PROVEN,
    ).astype(np.int8)
    return Conformity(
        outcome=outcome,
        reason=np.where(outcome == Outcome.NOT_ASSESSABLE, reason, Reason.NONE).astype(np.int8),
        acceptance_lower=low + acceptance if lower is not None else np.full(y.shape, np.nan),
        acceptance_upper=high - acceptance if upper is not None else np.full(y.shape, np.nan),
        guard_band=np.full(y.shape, np.nan) if simple else np.maximum(inward, outward),
        uncertainty_share=uncertainty_share(u, lower, upper, decision.coverage_factor),
    )


def uncertainty_share(
    standard_uncertainty: npt.ArrayLike,
    lower: float | None,
    upper: float | None,
    coverage_factor: float,
) -> FloatArray:
    """U / (upper - lower), (n,); NaN where either limit or u is missing or the limits are equal."""
    u = np.asarray(standard_uncertainty, dtype=np.float64)
    if lower is None or upper is None or not lower < upper:
        return np.full(u.shape, np.nan)
    return np.asarray(coverage_factor * u / (upper - lower))


@dataclass(frozen=True)
class _Known:
    """Between which numbers each value is known to lie, (n,) each."""

    least: FloatArray
    greatest: FloatArray
    below_floor: BoolArray
    not_reached: BoolArray


_UNFIT = (Reason.NO_UNCERTAINTY, Reason.UNCERTAINTY_TOO_LARGE, Reason.CAPABILITY_NOT_KNOWN)
"""Reasons of the measurement itself, which hold wherever the value lies."""


def _with_slack(known: _Known, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Both limits moved out by what rounding may move a value by against them."""
    size = np.abs(np.where(np.isfinite(known.least), known.least, known.greatest))
    unit = _ULPS * np.finfo(np.float64).eps

    def moved(limit: float, sign: float) -> FloatArray:
        if not np.isfinite(limit):
            return np.full(size.shape, limit)
        return np.asarray(limit + sign * unit * np.maximum(size, abs(limit)))

    return moved(low, -1.0), moved(high, 1.0)


def _reasons(
    known: _Known,
    u: FloatArray,
    tolerance: float,
    reaches: tuple[BoolArray, BoolArray],
    decision: Decision,
) -> CodeArray:
    """Reason for which a value cannot be assessed, or would not be between its limits.

    tolerance: upper less lower limit; reaches: where some of it lies below and above them.
    """
    (below, above), bound = reaches, decision.uncertainty_share_max
    bounded = bound is not None and np.isfinite(tolerance)
    most = (bound or 0.0) * tolerance * (1.0 + _ROUNDING) if bounded else np.inf
    return np.select(
        [
            np.isnan(u) & (decision.rule != "simple"),
            np.isnan(u) & bounded,
            decision.coverage_factor * u > most,
            ~decision.leaves_a_zone(tolerance, u),
            known.below_floor & above,
            known.below_floor & below,
            known.not_reached & (above | below),
        ],
        [
            Reason.NO_UNCERTAINTY,
            Reason.CAPABILITY_NOT_KNOWN,
            Reason.UNCERTAINTY_TOO_LARGE,
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
) -> _Known:
    below = _flags(y.shape, below_floor)
    floors = np.broadcast_to(np.asarray(np.nan if floor is None else floor, np.float64), y.shape)
    if not np.isfinite(floors[below]).all():
        raise ValueError("a reading below the floor needs a finite floor")
    beyond = _flags(y.shape, not_reached) & ~below & ~np.isnan(y)
    return _Known(
        np.where(below, -floors, np.where(beyond & (y < 0), -np.inf, y)),
        np.where(below, floors, np.where(beyond & (y >= 0), np.inf, y)),
        below,
        beyond,
    )


def _flags(shape: tuple[int, ...], flags: npt.ArrayLike | None) -> BoolArray:
    return np.broadcast_to(np.asarray(False if flags is None else flags, dtype=bool), shape)
