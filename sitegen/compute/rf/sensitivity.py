"""What each source of uncertainty does to figures of corrected sweeps, to first order.

A figure is taken from a quantity over frequency, the quantity from S of the device with its pads
taken off, that from the corrected sweeps of the device and of its dummies, those from raw sweeps
and error terms. Its slope is carried back along this way: by finite differences through quantity
and de-embedding, in closed form through the correction (`correction_derivatives`). What is left is
a slope by each error term and raw S-parameter at each point, to be multiplied with what each source
changes there (law of propagation, JCGM 100:2008, 5.2). A source moves all points of a fit, the
device and the dummies of one calibration together, so that what it does to them adds, or cancels,
before it is squared. Noise is each point's own.

A slope by a complex quantity x is the complex array c with dv = Re(sum of c dx). For a circular
source, off by one standard uncertainty in each of two directions, that is |c dx|^2 of variance.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.correction_derivatives import ENTRIES, carried_back
from sitegen.compute.rf.propagation import Perturbation, SweepErrors
from sitegen.compute.rf.terms import ErrorTerms, term_rows, terms_from_rows
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.event_results import SourceGroup

Rows = npt.NDArray[np.intp]
_STEP = 1e-7
"""Of S-parameters, in differences: a ten thousandth of a weak coupling's S-parameter of 1e-3, while
rounding leaves eight digits."""


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
    """(n_freq, n_term, n_source), terms in the order of `term_rows`."""
    errors: SweepErrors
    """Of each sweep's own."""

    def at(self, points: slice) -> "Sources":
        """The same at some of its frequencies."""
        there = terms_from_rows(self.terms, _rows(self.terms)[:, points])
        return Sources(
            replace(there, frequency_hz=self.terms.frequency_hz[points]),
            self.groups,
            self.real,
            self.changes[points],
            self.errors,
        )


def sources_of(
    terms: ErrorTerms, perturbations: Sequence[Perturbation], errors: SweepErrors
) -> Sources:
    """Sources of a calibration, and of each sweep corrected with it, for the sweeps' ports."""
    at = _rows(terms)
    moved = np.array([_rows(one.terms) for one in perturbations]).reshape(-1, *at.shape)
    return Sources(
        terms,
        tuple(one.group for one in perturbations),
        np.array([one.kind == "real" for one in perturbations], dtype=bool),
        np.ascontiguousarray(np.transpose(moved - at, (2, 1, 0))),
        errors,
    )


@dataclass(frozen=True, eq=False)
class Slopes:
    """How n values change with one corrected sweep each."""

    raw: ComplexArray
    """(n, n_freq, n_port, n_port), or (1, n_freq, n_port, n_port) where all values share it."""
    s: ComplexArray
    """Corrected, likewise."""
    by_s: ComplexArray
    """(n, n_freq, n_port, n_port): dv = Re(sum of by_s dS); zero where a point is not used,
    whatever S is there."""
    by_raw: ComplexArray
    """(n_freq, n, e), by raw S in the order of `ENTRIES`."""
    by_term: ComplexArray
    """(n_freq, n, n_term), by the error terms."""

    def of(self, rows: Rows) -> "Slopes":
        """Of some of the values."""
        return Slopes(
            self.raw if len(self.raw) == 1 else self.raw[rows],
            self.s if len(self.s) == 1 else self.s[rows],
            self.by_s[rows],
            self.by_raw[:, rows],
            self.by_term[:, rows],
        )

    def times(self, factor: FloatArray) -> "Slopes":
        """Of n other values that change (n, n_freq) times as much with each point as these do."""
        return Slopes(
            self.raw,
            self.s,
            self.by_s * factor[..., np.newaxis, np.newaxis],
            self.by_raw * factor.T[..., np.newaxis],
            self.by_term * factor.T[..., np.newaxis],
        )


@dataclass(frozen=True, eq=False)
class Variance:
    """What sources add to the variance of n values, in their unit squared, (n,)."""

    by_group: dict[SourceGroup, FloatArray]
    deviations: ComplexArray
    """(n, n_source) what each source of the calibration does, (n, 0) of a sweep's own."""
    both: FloatArray
    """Sum over all of them of |c dx|^2 in both directions of a complex deviation: of a level in
    nepers or a phase in radians the relative variance of what it is the level or phase of."""

    def of(self, groups: Sequence[SourceGroup]) -> FloatArray:
        """Variance from some groups."""
        total: FloatArray = np.zeros_like(self.both)
        for one in groups:
            if one in self.by_group:
                total = total + self.by_group[one]
        return total


