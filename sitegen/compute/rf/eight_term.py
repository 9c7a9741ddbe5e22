"""What the 8-term methods share: two error boxes with a switch-free two-port between them.

Transfer matrices here take the waves at the right of a two-port to those at its left,

    [b1, a1] = T [a2, b2],    T = 1/S21 [[S12 S21 - S11 S22, S11], [-S22, 1]],

so a raw sweep without switch terms is M = X T Y, with the boxes X at port 1 and Y at port 2
(Engen and Hoer, IEEE Trans. Microwave Theory Tech. 27 (1979) 987, quoted from memory).

A one-port standard G at port 1 is the vector [G, 1] and shows as [m, 1] ~ X [G, 1]. At port 2
it is [1, G] and shows as [1, m] with [1, G] ~ Y [1, m]. Once a known thru has been measured,
M_thru [1, m] ~ X T_thru [1, G] brings it to port 1: seven unknowns become the three of X.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.solt import ISOLATION_NOTE
from sitegen.compute.rf.solution import CalibrationNotSolvable
from sitegen.compute.rf.terms import DrivenTerms, OnePortTerms, TwoPortTerms
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

SWITCH_TERMS_NOTE = (
    "switch terms missing: the terminations of the two receiving ports are taken as equal to "
    "the driving ones, which can shift corrected values by more than any other error here"
)


@dataclass(frozen=True, eq=False)
class SwitchTerms:
    """a2/b2 with port 1 driven (forward) and a1/b1 with port 2 driven, (n_freq,) complex."""

    forward: ComplexArray
    reverse: ComplexArray


@dataclass(frozen=True, eq=False)
class Receivers:
    """What belongs to the receivers and not to a standard; None where it was not measured.

    `raw_isolation`, (n_freq, 2, 2), is a raw sweep with both ports terminated; only its
    transmissions are used.
    """

    switch_terms: SwitchTerms | None = None
    raw_isolation: ComplexArray | None = None

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know about the missing ones."""
        missing = []
        if self.switch_terms is None:
            missing.append(SWITCH_TERMS_NOTE)
        if self.raw_isolation is None:
            missing.append(ISOLATION_NOTE)
        return tuple(missing)

    def switch(self, n_freq: int) -> SwitchTerms:
        """The switch terms, zero where missing."""
        return self.switch_terms or SwitchTerms(*np.zeros((2, n_freq), np.complex128))

    def leak(self, n_freq: int) -> ComplexArray:
        """Transmissions to be taken from every raw sweep, (n_freq, 2, 2) with a zero diagonal."""
        leak = np.zeros((n_freq, 2, 2), np.complex128)
        if self.raw_isolation is not None:
            leak[:, 0, 1], leak[:, 1, 0] = self.raw_isolation[:, 0, 1], self.raw_isolation[:, 1, 0]
        return leak

    def without(self, raw: ComplexArray) -> ComplexArray:
        """S-parameters between the receivers, (..., n_freq, 2, 2), free of leak and switch terms.

        With the forward switch term F = a2/b2 and the reverse one R = a1/b1 the waves are
        b = S a, a = [[1, m12 R], [m21 F, 1]], b = m (Marks, ARFTG 1997, quoted from memory).
        NaN where that matrix is singular.
        """
        n_freq = raw.shape[-3]
        switch = self.switch(n_freq)
        m = raw - self.leak(n_freq)
        a12, a21 = m[..., 0, 1] * switch.reverse, m[..., 1, 0] * switch.forward
        free = np.empty(m.shape, np.complex128)
        with np.errstate(all="ignore"):
            free[..., 0] = m[..., 0] - m[..., 1] * a21[..., np.newaxis]
            free[..., 1] = m[..., 1] - m[..., 0] * a12[..., np.newaxis]
            free /= (1.0 - a12 * a21)[..., np.newaxis, np.newaxis]
        return free


@dataclass(frozen=True, eq=False)
class Boxes:
    """Transfer matrices of the two error boxes, (n_freq, 2, 2); only their product has a scale."""

    port_1: ComplexArray
    port_2: ComplexArray


