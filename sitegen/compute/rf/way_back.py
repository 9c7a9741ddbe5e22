"""From values back to all that they depend on: sweeps, and sources of their uncertainty.

On the way from the corrected sweeps of n touchdowns to n values lie the de-embedding, the access
resistances that cold sweeps give, the straight line between two points, the figure's quantity and
its estimate. `taken.take` goes along it; here slopes go back.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.access import slopes_by_cold, slopes_by_whole
from sitegen.compute.rf.pads import Pads
from sitegen.compute.rf.sensitivity import (
    Leg,
    Precision,
    Slopes,
    Sources,
    common_variance,
    deviations_by,
    leg_of,
    own_variance,
    slopes_by,
)
from sitegen.compute.rf.shared_dummies import SharedDummies, shared_dummies
from sitegen.compute.rf.taken import COLD, DEVICE, Corrected, Taken, Wanted, slopes_of_inner
from sitegen.model.arrays import ComplexArray, FloatArray

Places = npt.NDArray[np.intp]
DUMMIES = "dummy structures"
"""What the budget by source calls the dummies' own sweeps."""


@dataclass(frozen=True, eq=False)
class Swept:
    """The corrected sweeps that n values are taken from, on all frequencies."""

    frequency_hz: FloatArray
    device: Corrected
    calibrations: Mapping[str, str]
    """Whose sweeps were corrected with which calibration: the device's, the cold one's, those of
    dummies by part."""
    cold: Corrected | None = None

    def of(self, rows: slice | Places) -> "Swept":
        """Sweeps of some of the values."""
        cold = None if self.cold is None else self.cold.of(rows)
        return replace(self, device=self.device.of(rows), cold=cold)

    def points(self, taken: Taken) -> slice:
        """Measured points that values depend on: with access resistances on all."""
        return taken.points if self.cold is None else slice(0, len(self.frequency_hz))

    def at(self, points: slice) -> "Swept":
        """The same at some of the frequencies."""
        cold = None if self.cold is None else self.cold.at(points)
        return Swept(self.frequency_hz[points], self.device.at(points), self.calibrations, cold)

    @property
    def shared(self) -> tuple[str, ...]:
        """Dummies of which several values share one sweep."""
        dummies = self.device.dummies or {}
        return tuple(part for part, one in dummies.items() if len(one) < len(self.device.s))

    def sweep(self, role: str) -> ComplexArray:
        """Corrected, (n, n_f, p, p), or (1, n_f, p, p) where all values share it."""
        if role == COLD:
            assert self.cold is not None
            return self.cold.s
        if role == DEVICE:
            return self.device.s
        assert self.device.dummies is not None
        return self.device.dummies[role]


@dataclass(frozen=True, eq=False)
class WayBack:
    """Of n values that are taken at the same points."""

    frequency_hz: FloatArray
    """All measured ones."""
    swept: Swept
    """At the points."""
    z_ref_ohm: float
    precision: Precision
    sources: Mapping[str, Sources]
    """Of each calibration."""
    pads: Pads
    pads_of_cold: Pads | None
    legs: Mapping[str, Leg]
    """By role; of dummies those that are not shared."""
    shared: SharedDummies | None


def way_back(
    swept: Swept,
    points: slice,
    calibrations: Mapping[str, Sources],
    z_ref_ohm: float,
    precision: Precision = np.complex128,
    *,
    once: Collection[str] = (),
    like: WayBack | None = None,
) -> WayBack:
    """From values that are taken at some points.

    Args:
        swept: on all frequencies.
        calibrations: sources of each calibration by its name, on all frequencies.
        precision: of the slopes.
        once: dummies that all values share, and what lies behind them is worked out once; to others
            slopes go back for each value.
        like: of other values of the same kind, with the same shared dummies.
    """
    here, names = swept.at(points), swept.calibrations
    pads = here.device.pads(z_ref_ohm, once)
    of_cold = None if here.cold is None else here.cold.pads(z_ref_ohm, once)

    def legs(roles: Iterable[str], precision: Precision) -> dict[str, Leg]:
        found = {}
        for role in roles:
            sources = calibrations[names[role]].at(points, precision)
            found[role] = leg_of(sources, here.sweep(role), precision)
        return found

    if like is not None:
        shared, roles = like.shared, tuple(like.legs)
    else:
        behind = [role for role in names if any(role in one for one in pads.shared.values())]
        roles, shared = tuple(role for role in names if role not in behind), None
        if behind:
            of_parts = legs(behind, np.complex128)
            shared = shared_dummies(pads.shared, of_parts, names, precision)
    return WayBack(
        swept.frequency_hz,
        here,
        z_ref_ohm,
        precision,
        {name: calibrations[name].at(points, precision) for name in dict.fromkeys(names.values())},
        pads,
        of_cold,
        legs(roles, precision),
        shared,
    )