def slopes_by(sources: Sources, s: ComplexArray, by_s: ComplexArray) -> Slopes:
    """Slopes of n values by corrected sweeps, carried back further; shapes as in `Slopes`."""
    if s.shape[-1] == 2:
        raw = uncorrect(sources.terms, s)
    else:
        raw = uncorrect(sources.terms, s[..., 0, 0])[..., np.newaxis, np.newaxis]
    with np.errstate(all="ignore"):
        by_raw, by_term = carried_back(sources.terms, raw, by_s)
    unused = ~(by_s != 0).any(axis=(-2, -1)).T
    by_raw[unused] = 0.0
    by_term[unused] = 0.0
    return Slopes(raw, s, by_s, by_raw, by_term)


def gradient(
    quantity: Callable[[ComplexArray], FloatArray], s: ComplexArray, turn: float | None = None
) -> ComplexArray:
    """Slopes of a real quantity by S at its own point, by differences.

    Args:
        quantity: S (..., n_f, n_port, n_port) to (..., n_f), any number of leading axes.
        s: (n, n_f, n_port, n_port).
        turn: a whole turn in the quantity's unit, for one that jumps by it.

    Returns:
        The shape of `s`; NaN where the quantity is.
    """
    n_ports = s.shape[-1]
    places = [(i, j) for i in range(n_ports) for j in range(n_ports)]
    moves = np.zeros((2, len(places), 1, 1, n_ports, n_ports), dtype=np.complex128)
    for place, (i, j) in enumerate(places):
        moves[:, place, ..., i, j] = np.array([_STEP, 1j * _STEP])[:, np.newaxis, np.newaxis]
    difference = quantity(s + moves) - quantity(s)
    if turn is not None:
        difference = (difference + 0.5 * turn) % turn - 0.5 * turn
    slopes = (difference[0] - 1j * difference[1]) / _STEP
    found: ComplexArray = np.moveaxis(slopes, 0, -1).reshape(s.shape)
    return found


def jacobian(change: Callable[[ComplexArray], ComplexArray], s: ComplexArray) -> ComplexArray:
    """Derivatives of a pointwise analytic change of S, by differences.

    Args:
        change: S (..., n_f, p, p) to the same last axes, analytic at each point.
        s: what goes in, (n, n_f, p, p), or (1, n_f, p, p) where all share it.

    Returns:
        (n, n_f, p^2, p^2) of what comes out by what goes in, the latter on the last but one axis;
        0 where it is not known.
    """
    n_ports, found, before = s.shape[-1], [], change(s)
    for i in range(n_ports):
        for j in range(n_ports):
            step = np.zeros((n_ports, n_ports))
            step[i, j] = _STEP
            derivative = (change(s + step) - before) / _STEP
            found.append(derivative.reshape(*derivative.shape[:-2], -1))
    stacked: ComplexArray = np.stack(found, axis=-2)
    return np.where(np.isfinite(stacked), stacked, 0.0)


def carried_through(derivatives: ComplexArray, slope: ComplexArray) -> ComplexArray:
    """Slopes by what goes into a change of S, from those by what comes out.

    Args:
        derivatives: from `jacobian`.
        slope: (n, n_f, p, p).
    """
    flat = slope.reshape(*slope.shape[:-2], -1, 1)
    back: ComplexArray = (derivatives @ flat).reshape(slope.shape)
    return back


@np.errstate(all="ignore")
def common_variance(sources: Sources, slopes: Sequence[Slopes]) -> Variance:
    """Variance of n values from the sources of the calibration that corrected all these sweeps.

    What a source does through the sweeps of a value (the device's, its dummies') is added before
    it is squared.
    """
    n = len(slopes[0].by_s)
    total: ComplexArray = np.zeros((n, len(sources.groups)), np.complex128)
    for one in slopes:
        flat = np.moveaxis(one.by_term, 1, 0).reshape(n, -1)
        total += flat @ sources.changes.reshape(flat.shape[1], -1)
    both = total.real**2 + total.imag**2
    squares = np.where(sources.real, total.real**2, both)
    by_group: dict[SourceGroup, FloatArray] = {}
    for place, group in enumerate(sources.groups):
        by_group[group] = by_group.get(group, 0.0) + squares[:, place]
    return Variance(by_group, total, (np.where(sources.real, 1.0, 2.0) * both).sum(axis=1))


