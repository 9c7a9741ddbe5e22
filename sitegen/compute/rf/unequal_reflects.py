"""Reflects whose definitions differ between the ports, for methods that take them as equal."""

from collections.abc import Callable, Sequence

import numpy as np

from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution
from sitegen.compute.rf.terms import OnePortTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray

_MOST_ROUNDS = 30
_STILL = 1e-13
"""Largest change of a reflection at the tips of port 2 that counts as none."""


def solve_with_unequal(
    solve: Callable[[tuple[ComplexArray, ...]], CalibrationSolution],
    reflects: tuple[ComplexArray, ...],
    ratios: Sequence[ComplexArray | None],
) -> CalibrationSolution:
    """Solve with each reflect at port 2 shown as the one at port 1 would show there.

    Only the ratio of the two definitions enters, so that what they have in common (the loss of
    a short, say) stays unknown. The terms of port 2 that this needs are those of the solution
    itself: it is found in rounds, each about as much nearer as the two reflects are alike.

    Args:
        solve: gives a solution for raw reflects, (n_freq, 2, 2) each, equal at both ports.
        reflects: raw, as measured.
        ratios: reflection at port 2 over that at port 1, (n_freq,); None: they are equal.

    Raises:
        CalibrationNotSolvable: what `solve` raises, or definitions too far apart.
    """
    solution = solve(reflects)
    if all(ratio is None for ratio in ratios):
        return solution
    shown = reflects
    for _ in range(_MOST_ROUNDS):
        port_2 = _port_2(solution)
        if not solution.determined.any():
            return solution
        equal = tuple(
            raw if ratio is None else _as_at_port_1(port_2, raw, ratio)
            for raw, ratio in zip(reflects, ratios, strict=True)
        )
        moved = max(
            float(np.nanmax(np.abs(_at_tips(port_2, one) - _at_tips(port_2, other))))
            for one, other in zip(equal, shown, strict=True)
        )
        if moved <= _STILL:
            return solution
        shown, solution = equal, solve(equal)
    raise CalibrationNotSolvable(
        "the definitions of a reflect at port 1 and at port 2 are too far apart"
    )


def _port_2(solution: CalibrationSolution) -> OnePortTerms:
    terms = solution.terms
    assert isinstance(terms, TwoPortTerms)
    one = terms.reverse
    return OnePortTerms(
        terms.frequency_hz,
        terms.z_ref_ohm,
        one.directivity,
        one.source_match,
        one.reflection_tracking,
    )


def _at_tips(port_2: OnePortTerms, raw: ComplexArray) -> ComplexArray:
    return correct(port_2, raw[:, 1, 1])


def _as_at_port_1(port_2: OnePortTerms, raw: ComplexArray, ratio: ComplexArray) -> ComplexArray:
    """The raw sweep with the reflection at port 2 over `ratio`."""
    equal = raw.copy()
    equal[:, 1, 1] = uncorrect(port_2, _at_tips(port_2, raw) / ratio)
    return equal
