"""What calibrations, sweeps and dummies do to values taken from corrected sweeps."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.sensitivity import (
    Slopes,
    Sources,
    Variance,
    common_variance,
    moved,
    own_variance,
    slopes_by,
)
from sitegen.compute.rf.taken import COLD, DEVICE, Corrected, Taken, Wanted, slopes, take
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.event_results import COMMON_GROUPS, OWN_GROUPS, SHARED_BY_DEFINITIONS

Places = npt.NDArray[np.intp]
Texts = npt.NDArray[np.object_]
DUMMIES = "dummy structures"
"""What the budget by source calls the dummies' own sweeps."""
LARGEST_RELATIVE = 0.3
"""A level in dB or a phase of something less certain than this has no stated u: its interval would
not be symmetric."""
TRIED = 8
"""Values that are tried first whether they bend."""
BEND_OF_NONE = 0.1
"""Where none of them bends by more than this share of u, none of the others is tried."""
LARGEST_BEND = 0.25
"""The sources moved together by what changes a value by u to first order must change it by u
within this share of u, both ways: an interval of 1.96 u then holds 93 % or more."""
_PER_RELATIVE = {"dB": 20.0 / np.log(10.0), "deg": 180.0 / np.pi}
"""A level's or phase's change for a relative change of what it is the level or phase of."""
_TOO_LARGE = "uncertainty not stated: too large for the first order that it is propagated to"


@dataclass(frozen=True, eq=False)
class Swept:
    """The corrected sweeps that n values are taken from, on all frequencies."""

    frequency_hz: FloatArray
    device: Corrected
    calibrations: Mapping[str, str]
    """Whose sweeps were corrected with which calibration: the device's, the cold one's, those of
    dummies by part."""
    cold: Corrected | None = None

    def of(self, role: str, points: slice) -> ComplexArray:
        """Corrected sweeps of the device, of the cold one or of a dummy, at some frequencies."""
        if role == COLD:
            assert self.cold is not None
            return self.cold.s[:, points]
        if role == DEVICE:
            return self.device.s[:, points]
        assert self.device.dummies is not None
        return self.device.dummies[role][:, points]


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
    points, by_sweep = slopes(wanted, swept.frequency_hz, taken, swept.device, swept.cold)
    names = swept.calibrations
    sources = {name: calibrations[name].at(points) for name in dict.fromkeys(names.values())}
    legs = {
        role: slopes_by(sources[name], swept.of(role, points), by_sweep[role])
        for role, name in names.items()
    }
    own, common = _variances(names, sources, legs)
    groups: dict[str, FloatArray] = {}
    for found in (*common.values(), *(own[role] for role in names if role in (DEVICE, COLD))):
        for group, variance in found.by_group.items():
            groups[group] = groups.get(group, 0.0) + variance
    nothing: FloatArray = np.zeros(len(taken.at_used))
    of_calibration, of_sweep, of_dummies, both = (
        sum(parts, start=nothing)
        for parts in (
            (one.of(COMMON_GROUPS) for one in common.values()),
            (one.of(OWN_GROUPS) for role, one in own.items() if role in (DEVICE, COLD)),
            (one.of(OWN_GROUPS) for role, one in own.items() if role not in (DEVICE, COLD)),
            (one.both for one in (*common.values(), *own.values())),
        )
    )
    u = np.sqrt(of_calibration + of_sweep + of_dummies)
    certain = np.isfinite(taken.estimate.value) & np.isfinite(u)
    certain &= _is_level(wanted, both)
    certain &= _straight(wanted, taken, swept, points, legs, sources, common, u)

    def stated(variance: FloatArray) -> FloatArray:
        return np.where(certain, variance, np.nan)

    return Propagated(
        stated(of_calibration),
        stated(of_sweep),
        None if swept.device.dummies is None else stated(of_dummies),
        shared,
        {group: stated(each) for group, each in groups.items()},
        np.where(certain, groups["noise of the sweep"], 0.0),
        np.where(certain | np.isnan(taken.estimate.value), "", _TOO_LARGE).astype(object),
        _of_departure(wanted, taken, swept, points, sources, legs),
    )


def _variances(
    names: Mapping[str, str], sources: Mapping[str, Sources], legs: Mapping[str, Slopes]
) -> tuple[dict[str, Variance], dict[str, Variance]]:
    """What each sweep adds for itself, by role, and each calibration, by its name."""
    own = {role: own_variance(sources[name], legs[role]) for role, name in names.items()}
    common = {
        name: common_variance(of_name, [legs[role] for role in names if names[role] == name])
        for name, of_name in sources.items()
    }
    return own, common


