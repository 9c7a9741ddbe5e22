"""The calibration comparison bound: what two calibrations could make of one passive device.

Williams, Marks and Davidson, "Comparison of on-wafer calibrations", ARFTG 38, 1991 (quoted from
memory). Every function speaks of S' - S, where S is a device corrected with the first terms
and S' the same raw sweep corrected with the second.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.terms import DrivenTerms, ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray, FloatArray

_ANGLES = 96
_SIZES = 25
_ZOOMS = 2


@dataclass(frozen=True, eq=False)
class Bound:
    """The greatest difference at each frequency and a passive device that shows it.

    `difference` is (n_freq,) for one port and (n_freq, 2, 2) for two; `device` is (n_freq,),
    or (2, 2, n_freq, 2, 2) with, first, the two indices of the S-parameter it is worst for.
    NaN where either calibration is not determined; infinite where the second would correct
    some passive reflection to infinity.
    """

    difference: FloatArray
    device: ComplexArray


@dataclass(frozen=True, eq=False)
class _Residual:
    """First-order change of one direction's S-parameters, (n_freq,) each, near port first.

    dS11 = d + r S11 + m S11^2 + load S12 S21 and dS21 = leak + S21 (t + m S11 + load S22).
    """

    d: ComplexArray
    r: ComplexArray
    m: ComplexArray
    load: ComplexArray
    t: ComplexArray
    leak: ComplexArray


def shown_difference(first: ErrorTerms, second: ErrorTerms, device: ComplexArray) -> ComplexArray:
    """S' - S of a device that the first terms correct to `device`, without approximation."""
    return correct(second, uncorrect(first, device)) - device


def one_port_bound(first: OnePortTerms, second: OnePortTerms) -> Bound:
    """The greatest |G' - G| over |G| <= 1, exact in the differences of the terms.

    G' is a bilinear function of G. Where its pole lies outside the unit circle, G' - G is
    analytic inside and greatest on the circle: sought there on 96 angles, then twice more
    closely around the best.

    Raises:
        ValueError: other frequencies, or another reference impedance.
    """
    _require_comparable(first, second)
    a, b, c, d = _between(first, second)

    def difference(angle: FloatArray) -> FloatArray:
        gamma = np.exp(1j * angle)
        apart: FloatArray = np.abs((a * gamma + b) / (c * gamma + d) - gamma)
        return apart

    with np.errstate(all="ignore"):
        best: FloatArray = np.zeros(len(a))
        width = np.pi
        for _ in range(_ZOOMS + 1):
            angles = best + np.linspace(-width, width, _ANGLES + 1)[:, np.newaxis]
            best = _at_greatest(difference(angles), angles)
            width *= 2.0 / _ANGLES
        greatest = difference(best)
        greatest = np.where(np.abs(c) < np.abs(d), greatest, np.inf)
    known = np.isfinite(a + b + c + d)
    return Bound(
        np.where(known, greatest, np.nan),
        np.where(known, np.exp(1j * best), complex(np.nan, np.nan)),
    )


def two_port_bound(first: TwoPortTerms, second: TwoPortTerms) -> Bound:
    """The greatest |S'ij - Sij| over passive two-ports, to the first order in the residuals.

    The residual terms are those of the first calibration seen through the second at its
    probe tips; products of two residuals are neglected, and so are products of a load match
    with what is left of the other load match (zero where both have the same switch terms).
    The extremes of the first-order form are found exactly, over devices with the largest
    singular value up to 1: reflection x at an angle and transmissions of sqrt(1 - x^2).

    Raises:
        ValueError: other frequencies, or another reference impedance.
    """
    _require_comparable(first, second)
    with np.errstate(all="ignore"):
        forward, reverse = _residuals(first, second)
        s11, by_s11 = _worst_reflection(forward)
        s22, by_s22 = _worst_reflection(reverse)
        s21, by_s21 = _worst_transmission(forward)
        s12, by_s12 = _worst_transmission(reverse)
    turned = np.s_[:, ::-1, ::-1]
    difference = np.stack([np.stack([s11, s12], -1), np.stack([s21, s22], -1)], axis=-2)
    device = np.stack([by_s11, by_s12[turned], by_s21, by_s22[turned]])
    known = np.all(np.isfinite(difference), axis=(1, 2), keepdims=True)
    return Bound(
        np.where(known, difference, np.nan),
        np.where(known, device, complex(np.nan, np.nan)).reshape(2, 2, *difference.shape),
    )


def _require_comparable(first: ErrorTerms, second: ErrorTerms) -> None:
    if not np.array_equal(first.frequency_hz, second.frequency_hz):
        raise ValueError("the two calibrations stand on other frequencies")
    if first.z_ref_ohm != second.z_ref_ohm:  # NaN, an unknown impedance, equals nothing
        raise ValueError(
            f"the two calibrations stand in {first.z_ref_ohm:g} ohm and in {second.z_ref_ohm:g} ohm"
        )


