"""Derivatives of corrected S-parameters by raw ones and by error terms, in closed form.

With raw S less what leaks and reflects by itself and over its tracking, B = (M - offset)/tracking
entry by entry, the waves at the probe tips are B that come back and A = 1 + match B (again entry by
entry) that go in, each column with one port driven: S = B A^-1. The terms stand at these places:

    offset   [[EDF, EXR], [EXF, EDR]]
    tracking [[ERF, ETR], [ETF, ERR]]
    match    [[ESF, ELR], [ELF, ESR]]

for two ports, and are ED, ER, ES for one. A change dB with dA gives dS = (dB - S dA) A^-1.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.entries import Entries, by_entry, inverse, product, transposed
from sitegen.compute.rf.terms import ErrorTerms, term_rows
from sitegen.model.arrays import ComplexArray

ENTRIES = ((0, 0), (0, 1), (1, 0), (1, 1))
"""S-parameters in the order of the derivatives' axes: S11, S12, S21, S22."""
_PLACES = {1: ((0,), (2,), (1,)), 2: ((0, 11, 5, 6), (2, 10, 4, 8), (1, 9, 3, 7))}
"""Where offsets, trackings and matches of the entries stand among `term_rows`, by ports."""


def term_places(n_entry: int) -> tuple[tuple[int, int, int], ...]:
    """For each entry its offset, tracking and match among `term_rows`."""
    return tuple(zip(*_PLACES[1 if n_entry == 1 else 2], strict=True))


@dataclass(frozen=True, eq=False)
class Waves:
    """What derivatives of the correction of some sweeps are made of, by entry; see the module."""

    tracking: Entries
    """Of each entry."""
    match: Entries
    back: ComplexArray
    """B, (e, ..., n_f)."""
    over: ComplexArray
    """A^-1."""

    @property
    def corrected(self) -> ComplexArray:
        """S."""
        return product(self.back, self.over)


def waves(terms: Entries, raw: ComplexArray) -> Waves:
    """Of raw sweeps by entry, (e, ..., n_f).

    Args:
        terms: error terms in the order of `term_rows`, each broadcast against an entry of `raw`.
    """
    offset, tracking, match = (
        [terms[place] for place in each] for each in _PLACES[1 if len(terms) == 3 else 2]
    )
    back = np.stack([(m - o) * (1.0 / t) for m, o, t in zip(raw, offset, tracking, strict=True)])
    into = np.stack([m * b for m, b in zip(match, back, strict=True)])
    into[0] += 1.0
    if len(into) > 1:
        into[3] += 1.0
    return Waves(tracking, match, back, inverse(into))


