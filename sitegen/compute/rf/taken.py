"""One value a sweep, taken from corrected sweeps, and its slopes by S of the devices themselves."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np

from sitegen.compute.rf.access import access_resistances, without_access
from sitegen.compute.rf.deembedding import deembed
from sitegen.compute.rf.figures import Estimate, Figure, Surroundings, used_frequencies
from sitegen.compute.rf.interpolation import interpolate
from sitegen.compute.rf.pads import DEVICE, Pads, no_pads, pads
from sitegen.compute.rf.seen import Rows, Seen, seen
from sitegen.compute.rf.two_port import as_two_port
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.device import DeembeddingMethod
from sitegen.model.figures import Place

__all__ = [
    "COLD",
    "DEVICE",
    "Corrected",
    "Devices",
    "Taken",
    "Wanted",
    "slopes_of_inner",
    "take",
    "weighed",
]

COLD = "cold device"
"""Whose sweeps a value depends on, besides those of the device itself (`DEVICE`) and those of
dummies by their part ('open', 'short')."""


@dataclass(frozen=True, eq=False)
class Corrected:
    """Corrected sweeps of n touchdowns, with the dummies to take off; arrays (n, n_f, p, p)."""

    s: ComplexArray
    method: DeembeddingMethod | None = None
    """None: nothing is taken off."""
    dummies: Mapping[str, ComplexArray] | None = None
    """By part, corrected, of each touchdown, or (1, n_f, p, p) where all share them; only with a
    method."""

    def of(self, rows: slice | Rows) -> "Corrected":
        """Some of the touchdowns."""
        if self.dummies is None:
            return Corrected(self.s[rows])
        parts = {part: one if len(one) == 1 else one[rows] for part, one in self.dummies.items()}
        return Corrected(self.s[rows], self.method, parts)

    def at(self, points: slice) -> "Corrected":
        """The same at some of the frequencies."""
        if self.dummies is None:
            return Corrected(self.s[:, points])
        parts = {part: one[:, points] for part, one in self.dummies.items()}
        return Corrected(self.s[:, points], self.method, parts)

    def pads(self, z_ref_ohm: float, once: Collection[str]) -> Pads:
        """What is taken off, backwards, as `pads.pads`."""
        if self.method is None or self.dummies is None:
            return no_pads()
        return pads(self.method, self.s, self.dummies, z_ref_ohm, once=once)

    def stripped(self, z_ref_ohm: float) -> ComplexArray:
        """S of the devices themselves."""
        if self.method is None or self.dummies is None:
            return self.s
        inner: ComplexArray = deembed(self.method, self.s, self.dummies, z_ref_ohm)
        return inner


@dataclass(frozen=True)
class Wanted:
    """A figure and where it is taken."""

    figure: Figure
    place: Place
    around: Surroundings
    at_hz: float | None = None
    window_hz: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class Taken:
    """What one value a touchdown was taken from."""

    estimate: Estimate
    points: slice
    """Measured points that enter, neighbours of each other."""
    at: Seen
    """Two-ports without pads and access resistances at the frequencies used, never none."""
    resistances_ohm: FloatArray | None
    """(n, 3) access resistances that were taken off."""

    def of(self, rows: slice | Rows) -> "Taken":
        """Some of the values, with what their slopes need."""
        ohm = self.resistances_ohm
        return Taken(
            self.estimate.of(rows),
            self.points,
            self.at.of(rows),
            None if ohm is None else ohm[rows],
        )

    @property
    def used_hz(self) -> FloatArray:
        """(n_used,)."""
        return self.at.frequency_hz


@dataclass(frozen=True, eq=False)
class Devices:
    """Sweeps (n, n_f, p, p) of devices themselves, pads taken off, and what their figures share."""

    frequency_hz: FloatArray
    s: ComplexArray
    cold: ComplexArray | None = None
    """Likewise, of the sweeps that give the access resistances."""
    _seen: dict[object, tuple[slice, Seen, FloatArray | None]] = field(
        default_factory=dict, init=False
    )

    def take(self, wanted: Wanted) -> Taken | None:
        """Values; None where no frequency is to be used."""
        used_hz = used_frequencies(wanted.figure, self.frequency_hz, wanted.at_hz, wanted.window_hz)
        if not len(used_hz):
            return None
        points, at, resistances_ohm = self.seen(used_hz, wanted.around)
        with np.errstate(all="ignore"):
            estimate = wanted.figure.estimate(wanted.figure.at_points(at), used_hz, wanted.place)
        return Taken(estimate, points, at, resistances_ohm)

    def seen(
        self, used_hz: FloatArray, around: Surroundings
    ) -> tuple[slice, Seen, FloatArray | None]:
        """Measured points around some frequencies, two-ports at them, access resistances."""
        key = (used_hz.tobytes(), around)
        if key not in self._seen:
            points, resistances_ohm = _around(self.frequency_hz, used_hz), None
            inner, measured_hz = self.s[:, points], self.frequency_hz[points]
            with np.errstate(all="ignore"):
                if self.cold is not None:
                    z_ref_ohm = around.z_ref_ohm
                    resistances_ohm = access_resistances(self.cold, self.frequency_hz, z_ref_ohm)
                    inner = without_access(inner, resistances_ohm, z_ref_ohm)
                if not np.array_equal(measured_hz, used_hz):
                    by_frequency = interpolate(np.moveaxis(inner, 1, -1), measured_hz, used_hz)
                    inner = np.moveaxis(by_frequency, -1, 1)
            self._seen[key] = points, seen(as_two_port(inner), used_hz, around), resistances_ohm
        return self._seen[key]


def take(
    wanted: Wanted,
    frequency_hz: FloatArray,
    stripped: ComplexArray,
    cold: ComplexArray | None = None,
) -> Taken | None:
    """Values of one figure of `Devices`."""
    return Devices(frequency_hz, stripped, cold).take(wanted)


def weighed(wanted: Wanted, frequency_hz: FloatArray, taken: Taken, further: int = 0) -> Taken:
    """The same without the points at either end that have no slope in any value, where that leaves
    no more than half of them.

    further: points kept on either side all the same.
    """
    used = (taken.estimate.weights != 0).any(axis=0)
    if taken.estimate.departure is not None:
        used = used | (taken.estimate.departure.weights != 0).any(axis=0)
    where = np.flatnonzero(used)
    if not len(where) or where[-1] + 1 - where[0] > 0.5 * len(used) or wanted.figure.followed:
        return taken
    part = slice(max(int(where[0]) - further, 0), int(where[-1]) + 1 + further)
    at = taken.at.part(part)
    points = _around(frequency_hz, at.frequency_hz)
    return Taken(taken.estimate.at(part), points, at, taken.resistances_ohm)


def _around(frequency_hz: FloatArray, used_hz: FloatArray) -> slice:
    """The measured points that S at `used_hz` is taken from."""
    first = max(int(np.searchsorted(frequency_hz, used_hz[0], "right")) - 1, 0)
    last = min(int(np.searchsorted(frequency_hz, used_hz[-1])), len(frequency_hz) - 1)
    return slice(min(first, last), last + 1)


def slopes_of_inner(
    wanted: Wanted, taken: Taken, frequency_hz: FloatArray, n_ports: int
) -> ComplexArray:
    """Slopes by S of the devices themselves, (e, n, n_point) at `taken.points`; dv = Re(sum of
    slope dS)."""
    weights, at, points = taken.estimate.weights, taken.at, taken.points
    slope: ComplexArray = wanted.figure.slopes(at)[: n_ports**2] * weights
    if not np.isfinite(slope.sum()):
        slope = np.where(weights != 0, slope, 0.0)
    measured_hz = frequency_hz[points]
    if np.array_equal(measured_hz, at.frequency_hz):
        return slope
    shares = interpolate(np.eye(len(measured_hz)) + 0j, measured_hz, at.frequency_hz).real
    return slope @ shares.T