@dataclass(frozen=True, eq=False)
class Carried:
    """Slopes of n values by all that they depend on."""

    way: WayBack
    by_role: Mapping[str, Slopes]
    by_shared: ComplexArray | None
    """As `SharedDummies.gathered`."""
    unit: FloatArray
    """(n,) of the slopes, in the figure's; ones in double precision."""

    def times(self, factor: FloatArray) -> "Carried":
        """Of n other values that change (n, n_f) times as much with each point as these do."""
        factor = factor.astype(self.way.precision(0).real.dtype)
        by_role = {role: one.times(factor) for role, one in self.by_role.items()}
        by_shared = self.by_shared
        if by_shared is not None:
            by_shared = by_shared * factor[:, np.newaxis]
        return replace(self, by_role=by_role, by_shared=by_shared)

    def deviations(self) -> dict[str, ComplexArray]:
        """What each source does to the values through all that its calibration corrected: by
        calibration, (n, n_source)."""
        found: dict[str, ComplexArray] = {}
        names, shared = self.way.swept.calibrations, self.way.shared
        for name in self.way.sources:
            slopes = [one for role, one in self.by_role.items() if names[role] == name]
            through = [deviations_by(slopes)] if slopes else []
            if shared is not None and self.by_shared is not None and name in shared.common:
                through.append(shared.deviations(name, self.by_shared))
            found[name] = sum(through[1:], through[0])
        return found


def carry(way: WayBack, figures: Sequence[tuple[Wanted, Taken]]) -> Carried:
    """Slopes of values back along the way.

    figures: taken at the way's points from all its sweeps, each from those behind the one before.
    """
    if way.swept.cold is not None:
        return _carry_through_access(way, way.swept.cold, figures)
    n_ports = way.swept.device.s.shape[-1]
    inner = [slopes_of_inner(*one, way.frequency_hz, n_ports) for one in figures]
    return _carried(way, way.pads.back(np.concatenate(inner, axis=1)))


def _carry_through_access(
    way: WayBack, cold: Corrected, figures: Sequence[tuple[Wanted, Taken]]
) -> Carried:
    """Likewise, by whole sweeps and by the cold ones that give the access resistances."""
    assert way.pads_of_cold is not None
    z_ref_ohm = way.z_ref_ohm
    slope = np.concatenate([_on_all_points(way, *one) for one in figures], axis=1)
    resistances = [one.resistances_ohm for _, one in figures if one.resistances_ohm is not None]
    ohm = np.concatenate(resistances)
    by_whole, by_ohm = slopes_by_whole(way.swept.device.stripped(z_ref_ohm), ohm, slope, z_ref_ohm)
    by_cold = slopes_by_cold(cold.stripped(z_ref_ohm), way.frequency_hz, by_ohm, z_ref_ohm)
    found: dict[str, ComplexArray] = {}
    for pads, by, itself in ((way.pads, by_whole, DEVICE), (way.pads_of_cold, by_cold, COLD)):
        for name, one in pads.back(by).items():
            role = itself if name == DEVICE else name
            found[role] = found[role] + one if role in found else one
    return _carried(way, found)


def _on_all_points(way: WayBack, wanted: Wanted, taken: Taken) -> ComplexArray:
    """Slopes of one figure (e, n, n_f) at all measured points; 0 where it is not taken."""
    slope = slopes_of_inner(wanted, taken, way.frequency_hz, way.swept.device.s.shape[-1])
    found = np.zeros((*slope.shape[:-1], len(way.frequency_hz)), np.complex128)
    found[..., taken.points] = slope
    return found


def _carried(way: WayBack, by_sweep: Mapping[str, ComplexArray]) -> Carried:
    """In a unit of each value in which single precision holds the squares of its slopes."""
    unit = np.ones(next(iter(by_sweep.values())).shape[1])
    if way.precision is np.complex64:
        parts = [one.view(np.float64) for one in by_sweep.values()]
        largest: FloatArray = np.max([np.abs(one).max(axis=(0, 2)) for one in parts], axis=0)
        unit = np.where((largest > 0) & np.isfinite(largest), largest, 1.0)
        scale = (1.0 / unit)[:, np.newaxis]
        by_sweep = {name: (one * scale).astype(np.complex64) for name, one in by_sweep.items()}
    return Carried(
        way,
        {role: slopes_by(leg, by_sweep[role]) for role, leg in way.legs.items()},
        None if way.shared is None else way.shared.gathered(by_sweep),
        unit,
    )


def variances(carried: Carried) -> tuple[dict[str, FloatArray], FloatArray]:
    """Variances of n values by source group, what dummies' sweeps add for themselves as `DUMMIES`,
    and `Variance.both`."""
    groups: dict[str, FloatArray] = {}
    both: list[FloatArray] = []

    def add(name: str, variance: FloatArray) -> None:
        groups[name] = groups.get(name, 0.0) + variance * carried.unit**2

    for name, deviations in carried.deviations().items():
        common = common_variance(carried.way.sources[name], deviations)
        both.append(common.both)
        for group, variance in common.by_group.items():
            add(group, variance)
    for role, slopes in carried.by_role.items():
        own = own_variance(slopes)
        both.append(own.both)
        for group, variance in own.by_group.items():
            add(group if role in (DEVICE, COLD) else DUMMIES, variance)
    if carried.way.shared is not None and carried.by_shared is not None:
        of_dummies = carried.way.shared.own_variance(carried.by_shared)
        both.append(2.0 * of_dummies)
        add(DUMMIES, of_dummies)
    return groups, np.sum(both, axis=0) * carried.unit**2