def derivatives(
    terms: ErrorTerms, raw: ComplexArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Of raw sweeps (n_sweep, n_freq, n_port, n_port), every corrected S-parameter's.

    Returns:
        By raw S (f, s, e, e), by the terms (f, s, e, n_term) in the order of `term_rows`, and
        the corrected S-parameters (f, s, e), with e of `ENTRIES`: four, or the one of one port.
    """
    at = waves(rows_of(terms), by_entry(raw))
    s, n_ports = at.corrected, raw.shape[-1]
    n_entry, shape = n_ports**2, (raw.shape[1], raw.shape[0], n_ports**2)
    by_raw = np.empty((*shape, n_entry), raw.dtype)
    by_term = np.empty((*shape, 3 * n_entry), raw.dtype)
    offset, tracking, match = _PLACES[n_ports]
    for place, (row, column) in enumerate(ENTRIES[:n_entry]):
        kept, back = at.match[place] / at.tracking[place], at.back[place]
        for out, (i, j) in enumerate(ENTRIES[:n_entry]):
            through, over = s[n_ports * i + row], at.over[n_ports * column + j]
            by_reading = -through * kept
            if i == row:
                by_reading = by_reading + 1.0 / at.tracking[place]
            by_reading = by_reading * over
            by_raw[..., out, place] = by_reading.T
            by_term[..., out, offset[place]] = -by_reading.T
            by_term[..., out, tracking[place]] = (-by_reading * back).T
            by_term[..., out, match[place]] = (-through * back * over).T
    return by_raw, by_term, np.moveaxis(s, (0, 1, 2), (2, 1, 0))


@dataclass(frozen=True, eq=False)
class Back:
    """Carries slopes by corrected S back to raw S and error terms."""

    match: Entries
    """Of each entry, as in `Waves`."""
    per_tracking: Entries
    """One over the tracking of each entry."""
    raw: ComplexArray
    """Raw S, (e, ..., n_f)."""
    waves: ComplexArray
    """B, likewise."""
    over: Entries
    """A^-1, transposed."""
    s: Entries
    """-S, transposed."""

    def slopes(self, by_s: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """By raw S, and by A, (e, ..., n_f) both.

        Entry by entry, the slope by an offset is the negative of the one by raw S, the slope by a
        tracking that negative times B, and the slope by a match the one by A times B.

        Args:
            by_s: (e, ..., n_f): a change dS of corrected S changes the quantity by the sum of
                by_s dS.
        """
        by_back = product(by_s, self.over)
        by_into = product(self.s, by_back)
        for place, (match, over) in enumerate(zip(self.match, self.per_tracking, strict=True)):
            by_back[place] += match * by_into[place]
            by_back[place] *= over
        return by_back, by_into


def back(terms: Entries, s: ComplexArray) -> Back:
    """Of corrected sweeps by entry, (e, ..., n_f).

    S A = B with A = 1 + match B (entry by entry) is solved for B column by column. With the match
    m of each entry, u = 1 - m21 S22, v = 1 - m12 S11 and p = S12 S21

        L1 = (1 - m11 S11) u - m11 m21 p,  B11 = (S11 u + m21 p)/L1,  B21 = S21/L1

    with port 1 driven and likewise L2 with port 2 driven, and

        A^-1 = [[v L1, -m12 S12 L1], [-m21 S21 L2, u L2]] / (u v - m12 m21 p).

    terms: in the order of `term_rows`, (n_f,) each.
    """
    offset, tracking, match = (
        [terms[place].astype(s.dtype, copy=False) for place in each]
        for each in _PLACES[1 if len(s) == 1 else 2]
    )
    waves, over = np.empty_like(s), np.empty_like(s)
    if len(s) == 1:
        over[0] = 1.0 - match[0] * s[0]
        waves[0] = s[0] / over[0]
    else:
        (s11, s12, s21, s22), (m11, m12, m21, m22) = s, match
        u, v, crossed = 1.0 - m21 * s22, 1.0 - m12 * s11, s12 * s21
        by_1 = (1.0 - m11 * s11) * u - m11 * m21 * crossed
        by_2 = (1.0 - m22 * s22) * v - m12 * m22 * crossed
        per_1, per_2 = 1.0 / by_1, 1.0 / by_2
        waves[0] = (s11 * u + m21 * crossed) * per_1
        waves[1] = s12 * per_2
        waves[2] = s21 * per_1
        waves[3] = (s22 * v + m12 * crossed) * per_2
        whole = 1.0 / (u * v - m12 * m21 * crossed)
        by_1 *= whole
        by_2 *= whole
        over[0] = v * by_1
        over[1] = -m12 * s12 * by_1
        over[2] = -m21 * s21 * by_2
        over[3] = u * by_2
    raw = np.empty_like(s)
    for place, each in enumerate(waves):
        raw[place] = offset[place] + tracking[place] * each
    return Back(
        match, [1.0 / one for one in tracking], raw, waves, transposed(over), transposed(-s)
    )


def rows_of(terms: ErrorTerms) -> ComplexArray:
    """Error terms in the order of `term_rows`, (n_term, n_f)."""
    return np.array([row.values for row in term_rows(terms)])
