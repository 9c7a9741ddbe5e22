"""Multiline thru-reflect-line calibration: all lines at once.

The result stands in the lines' own characteristic impedance, as in `trl`.

Every pair of lines gives, as M_i M_j^-1 = X diag(exp(-g d), exp(g d)) X^-1, the same two
eigenvectors of port 1, and as M_j^-1 M_i those of port 2, with an error of 1/|sinh(g d)|. The sum

    S = sum of w_ij (M_i M_j^-1 - M_j M_i^-1),    w_ij = conj(sinh(g d_ij))

has them too, with eigenvalues minus and plus twice the sum of |sinh(g d_ij)|^2. Lines are two
unknowns in many equations, and their least squares is the mean of all pairs' solutions weighted
with the squares of their determinants (Jacobi's theorem), here |sinh(g d_ij)|^2: S is the best
linear estimate of Marks, IEEE Trans. Microwave Theory Tech. 39 (1991) 1205, for sweeps that err
alike. The whole measure of all pairs as weight is that of Hatab, Gadringer and Boesch, ARFTG 98
(2022), doi 10.1109/ARFTG52954.2022.9844064, who solve for both ports in one equation. All quoted
from memory.
"""

from dataclasses import replace
from itertools import combinations

import numpy as np

from sitegen.compute.rf.eight_term import Receivers, SwitchTerms, determinant, inverse, transfer
from sitegen.compute.rf.linear import LARGEST_CONDITION
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.compute.rf.trl import (
    LineView,
    TrlDefinitions,
    TrlSweeps,
    best_pair,
    eigenvector,
    require_lines,
    solve_from_lines,
)
from sitegen.model.arrays import ComplexArray, FloatArray


def solve_multiline_trl(
    frequency_hz: FloatArray,
    sweeps: TrlSweeps,
    definitions: TrlDefinitions,
    *,
    switch_terms: SwitchTerms | None = None,
    raw_isolation: ComplexArray | None = None,
    largest_condition: float = LARGEST_CONDITION,
) -> CalibrationSolution:
    """Twelve error terms from all lines at once, in their own impedance.

    The condition number, by how much a relative error of the raw lines is enlarged in the
    terms, weighs the root mean square of |sinh(g d)| over all pairs of lines; so it falls with
    every line that helps, and decides alone where the result is determined.

    Returns:
        NaN terms and `determined` False where a sweep is NaN, a line lets nothing through,
        or the condition number exceeds `largest_condition`.

    Raises:
        CalibrationNotSolvable: shapes that disagree, or fewer than two lengths.
    """
    require_lines(frequency_hz, sweeps, definitions, raw_isolation)
    receivers = Receivers(switch_terms, raw_isolation)
    raw_t = transfer(receivers.without(sweeps.lines))
    lengths_m = np.array(definitions.lengths_m)
    with np.errstate(all="ignore"):
        view = _view(frequency_hz, raw_t, lengths_m, definitions)
    solution = solve_from_lines(
        frequency_hz, view, receivers, sweeps.reflect, definitions, largest_condition
    )
    return replace(
        solution,
        method="multiline TRL",
        redundancy=(4 * len(lengths_m) - 7) * int(solution.determined.sum()),
        redundancy_of="complex equations of the lines, over all frequencies",
    )


def _view(
    frequency_hz: FloatArray,
    raw_t: ComplexArray,
    lengths_m: FloatArray,
    definitions: TrlDefinitions,
) -> LineView:
    """Eigenvectors of both ports from all pairs, the propagation from all lines."""
    roughly = best_pair(frequency_hz, raw_t, definitions).propagation_per_m
    longer, shorter = np.array(list(combinations(range(len(lengths_m)), 2))).T
    pairs_m = (lengths_m[longer] - lengths_m[shorter])[:, np.newaxis]
    weight = np.conj(np.sinh(roughly * pairs_m))[..., np.newaxis, np.newaxis]
    inverted = inverse(raw_t)
    at_1 = raw_t[longer] @ inverted[shorter] - raw_t[shorter] @ inverted[longer]
    at_2 = inverted[shorter] @ raw_t[longer] - inverted[longer] @ raw_t[shorter]
    x = _eigenvectors((weight * at_1).sum(axis=0))
    y = _eigenvectors((weight * at_2).sum(axis=0).swapaxes(-1, -2)).swapaxes(-1, -2)
    through = np.diagonal(inverse(x) @ raw_t @ inverse(y), axis1=-2, axis2=-1)
    propagation = _propagation(through, lengths_m, roughly)
    turned = propagation * pairs_m
    phases_deg = np.degrees(turned.imag * np.sign(pairs_m)) % 180.0
    nearest = np.argmin(np.nan_to_num(np.abs(phases_deg - 90.0), nan=np.inf), axis=0)
    squares = (np.abs(np.sinh(turned)) ** 2).sum(axis=0)
    return LineView(
        raw_thru=x @ (through[0, ..., np.newaxis] * y),
        propagation_per_m=propagation,
        phase_deg=phases_deg[nearest, np.arange(len(frequency_hz))],
        turns=np.sqrt(2.0 / len(lengths_m) * squares),
        of_no_reflection=x[..., 1],
        of_infinite_reflection=x[..., 0],
        told=np.asarray(np.isfinite(through).all(axis=(0, 2))),
    )


def _eigenvectors(matrix: ComplexArray) -> ComplexArray:
    """As columns: of the eigenvalue with the negative real part, then of its opposite."""
    half_trace = 0.5 * (matrix[:, 0, 0] + matrix[:, 1, 1])
    root = np.sqrt(half_trace**2 - determinant(matrix))  # its real part is not negative
    columns = [eigenvector(matrix, half_trace - root), eigenvector(matrix, half_trace + root)]
    return np.stack(columns, axis=-1)


def _propagation(
    through: ComplexArray, lengths_m: FloatArray, roughly_per_m: ComplexArray
) -> ComplexArray:
    """Least-squares slope over length of the lines' turns, from exp(-g l) and exp(g l) alike.

    Lines are unwrapped from the nearest to the farthest of the first, each with what the nearer
    ones say.

    Args:
        through: (n_line, n_freq, 2), the two up to factors common to all lines.
    """
    turned = 0.5 * (np.log(through[..., 1]) - np.log(through[..., 0]))
    turned -= turned[0]
    from_first_m = lengths_m - lengths_m[0]
    propagation = roughly_per_m
    done = np.zeros_like(propagation)
    squares = 0.0
    for line in np.argsort(np.abs(from_first_m)):
        expected = propagation * from_first_m[line]
        # the mean of two logarithms is right up to half a turn
        turned[line] += 1j * np.pi * np.round((expected - turned[line]).imag / np.pi)
        done = done + from_first_m[line] * turned[line]
        squares += from_first_m[line] ** 2
        if squares > 0:
            propagation = done / squares
    centred = (lengths_m - lengths_m.mean())[:, np.newaxis]
    slope: ComplexArray = (centred * turned).sum(axis=0) / (centred**2).sum()
    return slope
