"""Slopes by a device itself carried back to the sweeps that it was taken from.

A de-embedding (`deembedding`) is a chain of few steps on Y and Z. Each of them, and each conversion
from S, changes as dX = sum of L dW R with matrices L and R; slopes c with dv = Re(sum of c dX) then
go back as c_W = sum of L' c R', transposed. With reference impedance z

    dY = -(1 + z Y) dS (1 + z Y) / 2z
    dZ = (Z + z) dS (Z + z) / 2z
    dS = -z (1 + S) dY (1 + S) / 2

and V = (W^-1 - T)^-1 gives dV = (1 + V T) dW (1 + T V) + V dT V. Lumped methods are made of
these alone. Those with a thru are differentiated by differences.

Where many devices share their dummies, what is made of dummies alone is the same for all of them.
Slopes stop there: how they go on is told once, not for each device.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from sitegen.compute.rf.deembedding import SECOND_PORT, behind, deembed
from sitegen.compute.rf.entries import (
    Entries,
    as_matrices,
    by_entry,
    passed_back,
    product,
    transposed,
)
from sitegen.compute.rf.two_port import admittance, as_two_port, from_admittance, impedance
from sitegen.model.arrays import ComplexArray
from sitegen.model.device import DUMMIES_OF, LUMPED, DeembeddingMethod

DEVICE = "device"
"""What the device's own sweep is called beside the parts of its dummies."""
BySweep = Mapping[str, ComplexArray]
"""Slopes (e, n, n_f) by the sweep of each part and `DEVICE`."""
Precision = type[np.complex64] | type[np.complex128]
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
    back_from_y: Callable[[ComplexArray], BySweep] | None = None
    """As `back`, from slopes by Y of a two-port; None where it is not on the way."""

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
    precision: Precision = np.complex128,
) -> Pads:
    """Of `deembed` with the same arguments, s (n, n_f, p, p).

    Args:
        once: parts with one sweep for all devices; slopes stop at what is made of these alone. To
            other parts they go back, (e, n, n_f) even where all devices share the sweep.
        precision: of the derivatives, and of slopes that come in it.
    """
    with np.errstate(all="ignore"):
        of_method = _lumped_pads if method in LUMPED else _thru_pads
        return of_method(method, s, dummies, z_ref_ohm, once, precision)


@dataclass(frozen=True, eq=False)
class _Matrix:
    """Y or Z of one stage, and what slopes by it become."""

    name: str
    value: ComplexArray
    """(4, n, n_f) by entry, or (4, 1, n_f) where all devices share it."""
    steps: tuple["_Step", ...]
    """To what it is made of."""
    once: bool = False
    """It is made of shared dummies alone, and slopes stop here."""

    def back(self, slope: ComplexArray, further: bool) -> Iterator[tuple[str, ComplexArray]]:
        """Slopes by sweeps, and by what they stop at; several by the same add up.

        further: they stop nowhere.
        """
        for step in self.steps:
            before = step.back(slope)
            if isinstance(step.to, str):
                yield step.to, before
            elif step.to.once and not further:
                yield step.to.name, before
            else:
                yield from step.to.back(before, further)

    def stops(self) -> Iterator["_Matrix"]:
        """What slopes by it stop at."""
        for step in self.steps:
            if isinstance(step.to, str):
                continue
            if step.to.once:
                yield step.to
            else:
                yield from step.to.stops()


@dataclass(frozen=True, eq=False)
class _Step:
    """dX = sign L dW R."""

    to: _Matrix | str
    """W, or the name of the sweep whose S it is."""
    factors: tuple[Entries, Entries] | None = None
    """L and R transposed, by entry, 0 where not known; None for ones."""
    sign: float = 1.0

    def back(self, slope: ComplexArray) -> ComplexArray:
        """Slopes by W from those by X."""
        if self.factors is None:
            return slope if self.sign > 0 else -slope
        left, right = self.factors
        return product(left, product(slope, right))


