"""One value a sweep, taken from corrected sweeps; and its slopes back by each of these sweeps.

On the way from the corrected sweeps of n touchdowns to n values lie the de-embedding, the access
resistances that cold sweeps give, the straight line between two points, the figure's quantity and
its estimate. `take` goes along it, `slopes` back.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from sitegen.compute.rf.deembedding import deembed
from sitegen.compute.rf.figures import Estimate, Figure, Surroundings, used_frequencies
from sitegen.compute.rf.interpolation import interpolate
from sitegen.compute.rf.sensitivity import carried_through, gradient, jacobian
from sitegen.compute.rf.small_signal import (
    access_parts,
    access_resistances,
    access_weights,
    without_access,
)
from sitegen.compute.rf.two_port import as_two_port
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.device import DeembeddingMethod
from sitegen.model.figures import Place

DEVICE, COLD = "device", "cold device"
"""Whose sweeps a value depends on, besides those of dummies by their part ('open', 'short')."""
_STEP_OHM = 1e-4
"""Of access resistances, in central differences."""
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
    _derivatives: dict[tuple[int, int, float], Mapping[str, ComplexArray]] = field(
        default_factory=dict
    )

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
        key = (points.start, points.stop, z_ref_ohm)
        if key not in self._derivatives:
            s = self.s[:, points]
            here = {part: one[:, points] for part, one in dummies.items()}

            def moved(part: str) -> Callable[[ComplexArray], ComplexArray]:
                return lambda one: deembed(method, s, {**here, part: one}, z_ref_ohm)

            self._derivatives[key] = {
                DEVICE: jacobian(lambda one: deembed(method, one, here, z_ref_ohm), s),
                **{part: jacobian(moved(part), one) for part, one in here.items()},
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
    used_hz: FloatArray
    """(n_used,), never empty."""
    points: slice
    """Measured points that enter, neighbours of each other."""
    inner: ComplexArray
    """S at these points without pads and access resistances."""
    at_used: ComplexArray
    """S at `used_hz`, of two ports."""
    resistances_ohm: FloatArray | None
    """(n, 3) access resistances that were taken off."""


def take(
    wanted: Wanted,
    frequency_hz: FloatArray,
    stripped: ComplexArray,
    cold: ComplexArray | None = None,
) -> Taken | None:
    """Values of n sweeps of devices themselves; None where no frequency is to be used.

    Args:
        stripped: (n, n_f, p, p), pads taken off.
        cold: likewise, of the sweeps that give the access resistances.
    """
    used_hz = used_frequencies(wanted.figure, frequency_hz, wanted.at_hz, wanted.window_hz)
    if not len(used_hz):
        return None
    z_ref_ohm = wanted.around.z_ref_ohm
    points = _around(frequency_hz, used_hz)
    inner, resistances_ohm = stripped[:, points], None
    with np.errstate(all="ignore"):
        if cold is not None:
            resistances_ohm = access_resistances(cold, frequency_hz, z_ref_ohm)
            inner = without_access(inner, resistances_ohm, z_ref_ohm)
        by_frequency = interpolate(np.moveaxis(inner, 1, -1), frequency_hz[points], used_hz)
        at_used = as_two_port(np.moveaxis(by_frequency, -1, 1))
        quantity = wanted.figure.quantity(at_used, used_hz, wanted.around)
        estimate = wanted.figure.estimate(quantity, used_hz, wanted.place)
    return Taken(estimate, used_hz, points, inner, at_used, resistances_ohm)


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
        Which measured points the slopes are at, and whose sweeps they are by: (n, n_point, p, p)
        each, dv = Re(sum of slope dS).
    """
    z_ref_ohm = wanted.around.z_ref_ohm
    points, slope = _by_inner(wanted, frequency_hz, taken, device.s.shape[-1])
    pads = device.pads(points, z_ref_ohm)
    if cold is None or taken.resistances_ohm is None:
        return points, _through_pads(DEVICE, pads, slope)
    here, resistances_ohm = device.at(points).stripped(z_ref_ohm), taken.resistances_ohm
    by_device = carried_through(
        jacobian(lambda s: without_access(s, resistances_ohm, z_ref_ohm), here), slope
    )
    found = dict(_through_pads(DEVICE, pads, by_device))
    whole = {one: _on_all(s, points, frequency_hz) for one, s in found.items()}
    by_ohm = _by_resistances(here, resistances_ohm, slope, z_ref_ohm)
    by_cold = _by_cold(cold.stripped(z_ref_ohm), frequency_hz, by_ohm, z_ref_ohm)
    every = slice(0, len(frequency_hz))
    for one, s in _through_pads(COLD, cold.pads(every, z_ref_ohm), by_cold).items():
        whole[one] = whole[one] + s if one in whole else s
    return every, whole