def require_shapes(frequency_hz: FloatArray, sweeps: dict[str, ComplexArray | None]) -> None:
    """Refuse sweeps that are not (n_freq, 2, 2); None is no sweep and legal."""
    expected = (len(frequency_hz), 2, 2)
    for name, sweep in sweeps.items():
        if sweep is not None and sweep.shape != expected:
            raise CalibrationNotSolvable(
                f"the raw {name} has shape {sweep.shape}, and {expected} is needed"
            )


def transfer(s: ComplexArray) -> ComplexArray:
    """Transfer matrices T of S-parameters, (..., 2, 2); not finite where S21 is zero."""
    t = np.empty(s.shape, np.complex128)
    s11, s12, s21, s22 = (s[..., i, j] for i in (0, 1) for j in (0, 1))
    t[..., 0, 0], t[..., 0, 1] = s12 * s21 - s11 * s22, s11
    t[..., 1, 0], t[..., 1, 1] = -s22, 1.0
    with np.errstate(all="ignore"):
        return t / s21[..., np.newaxis, np.newaxis]


def scattering(t: ComplexArray) -> ComplexArray:
    """S-parameters of transfer matrices: the inverse of `transfer`."""
    s = np.empty(t.shape, np.complex128)
    s[..., 0, 0], s[..., 0, 1] = t[..., 0, 1], determinant(t)
    s[..., 1, 0], s[..., 1, 1] = 1.0, -t[..., 1, 0]
    with np.errstate(all="ignore"):
        return s / t[..., 1:, 1:]


def determinant(matrix: ComplexArray) -> ComplexArray:
    """Determinants of (..., 2, 2)."""
    value: ComplexArray = (
        matrix[..., 0, 0] * matrix[..., 1, 1] - matrix[..., 0, 1] * matrix[..., 1, 0]
    )
    return value


def adjugate(matrix: ComplexArray) -> ComplexArray:
    """Inverses of (..., 2, 2) times their determinants: no division, so never an error."""
    turned = np.empty_like(matrix)
    turned[..., 0, 0], turned[..., 1, 1] = matrix[..., 1, 1], matrix[..., 0, 0]
    turned[..., 0, 1], turned[..., 1, 0] = -matrix[..., 0, 1], -matrix[..., 1, 0]
    return turned


def inverse(matrix: ComplexArray) -> ComplexArray:
    """Inverses of (..., 2, 2), not finite where they are singular."""
    with np.errstate(all="ignore"):
        return adjugate(matrix) / determinant(matrix)[..., np.newaxis, np.newaxis]


def as_vector(gamma: ComplexArray) -> ComplexArray:
    """[G, 1], (..., 2)."""
    return np.stack([gamma, np.ones_like(gamma)], axis=-1)


def applied(matrix: ComplexArray, vector: ComplexArray) -> ComplexArray:
    """Matrix times vector at each frequency, (..., n_freq, 2)."""
    product: ComplexArray = np.einsum("...ij,...j->...i", matrix, vector)
    return product


def seen_through_thru(transfer_thru: ComplexArray, gamma_2: ComplexArray) -> ComplexArray:
    """The vector at port 1 of a reflection at port 2 behind the thru, T [1, G]."""
    return applied(transfer_thru, np.stack([np.ones_like(gamma_2), gamma_2], axis=-1))


def reflection_behind(box: ComplexArray, vector: ComplexArray) -> ComplexArray:
    """The true reflection that shows as a raw vector through box X at port 1, (..., n_freq)."""
    true = applied(adjugate(box), vector)
    with np.errstate(all="ignore"):
        reflection: ComplexArray = true[..., 0] / true[..., 1]
    return reflection


def other_box(
    port_1: ComplexArray, transfer_thru: ComplexArray, raw_transfer_thru: ComplexArray
) -> Boxes:
    """Both boxes, port 2's from a known thru: Y = (X T)^-1 M."""
    return Boxes(port_1, inverse(port_1 @ transfer_thru) @ raw_transfer_thru)


