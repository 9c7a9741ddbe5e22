"""What calibrations, sweeps and dummies do to values taken from corrected sweeps."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.entries import as_matrices
from sitegen.compute.rf.portions import portions
from sitegen.compute.rf.sensitivity import Precision, Sources, moved, moved_terms
from sitegen.compute.rf.taken import COLD, DEVICE, Corrected, Devices, Taken, Wanted, weighed
from sitegen.compute.rf.way_back import DUMMIES, Carried, Swept, WayBack, carry, variances, way_back
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.event_results import COMMON_GROUPS, OWN_GROUPS, SHARED_BY_DEFINITIONS

__all__ = ["Propagated", "Swept", "not_stated", "propagate", "propagate_all"]

Places = npt.NDArray[np.intp]
Texts = npt.NDArray[np.object_]
Figures = Sequence[tuple[Wanted, Taken]]
LARGEST_RELATIVE = 0.3
"""A level in dB or a phase of something less certain than this has no stated u: its interval would
not be symmetric."""
PRECISION: Precision = np.complex64
"""Of slopes by corrected sweeps: variances are right to 1e-5 of themselves."""
TRIED, ALL_TRIED = 8, 32
"""Values that are tried first whether they bend; no more than the latter are all tried."""
FURTHER = 20
"""Points kept on either side of those that a whole sweep's value has slopes at: a zero crossing
that its sources move by one u is then still among them."""
LARGEST_BEND = 0.25
"""The sources moved together by what changes a value by u to first order must change it by u
within this share of u, both ways: an interval of 1.96 u then holds 93 % or more."""
BEND_OF_NONE = 0.5 * LARGEST_BEND
"""Where none of those tried first bends by more than this share of u, none of the others is tried:
while the points that a value stands on stay the same, bends grow with u. Of 43 figures with 600
draws each (the cases of the coverage tests) no other one bent by more than 0.14 then, but for
values over a window whose choice of points changed, 0.27."""
_PER_RELATIVE = {"dB": 20.0 / np.log(10.0), "deg": 180.0 / np.pi}
"""A level's or phase's change for a relative change of what it is the level or phase of."""
_TOO_LARGE = "uncertainty not stated: too large for the first order that it is propagated to"


@dataclass(frozen=True, eq=False)
class Propagated:
    """Variances of n values in the figure's unit squared; NaN where not stated."""

    calibration: FloatArray
    own: FloatArray
    dummies: FloatArray | None
    """None: the values have no dummies."""
    shared: bool
    """Whether the values share the dummies."""
    groups: Mapping[str, FloatArray]
    """By source group."""
    noise: FloatArray
    """Of the sweep; 0 where not stated."""
    remarks: Texts
    departure: FloatArray
    """Of the departure from the law that was held; 0 where there is none."""

    @property
    def stated(self) -> BoolArray:
        """Where the uncertainty is stated."""
        return ~np.isnan(self.calibration)

    def parts(self) -> dict[str, FloatArray]:
        """Standard uncertainties by the columns of values."""
        dummies = np.zeros_like(self.own) if self.dummies is None else self.dummies
        by_definitions = [self.groups[one] for one in SHARED_BY_DEFINITIONS if one in self.groups]
        return {
            "u_common": np.sqrt(self.calibration + (dummies if self.shared else 0.0)),
            "u_own": np.sqrt(self.own + (0.0 if self.shared else dummies)),
            "u_calibration": np.sqrt(self.calibration),
            "u_definitions": np.sqrt(sum(by_definitions))
            if by_definitions
            else np.full_like(self.own, np.nan),
            "u_dummies": np.full_like(self.own, np.nan)
            if self.dummies is None
            else np.sqrt(dummies),
        }

    def by_source(self) -> dict[str, FloatArray]:
        """Standard uncertainties by source."""
        found = {name: np.sqrt(each) for name, each in self.groups.items()}
        return found if self.dummies is None else {**found, DUMMIES: np.sqrt(self.dummies)}


def not_stated(n: int, deembedded: bool) -> Propagated:
    """Of n values nothing is propagated."""
    none: FloatArray = np.full(n, np.nan)
    nothing = np.full(n, "", dtype=object)
    dummies = none if deembedded else None
    return Propagated(none, none, dummies, False, {}, np.zeros(n), nothing, np.zeros(n))


def propagate(
    wanted: Wanted, taken: Taken, swept: Swept, calibrations: Mapping[str, Sources], shared: bool
) -> Propagated:
    """Variances of values by the law of propagation to first order.

    Args:
        taken: from `swept`.
        calibrations: sources of each calibration by its name, on all frequencies.
        shared: whether the values share the dummies.
    """
    return propagate_all([(wanted, taken)], swept, calibrations, shared)[0]


