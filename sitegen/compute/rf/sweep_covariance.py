"""Covariance of many corrected sweeps at once: the same law as `propagation`, without its parts.

A source's deviation is B' k, with B the derivatives of a corrected S-parameter by the error terms
and k what the source changes in them. With the sources' C = sum k k^H (twice that of a circular
one) and R = sum k k' (real ones only) a sweep needs no more than B' C B* = v_re + v_im and
B' R B = v_re - v_im + 2j cov, however many sources there are. Derivatives are those of the
correction in `correct`, in closed form.
"""

from collections.abc import Sequence

import numpy as np

from sitegen.compute.rf.propagation import Perturbation, SweepErrors
from sitegen.compute.rf.terms import (
    ErrorTerms,
    OnePortTerms,
    TwoPortTerms,
    term_rows,
    terms_from_rows,
)
from sitegen.model.arrays import ComplexArray, FloatArray

_CHUNK = 16
"""Sweeps worked on at once, so that their derivatives stay in the processor's cache."""
_ENTRIES = ((0, 0), (1, 0), (0, 1), (1, 1))
"""S-parameters in the order of the derivatives' axes: S11, S21, S12, S22."""


def sweep_covariance(
    terms: ErrorTerms,
    perturbations: Sequence[Perturbation],
    errors: SweepErrors | None,
    raw: ComplexArray,
) -> FloatArray:
    """Variances of real and imaginary part of corrected sweeps and their covariance.

    Args:
        terms: error terms on n_freq frequencies.
        perturbations: sources common to all sweeps, made from the same calibration.
        errors: sources of each sweep's own; None leaves them out.
        raw: (..., n_freq) with `OnePortTerms`, (..., n_freq, 2, 2) with `TwoPortTerms`.

    Returns:
        The shape of `raw` and one axis more, of three; NaN where the correction is. Computed in
        single precision: a variance is right to about 1e-5 of itself.
    """
    n_ports = 1 if isinstance(terms, OnePortTerms) else 2
    sweeps = raw.reshape(-1, len(terms.frequency_hz), n_ports, n_ports).astype(np.complex64)
    hermitian, symmetric = (each.astype(np.complex64) for each in _sources(terms, perturbations))
    terms = terms_from_rows(terms, _rows(terms).astype(np.complex64))
    found = np.empty((*sweeps.shape, 3), np.float32)
    for at in range(0, len(sweeps), _CHUNK):
        chunk = slice(at, at + _CHUNK)
        found[chunk] = _of_chunk(terms, hermitian, symmetric, errors, sweeps[chunk])
    return found.reshape(*raw.shape, 3)


def _sources(
    terms: ErrorTerms, perturbations: Sequence[Perturbation]
) -> tuple[ComplexArray, ComplexArray]:
    """C and R of all sources, (n_freq, n_term, n_term) each."""
    at = _rows(terms)
    moved = [(one.kind, _rows(one.terms) - at) for one in perturbations]
    n_term, n_freq = at.shape
    hermitian: ComplexArray = np.zeros((n_freq, n_term, n_term), np.complex128)
    symmetric: ComplexArray = np.zeros_like(hermitian)
    for kind, weight in (("circular", 2.0), ("real", 1.0)):
        k = np.array([rows for one, rows in moved if one == kind])
        if len(k):
            across, along = np.moveaxis(k, -1, 0), np.transpose(k, (2, 1, 0))
            hermitian = hermitian + weight * (along @ across.conj())
            if kind == "real":
                symmetric = symmetric + along @ across
    return hermitian, symmetric


def _rows(terms: ErrorTerms) -> ComplexArray:
    rows: ComplexArray = np.array([row.values for row in term_rows(terms)])
    return rows


@np.errstate(all="ignore")
def _of_chunk(
    terms: ErrorTerms,
    hermitian: ComplexArray,
    symmetric: ComplexArray,
    errors: SweepErrors | None,
    raw: ComplexArray,
) -> FloatArray:
    """(n_sweep, n_freq, n_port, n_port, 3)."""
    by_raw, by_term, corrected = (
        _one_port(terms, raw) if isinstance(terms, OnePortTerms) else _two_port(terms, raw)
    )
    flat = by_term.reshape(len(by_term), -1, by_term.shape[-1])
    total = np.einsum("fst,fst->fs", flat @ hermitian, flat.conj()).real
    twice = np.einsum("fst,fst->fs", flat @ symmetric, flat)
    shape = by_term.shape[:-1]
    total, twice = total.reshape(shape), twice.reshape(shape)
    if errors is not None:
        total = total + 2.0 * _own(errors, by_raw, raw, corrected)
    found = np.empty((*raw.shape, 3), np.float32)
    for place, (i, j) in enumerate(_ENTRIES[: shape[-1]]):
        sum_, difference = total[..., place].T, twice[..., place].T
        found[..., i, j, 0] = np.maximum(0.5 * (sum_ + difference.real), 0.0)
        found[..., i, j, 1] = np.maximum(0.5 * (sum_ - difference.real), 0.0)
        found[..., i, j, 2] = 0.5 * difference.imag
    unknown = ~np.isfinite(found).all(axis=(2, 3, 4))
    found[unknown] = np.nan
    return found