def _around(frequency_hz: FloatArray, used_hz: FloatArray) -> slice:
    """The measured points that S at `used_hz` is taken from."""
    first = max(int(np.searchsorted(frequency_hz, used_hz[0], "right")) - 1, 0)
    last = min(int(np.searchsorted(frequency_hz, used_hz[-1])), len(frequency_hz) - 1)
    return slice(min(first, last), last + 1)


def _by_inner(
    wanted: Wanted, frequency_hz: FloatArray, taken: Taken, n_ports: int
) -> tuple[slice, ComplexArray]:
    """Slopes by S of the inner devices, at those measured points that have any."""
    weights, used_hz, at_used = taken.estimate.weights, taken.used_hz, taken.at_used
    points = taken.points
    weighed = np.flatnonzero((weights != 0).any(axis=0))
    few = len(weighed) and weighed[-1] + 1 - weighed[0] < 0.5 * len(used_hz)
    if few and not wanted.figure.followed:
        part = slice(max(int(weighed[0]) - FURTHER, 0), int(weighed[-1]) + 1 + FURTHER)
        weights, used_hz, at_used = weights[:, part], used_hz[part], at_used[:, part]
        points = _around(frequency_hz, used_hz)

    def quantity(s: ComplexArray) -> FloatArray:
        return wanted.figure.quantity(as_two_port(s), used_hz, wanted.around)

    weights = weights[..., np.newaxis, np.newaxis]
    turn = 360.0 if wanted.figure.unit == "deg" else None
    by_s = gradient(quantity, at_used[..., :n_ports, :n_ports], turn)
    slope: ComplexArray = np.where(weights != 0, weights * by_s, 0.0)
    measured_hz = frequency_hz[points]
    if np.array_equal(measured_hz, used_hz):
        return points, slope
    shares = interpolate(np.eye(len(measured_hz)) + 0j, measured_hz, used_hz).real
    at_points: ComplexArray = np.einsum("nuij,pu->npij", slope, shares)
    return points, at_points


def _through_pads(
    name: str, pads: Mapping[str, ComplexArray], slope: ComplexArray
) -> Mapping[str, ComplexArray]:
    """Slopes by the corrected sweeps themselves, and by those of their dummies."""
    if not pads:
        return {name: slope}
    return {
        name if part == DEVICE else part: carried_through(derivatives, slope)
        for part, derivatives in pads.items()
    }


def _by_resistances(
    s: ComplexArray, resistances_ohm: FloatArray, slope: ComplexArray, z_ref_ohm: float
) -> FloatArray:
    """Slopes of the values by Rg, Rs and Rd, (n, 3)."""
    found = np.empty_like(resistances_ohm)
    for place in range(3):
        step = np.zeros(3)
        step[place] = _STEP_OHM
        ahead = without_access(s, resistances_ohm + step, z_ref_ohm)
        behind = without_access(s, resistances_ohm - step, z_ref_ohm)
        change = np.where(slope != 0, slope * (ahead - behind), 0.0).real / (2.0 * _STEP_OHM)
        found[:, place] = change.sum(axis=(1, 2, 3))
    return found


def _by_cold(
    cold: ComplexArray, frequency_hz: FloatArray, by_ohm: FloatArray, z_ref_ohm: float
) -> ComplexArray:
    """Slopes of the values by S of cold sweeps without pads."""
    total: ComplexArray = np.zeros_like(cold)
    parts = access_parts(cold, z_ref_ohm)
    for place in range(3):
        weights = access_weights(parts[place], frequency_hz) * by_ohm[:, place, np.newaxis]

        def resistance(s: ComplexArray, place: int = place) -> FloatArray:
            return access_parts(s, z_ref_ohm)[place]

        by_s = gradient(resistance, cold)
        weights = weights[..., np.newaxis, np.newaxis]
        total = total + np.where(weights != 0, weights * by_s, 0.0)
    return total


def _on_all(s: ComplexArray, points: slice, frequency_hz: FloatArray) -> ComplexArray:
    whole: ComplexArray = np.zeros((len(s), len(frequency_hz), *s.shape[2:]), np.complex128)
    whole[:, points] = s
    return whole
