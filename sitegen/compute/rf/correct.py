"""Raw sweeps to corrected ones, and back."""

import numpy as np

from sitegen.compute.rf.entries import as_matrices
from sitegen.compute.rf.terms import DrivenTerms, ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray

_NOT_DETERMINED = complex(np.nan, np.nan)


def correct(terms: ErrorTerms, raw: ComplexArray, out: ComplexArray | None = None) -> ComplexArray:
    """Corrected S-parameters of raw sweeps.

    Two ports: the 12-term correction of Rytting, "Network analyzer error models and
    calibration methods" (quoted from memory). One port: G = (m - ED)/(ER + ES (m - ED)).

    Args:
        terms: error terms on n_freq frequencies.
        raw: (..., n_freq) with `OnePortTerms`, (..., n_freq, 2, 2) with `TwoPortTerms`; the
            leading axes are any number of sweeps, corrected all at once.
        out: where to put the result, of the shape of `raw`; None: a new array, by entry.

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
            under = terms.reflection_tracking + terms.source_match * difference
            out = np.divide(difference, under, out=out)
        else:
            if out is None:
                out = as_matrices(np.empty((4, *raw.shape[:-2]), dtype=np.complex128))
            _correct_two_port(terms, raw, out)
    return _without_singular(terms, out)


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


def _correct_two_port(terms: TwoPortTerms, raw: ComplexArray, out: ComplexArray) -> None:
    forward, reverse = terms.forward, terms.reverse
    a, c, b, d = s = [out[..., i, j] for i in (0, 1) for j in (0, 1)]
    for place, (leaks, tracking) in enumerate(
        (
            (forward.directivity, forward.reflection_tracking),
            (reverse.isolation, reverse.transmission_tracking),
            (forward.isolation, forward.transmission_tracking),
            (reverse.directivity, reverse.reflection_tracking),
        )
    ):
        np.subtract(raw[..., place // 2, place % 2], leaks, out=s[place])
        s[place] *= 1.0 / tracking
    source_1 = 1.0 + a * forward.source_match
    source_2 = 1.0 + d * reverse.source_match
    through = b * c
    over = 1.0 / (source_1 * source_2 - through * (forward.load_match * reverse.load_match))
    c *= 1.0 + a * (forward.source_match - reverse.load_match)
    b *= 1.0 + d * (reverse.source_match - forward.load_match)
    a *= source_2
    a -= through * forward.load_match
    d *= source_1
    d -= through * reverse.load_match
    for entry in s:
        entry *= over


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
    """NaN, in place, in every S-parameter of a frequency where one of them is not finite."""
    if not np.isfinite(s.sum()):
        lost = ~np.isfinite(s)
        s[lost.any(axis=(-2, -1)) if isinstance(terms, TwoPortTerms) else lost] = _NOT_DETERMINED
    return s
