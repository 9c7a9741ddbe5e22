"""Raw sweeps to corrected ones, and back."""

import numpy as np

from sitegen.compute.rf.entries import as_matrices
from sitegen.compute.rf.terms import DrivenTerms, ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray

_NOT_DETERMINED = complex(np.nan, np.nan)


def correct(terms: ErrorTerms, raw: ComplexArray) -> ComplexArray:
    """Corrected S-parameters of raw sweeps.

    Two ports: the 12-term correction of Rytting, "Network analyzer error models and
    calibration methods" (quoted from memory). One port: G = (m - ED)/(ER + ES (m - ED)).

    Args:
        terms: error terms on n_freq frequencies.
        raw: (..., n_freq) with `OnePortTerms`, (..., n_freq, 2, 2) with `TwoPortTerms`; the
            leading axes are any number of sweeps, corrected all at once.

    Returns:
        The shape of `raw`. Where a term or a raw value is NaN, or the equations are singular
        (a tracking term of zero), every S-parameter of that frequency is NaN; no warning is
        given.

    Raises:
        ValueError: the frequency or port axes do not fit the terms.
    """
    _require_shape(terms, raw)
    with np.errstate(all="ignore"):
        if isinstance(terms, OnePortTerms):
            difference = raw - terms.directivity
            corrected: ComplexArray = difference / (
                terms.reflection_tracking + terms.source_match * difference
            )
        else:
            corrected = _correct_two_port(terms, raw)
    return _without_singular(terms, corrected)


def uncorrect(terms: ErrorTerms, true: ComplexArray) -> ComplexArray:
    """The raw sweeps that true S-parameters would give: the inverse of `correct`.

    Shapes, NaN and errors as in `correct`.
    """
    _require_shape(terms, true)
    with np.errstate(all="ignore"):
        if isinstance(terms, OnePortTerms):
            tracked = terms.reflection_tracking * true
            raw = terms.directivity + tracked / (1.0 - terms.source_match * true)
        else:
            raw = np.empty(true.shape, dtype=np.complex128)
            s11, s12, s21, s22 = (true[..., i, j] for i in (0, 1) for j in (0, 1))
            raw[..., 0, 0], raw[..., 1, 0] = _drive(terms.forward, s11, s12, s21, s22)
            raw[..., 1, 1], raw[..., 0, 1] = _drive(terms.reverse, s22, s21, s12, s11)
    return _without_singular(terms, raw)


def _correct_two_port(terms: TwoPortTerms, raw: ComplexArray) -> ComplexArray:
    forward, reverse = terms.forward, terms.reverse
    a = (raw[..., 0, 0] - forward.directivity) * (1.0 / forward.reflection_tracking)
    b = (raw[..., 1, 0] - forward.isolation) * (1.0 / forward.transmission_tracking)
    c = (raw[..., 0, 1] - reverse.isolation) * (1.0 / reverse.transmission_tracking)
    d = (raw[..., 1, 1] - reverse.directivity) * (1.0 / reverse.reflection_tracking)
    source_1 = 1.0 + a * forward.source_match
    source_2 = 1.0 + d * reverse.source_match
    through = b * c
    loads = forward.load_match * reverse.load_match
    over = 1.0 / (source_1 * source_2 - through * loads)
    corrected = np.empty((4, *raw.shape[:-2]), dtype=np.complex128)
    corrected[0] = (a * source_2 - forward.load_match * through) * over
    corrected[1] = c * (1.0 + a * (forward.source_match - reverse.load_match)) * over
    corrected[2] = b * (1.0 + d * (reverse.source_match - forward.load_match)) * over
    corrected[3] = (d * source_1 - reverse.load_match * through) * over
    return as_matrices(corrected)


def _drive(
    terms: DrivenTerms,
    near: ComplexArray,
    back: ComplexArray,
    through: ComplexArray,
    far: ComplexArray,
) -> tuple[ComplexArray, ComplexArray]:
    """Raw reflection at the driven port and raw transmission to the other one."""
    determinant = near * far - through * back
    loops = (
        1.0
        - terms.source_match * near
        - terms.load_match * far
        + terms.source_match * terms.load_match * determinant
    )
    reflected = terms.reflection_tracking * (near - terms.load_match * determinant) / loops
    transmitted = terms.transmission_tracking * through / loops
    return terms.directivity + reflected, terms.isolation + transmitted


def _require_shape(terms: ErrorTerms, s: ComplexArray) -> None:
    n_freq = len(terms.frequency_hz)
    expected = (n_freq,) if isinstance(terms, OnePortTerms) else (n_freq, 2, 2)
    if s.shape[-len(expected) :] != expected:
        raise ValueError(f"a sweep of shape {s.shape} does not end in {expected}")


def _without_singular(terms: ErrorTerms, s: ComplexArray) -> ComplexArray:
    """NaN in every S-parameter of a frequency where one of them is not finite."""
    if np.isfinite(s.sum()):
        return s
    finite = np.isfinite(s)
    if isinstance(terms, TwoPortTerms):
        finite = np.broadcast_to(finite.all(axis=(-2, -1), keepdims=True), s.shape)
    return np.where(finite, s, _NOT_DETERMINED)