def _of_departure(
    wanted: Wanted,
    taken: Taken,
    swept: Swept,
    points: slice,
    sources: Mapping[str, Sources],
    legs: Mapping[str, Slopes],
) -> FloatArray:
    """Variance of the departure from the values' law, from all sources together.

    Slopes at a point are those of the value times the ratio of the weights there; only through
    access resistances, which are taken from many points, have they to be carried back anew.
    """
    total: FloatArray = np.zeros(len(taken.at_used))
    estimate, names = taken.estimate, swept.calibrations
    departure = estimate.departure
    if departure is None or not departure.weights.any():
        return total
    if COLD in names:
        other = replace(taken, estimate=replace(estimate, weights=departure.weights))
        points, by_sweep = slopes(wanted, swept.frequency_hz, other, swept.device, swept.cold)
        legs = {
            role: slopes_by(sources[name], swept.of(role, points), by_sweep[role])
            for role, name in names.items()
        }
    else:
        factor: FloatArray = np.zeros((len(total), len(swept.frequency_hz)))
        used, weights = estimate.weights != 0, np.where(estimate.weights != 0, estimate.weights, 1)
        at = np.searchsorted(swept.frequency_hz, taken.used_hz)
        factor[:, at] = np.where(used, departure.weights / weights, 0.0)
        legs = {role: leg.times(factor[:, points]) for role, leg in legs.items()}
    for found in _variances(names, sources, legs):
        for one in found.values():
            total = total + sum(one.by_group.values())
    return total


def _is_level(wanted: Wanted, both: FloatArray) -> BoolArray:
    """False for a level or a phase that is lost in uncertainty."""
    per_relative = _PER_RELATIVE.get(wanted.figure.unit)
    if per_relative is None:
        return np.ones(len(both), dtype=bool)
    with np.errstate(invalid="ignore"):
        certain: BoolArray = np.sqrt(both) / per_relative <= LARGEST_RELATIVE
    return certain


@np.errstate(all="ignore")
def _straight(
    wanted: Wanted,
    taken: Taken,
    swept: Swept,
    points: slice,
    legs: Mapping[str, Slopes],
    sources: Mapping[str, Sources],
    common: Mapping[str, Variance],
    u: FloatArray,
) -> BoolArray:
    """Where values change by u, within `LARGEST_BEND`, if the sources are moved so far.

    Those with the greatest u, also in proportion, are tried; the others only if one of these bends
    by more than `BEND_OF_NONE`.
    """
    value = taken.estimate.value

    def bend(rows: Places) -> FloatArray:
        way = Way(wanted, swept, points, {role: leg.of(rows) for role, leg in legs.items()}, rows)
        worst: FloatArray = np.zeros(len(rows))
        for sign in (1.0, -1.0):
            share = np.where(u[rows] > 0, sign / u[rows], 0.0)
            change = way.moved(sources, common, share) - value[rows]
            if wanted.figure.unit == "deg":
                change = (change + 180.0) % 360.0 - 180.0
            off = np.where(u[rows] > 0, np.abs(share * change - 1.0), 0.0)
            worst = np.where(np.isnan(off), np.inf, np.maximum(worst, off))
        return worst

    known = np.flatnonzero(np.isfinite(value) & np.isfinite(u))
    by_size = known[np.argsort(-u[known])][:TRIED]
    by_share = known[np.argsort(-(u[known] / np.abs(value[known])))][:TRIED]
    straight: BoolArray = np.ones(len(u), dtype=bool)
    first = np.union1d(by_size, by_share)
    if len(first) and (bend(first) > BEND_OF_NONE).any():
        straight[known] = bend(known) <= LARGEST_BEND
    return straight


@dataclass(frozen=True, eq=False)
class Way:
    """From corrected sweeps to some of the values."""

    wanted: Wanted
    swept: Swept
    points: slice
    legs: Mapping[str, Slopes]
    rows: Places

    def moved(
        self, sources: Mapping[str, Sources], common: Mapping[str, Variance], share: FloatArray
    ) -> FloatArray:
        """The values if the sources are moved."""
        device, z_ref_ohm = self.swept.device, self.wanted.around.z_ref_ohm
        at = {
            role: moved(sources[name], self.legs[role], common[name].deviations[self.rows], share)
            for role, name in self.swept.calibrations.items()
        }
        parts = None if device.dummies is None else {part: at[part] for part in device.dummies}
        inner = Corrected(at[DEVICE], device.method, parts).stripped(z_ref_ohm)
        cold = None
        if COLD in at:
            cold = Corrected(at[COLD], device.method, parts).stripped(z_ref_ohm)
        again = take(self.wanted, self.swept.frequency_hz[self.points], inner, cold)
        assert again is not None
        return again.estimate.value
