"""What the outcomes of its values make of a die.

A value without standing, one that is missing and one that cannot be assessed make a die neither
conform nor fail: it is not assessable, unless another value shows that it is outside.
"""

import numpy as np
import numpy.typing as npt

from sitegen.compute.conformity import CodeArray, Outcome
from sitegen.model.arrays import BoolArray


def die_verdict(
    outcome: npt.ArrayLike,
    standing: npt.ArrayLike,
    has_limits: npt.ArrayLike,
    measured: npt.ArrayLike,
    planned: npt.ArrayLike | None = None,
) -> CodeArray:
    """Outcome of each die from the outcomes of its values: the worst one that is known.

    All arrays broadcast to (n_die, n_value). outcome: numbers of `Outcome`. standing: valid
    evidence stands behind the value. planned: the value belongs to the die's plan; None means that
    all do. What is neither planned nor measured does not count; what was measured always counts.
    A die that was measured, but has no value with limits to count, has the outcome no limits.

    The precedence is outside; not assessable, which a value that is missing or has no standing
    makes a die too; not refuted; not proven; within. Returns int8 of shape (n_die,).
    """
    codes, counted, settled, present = _laid_out(outcome, standing, has_limits, measured, planned)

    def any_is(one: Outcome) -> BoolArray:
        return np.asarray((settled & (codes == one)).any(axis=1))

    return np.select(
        [
            ~present.any(axis=1),
            ~counted.any(axis=1),
            any_is(Outcome.OUTSIDE),
            (counted & ~settled).any(axis=1),
            any_is(Outcome.NOT_REFUTED),
            any_is(Outcome.NOT_PROVEN),
        ],
        [
            Outcome.NOT_MEASURED,
            Outcome.NO_LIMITS,
            Outcome.OUTSIDE,
            Outcome.NOT_ASSESSABLE,
            Outcome.NOT_REFUTED,
            Outcome.NOT_PROVEN,
        ],
        Outcome.WITHIN,
    ).astype(np.int8)


def conforms(
    outcome: npt.ArrayLike,
    standing: npt.ArrayLike,
    has_limits: npt.ArrayLike,
    measured: npt.ArrayLike,
    planned: npt.ArrayLike | None = None,
    conforming: tuple[Outcome, ...] = (Outcome.WITHIN,),
) -> BoolArray:
    """Which dies conform: every value that counts is judged, has standing, and came out well.

    Arrays as for `die_verdict`; conforming: the outcomes that a conforming die may have. Outside
    and not assessable are never among them. Returns (n_die,) bool; a die without a value to count
    does not conform.
    """
    codes, counted, settled, _ = _laid_out(outcome, standing, has_limits, measured, planned)
    good = settled & np.isin(codes, [one for one in conforming if one < Outcome.OUTSIDE])
    return np.asarray(counted.any(axis=1) & ~(counted & ~good).any(axis=1))


def judged_in_full(
    outcome: npt.ArrayLike,
    standing: npt.ArrayLike,
    has_limits: npt.ArrayLike,
    measured: npt.ArrayLike,
    planned: npt.ArrayLike | None = None,
) -> BoolArray:
    """Which dies have a value that counts, and every such value judged and with standing.

    Arrays as for `die_verdict`. Returns (n_die,) bool.
    """
    _, counted, settled, _ = _laid_out(outcome, standing, has_limits, measured, planned)
    return np.asarray(counted.any(axis=1) & ~(counted & ~settled).any(axis=1))


def _laid_out(
    outcome: npt.ArrayLike,
    standing: npt.ArrayLike,
    has_limits: npt.ArrayLike,
    measured: npt.ArrayLike,
    planned: npt.ArrayLike | None,
) -> tuple[CodeArray, BoolArray, BoolArray, BoolArray]:
    """Outcomes, what counts, what of it is judged with standing, and what was measured."""
    codes = np.atleast_2d(np.asarray(outcome, dtype=np.int8))

    def spread(flags: npt.ArrayLike) -> BoolArray:
        return np.broadcast_to(np.asarray(flags, dtype=bool), codes.shape)

    stands, limited, present = spread(standing), spread(has_limits), spread(measured)
    counted = limited & (present | (True if planned is None else spread(planned)))
    return codes, counted, counted & present & stands & (codes <= Outcome.OUTSIDE), present