def _between(
    first: OnePortTerms | DrivenTerms, second: OnePortTerms | DrivenTerms
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """a, b, c, d of G' = (a G + b)/(c G + d): the second's inverse after the first."""
    shift = first.directivity - second.directivity
    tracked = first.reflection_tracking - shift * first.source_match
    below = second.reflection_tracking + second.source_match * shift
    c = second.source_match * tracked - second.reflection_tracking * first.source_match
    return tracked, shift, c, below


def _residuals(first: TwoPortTerms, second: TwoPortTerms) -> tuple[_Residual, _Residual]:
    ports = [_between(first.forward, second.forward), _between(first.reverse, second.reverse)]
    sides = [(first.forward, second.forward), (first.reverse, second.reverse)]
    found = []
    for near, far, (one, two) in zip(ports, ports[::-1], sides, strict=True):
        a, b, c, d = near
        _, b_far, c_far, d_far = far
        a_far = far[0]
        # how the first load match looks through the second calibration's far box
        load_seen = (c_far + d_far * one.load_match) / (a_far + b_far * one.load_match)
        shift_near, shift_far = b / d, b_far / d_far
        loops = (1.0 - two.source_match * shift_near) * (1.0 - two.load_match * shift_far)
        found.append(
            _Residual(
                d=shift_near,
                r=a / d - 1.0,
                m=-c / d,
                load=-c_far / d_far + load_seen - two.load_match,
                t=one.transmission_tracking / two.transmission_tracking * loops - 1.0,
                leak=(one.isolation - two.isolation) / two.transmission_tracking * loops,
            )
        )
    return found[0], found[1]


def _worst_reflection(residual: _Residual) -> tuple[FloatArray, ComplexArray]:
    """Greatest |dS11|: x and the angle by search, the transmissions' phase so that it adds."""

    def along(size: FloatArray, angle: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        gamma = size * np.exp(1j * angle)
        return gamma, residual.d + gamma * (residual.r + gamma * residual.m)

    n_freq = len(residual.d)
    size: FloatArray = np.full(n_freq, 0.5)
    angle: FloatArray = np.zeros(n_freq)
    half_size, half_angle = 0.5, np.pi
    for _ in range(_ZOOMS + 1):
        sizes = size + np.linspace(-half_size, half_size, _SIZES)[:, np.newaxis, np.newaxis]
        angles = angle + np.linspace(-half_angle, half_angle, _ANGLES + 1)[:, np.newaxis]
        sizes = np.clip(sizes, 0.0, 1.0)
        total = np.abs(along(sizes, angles)[1]) + np.abs(residual.load) * (1.0 - sizes**2)
        flat = total.reshape(-1, n_freq)
        size = _at_greatest(flat, np.broadcast_to(sizes, total.shape).reshape(flat.shape))
        angle = _at_greatest(flat, np.broadcast_to(angles, total.shape).reshape(flat.shape))
        half_size, half_angle = 2.0 * half_size / (_SIZES - 1), 2.0 * half_angle / _ANGLES
    gamma, sum_ = along(size, angle)
    greatest = np.abs(sum_) + np.abs(residual.load) * (1.0 - size**2)
    phase = np.angle(sum_) - np.angle(residual.load)
    return greatest, _lossless(gamma, phase, np.zeros(n_freq))


def _worst_transmission(residual: _Residual) -> tuple[FloatArray, ComplexArray]:
    """Greatest |dS21|: |leak| + y (|t| + (|m| + |load|) sqrt(1 - y^2)), all phases adding."""
    straight = np.abs(residual.t)
    mismatch = np.abs(residual.m) + np.abs(residual.load)
    y = np.linspace(0.0, 1.0, 2001)[:, np.newaxis]
    total = y * (straight + mismatch * np.sqrt(1.0 - y**2))
    best = _at_greatest(total, np.broadcast_to(y, total.shape))
    x = np.sqrt(1.0 - best**2)
    greatest = np.abs(residual.leak) + best * (straight + mismatch * x)
    through = np.where(np.abs(residual.leak) > 0, np.angle(residual.leak) - np.angle(residual.t), 0)
    s11 = x * np.exp(1j * (np.angle(residual.t) - np.angle(residual.m)))
    s22_angle = np.angle(residual.t) - np.angle(residual.load)
    # of a lossless two-port, angle S12 = angle S11 + angle S22 + 180 degrees - angle S21
    return greatest, _lossless(s11, np.angle(s11) + s22_angle + np.pi, through)


def _lossless(s11: ComplexArray, product_angle: FloatArray, s21_angle: FloatArray) -> ComplexArray:
    """A lossless two-port of given S11, angle of S12 S21 and angle of S21, (n_freq, 2, 2)."""
    through = np.sqrt(np.clip(1.0 - np.abs(s11) ** 2, 0.0, None))
    s = np.empty((len(s11), 2, 2), np.complex128)
    s[:, 0, 0] = s11
    s[:, 1, 0] = through * np.exp(1j * s21_angle)
    s[:, 0, 1] = through * np.exp(1j * (product_angle - s21_angle))
    s[:, 1, 1] = -np.conj(s11) * np.exp(1j * product_angle)
    return s


def _at_greatest(values: FloatArray, of: FloatArray) -> FloatArray:
    """Along the first axis, what `of` is where `values` is greatest; NaN counts as least."""
    index = np.argmax(np.nan_to_num(values, nan=-np.inf, posinf=np.inf), axis=0)
    taken: FloatArray = np.take_along_axis(of, index[np.newaxis], axis=0)[0]
    return taken