@np.errstate(all="ignore")
def own_variance(sources: Sources, slope: Slopes) -> Variance:
    """Variance of n values from what one sweep of each has for itself.

    As `propagation.own_deviations`: the noise of each point and raw S-parameter; linearity, the
    paths and the touchdown each the same over all points.
    """
    errors = sources.errors
    by_raw = slope.by_raw
    places = ENTRIES[: by_raw.shape[-1]]
    raw = np.stack([slope.raw[..., i, j].T for i, j in places], axis=-1)
    size = errors.noise_floor**2 + errors.trace_noise**2 * _square(raw)
    noise = (_square(by_raw) * size).sum(axis=(0, 2))
    shares = _used_product(by_raw, raw).sum(axis=0)
    linearity = errors.linearity**2 * _square(shares).sum(axis=-1)
    n_ports = slope.raw.shape[-1]
    passes = np.array([[(i == at) + (j == at) for i, j in places] for at in range(n_ports)])
    cable = errors.cable**2 * _square(shares @ passes.T).sum(axis=-1)
    reflected = _square(np.stack([slope.by_s[..., i, i].sum(axis=1) for i in range(n_ports)]))
    contact = reflected.sum(axis=0)
    if n_ports == 2:
        through = _used_product(slope.by_s, slope.s)
        contact = contact + _square((through[..., 0, 1] + through[..., 1, 0]).sum(axis=1))
    by_group: dict[SourceGroup, FloatArray] = {
        "noise of the sweep": noise,
        "contact of the touchdown": errors.contact**2 * contact,
        "linearity of the sweep": linearity,
        "cable during the sweep": cable,
    }
    total: FloatArray = sum(by_group.values(), np.zeros(len(noise)))
    return Variance(by_group, np.zeros((len(total), 0), np.complex128), 2.0 * total)


@np.errstate(all="ignore")
def moved(
    sources: Sources, slope: Slopes, deviations: ComplexArray, share: FloatArray
) -> ComplexArray:
    """Corrected sweeps if every source were off such that the values change the most.

    Each source by its share of the values' variance: to first order sweeps moved like this, all
    that a value depends on, change it by its variance times `share`.

    Args:
        deviations: (n, n_source) from `common_variance`, of the calibration that corrected them.
        share: (n,) factor of all moves; one over u for a change by u.
    """
    errors, n_ports = sources.errors, slope.raw.shape[-1]
    by_raw = slope.by_raw
    places = ENTRIES[: by_raw.shape[-1]]
    steps = np.where(sources.real, deviations.real, deviations.conj()) * share[:, np.newaxis]
    rows = np.transpose(sources.changes @ steps.T, (1, 2, 0))
    terms = terms_from_rows(sources.terms, _rows(sources.terms)[:, np.newaxis] + rows)
    raw = np.broadcast_to(slope.raw, slope.by_s.shape).copy()
    seen = np.stack([raw[..., i, j] for i, j in places])
    by_raw = np.moveaxis(by_raw, (0, 1, 2), (2, 1, 0))
    levels = np.where(by_raw != 0, by_raw * seen, 0.0).sum(axis=2, keepdims=True).conj()
    passes = np.array([[(i == at) + (j == at) for i, j in places] for at in range(n_ports)])
    paths = errors.cable**2 * np.einsum("ab,bnf->anf", passes.T @ passes, levels)
    size = errors.noise_floor**2 + errors.trace_noise**2 * _square(seen)
    step = size * by_raw.conj() + seen * (errors.linearity**2 * levels + paths)
    for place, (i, j) in enumerate(places):
        raw[..., i, j] += step[place] * share[:, np.newaxis]
    corrected = correct(terms, raw if n_ports == 2 else raw[..., 0, 0]).reshape(raw.shape)
    touched = errors.contact**2 * share[:, np.newaxis]
    for port in range(n_ports):
        at_tip = slope.by_s[..., port, port].sum(axis=1, keepdims=True).conj()
        corrected[..., port, port] += touched * at_tip
    if n_ports == 2:
        through = _used_product(slope.by_s, slope.s)
        passed = (through[..., 0, 1] + through[..., 1, 0]).sum(axis=1, keepdims=True).conj()
        for i, j in ((0, 1), (1, 0)):
            corrected[..., i, j] += touched * passed * slope.s[..., i, j]
    return corrected


def _used_product(slope: ComplexArray, s: ComplexArray) -> ComplexArray:
    return np.where(slope != 0, slope * s, 0.0)


def _square(values: ComplexArray) -> FloatArray:
    squares: FloatArray = values.real**2 + values.imag**2
    return squares


def _rows(terms: ErrorTerms) -> ComplexArray:
    rows: ComplexArray = np.array([row.values for row in term_rows(terms)])
    return rows
