"""The calibration comparison bound: what two calibrations could make of one passive device.

Williams, Marks and Davidson, "Comparison of on-wafer calibrations", ARFTG 38, 1991 (quoted from
memory), give it to the first order in the difference of the terms. Here it is exact: the first
order is only where the search for the worst device begins. Every function speaks of S' - S,
where S is a device corrected with the first terms and S' the same raw sweep corrected with the
second.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.residuals import between, residuals_between
from sitegen.compute.rf.terms import ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.compute.rf.worst_devices import (
    change_of,
    lossless,
    worst_devices,
    worst_to_first_order,
)
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.frequency_lists import same_frequencies

_ANGLES = 96
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

    @property
    def greatest(self) -> FloatArray:
        """(n_freq,) of whichever S-parameter."""
        if self.difference.ndim == 1:
            return self.difference
        return np.asarray(self.difference.max(axis=(1, 2)))


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
    a, b, c, d = between(first, second)

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


def bound_between(first: ErrorTerms, second: ErrorTerms) -> Bound:
    """The bound of either kind of terms.

    Raises:
        ValueError: other kinds of terms, other frequencies, or another reference impedance.
    """
    if isinstance(first, OnePortTerms) and isinstance(second, OnePortTerms):
        return one_port_bound(first, second)
    if isinstance(first, TwoPortTerms) and isinstance(second, TwoPortTerms):
        return two_port_bound(first, second)
    raise ValueError("a one-port calibration cannot be compared with a two-port one")


def two_port_bound(first: TwoPortTerms, second: TwoPortTerms) -> Bound:
    """The greatest |S'ij - Sij| over passive two-ports, exact in the differences of the terms.

    S' - S is analytic in S where no passive device is corrected to infinity, and then greatest
    on lossless two-ports (the maximum principle; unitary matrices are the Shilov boundary of
    the matrices whose singular values are at most 1). The search begins at the worst device to
    the first order in the residuals and climbs the exact difference from there.

    Raises:
        ValueError: other frequencies, or another reference impedance.
    """
    _require_comparable(first, second)
    with np.errstate(all="ignore"):
        residuals = residuals_between(first, second)
        changes = change_of(first.forward, second.forward), change_of(first.reverse, second.reverse)
        forward = worst_devices(worst_to_first_order(*residuals), *changes)
        reverse = worst_devices(worst_to_first_order(*residuals[::-1]), *changes[::-1])
        active = _corrects_to_infinity(first, second)
    n_freq = len(first.frequency_hz)
    difference: FloatArray = np.empty((n_freq, 2, 2))
    device: ComplexArray = np.empty((2, 2, n_freq, 2, 2), np.complex128)
    for near, (greatest, angles) in enumerate((forward, reverse)):
        far = 1 - near
        s11, s22, _, s21, s12 = lossless(angles)
        for place, row in enumerate((near, far)):
            difference[:, row, near] = greatest[place]
            worst = device[row, near]
            worst[:, near, near], worst[:, far, far] = s11[place], s22[place]
            worst[:, far, near], worst[:, near, far] = s21[place], s12[place]
    known = np.all(difference >= 0.0, axis=(1, 2))
    difference[active] = np.inf
    difference[~known] = np.nan
    device[:, :, ~known] = complex(np.nan, np.nan)
    return Bound(difference, device)


def _require_comparable(first: ErrorTerms, second: ErrorTerms) -> None:
    if not same_frequencies(first.frequency_hz, second.frequency_hz):
        raise ValueError("the two calibrations stand on other frequencies")
    if first.z_ref_ohm != second.z_ref_ohm:  # NaN, an unknown impedance, equals nothing
        raise ValueError(
            f"the two calibrations stand in {first.z_ref_ohm:g} ohm and in {second.z_ref_ohm:g} ohm"
        )


def _corrects_to_infinity(first: TwoPortTerms, second: TwoPortTerms) -> BoolArray:
    """Where some passive reflection at either port would become infinite."""
    found: BoolArray = np.zeros(len(first.frequency_hz), np.bool_)
    for one, two in ((first.forward, second.forward), (first.reverse, second.reverse)):
        _, _, c, d = between(one, two)
        found |= np.abs(c) >= np.abs(d)
    return found


def _at_greatest(values: FloatArray, of: FloatArray) -> FloatArray:
    """Along the first axis, what `of` is where `values` is greatest; NaN counts as least."""
    index = np.argmax(np.nan_to_num(values, nan=-np.inf, posinf=np.inf), axis=0)
    taken: FloatArray = np.take_along_axis(of, index[np.newaxis], axis=0)[0]
    return taken