def _own(
    errors: SweepErrors, by_raw: ComplexArray, raw: ComplexArray, corrected: ComplexArray
) -> FloatArray:
    """Variance of a part from the sweep's own sources, all circular, (n_freq, n_sweep, n_entry).

    As `propagation.own_deviations`: noise and linearity of each raw S-parameter; a path twice in
    its reflection and once in each transmission; a touchdown in the reflections, and in the
    transmissions as a share of them.
    """
    places = _ENTRIES[: by_raw.shape[-1]]
    seen = np.stack([raw[..., i, j].T for i, j in places], axis=-1)
    size = errors.noise_floor**2 + (errors.trace_noise**2 + errors.linearity**2) * (
        seen.real**2 + seen.imag**2
    )
    found = (by_raw.real**2 + by_raw.imag**2) @ size[..., np.newaxis]
    variance: FloatArray = found[..., 0]
    if errors.cable:
        for port in range(raw.shape[-1]):
            passes = np.array([(i == port) + (j == port) for i, j in places], dtype=np.float64)
            moved = (by_raw @ (passes * seen)[..., np.newaxis])[..., 0]
            variance = variance + errors.cable**2 * (moved.real**2 + moved.imag**2)
    through = np.array([i != j for i, j in places])
    at_tips = np.where(through, corrected.real**2 + corrected.imag**2, 1.0)
    contact: FloatArray = errors.contact**2 * at_tips
    return variance + contact


def _one_port(
    terms: OnePortTerms, raw: ComplexArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Derivatives by raw S (f, s, 1, 1) and by the terms (f, s, 1, 3); corrected S (f, s, 1)."""
    x = raw[..., 0, 0].T - terms.directivity[:, np.newaxis]
    tracking = terms.reflection_tracking[:, np.newaxis]
    below = tracking + terms.source_match[:, np.newaxis] * x
    by_raw = tracking / below**2
    by_term = np.stack([-by_raw, -((x / below) ** 2), -x / below**2], axis=-1)
    return by_raw[..., np.newaxis, np.newaxis], by_term[..., np.newaxis, :], (x / below)[..., None]


def _two_port(
    terms: TwoPortTerms, raw: ComplexArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Derivatives by raw S (f, s, 4, 4) and by the terms (f, s, 4, 12), and corrected S (f, s, 4).

    Columns by raw S in the order of `_ENTRIES`, by terms in that of `term_rows`. With
    a = (M11 - EDF)/ERF, b = (M21 - EXF)/ETF, c = (M12 - EXR)/ETR, d = (M22 - EDR)/ERR each
    corrected S is a quotient of polynomials in a, b, c, d and the matches.
    """
    forward, reverse = terms.forward, terms.reverse
    sides = ((forward, "F"), (reverse, "R"))
    ed, es, er, el, et, ex = (
        {name: getattr(side, field)[:, np.newaxis] for side, name in sides}
        for field in (
            "directivity",
            "source_match",
            "reflection_tracking",
            "load_match",
            "transmission_tracking",
            "isolation",
        )
    )
    a = (raw[..., 0, 0].T - ed["F"]) / er["F"]
    b = (raw[..., 1, 0].T - ex["F"]) / et["F"]
    c = (raw[..., 0, 1].T - ex["R"]) / et["R"]
    d = (raw[..., 1, 1].T - ed["R"]) / er["R"]
    source_1, source_2 = 1.0 + a * es["F"], 1.0 + d * es["R"]
    across, back = es["R"] - el["F"], es["F"] - el["R"]
    straight_1, straight_2 = 1.0 + d * across, 1.0 + a * back
    loads, through = el["F"] * el["R"], b * c
    below = source_1 * source_2 - through * loads
    over = 1.0 / below
    s11 = (a * source_2 - el["F"] * through) * over
    s21, s12 = b * straight_1 * over, c * straight_2 * over
    s22 = (d * source_1 - el["R"] * through) * over
    nothing = np.zeros_like(a)
    # by a, b, c, d and by the matches ESF, ELF, ESR, ELR: of the denominator, and of the numerators
    changes = (
        (es["F"] * source_2, source_2, nothing, c * back, d * es["F"]),
        (-c * loads, -el["F"] * c, straight_1, nothing, -el["R"] * c),
        (-b * loads, -el["F"] * b, nothing, straight_2, -el["R"] * b),
        (es["R"] * source_1, a * es["R"], b * across, nothing, source_1),
        (a * source_2, nothing, nothing, c * a, d * a),
        (-through * el["R"], -through, -b * d, nothing, nothing),
        (d * source_1, a * d, b * d, nothing, nothing),
        (-through * el["F"], nothing, nothing, -c * a, -through),
    )
    corrected = np.stack([s11, s21, s12, s22], axis=-1)
    by = [
        (np.stack(numerators, axis=-1) - corrected * of_below[..., np.newaxis])
        * over[..., np.newaxis]
        for of_below, *numerators in changes
    ]
    by_raw = np.stack(
        [
            one / of[..., np.newaxis]
            for one, of in zip(by[:4], (er["F"], et["F"], et["R"], er["R"]), strict=True)
        ],
        axis=-1,
    )
    by_11, by_21, by_12, by_22 = (by_raw[..., place] for place in range(4))
    by_term = np.stack(
        [
            *(-by_11, by[4], -by_11 * a[..., None], by[5], -by_21 * b[..., None], -by_21),
            *(-by_22, by[6], -by_22 * d[..., None], by[7], -by_12 * c[..., None], -by_12),
        ],
        axis=-1,
    )
    return by_raw, by_term, corrected
