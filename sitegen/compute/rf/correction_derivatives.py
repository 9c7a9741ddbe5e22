"""Derivatives of corrected S-parameters by raw ones and by error terms, in closed form.

Those of the correction in `correct`: all of them, or only what a slope by corrected S-parameters
becomes when it is carried back through the correction, for which no derivative has to be kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.terms import ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray

ENTRIES = ((0, 0), (1, 0), (0, 1), (1, 1))
"""S-parameters in the order of the derivatives' axes: S11, S21, S12, S22."""
_FIELDS = (
    "directivity",
    "source_match",
    "reflection_tracking",
    "load_match",
    "transmission_tracking",
    "isolation",
)


def derivatives(
    terms: ErrorTerms, raw: ComplexArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Of raw sweeps (n_sweep, n_freq, n_port, n_port), every corrected S-parameter's.

    Returns:
        By raw S (f, s, e, e), by the terms (f, s, e, n_term) in the order of `term_rows`, and
        the corrected S-parameters (f, s, e), with e of `ENTRIES`: four, or the one of one port.
    """
    if isinstance(terms, OnePortTerms):
        by_raw, by_term, corrected = _one_port(terms, raw)
        return (
            by_raw[..., np.newaxis, np.newaxis],
            by_term[..., np.newaxis, :],
            corrected[..., None],
        )
    at = _two_port(terms, raw)
    corrected = np.stack(at.corrected, axis=-1)
    by = [
        (_stacked(numerators, at.over) - corrected * of_below[..., np.newaxis])
        * at.over[..., np.newaxis]
        for of_below, numerators in at.changes
    ]
    by_raw = np.stack(
        [one / of[..., np.newaxis] for one, of in zip(by[:4], at.tracking, strict=True)], axis=-1
    )
    scaled = [one[..., np.newaxis] for one in at.readings]
    return by_raw, _by_term(by_raw, by[4:], scaled), corrected


def carried_back(
    terms: ErrorTerms, raw: ComplexArray, by_s: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """Slopes of a quantity by raw S and by error terms, from those by the corrected S.

    Args:
        raw: (n_sweep, n_freq, n_port, n_port).
        by_s: likewise: a change dS of the corrected S changes the quantity by the sum of by_s dS.

    Returns:
        (f, s, e) by raw S in the order of `ENTRIES`, (f, s, n_term) in that of `term_rows`.
    """
    if isinstance(terms, OnePortTerms):
        by_raw, by_term, _ = _one_port(terms, raw)
        slope = by_s[..., 0, 0].T[..., np.newaxis]
        return slope * by_raw[..., np.newaxis], slope * by_term
    at = _two_port(terms, raw)
    slopes = [by_s[..., i, j].T for i, j in ENTRIES]
    level = sum(slope * s for slope, s in zip(slopes, at.corrected, strict=True))
    by = []
    for of_below, numerators in at.changes:
        moved = -level * of_below
        for slope, numerator in zip(slopes, numerators, strict=True):
            if numerator is not None:
                moved = moved + slope * numerator
        by.append(moved * at.over)
    by_raw = np.stack([one / of for one, of in zip(by[:4], at.tracking, strict=True)], axis=-1)
    return by_raw, _by_term(by_raw, by[4:], list(at.readings))


def _by_term(
    by_raw: ComplexArray, by_match: Sequence[ComplexArray], readings: Sequence[ComplexArray]
) -> ComplexArray:
    """By the twelve terms, from derivatives by raw S, by matches, and the scaled readings."""
    by_11, by_21, by_12, by_22 = (by_raw[..., place] for place in range(4))
    a, b, c, d = readings
    return np.stack(
        [
            *(-by_11, by_match[0], -by_11 * a, by_match[1], -by_21 * b, -by_21),
            *(-by_22, by_match[2], -by_22 * d, by_match[3], -by_12 * c, -by_12),
        ],
        axis=-1,
    )


def _stacked(numerators: Sequence[ComplexArray | None], like: ComplexArray) -> ComplexArray:
    found: ComplexArray = np.zeros((*like.shape, len(numerators)), like.dtype)
    for place, numerator in enumerate(numerators):
        if numerator is not None:
            found[..., place] = numerator
    return found


def _one_port(
    terms: OnePortTerms, raw: ComplexArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """By raw S (f, s), by the terms (f, s, 3), and the corrected reflection (f, s)."""
    x = raw[..., 0, 0].T - terms.directivity[:, np.newaxis]
    tracking = terms.reflection_tracking[:, np.newaxis]
    below = tracking + terms.source_match[:, np.newaxis] * x
    by_raw = tracking / below**2
    by_term = np.stack([-by_raw, -((x / below) ** 2), -x / below**2], axis=-1)
    return by_raw, by_term, x / below


@dataclass(frozen=True, eq=False)
class _Quotients:
    """The two-port correction as quotients of polynomials, arrays (f, s) all.

    In a = (M11 - EDF)/ERF, b = (M21 - EXF)/ETF, c = (M12 - EXR)/ETR, d = (M22 - EDR)/ERR and the
    matches.
    """

    corrected: tuple[ComplexArray, ...]
    """In the order of `ENTRIES`."""
    over: ComplexArray
    """One over the common denominator."""
    readings: tuple[ComplexArray, ...]
    """a, b, c, d."""
    tracking: tuple[ComplexArray, ...]
    """What each of them was divided by."""
    changes: tuple[tuple[ComplexArray, tuple[ComplexArray | None, ...]], ...]
    """Derivatives of the denominator and of the four numerators, None where zero: by a, b, c, d
    and by the matches ESF, ELF, ESR, ELR."""


def _two_port(terms: TwoPortTerms, raw: ComplexArray) -> _Quotients:
    sides = ((terms.forward, "F"), (terms.reverse, "R"))
    ed, es, er, el, et, ex = (
        {name: getattr(side, field)[:, np.newaxis] for side, name in sides} for field in _FIELDS
    )
    a = (raw[..., 0, 0].T - ed["F"]) / er["F"]
    b = (raw[..., 1, 0].T - ex["F"]) / et["F"]
    c = (raw[..., 0, 1].T - ex["R"]) / et["R"]
    d = (raw[..., 1, 1].T - ed["R"]) / er["R"]
    source_1, source_2 = 1.0 + a * es["F"], 1.0 + d * es["R"]
    across, back = es["R"] - el["F"], es["F"] - el["R"]
    straight_1, straight_2 = 1.0 + d * across, 1.0 + a * back
    loads, through = el["F"] * el["R"], b * c
    over = 1.0 / (source_1 * source_2 - through * loads)
    corrected = (
        (a * source_2 - el["F"] * through) * over,
        b * straight_1 * over,
        c * straight_2 * over,
        (d * source_1 - el["R"] * through) * over,
    )
    changes = (
        (es["F"] * source_2, (source_2, None, c * back, d * es["F"])),
        (-c * loads, (-el["F"] * c, straight_1, None, -el["R"] * c)),
        (-b * loads, (-el["F"] * b, None, straight_2, -el["R"] * b)),
        (es["R"] * source_1, (a * es["R"], b * across, None, source_1)),
        (a * source_2, (None, None, c * a, d * a)),
        (-through * el["R"], (-through, -b * d, None, None)),
        (d * source_1, (a * d, b * d, None, None)),
        (-through * el["F"], (None, None, -c * a, -through)),
    )
    return _Quotients(corrected, over, (a, b, c, d), (er["F"], et["F"], et["R"], er["R"]), changes)