@np.errstate(all="ignore")
def propagate_all(
    figures: Figures, swept: Swept, calibrations: Mapping[str, Sources], shared: bool
) -> list[Propagated]:
    """As `propagate`, for each of some figures that are taken from the same sweeps."""
    found = []
    variances_of = _variances_of(figures, swept, calibrations)
    u = [np.sqrt(np.sum(list(one.groups.values()), axis=0)) for one in variances_of]
    straight = _straight(figures, swept, calibrations, u)
    for place, ((wanted, taken), of) in enumerate(zip(figures, variances_of, strict=True)):
        value = taken.estimate.value
        certain = np.isfinite(value) & np.isfinite(u[place]) & _is_level(wanted, of.both)
        deembedded = swept.device.dummies is not None
        found.append(_stated(of, value, certain & straight[place], deembedded, shared))
    return found


def _at_same_points(figures: Figures, swept: Swept) -> Iterator[tuple[list[int], Figures]]:
    """Figures that are taken at the same points, with their places among all."""
    by_points: dict[tuple[int, int], list[int]] = {}
    for place, (_, taken) in enumerate(figures):
        points = swept.points(taken)
        by_points.setdefault((points.start, points.stop), []).append(place)
    for places in by_points.values():
        yield places, [figures[place] for place in places]


def _stated(
    of: "_Variances", value: FloatArray, certain: BoolArray, deembedded: bool, shared: bool
) -> Propagated:
    """Of values that are certain; of the others nothing."""
    stated = {group: np.where(certain, each, np.nan) for group, each in of.groups.items()}
    of_dummies = stated.pop(DUMMIES, np.zeros(len(value)))
    return Propagated(
        _sum(stated, COMMON_GROUPS, certain),
        _sum(stated, OWN_GROUPS, certain),
        of_dummies if deembedded else None,
        shared,
        stated,
        np.nan_to_num(stated["noise of the sweep"]),
        np.where(certain | np.isnan(value), "", _TOO_LARGE).astype(object),
        of.departure,
    )


def _sum(
    variances: Mapping[str, FloatArray], groups: Sequence[str], certain: BoolArray
) -> FloatArray:
    """Sum over some groups; NaN where it is not certain."""
    there = [variances[group] for group in groups if group in variances]
    return np.asarray(sum(there, start=np.where(certain, 0.0, np.nan)))


@dataclass(frozen=True, eq=False)
class _Variances:
    """Of n values of one figure."""

    groups: Mapping[str, FloatArray]
    """By source group and `DUMMIES`."""
    both: FloatArray
    """As `sensitivity.Variance`."""
    departure: FloatArray
    """Of the departure from a law; 0 without one."""


def _variances_of(
    figures: Figures, swept: Swept, calibrations: Mapping[str, Sources]
) -> list[_Variances]:
    """In single precision: a variance is right to about 1e-5 of itself."""
    some = [(one, weighed(one, swept.frequency_hz, taken)) for one, taken in figures]
    parts: list[list[_Variances]] = [[] for _ in figures]
    for places, alike in _at_same_points(some, swept):
        for rows, way in _ways(alike, swept, calibrations, PRECISION, swept.shared):
            for place, (wanted, taken) in zip(places, alike, strict=True):
                parts[place].append(_variances(way, wanted, taken.of(rows)))
    return [
        _Variances(
            {name: np.concatenate([one.groups[name] for one in each]) for name in each[0].groups},
            np.concatenate([one.both for one in each]),
            np.concatenate([one.departure for one in each]),
        )
        for each in parts
    ]


def _ways(
    figures: Figures,
    swept: Swept,
    calibrations: Mapping[str, Sources],
    precision: Precision = np.complex128,
    once: Collection[str] = (),
) -> Iterator[tuple[slice, WayBack]]:
    """Back from a portion of the values at a time."""
    wanted, taken = figures[0]
    points, z_ref_ohm = swept.points(taken), wanted.around.z_ref_ohm
    way: WayBack | None = None
    for rows in portions(len(taken.estimate.value), points.stop - points.start):
        some = swept.of(rows)
        way = way_back(some, points, calibrations, z_ref_ohm, precision, once=once, like=way)
        yield rows, way


def _variances(way: WayBack, wanted: Wanted, taken: Taken) -> _Variances:
    carried = carry(way, [(wanted, taken)])
    groups, both = variances(carried)
    departure = taken.estimate.departure
    if departure is None or not departure.weights.any():
        return _Variances(groups, both, np.zeros_like(both))
    bent, _ = variances(_with_weights(carried, wanted, taken, departure.weights))
    return _Variances(groups, both, np.sum(list(bent.values()), axis=0))


def _with_weights(carried: Carried, wanted: Wanted, taken: Taken, weights: FloatArray) -> Carried:
    """Of values that are weighed otherwise from the same quantity.

    Slopes at a point are those of the value times the ratio of the weights there; only through
    access resistances, which are taken from many points, have they to be carried back anew.
    """
    estimate = taken.estimate
    if carried.way.swept.cold is not None:
        other = replace(taken, estimate=replace(estimate, weights=weights))
        return carry(carried.way, [(wanted, other)])
    used = estimate.weights != 0
    return carried.times(np.where(used, weights / np.where(used, estimate.weights, 1.0), 0.0))