def terms_of_boxes(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    boxes: Boxes,
    receivers: Receivers,
    determined: BoolArray,
) -> TwoPortTerms:
    """Twelve terms of two boxes and the receivers' switch terms; NaN where not determined."""
    nan = complex(np.nan, np.nan)
    x: ComplexArray = np.where(determined[:, np.newaxis, np.newaxis], boxes.port_1, nan)
    y: ComplexArray = np.where(determined[:, np.newaxis, np.newaxis], boxes.port_2, nan)
    x11, y11 = x[:, 1, 1], y[:, 1, 1]
    port_1 = OnePortTerms(
        frequency_hz, z_ref_ohm, x[:, 0, 1] / x11, -x[:, 1, 0] / x11, determinant(x) / x11**2
    )
    port_2 = OnePortTerms(
        frequency_hz, z_ref_ohm, -y[:, 1, 0] / y11, y[:, 0, 1] / y11, determinant(y) / y11**2
    )
    k = 1.0 / (x11 * y11 * port_2.reflection_tracking)
    return twelve_terms(port_1, port_2, k, receivers)


def twelve_terms(
    port_1: OnePortTerms, port_2: OnePortTerms, k: ComplexArray, receivers: Receivers
) -> TwoPortTerms:
    """Twelve terms from seven and the switch terms.

    `k` is the forward transmission tracking without switch terms over the reflection tracking
    of port 2. Marks, "Formulations of the basic vector network analyzer error model including
    switch terms", ARFTG 1997, eqs. 36 to 39 (as quoted by scikit-rf), with the switch term
    cancelled from the tracking so that zero is a legal value.
    """
    n_freq = len(port_1.frequency_hz)
    switch, leak = receivers.switch(n_freq), receivers.leak(n_freq)
    with np.errstate(invalid="ignore"):
        one_over_k = 1.0 / k
    return TwoPortTerms(
        port_1.frequency_hz,
        port_1.z_ref_ohm,
        _driven(port_1, port_2, switch.forward, k, leak[:, 1, 0]),
        _driven(port_2, port_1, switch.reverse, one_over_k, leak[:, 0, 1]),
    )


def _driven(
    near: OnePortTerms,
    far: OnePortTerms,
    switch_term: ComplexArray,
    k: ComplexArray,
    isolation: ComplexArray,
) -> DrivenTerms:
    with np.errstate(invalid="ignore"):
        tracked = far.reflection_tracking / (1.0 - far.directivity * switch_term)
    return DrivenTerms(
        directivity=near.directivity,
        source_match=near.source_match,
        reflection_tracking=near.reflection_tracking,
        load_match=far.source_match + tracked * switch_term,
        transmission_tracking=tracked * k,
        isolation=np.where(np.isfinite(k), isolation, complex(np.nan, np.nan)),
    )


def row_at_port_1(gamma: ComplexArray) -> ComplexArray:
    """What small changes of port 1's box do to a raw reflection there, at the probe tips.

    With X ~ I + dX, dm = d0 + d1 G + d2 G^2; the row is [1, G, G^2], (n_freq, 3).
    """
    return np.stack([np.ones_like(gamma), gamma, gamma**2], axis=-1)


def row_at_port_2(gamma: ComplexArray, transfer_thru: ComplexArray) -> ComplexArray:
    """The same three changes seen at port 2, whose box follows from the thru, (n_freq, 3)."""
    p, q = np.moveaxis(seen_through_thru(transfer_thru, gamma), -1, 0)
    row = np.stack([q**2, p * q, p**2], axis=-1)
    return -row / determinant(transfer_thru)[:, np.newaxis]


def row_of_unknown(gamma: ComplexArray, transfer_thru: ComplexArray) -> ComplexArray:
    """An unknown reflect, equal at both ports: its reflection cancels from the difference."""
    difference: ComplexArray = row_at_port_1(gamma) - row_at_port_2(gamma, transfer_thru)
    return difference * complex(np.sqrt(0.5))


def condition_at_tips(rows: list[ComplexArray]) -> FloatArray:
    """Condition number of the linearised equations at the solution, (n_freq,).

    Referred to the probe tips, so it speaks of the standards and not of the path to them.
    Infinite where a row is not finite.
    """
    matrix = np.stack(rows, axis=1)
    finite: BoolArray = np.all(np.isfinite(matrix), axis=(1, 2))
    known: ComplexArray = np.where(finite[:, np.newaxis, np.newaxis], matrix, 0.0)
    singular = np.linalg.svd(known, compute_uv=False)
    with np.errstate(all="ignore"):
        condition: FloatArray = np.where(
            finite & (singular[:, -1] > 0), singular[:, 0] / singular[:, -1], np.inf
        )
    return condition
