"""Derivatives of a de-embedded device's S-parameters by those that it is taken from.

Conversions between S, Y and Z, and one matrix behind another, change as dX = L dx R with L and R of
the matrices themselves: from S = 2 (1 + z Y)^-1 - 1 = 1 - 2 (Z/z + 1)^-1 with reference impedance z

    dY = -(1 + z Y) dS (1 + z Y) / 2z
    dZ = (Z + z) dS (Z + z) / 2z
    dS = -z (1 + S) dY (1 + S) / 2

and V = (W^-1 - T)^-1 gives dV = (1 + V T) dW (1 + T V) + V dT V. Lumped methods are made of
these alone. Those with a thru are differentiated by differences.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.deembedding import SECOND_PORT, behind, deembed
from sitegen.compute.rf.entries import as_matrices, by_entry, sandwich
from sitegen.compute.rf.two_port import (
    admittance,
    as_two_port,
    from_admittance,
    impedance,
    product,
)
from sitegen.model.arrays import ComplexArray
from sitegen.model.device import DUMMIES_OF, LUMPED, DeembeddingMethod

DEVICE = "device"
"""What the device's own sweep is called beside the parts of its dummies."""
_STEP = 1e-7
"""Of S-parameters, in differences."""
_UNIT: ComplexArray = np.eye(2, dtype=np.complex128)


@dataclass(frozen=True, eq=False)
class _Matrix:
    """Y or Z, (..., 2, 2), with dX = sum of L dS R over pairs L, R by whose S it is."""

    value: ComplexArray
    by: Mapping[str, tuple[tuple[ComplexArray, ComplexArray], ...]]

    def within(self, value: ComplexArray, left: ComplexArray, right: ComplexArray) -> "_Matrix":
        """What changes by left dX right."""
        return _Matrix(
            value,
            {
                name: tuple((product(left, one), product(other, right)) for one, other in pairs)
                for name, pairs in self.by.items()
            },
        )

    def plus(self, value: ComplexArray, other: "_Matrix") -> "_Matrix":
        """What changes by the sum of both changes."""
        names = dict.fromkeys((*self.by, *other.by))
        return _Matrix(
            value, {name: (*self.by.get(name, ()), *other.by.get(name, ())) for name in names}
        )

    def less(self, other: "_Matrix") -> "_Matrix":
        """The difference."""
        negative = {
            name: tuple((-one, another) for one, another in pairs)
            for name, pairs in other.by.items()
        }
        value = self.value - other.value
        return self.plus(value, _Matrix(value, negative))

    def behind(self, taken: "_Matrix") -> "_Matrix":
        """This with something taken off, as `deembedding.behind`."""
        off = taken.value
        value = behind(self.value, off)
        left, right = _UNIT + product(value, off), _UNIT + product(off, value)
        return self.within(value, left, right).plus(value, taken.within(value, value, value))


@np.errstate(all="ignore")
def deembedding_derivatives(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, ComplexArray],
    z_ref_ohm: float,
) -> Mapping[str, ComplexArray]:
    """Of `deembed` with the same arguments: by the device's sweep and by each dummy's.

    Returns:
        By part and `DEVICE`, (e, e, n, n_f) of each S-parameter that comes out by each that goes
        in, in the order of `entries`; 0 where it is not known.
    """
    if method not in LUMPED:
        return _by_differences(method, s, dummies, z_ref_ohm)
    n_ports = s.shape[-1]
    parts = {name: as_two_port(dummies[name], SECOND_PORT[name]) for name in DUMMIES_OF[method]}
    parts = {
        name: as_matrices(by_entry(one)) for name, one in (*parts.items(), (DEVICE, as_two_port(s)))
    }
    inner = _lumped(method, parts, z_ref_ohm)
    across = from_admittance(inner.value, z_ref_ohm) + _UNIT
    found = inner.within(inner.value, -0.5 * z_ref_ohm * across, across)
    return {name: sandwich(pairs, n_ports) for name, pairs in found.by.items()}


def _lumped(method: DeembeddingMethod, s: Mapping[str, ComplexArray], z_ref_ohm: float) -> _Matrix:
    """Admittance of the device itself; the methods are those of `deembedding`."""

    def y(part: str) -> _Matrix:
        value = admittance(s[part], z_ref_ohm)
        across: ComplexArray = _UNIT + z_ref_ohm * value
        scaled: ComplexArray = across * (-0.5 / z_ref_ohm)
        return _Matrix(value, {part: ((scaled, across),)})

    def z(part: str) -> _Matrix:
        value = impedance(s[part], z_ref_ohm)
        across: ComplexArray = value + z_ref_ohm * _UNIT
        scaled: ComplexArray = across * (0.5 / z_ref_ohm)
        return _Matrix(value, {part: ((scaled, across),)})

    device = y(DEVICE)
    if method == "open":
        return device.less(y("open"))
    if method == "short":
        return device.behind(z("short"))
    if method == "open-short":
        return device.less(y("open")).behind(z("short").behind(y("open")))
    if method == "short-open":
        return device.behind(z("short")).less(y("open").behind(z("short")))
    pads = y("pad")
    leads = z("short").behind(pads)
    return device.less(pads).behind(leads).less(y("open").less(pads).behind(leads))


def _by_differences(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, ComplexArray],
    z_ref_ohm: float,
) -> Mapping[str, ComplexArray]:
    whole = {DEVICE: s, **{name: dummies[name] for name in DUMMIES_OF[method]}}

    def moved(part: str) -> Callable[[ComplexArray], ComplexArray]:
        def inner(one: ComplexArray) -> ComplexArray:
            there = {**whole, part: one}
            return deembed(method, there.pop(DEVICE), there, z_ref_ohm)

        return inner

    return {part: by_differences(moved(part), one) for part, one in whole.items()}


def by_differences(change: Callable[[ComplexArray], ComplexArray], s: ComplexArray) -> ComplexArray:
    """Derivatives of a pointwise analytic change of S (n, n_f, p, p), shaped as above."""
    n_ports, found, before = s.shape[-1], [], change(s)
    for place in range(n_ports**2):
        step = np.zeros(n_ports**2)
        step[place] = _STEP
        found.append(by_entry((change(s + step.reshape(n_ports, n_ports)) - before) / _STEP))
    derivatives = np.stack(found, axis=1)
    return np.where(np.isfinite(derivatives), derivatives, 0.0)