def _is_level(wanted: Wanted, both: FloatArray) -> BoolArray:
    """False for a level or a phase that is lost in uncertainty."""
    per_relative = _PER_RELATIVE.get(wanted.figure.unit)
    if per_relative is None:
        return np.ones(len(both), dtype=bool)
    certain: BoolArray = np.sqrt(both) / per_relative <= LARGEST_RELATIVE
    return certain


def _straight(
    figures: Figures, swept: Swept, calibrations: Mapping[str, Sources], u: Sequence[FloatArray]
) -> list[BoolArray]:
    """Where values change by u, within `LARGEST_BEND`, if the sources are moved so far.

    Some are tried first (`_tried`); the others only if one of these bends by more than
    `BEND_OF_NONE`.
    """
    straight: list[BoolArray] = [np.ones(len(each), dtype=bool) for each in u]
    some = [
        (one, weighed(one, swept.frequency_hz, taken, FURTHER) if one.place == "whole" else taken)
        for one, taken in figures
    ]
    for places, alike in _at_same_points(some, swept):
        tried = [_tried(figures[place][1], u[place]) for place in places]
        rows = np.concatenate(tried)
        if not len(rows):
            continue
        of_tried = [(one, taken.of(each)) for (one, taken), each in zip(alike, tried, strict=True)]
        points, z_ref_ohm = swept.points(alike[0][1]), alike[0][0].around.z_ref_ohm
        way = way_back(swept.of(rows), points, calibrations, z_ref_ohm)
        u_tried = [u[place][each] for place, each in zip(places, tried, strict=True)]
        for place, bends in zip(places, _bends(way, of_tried, u_tried), strict=True):
            if (bends > BEND_OF_NONE).any():
                straight[place] = _all_straight(some[place], swept, calibrations, u[place])
    return straight


def _all_straight(
    figure: tuple[Wanted, Taken],
    swept: Swept,
    calibrations: Mapping[str, Sources],
    u: FloatArray,
) -> BoolArray:
    """Likewise of one figure, every value tried."""
    wanted, taken = figure
    bends = [
        _bends(way, [(wanted, taken.of(rows))], [u[rows]])[0]
        for rows, way in _ways([figure], swept, calibrations)
    ]
    return np.asarray(np.concatenate(bends) <= LARGEST_BEND)


def _tried(taken: Taken, u: FloatArray) -> Places:
    """Values with the greatest u, with the greatest in proportion, and those that leave points of
    their window out; all where there are few."""
    value = taken.estimate.value
    known = np.isfinite(value) & np.isfinite(u)
    places = np.flatnonzero(known)
    if len(places) <= ALL_TRIED:
        return places
    by_size = places[np.argsort(-u[places])][:TRIED]
    by_share = places[np.argsort(-(u[places] / np.abs(value[places])))][:TRIED]
    left_out = np.flatnonzero(known & (taken.estimate.details.get("share_used", 1.0) < 1.0))
    return np.union1d(np.union1d(by_size, by_share), left_out)


def _bends(way: WayBack, figures: Figures, u: Sequence[FloatArray]) -> list[FloatArray]:
    """Greatest share of u by which values do not change by u if the sources are moved so far.

    Args:
        way: of the figures' sweeps, behind each other.
    """
    every_u = np.concatenate(u)
    share = np.where(every_u > 0, np.array([[1.0], [-1.0]]) / every_u, 0.0)
    moved_devices, found, first = _moved_devices(way, carry(way, figures), share), [], 0
    for (wanted, taken), each in zip(figures, u, strict=True):
        mine = slice(first, first + len(each))
        first += len(each)
        again = moved_devices(mine).take(wanted)
        assert again is not None
        change = again.estimate.value.reshape(2, -1) - taken.estimate.value
        if wanted.figure.unit == "deg":
            change = (change + 180.0) % 360.0 - 180.0
        off = np.where(each > 0, np.abs(share[:, mine] * change - 1.0), 0.0)
        found.append(np.where(np.isnan(off), np.inf, off).max(axis=0))
    return found


def _moved_devices(way: WayBack, carried: Carried, share: FloatArray) -> Callable[[slice], Devices]:
    """Devices if their sources are moved, shaped as `share`, (n_share, n); of some of the n."""
    device, names = way.swept.device, way.swept.calibrations
    terms = {
        name: moved_terms(way.sources[name], deviations, share)
        for name, deviations in carried.deviations().items()
    }
    at = {
        role: as_matrices(moved(one, terms[names[role]], share))
        for role, one in carried.by_role.items()
    }

    parts = None if device.dummies is None else {part: at[part] for part in device.dummies}
    inner = {
        role: Corrected(at[role], device.method, parts).stripped(way.z_ref_ohm)
        for role in (DEVICE, COLD)
        if role in at
    }

    def of(some: slice) -> Devices:
        s, cold = (
            None if role not in inner else inner[role][:, some].reshape(-1, *inner[role].shape[2:])
            for role in (DEVICE, COLD)
        )
        assert s is not None
        return Devices(way.swept.frequency_hz, s, cold)

    return of
