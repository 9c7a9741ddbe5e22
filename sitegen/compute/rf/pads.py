"""Slopes by a device itself carried back to the sweeps that it was taken from.

Where dX = sum of L dW R with matrices L and R, slopes c with dv = Re(sum of c dX) go back as
c_W = sum of L' c R', with ' the transpose. Every lumped method takes off an admittance Y outside,
an impedance Z of the leads behind it and an admittance B beside the device (`lumped_parts`). With
reference impedance 1, D = 1 + S and N = 1 - S,

    N_1 = N - Y D, D_1 = D - Z N_1, N_2 = N_1 - B D_1, S_inner = (D_1 - N_2)(D_1 + N_2)^-1

(`deembedding`), which changes by

    dS_inner = ((K + J + J Y) dS + J dY D - K dZ N_1 + Q dB D_1)(D_1 + N_2)^-1

with Q = 1 + S_inner, K = 1 - S_inner + Q B and J = K Z + Q. All are finite where the device is,
shorted or not. Y, Z and B are made of the dummies' S in few steps:

    dY = -(1 + Y) dS (1 + Y) / 2
    dZ = (Z + 1) dS (Z + 1) / 2

and V = (W^-1 - T)^-1 gives dV = (1 + V T) dW (1 + T V) + V dT V. Methods with a thru are
differentiated by differences.

Where many devices share their dummies, what is made of dummies alone is the same for all of them.
Slopes stop there: how they go on is told once, not for each device.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from sitegen.compute.rf.deembedding import SECOND_PORT, behind, deembed
from sitegen.compute.rf.entries import (
    Entries,
    as_matrices,
    by_entry,
    inverse,
    known,
    passed_back,
    product,
    transposed,
)
from sitegen.compute.rf.two_port import admittance, as_two_port, impedance
from sitegen.model.arrays import ComplexArray
from sitegen.model.device import DUMMIES_OF, LUMPED, DeembeddingMethod

DEVICE = "device"
"""What the device's own sweep is called beside the parts of its dummies."""
BySweep = Mapping[str, ComplexArray]
"""Slopes (e, n, n_f) by the sweep of each part and `DEVICE`."""
_STEP = 1e-7
"""Of S-parameters, in differences."""


@dataclass(frozen=True, eq=False)
class Pads:
    """What was taken off n devices at n_f points, backwards."""

    back: Callable[[ComplexArray], BySweep]
    """From slopes (e, n, n_f) by S of the device itself, dv = Re(sum of slope dS): by the device's
    corrected sweep, by each dummy's that is not shared, and by what `shared` names."""
    further: Callable[[], Mapping[str, BySweep]]
    """See `shared`."""

    @cached_property
    def shared(self) -> Mapping[str, BySweep]:
        """For each matrix made of shared dummies alone: (4, e, n_f) by part, its entries'
        derivatives by the entries of the dummy's S."""
        return self.further()


def no_pads() -> Pads:
    """Nothing was taken off."""
    return Pads(lambda slope: {DEVICE: slope}, dict)


def pads(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, ComplexArray],
    z_ref_ohm: float,
    *,
    once: Collection[str] = (),
) -> Pads:
    """Of `deembed` with the same arguments, s (n, n_f, p, p).

    Args:
        once: parts with one sweep for all devices; slopes stop at what is made of these alone. To
            other parts they go back, (e, n, n_f) even where all devices share the sweep.
    """
    with np.errstate(all="ignore"):
        if method in LUMPED:
            return _lumped_pads(method, s, dummies, once)
        return _thru_pads(method, s, dummies, z_ref_ohm, once)


@dataclass(frozen=True, eq=False)
class _Step:
    """dX = L dW R."""

    to: str
    """W: a matrix, or the sweep whose S it is."""
    left: Entries
    """L transposed, by entry, 0 where not known."""
    right: Entries
    """R likewise."""

    def back(self, slope: ComplexArray) -> ComplexArray:
        """Slopes by W from those by X."""
        return product(self.left, product(slope, self.right))


