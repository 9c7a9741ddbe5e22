"""Covariance of many corrected sweeps at once: the same law as `propagation`, without its parts.

A source's deviation is B' k, with B the derivatives of a corrected S-parameter by the error terms
and k what the source changes in them. With the sources' C = sum k k^H (twice that of a circular
one) and R = sum k k' (real ones only) a sweep needs no more than B' C B* = v_re + v_im and
B' R B = v_re - v_im + 2j cov, however many sources there are. Derivatives are those of the
correction in `correct`, in closed form.
"""

from collections.abc import Sequence

import numpy as np

from sitegen.compute.rf.correction_derivatives import ENTRIES, derivatives, rows_of
from sitegen.compute.rf.propagation import Perturbation, SweepErrors
from sitegen.compute.rf.terms import ErrorTerms, OnePortTerms, terms_from_rows
from sitegen.model.arrays import ComplexArray, FloatArray

_CHUNK = 16
"""Sweeps worked on at once, so that their derivatives stay in the processor's cache."""


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
    terms = terms_from_rows(terms, rows_of(terms).astype(np.complex64))
    found = np.empty((*sweeps.shape, 3), np.float32)
    for at in range(0, len(sweeps), _CHUNK):
        chunk = slice(at, at + _CHUNK)
        found[chunk] = _of_chunk(terms, hermitian, symmetric, errors, sweeps[chunk])
    return found.reshape(*raw.shape, 3)


def _sources(
    terms: ErrorTerms, perturbations: Sequence[Perturbation]
) -> tuple[ComplexArray, ComplexArray]:
    """C and R of all sources, (n_freq, n_term, n_term) each."""
    at = rows_of(terms)
    moved = [(one.kind, rows_of(one.terms) - at) for one in perturbations]
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


@np.errstate(all="ignore")
def _of_chunk(
    terms: ErrorTerms,
    hermitian: ComplexArray,
    symmetric: ComplexArray,
    errors: SweepErrors | None,
    raw: ComplexArray,
) -> FloatArray:
    """(n_sweep, n_freq, n_port, n_port, 3)."""
    by_raw, by_term, corrected = derivatives(terms, raw)
    flat = by_term.reshape(len(by_term), -1, by_term.shape[-1])
    total = np.einsum("fst,fst->fs", flat @ hermitian, flat.conj()).real
    twice = np.einsum("fst,fst->fs", flat @ symmetric, flat)
    shape = by_term.shape[:-1]
    total, twice = total.reshape(shape), twice.reshape(shape)
    if errors is not None:
        total = total + 2.0 * _own(errors, by_raw, raw, corrected)
    found = np.empty((*raw.shape, 3), np.float32)
    for place, (i, j) in enumerate(ENTRIES[: shape[-1]]):
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
    places = ENTRIES[: by_raw.shape[-1]]
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