@dataclass(frozen=True, eq=False)
class _Chain:
    """Makes matrices of sweeps (n, n_f, 2, 2), n or 1 of each."""

    s: Mapping[str, ComplexArray]
    z_ref_ohm: float
    once: Collection[str]
    precision: Precision
    _made: dict[str, _Matrix] = field(default_factory=dict)

    def y(self, part: str) -> _Matrix:
        """Y of a sweep."""
        value = by_entry(admittance(self.s[part], self.z_ref_ohm))
        across = _plus_one(self.z_ref_ohm * value)
        step = _Step(part, self.around(-0.5 / self.z_ref_ohm, across, across))
        return self._of(f"Y of {part}", value, step)

    def z(self, part: str) -> _Matrix:
        """Z of a sweep."""
        value = by_entry(impedance(self.s[part], self.z_ref_ohm))
        across = _plus_one(value / self.z_ref_ohm)
        step = _Step(part, self.around(0.5 * self.z_ref_ohm, across, across))
        return self._of(f"Z of {part}", value, step)

    def less(self, one: _Matrix, other: _Matrix) -> _Matrix:
        """The difference."""
        name, value = f"{one.name} less ({other.name})", one.value - other.value
        return self._of(name, value, _Step(one), _Step(other, sign=-1.0))

    def behind(self, whole: _Matrix, off: _Matrix) -> _Matrix:
        """`deembedding.behind`."""
        value = by_entry(behind(as_matrices(whole.value), as_matrices(off.value)))
        left, right = _plus_one(product(value, off.value)), _plus_one(product(off.value, value))
        return self._of(
            f"{whole.name} behind ({off.name})",
            value,
            _Step(whole, self.around(1.0, left, right)),
            _Step(off, self.around(1.0, value, value)),
        )

    def s_of(self, inner: _Matrix) -> _Matrix:
        """S of a matrix Y."""
        s = by_entry(from_admittance(as_matrices(inner.value), self.z_ref_ohm))
        across = _plus_one(s.copy())
        return _Matrix("S", s, (_Step(inner, self.around(-0.5 * self.z_ref_ohm, across, across)),))

    def around(
        self, scale: float, left: ComplexArray, right: ComplexArray
    ) -> tuple[Entries, Entries]:
        """Factors of dX = scale left dW right."""
        same = left is right
        right = _known(right).astype(self.precision, copy=False)
        left = right if same else _known(left).astype(self.precision, copy=False)
        if scale != 1.0:
            left = float(scale) * left
        return transposed(left), transposed(right)

    def _of(self, name: str, value: ComplexArray, *steps: _Step) -> _Matrix:
        """Each matrix once, so that slopes by the same one add up."""
        if name not in self._made:
            made_of = (
                to in self.once if isinstance(to, str) else to.once for to in (s.to for s in steps)
            )
            self._made[name] = _Matrix(name, value, steps, all(made_of))
        return self._made[name]


def _plus_one(matrix: ComplexArray) -> ComplexArray:
    matrix[0] += 1.0
    matrix[3] += 1.0
    return matrix


def _known(matrix: ComplexArray) -> ComplexArray:
    if np.isfinite(matrix.sum()):
        return matrix
    return np.where(np.isfinite(matrix), matrix, 0.0)


def _lumped(chain: _Chain, method: DeembeddingMethod) -> _Matrix:
    """Y of the device itself; the methods are those of `deembedding`."""
    device, y, z, less, behind = chain.y(DEVICE), chain.y, chain.z, chain.less, chain.behind
    if method == "open":
        return less(device, y("open"))
    if method == "short":
        return behind(device, z("short"))
    if method == "open-short":
        return behind(less(device, y("open")), behind(z("short"), y("open")))
    if method == "short-open":
        return less(behind(device, z("short")), behind(y("open"), z("short")))
    leads = behind(z("short"), y("pad"))
    beside = behind(less(y("open"), y("pad")), leads)
    return less(behind(less(device, y("pad")), leads), beside)


def _lumped_pads(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, ComplexArray],
    z_ref_ohm: float,
    once: Collection[str],
    precision: Precision,
) -> Pads:
    parts = {name: as_two_port(dummies[name], SECOND_PORT[name]) for name in DUMMIES_OF[method]}
    chain = _Chain({**parts, DEVICE: as_two_port(s)}, z_ref_ohm, once, precision)
    y, n_entry = _lumped(chain, method), s.shape[-1] ** 2
    stops = {one.name: one for one in y.stops()}

    def back_from(inner: _Matrix) -> Callable[[ComplexArray], BySweep]:
        def back(slope: ComplexArray) -> BySweep:
            found = _gathered(inner.back(_with_entries(slope), further=False))
            return {name: by if name in stops else by[:n_entry] for name, by in found.items()}

        return back

    return Pads(
        back_from(chain.s_of(y)),
        lambda: {name: _by_parts(one, n_entry) for name, one in stops.items()},
        back_from(y),
    )


def _gathered(slopes: Iterator[tuple[str, ComplexArray]]) -> BySweep:
    """Those by the same added up."""
    found: dict[str, ComplexArray] = {}
    for name, by in slopes:
        found[name] = found[name] + by if name in found else by
    return found


def _with_entries(slope: ComplexArray) -> ComplexArray:
    """Of two ports; those of a second one that is not there are 0."""
    if len(slope) == 4:
        return slope
    whole = np.zeros((4, *slope.shape[1:]), slope.dtype)
    whole[0] = slope[0]
    return whole


def _by_parts(of: _Matrix, n_entry: int) -> BySweep:
    """Derivatives (4, e, n_f) of its entries by S of each dummy."""
    unit = np.eye(4)[:, :, np.newaxis] * np.ones(of.value.shape[-1]) + 0j
    found = _gathered(of.back(unit, further=True))
    return {name: by[:n_entry].transpose(1, 0, 2) for name, by in found.items()}


def _thru_pads(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, ComplexArray],
    z_ref_ohm: float,
    once: Collection[str],
    precision: Precision,
) -> Pads:
    whole = {DEVICE: s, **{name: dummies[name] for name in DUMMIES_OF[method]}}

    def moved(part: str) -> Callable[[ComplexArray], ComplexArray]:
        def inner(one: ComplexArray) -> ComplexArray:
            there = {**whole, part: one}
            return deembed(method, there.pop(DEVICE), there, z_ref_ohm)

        return inner

    by: BySweep = {
        part: _by_differences(moved(part), one).astype(precision) for part, one in whole.items()
    }
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
    return _known(np.stack(found, axis=1))
