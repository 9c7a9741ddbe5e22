"""One value a sweep, taken from corrected sweeps; and its slopes back by each of these sweeps.

On the way from the corrected sweeps of n touchdowns to n values lie the de-embedding, the access
resistances that cold sweeps give, the straight line between two points, the figure's quantity and
its estimate. `take` goes along it, `slopes` back.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from sitegen.compute.rf.access import (
    access_resistances,
    slopes_by_cold,
    slopes_by_whole,
    without_access,
)
from sitegen.compute.rf.deembedding import deembed
from sitegen.compute.rf.deembedding_derivatives import DEVICE, deembedding_derivatives
from sitegen.compute.rf.entries import passed_back
from sitegen.compute.rf.figures import Estimate, Figure, Surroundings, used_frequencies
from sitegen.compute.rf.interpolation import interpolate
from sitegen.compute.rf.portions import portions
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
    "narrowed",
    "slopes",
    "take",
]

COLD = "cold device"
"""Whose sweeps a value depends on, besides those of the device itself (`DEVICE`) and those of
dummies by their part ('open', 'short')."""
FURTHER = 20
"""Points kept on either side of those that have a slope: a zero crossing that its sources move by
one u is then still among them."""


@dataclass(frozen=True, eq=False)
class Corrected:
    """Corrected sweeps of n touchdowns, with the dummies to take off; arrays (n, n_f, p, p)."""

    s: ComplexArray
    method: DeembeddingMethod | None = None
    """None: nothing is taken off."""
    dummies: Mapping[str, ComplexArray] | None = None
    """By part, corrected, of each touchdown, or (1, n_f, p, p) where all share them; only with a
    method."""
    _whole: tuple["Corrected", slice | Rows] | None = None
    """All touchdowns, of which these are some."""
    _derivatives: dict[tuple[int, int, float], Mapping[str, ComplexArray]] = field(
        default_factory=dict
    )

    def of(self, rows: slice | Rows) -> "Corrected":
        """Some of the touchdowns."""
        if self.dummies is None:
            return Corrected(self.s[rows])
        parts = {part: one if len(one) == 1 else one[rows] for part, one in self.dummies.items()}
        return Corrected(self.s[rows], self.method, parts, (self, rows))

    def at(self, points: slice) -> "Corrected":
        """The same at some of the frequencies."""
        if self.dummies is None:
            return Corrected(self.s[:, points])
        parts = {part: one[:, points] for part, one in self.dummies.items()}
        return Corrected(self.s[:, points], self.method, parts)

    def pads(self, points: slice, z_ref_ohm: float) -> Mapping[str, ComplexArray]:
        """Derivatives of the device's S by its corrected sweep and by each dummy's, at some points.

        Worked out once, whatever the number of figures; empty where nothing is taken off.
        """
        method, dummies = self.method, self.dummies
        if method is None or dummies is None:
            return {}
        if self._whole is not None:
            whole, rows = self._whole
            return {part: one[:, :, rows] for part, one in whole.pads(points, z_ref_ohm).items()}
        key = (points.start, points.stop, z_ref_ohm)
        if key not in self._derivatives:
            found = [
                deembedding_derivatives(
                    method,
                    self.s[rows, points],
                    {
                        part: one[:, points] if len(one) == 1 else one[rows, points]
                        for part, one in dummies.items()
                    },
                    z_ref_ohm,
                )
                for rows in portions(len(self.s), points.stop - points.start)
            ]
            self._derivatives[key] = {
                part: np.concatenate([one[part] for one in found], axis=2) for part in found[0]
            }
        return self._derivatives[key]

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
        estimate, ohm = self.estimate, self.resistances_ohm
        some = replace(estimate, value=estimate.value[rows], weights=estimate.weights[rows])
        return Taken(some, self.points, self.at.of(rows), None if ohm is None else ohm[rows])

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
    _seen: dict[object, tuple[slice, Seen, FloatArray | None]] = field(default_factory=dict)

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


@np.errstate(all="ignore")
def slopes(
    wanted: Wanted,
    frequency_hz: FloatArray,
    taken: Taken,
    device: Corrected,
    cold: Corrected | None = None,
) -> tuple[slice, Mapping[str, ComplexArray]]:
    """Slopes of the values by the corrected sweeps that they depend on.

    Args:
        device: what `taken` was taken from, on all frequencies.
        cold: the sweeps that gave its access resistances.

    Returns:
        Which measured points the slopes are at, and whose sweeps they are by: (e, n, n_point) by
        entry each, dv = Re(sum of slope dS).
    """
    z_ref_ohm = wanted.around.z_ref_ohm
    points, slope = _by_inner(wanted, frequency_hz, taken, device.s.shape[-1])
    pads = device.pads(points, z_ref_ohm)
    if cold is None or taken.resistances_ohm is None:
        return points, _through_pads(DEVICE, pads, slope)
    here = device.at(points).stripped(z_ref_ohm)
    by_whole, by_ohm = slopes_by_whole(here, taken.resistances_ohm, slope, z_ref_ohm)
    found = _through_pads(DEVICE, pads, by_whole)
    whole = {one: _on_all(s, points, frequency_hz) for one, s in found.items()}
    of_cold = slopes_by_cold(cold.stripped(z_ref_ohm), frequency_hz, by_ohm, z_ref_ohm)
    every = slice(0, len(frequency_hz))
    for one, s in _through_pads(COLD, cold.pads(every, z_ref_ohm), of_cold).items():
        whole[one] = whole[one] + s if one in whole else s
    return every, whole


def narrowed(wanted: Wanted, frequency_hz: FloatArray, taken: Taken) -> Taken:
    """The same with no more points than have a slope in any value, and `FURTHER` on either side."""
    estimate, weights = taken.estimate, taken.estimate.weights
    weighed = np.flatnonzero((weights != 0).any(axis=0))
    few = len(weighed) and weighed[-1] + 1 - weighed[0] < 0.5 * weights.shape[1]
    if not few or wanted.figure.followed:
        return taken
    part = slice(max(int(weighed[0]) - FURTHER, 0), int(weighed[-1]) + 1 + FURTHER)
    departure = estimate.departure
    if departure is not None:
        departure = replace(departure, weights=departure.weights[:, part])
    at = taken.at.part(part)
    return Taken(
        replace(estimate, weights=weights[:, part], departure=departure),
        _around(frequency_hz, at.frequency_hz),
        at,
        taken.resistances_ohm,
    )


def _around(frequency_hz: FloatArray, used_hz: FloatArray) -> slice:
    """The measured points that S at `used_hz` is taken from."""
    first = max(int(np.searchsorted(frequency_hz, used_hz[0], "right")) - 1, 0)
    last = min(int(np.searchsorted(frequency_hz, used_hz[-1])), len(frequency_hz) - 1)
    return slice(min(first, last), last + 1)


def _by_inner(
    wanted: Wanted, frequency_hz: FloatArray, taken: Taken, n_ports: int
) -> tuple[slice, ComplexArray]:
    """Slopes by S of the inner devices, at the measured points that enter."""
    weights, at, points = taken.estimate.weights, taken.at, taken.points
    by_s = wanted.figure.slopes(at)[: n_ports**2]
    slope: ComplexArray = by_s * weights
    if not np.isfinite(slope.sum()):
        slope = np.where(weights != 0, slope, 0.0)
    measured_hz = frequency_hz[points]
    if np.array_equal(measured_hz, at.frequency_hz):
        return points, slope
    shares = interpolate(np.eye(len(measured_hz)) + 0j, measured_hz, at.frequency_hz).real
    return points, slope @ shares.T


def _through_pads(
    name: str, pads: Mapping[str, ComplexArray], slope: ComplexArray
) -> Mapping[str, ComplexArray]:
    """Slopes by the corrected sweeps themselves, and by those of their dummies."""
    if not pads:
        return {name: slope}
    return {
        name if part == DEVICE else part: passed_back(derivatives, slope)
        for part, derivatives in pads.items()
    }


def _on_all(s: ComplexArray, points: slice, frequency_hz: FloatArray) -> ComplexArray:
    whole: ComplexArray = np.zeros((*s.shape[:-1], len(frequency_hz)), np.complex128)
    whole[..., points] = s
    return whole
