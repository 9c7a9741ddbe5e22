"""What each source of uncertainty does to figures of corrected sweeps, to first order.

A figure is taken from a quantity over frequency, the quantity from S of the device with its pads
taken off, that from the corrected sweeps of the device and of its dummies, those from raw sweeps
and error terms. Its slope is carried back along this way in closed form: through quantity
(`figure_catalogue`), de-embedding (`pads`) and correction
(`correction_derivatives`). What is left is a slope by each error term and raw S-parameter at each
point, to be multiplied with what each source changes there (law of propagation, JCGM 100:2008,
5.2). A source moves all points of a fit, the device and the dummies of one calibration together, so
that what it does to them adds, or cancels, before it is squared. Noise is each point's own.

A slope by a complex quantity x is the complex array c with dv = Re(sum of c dx). For a circular
source, off by one standard uncertainty in each of two directions, that is |c dx|^2 of variance.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.correction_derivatives import (
    ENTRIES,
    Back,
    back,
    rows_of,
    term_places,
    waves,
)
from sitegen.compute.rf.entries import by_entry
from sitegen.compute.rf.propagation import Perturbation, SweepErrors
from sitegen.compute.rf.terms import ErrorTerms, terms_from_rows
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.event_results import SourceGroup

Rows = npt.NDArray[np.intp]
Precision = type[np.complex64] | type[np.complex128]
"""Of slopes and of what sources change."""


@dataclass(frozen=True, eq=False)
class Sources:
    """A calibration's sources as what each changes in its error terms at one u."""

    terms: ErrorTerms
    """As the sweeps need them, of one or two ports."""
    groups: tuple[SourceGroup, ...]
    """Of each source."""
    real: BoolArray
    """(n_source,) whether it moves along its change only; else it is circular."""
    changes: ComplexArray
    """(n_term, n_freq, n_source), terms in the order of `term_rows`."""
    errors: SweepErrors
    """Of each sweep's own."""
    _parts: dict[tuple[int, int, Precision], "Sources"] = field(default_factory=dict, init=False)

    def at(self, points: slice, precision: Precision) -> "Sources":
        """The same at some of its frequencies, changes in a precision."""
        key = (points.start, points.stop, precision)
        if key not in self._parts:
            rows, changes = self.rows[:, points], self.changes[:, points]
            known = np.isfinite(rows).all(axis=0) & np.isfinite(changes).all(axis=(0, 2))
            lost = np.asarray(~known)
            if lost.any():  # sweeps are not known there: no slope comes from these points
                ideal = np.zeros(len(rows))
                ideal[[one[1] for one in term_places(len(rows) // 3)]] = 1.0
                rows = np.where(lost, ideal[:, np.newaxis], rows)
                changes = np.where(lost[:, np.newaxis], 0.0, changes)
            terms = terms_from_rows(self.terms, rows)
            self._parts[key] = replace(
                self,
                terms=replace(terms, frequency_hz=self.terms.frequency_hz[points]),
                changes=changes.astype(precision, copy=False),
            )
        return self._parts[key]

    @cached_property
    def rows(self) -> ComplexArray:
        """The error terms, (n_term, n_freq)."""
        return rows_of(self.terms)

    @cached_property
    def of_terms(self) -> tuple[tuple[Rows, ComplexArray], ...]:
        """For each error term the sources that change it, and what they change, (n_freq, n)."""
        found = []
        for change in self.changes:
            which = np.flatnonzero((change != 0).any(axis=0))
            found.append((which, np.ascontiguousarray(change[:, which])))
        return tuple(found)

    @cached_property
    def of_entries(self) -> tuple[tuple[Rows, ComplexArray], ...]:
        """For each S-parameter the sources that change its terms, and what they change in the
        negative of its offset and of its tracking and in its match, (3 n_freq, n)."""
        found = []
        for offset, tracking, match in term_places(len(self.changes) // 3):
            changes = self.changes[[offset, tracking, match]]
            changes[:2] *= -1.0
            which = np.flatnonzero((changes != 0).any(axis=(0, 1)))
            found.append((which, changes[..., which].reshape(-1, len(which))))
        return tuple(found)

    @cached_property
    def in_groups(self) -> tuple[tuple[SourceGroup, ...], FloatArray]:
        """Each group once, and which sources it has as ones, (n_source, n_group)."""
        names = tuple(dict.fromkeys(self.groups))
        return names, np.array([[one == name for name in names] for one in self.groups], float)


def sources_of(
    terms: ErrorTerms, perturbations: Sequence[Perturbation], errors: SweepErrors
) -> Sources:
    """Sources of a calibration, and of each sweep corrected with it, for the sweeps' ports."""
    at = rows_of(terms)
    moved = np.array([rows_of(one.terms) for one in perturbations]).reshape(-1, *at.shape)
    return Sources(
        terms,
        tuple(one.group for one in perturbations),
        np.array([one.kind == "real" for one in perturbations], dtype=bool),
        np.moveaxis(moved - at, 0, -1),
        errors,
    )


@dataclass(frozen=True, eq=False)
class Leg:
    """Corrected sweeps that values depend on, with the way back to what they were made of.

    Arrays (e, n, n_freq) by entry, or (e, 1, n_freq) where all values share one sweep.
    """

    sources: Sources
    s: ComplexArray
    """0 where it is not known, so that no slope comes from there."""
    unknown: BoolArray
    """(n, n_freq)."""
    back: Back
    noise: FloatArray
    """Standard uncertainty of each part of raw S by its noise."""

    @property
    def raw(self) -> ComplexArray:
        """Raw S."""
        return self.back.raw

    @cached_property
    def raw_conjugate(self) -> ComplexArray:
        """Of raw S."""
        return self.raw.conj()

    @cached_property
    def s_conjugate(self) -> ComplexArray:
        """Of S."""
        return self.s.conj()


def leg_of(sources: Sources, s: ComplexArray, precision: Precision) -> Leg:
    """Of corrected sweeps (n, n_freq, n_port, n_port) at the sources' frequencies."""
    entries: ComplexArray = by_entry(s).astype(precision)
    unknown: BoolArray = np.zeros(entries.shape[1:], dtype=bool)
    if not np.isfinite(entries.sum()):
        unknown = np.asarray(~np.isfinite(entries).all(axis=0))
        entries[:, unknown] = 0.0
    of, errors = back(sources.rows, entries), sources.errors
    noise = np.sqrt(errors.noise_floor**2 + errors.trace_noise**2 * square(of.raw))
    return Leg(sources, entries, unknown, of, noise)


@dataclass(frozen=True, eq=False)
class Slopes:
    """How n values change with one corrected sweep each, (e, n, n_freq)."""

    leg: Leg
    by_s: ComplexArray
    """dv = Re(sum of by_s dS); zero where a point is not used."""
    by_raw: ComplexArray
    by_into: ComplexArray
    """By A of `correction_derivatives`."""

    def by_terms(self, entry: int) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
        """By the negative of an S-parameter's offset and of its tracking, and by its match."""
        by_raw, back = self.by_raw[entry], self.leg.back.waves[entry]
        return by_raw, by_raw * back, self.by_into[entry] * back

    def times(self, factor: FloatArray) -> "Slopes":
        """Of n other values that change (n, n_freq) times as much with each point as these do."""
        return Slopes(self.leg, self.by_s * factor, self.by_raw * factor, self.by_into * factor)


@dataclass(frozen=True, eq=False)
class Variance:
    """What sources add to the variance of n values, in their unit squared, (n,)."""

    by_group: dict[SourceGroup, FloatArray]
    both: FloatArray
    """Sum over all of them of |c dx|^2 in both directions of a complex deviation: of a level in
    nepers or a phase in radians the relative variance of what it is the level or phase of."""


def slopes_by(leg: Leg, by_s: ComplexArray) -> Slopes:
    """Slopes of n values by corrected sweeps, carried back further."""
    return Slopes(leg, by_s, *leg.back.slopes(by_s))


def deviations_by(slopes: Sequence[Slopes]) -> ComplexArray:
    """What each source of a calibration does to n values through sweeps that it corrected.

    (n, n_source). What it does through the sweeps of a value (the device's, its dummies') adds, or
    cancels.
    """
    first, sources = slopes[0].by_s, slopes[0].leg.sources
    total: ComplexArray = np.zeros((first.shape[1], len(sources.groups)), first.dtype)
    for entry, (which, changes) in enumerate(sources.of_entries):
        by_offset, by_tracking, by_match = (
            sum(parts[1:], parts[0])
            for parts in zip(*(one.by_terms(entry) for one in slopes), strict=True)
        )
        by_terms = np.concatenate([by_offset, by_tracking, by_match], axis=1)
        total[:, which] += by_terms @ changes
    return total


def common_variance(sources: Sources, deviations: ComplexArray) -> Variance:
    """Variance of n values from a calibration's sources, by what each does to them."""
    both = square(deviations)
    names, members = sources.in_groups
    by_group = np.where(sources.real, deviations.real**2, both) @ members
    return Variance(
        {name: by_group[:, place] for place, name in enumerate(names)},
        both @ np.where(sources.real, 1.0, 2.0),
    )


def own_variance(slope: Slopes) -> Variance:
    """Variance of n values from what one sweep of each has for itself.

    As `propagation.own_deviations`: the noise of each point and raw S-parameter; linearity, the
    paths and the touchdown each the same over all points.
    """
    leg, errors, by_raw = slope.leg, slope.leg.sources.errors, slope.by_raw
    noise = square_sum(by_raw * leg.noise).sum(axis=0)
    shares = np.vecdot(leg.raw_conjugate, by_raw)
    linearity = errors.linearity**2 * square(shares).sum(axis=0)
    passes = passes_of(len(by_raw))
    cable = errors.cable**2 * square(passes @ shares).sum(axis=0)
    contact: FloatArray = np.sum([square(one) for one in _touched(slope)], axis=0)
    by_group: dict[SourceGroup, FloatArray] = {
        "noise of the sweep": noise,
        "contact of the touchdown": errors.contact**2 * contact,
        "linearity of the sweep": linearity,
        "cable during the sweep": cable,
    }
    total: FloatArray = sum(by_group.values(), np.zeros(len(noise)))
    return Variance(by_group, 2.0 * total)


def square_sum(values: ComplexArray) -> FloatArray:
    """Sum of |x|^2 over the last axis: added up in the precision of x, told in double."""
    parts = values.view(values.real.dtype)
    squares: FloatArray = np.vecdot(parts, parts).astype(np.float64)
    return squares


def passes_of(n_entry: int) -> FloatArray:
    """(n_port, e) how often each S-parameter passes the path of a port: a reflection twice."""
    ports = range(1 if n_entry == 1 else 2)
    return np.array([[(i == at) + (j == at) for i, j in ENTRIES[:n_entry]] for at in ports], float)


def _touched(slope: Slopes) -> list[ComplexArray]:
    """Slopes by a touchdown's change of the reflection at each port, (n,) each, and by its share of
    both transmissions."""
    by_s = slope.by_s
    if len(by_s) == 1:
        return [by_s[0].sum(axis=-1)]
    through = np.vecdot(slope.leg.s_conjugate[1:3], by_s[1:3]).sum(axis=0)
    return [by_s[0].sum(axis=-1), by_s[3].sum(axis=-1), through]


@np.errstate(all="ignore")
def moved_terms(
    sources: Sources, deviations: ComplexArray, share: FloatArray
) -> list[ComplexArray]:
    """Error terms if a calibration's sources were off such that the values change the most.

    Each source by its share of the values' variance: to first order terms and sweeps moved like
    this, all that a value depends on, change it by its variance times `share`.

    Args:
        deviations: (n, n_source) from `deviations_by`.
        share: (n_share, n) factors of all moves; one over u for a change by u.

    Returns:
        In the order of `term_rows`, (n_share, n, n_freq) each.
    """
    steps = np.where(sources.real, deviations.real, deviations.conj())
    factor = share[..., np.newaxis] + 0j
    return [
        row + factor * (steps[:, which] @ changes.T)
        for row, (which, changes) in zip(sources.rows, sources.of_terms, strict=True)
    ]


@np.errstate(all="ignore")
def moved(slope: Slopes, terms: Sequence[ComplexArray], share: FloatArray) -> ComplexArray:
    """Corrected sweeps if all sources, the sweep's own too, were moved as in `moved_terms`.

    Args:
        terms: moved, of the calibration that corrected the sweeps.

    Returns:
        By entry, (e, n_share, n, n_freq).
    """
    leg, by_raw, raw = slope.leg, slope.by_raw, slope.leg.raw
    errors, factor = leg.sources.errors, share[..., np.newaxis]
    levels = np.vecdot(by_raw, raw.conj())[..., np.newaxis]
    passes = passes_of(len(raw))
    paths = errors.cable**2 * np.einsum("ab,bnf->anf", passes.T @ passes, levels)
    step = leg.noise**2 * by_raw.conj() + raw * (errors.linearity**2 * levels + paths)
    seen = raw[:, np.newaxis] + factor * step[:, np.newaxis]
    corrected = waves(terms, seen).corrected
    touched = [errors.contact**2 * factor * one[:, np.newaxis].conj() for one in _touched(slope)]
    corrected[0] += touched[0]
    if len(raw) > 1:
        corrected[3] += touched[1]
        corrected[1:3] += touched[2] * leg.s[1:3, np.newaxis]
    np.copyto(corrected, complex(np.nan, np.nan), where=leg.unknown)
    return corrected


def square(values: ComplexArray) -> FloatArray:
    """|x|^2."""
    squares: FloatArray = values.real**2 + values.imag**2
    return squares