@dataclass(frozen=True, eq=False)
class _Made:
    """Matrices made of dummies' sweeps (n, n_f, 2, 2), n or 1 of each, at reference impedance 1."""

    s: Mapping[str, ComplexArray]
    once: Collection[str]
    value: dict[str, ComplexArray] = field(default_factory=dict)
    """(4, n, n_f) by entry, or (4, 1, n_f) where all devices share it."""
    steps: dict[str, tuple[_Step, ...]] = field(default_factory=dict)
    """To what each is made of, which stands before it."""

    def y(self, part: str) -> str:
        """Y of a sweep."""
        return self._of_sweep(f"Y of {part}", part, by_entry(admittance(self.s[part], 1.0)), -0.5)

    def z(self, part: str) -> str:
        """Z of a sweep."""
        return self._of_sweep(f"Z of {part}", part, by_entry(impedance(self.s[part], 1.0)), 0.5)

    def less(self, one: str, other: str) -> str:
        """The difference."""
        unit = _plus_one(np.zeros((4, 1, 1), np.complex128))
        steps = _step(one, unit, unit), _step(other, -unit, unit)
        return self._of(f"{one} less ({other})", self.value[one] - self.value[other], *steps)

    def behind(self, whole: str, off: str) -> str:
        """`deembedding.behind`."""
        taken = self.value[off]
        value = by_entry(behind(as_matrices(self.value[whole]), as_matrices(taken)))
        left, right = _plus_one(product(value, taken)), _plus_one(product(taken, value))
        steps = _step(whole, left, right), _step(off, value, value)
        return self._of(f"{whole} behind ({off})", value, *steps)

    def is_shared(self, name: str) -> bool:
        """Whether it is made of shared dummies alone."""
        if name in self.s:
            return name in self.once
        return all(self.is_shared(step.to) for step in self.steps[name])

    def back(self, slopes: dict[str, ComplexArray], further: bool) -> dict[str, ComplexArray]:
        """From slopes by matrices to those by sweeps, and by shared matrices.

        further: they stop at none of these.
        """
        for name in reversed(self.steps):
            if name not in slopes or (self.is_shared(name) and not further):
                continue
            slope = slopes.pop(name)
            for step in self.steps[name]:
                by = step.back(slope)
                slopes[step.to] = slopes[step.to] + by if step.to in slopes else by
        return slopes

    def stops(self, ends: Collection[str]) -> list[str]:
        """Shared matrices that slopes by some others stop at."""
        found: dict[str, None] = {}
        for name in ends:
            if name in self.s:
                continue
            inner = [name] if self.is_shared(name) else self.stops([x.to for x in self.steps[name]])
            found |= dict.fromkeys(inner)
        return list(found)

    def _of_sweep(self, name: str, part: str, value: ComplexArray, scale: float) -> str:
        across = _plus_one(value.copy())
        return self._of(name, value, _step(part, scale * across, across))

    def _of(self, name: str, value: ComplexArray, *steps: _Step) -> str:
        self.value.setdefault(name, value)
        self.steps.setdefault(name, steps)
        return name


def _step(to: str, left: ComplexArray, right: ComplexArray) -> _Step:
    return _Step(to, transposed(known(left)), transposed(known(right)))


def _plus_one(matrix: ComplexArray) -> ComplexArray:
    """In place."""
    matrix[0] += 1.0
    matrix[3] += 1.0
    return matrix


def _parts_of(method: DeembeddingMethod, made: _Made) -> tuple[str | None, str | None, str | None]:
    """Y, Z and B of the module's text, as `deembedding.lumped_parts`."""
    y, z = made.y, made.z
    if method == "open":
        return y("open"), None, None
    if method == "short":
        return None, z("short"), None
    if method == "open-short":
        return y("open"), made.behind(z("short"), y("open")), None
    if method == "short-open":
        return None, z("short"), made.behind(y("open"), z("short"))
    leads = made.behind(z("short"), y("pad"))
    return y("pad"), leads, made.behind(made.less(y("open"), y("pad")), leads)


def _lumped_pads(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, ComplexArray],
    once: Collection[str],
) -> Pads:
    n_entry = s.shape[-1] ** 2
    sweeps = {name: as_two_port(dummies[name], SECOND_PORT[name]) for name in DUMMIES_OF[method]}
    made = _Made(sweeps, once)
    names = _parts_of(method, made)
    whole, by_part = _steps_of_device(as_two_port(s), made, names)
    stops = made.stops([step.to for step in by_part])

    def back(slope: ComplexArray) -> BySweep:
        inner = product(_with_entries(slope), whole.right)
        slopes = {DEVICE: product(whole.left, inner)}
        slopes |= {step.to: step.back(inner) for step in by_part}
        found = made.back(slopes, further=False)
        return {name: by if name in stops else by[:n_entry] for name, by in found.items()}

    def by_parts(name: str) -> BySweep:
        unit = np.eye(4)[:, :, np.newaxis] * np.ones(s.shape[1]) + 0j
        found = made.back({name: unit}, further=True)
        return {part: by[:n_entry].transpose(1, 0, 2) for part, by in found.items()}

    return Pads(back, lambda: {name: by_parts(name) for name in stops})


def _steps_of_device(
    s: ComplexArray, made: _Made, names: tuple[str | None, str | None, str | None]
) -> tuple[_Step, list[_Step]]:
    """To S, and to Y, Z and B from slopes that have passed the first step's right side."""
    zero = np.zeros((4, 1, 1), np.complex128)
    y, z, b = (zero if name is None else made.value[name] for name in names)
    d, n = _plus_one(by_entry(s).copy()), _plus_one(-by_entry(s))
    n_1 = n - product(y, d)
    d_1 = d - product(z, n_1)
    n_2 = n_1 - product(b, d_1)
    over = inverse(d_1 + n_2)
    inner = product(d_1 - n_2, over)
    q = _plus_one(inner.copy())
    k = _plus_one(-inner) + product(q, b)
    j = product(k, z) + q
    sides = zip(names, (j, -k, q), (d, n_1, d_1), strict=True)
    steps = [_step(name, left, right) for name, left, right in sides if name is not None]
    return _step(DEVICE, k + j + product(j, y), over), steps


def _with_entries(slope: ComplexArray) -> ComplexArray:
    """Of two ports; those of a second one that is not there are 0."""
    if len(slope) == 4:
        return slope
    whole = np.zeros((4, *slope.shape[1:]), slope.dtype)
    whole[0] = slope[0]
    return whole


def _thru_pads(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, ComplexArray],
    z_ref_ohm: float,
    once: Collection[str],
) -> Pads:
    whole = {DEVICE: s, **{name: dummies[name] for name in DUMMIES_OF[method]}}

    def moved(part: str) -> Callable[[ComplexArray], ComplexArray]:
        def inner(one: ComplexArray) -> ComplexArray:
            there = {**whole, part: one}
            return deembed(method, there.pop(DEVICE), there, z_ref_ohm)

        return inner

    by = {part: _by_differences(moved(part), one) for part, one in whole.items()}
    unit = np.eye(4)[:, :, np.newaxis] * np.ones(s.shape[1]) + 0j
    return Pads(
        lambda slope: {part: passed_back(one, slope) for part, one in by.items()},
        lambda: {part: {part: unit} for part in once if part in whole},
    )


def _by_differences(
    change: Callable[[ComplexArray], ComplexArray], s: ComplexArray
) -> ComplexArray:
    """Derivatives (4, 4, n, n_f) of a pointwise analytic change of S (n, n_f, 2, 2)."""
    found, before = [], change(s)
    for place in range(4):
        step = np.zeros(4)
        step[place] = _STEP
        found.append(by_entry((change(s + step.reshape(2, 2)) - before) / _STEP))
    return known(np.stack(found, axis=1))
