"""What calibrations, sweeps and dummies do to values taken from corrected sweeps."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.entries import as_matrices
from sitegen.compute.rf.portions import portions
from sitegen.compute.rf.sensitivity import (
    Leg,
    Slopes,
    Sources,
    common_variance,
    deviations_by,
    leg_of,
    moved,
    moved_terms,
    own_variance,
    slopes_by,
)
from sitegen.compute.rf.taken import (
    COLD,
    DEVICE,
    Corrected,
    Devices,
    Taken,
    Wanted,
    narrowed,
    slopes,
)
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
    _legs: dict[tuple[str, int, int], Leg] = field(default_factory=dict)
    _whole: tuple["Swept", slice | Places] | None = None
    """All of them, of which these are some."""

    def of(self, rows: slice | Places) -> "Swept":
        """Sweeps of some of the values; what is worked out of them is worked out of all."""
        cold = None if self.cold is None else self.cold.of(rows)
        device = self.device.of(rows)
        return Swept(self.frequency_hz, device, self.calibrations, cold, {}, (self, rows))

    def leg(self, role: str, points: slice, sources: Sources) -> Leg:
        """Sweeps of the device, of the cold one or of a dummy at some points, and the way back.

        sources: of their calibration, on all frequencies.
        """
        if self._whole is not None:
            whole, rows = self._whole
            return whole.leg(role, points, sources).of(rows)
        key = (role, points.start, points.stop)
        if key not in self._legs:
            self._legs[key] = leg_of(sources.at(points), self._of(role)[:, points])
        return self._legs[key]

    def _of(self, role: str) -> ComplexArray:
        if role == COLD:
            assert self.cold is not None
            return self.cold.s
        if role == DEVICE:
            return self.device.s
        assert self.device.dummies is not None
        return self.device.dummies[role]


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
    figures: Sequence[tuple[Wanted, Taken]],
    swept: Swept,
    calibrations: Mapping[str, Sources],
    shared: bool,
) -> list[Propagated]:
    """As `propagate`, for each of some figures that are taken from the same sweeps."""
    found = []
    for wanted, whole in figures:
        taken = narrowed(wanted, swept.frequency_hz, whole)
        groups, both, departure = _variances(wanted, taken, swept, calibrations)
        value, u = taken.estimate.value, np.sqrt(np.sum(list(groups.values()), axis=0))
        certain = np.isfinite(value) & np.isfinite(u) & _is_level(wanted, both)
        certain &= _straight(wanted, taken, swept, calibrations, u)
        stated = {group: np.where(certain, each, np.nan) for group, each in groups.items()}
        of_dummies = stated.pop(DUMMIES, np.zeros(len(value)))
        found.append(
            Propagated(
                _sum(stated, COMMON_GROUPS, certain),
                _sum(stated, OWN_GROUPS, certain),
                None if swept.device.dummies is None else of_dummies,
                shared,
                stated,
                np.nan_to_num(stated["noise of the sweep"]),
                np.where(certain | np.isnan(value), "", _TOO_LARGE).astype(object),
                departure,
            )
        )
    return found


def _sum(
    variances: Mapping[str, FloatArray], groups: Sequence[str], certain: BoolArray
) -> FloatArray:
    """Sum over some groups; NaN where it is not certain."""
    there = [variances[group] for group in groups if group in variances]
    return np.asarray(sum(there, start=np.where(certain, 0.0, np.nan)))


def _variances(
    wanted: Wanted, taken: Taken, swept: Swept, calibrations: Mapping[str, Sources]
) -> tuple[dict[str, FloatArray], FloatArray, FloatArray]:
    """Variances by source group, `Variance.both`, and variance of the departure from a law."""
    departure = taken.estimate.departure
    groups: dict[str, list[FloatArray]] = {}
    both: list[FloatArray] = [np.zeros(0)]
    departures: list[FloatArray] = [np.zeros(0)]
    for rows in _portions(taken, swept):
        some, here = taken.of(rows), swept.of(rows)
        by_role = _slopes(wanted, some, here, calibrations)
        of_rows, of_both = _summed(by_role, swept.calibrations)
        for group, variance in of_rows.items():
            groups.setdefault(group, []).append(variance)
        both.append(of_both)
        if departure is None or not departure.weights.any():
            departures.append(np.zeros_like(of_both))
            continue
        weights = departure.weights[rows]
        bent = _with_weights(by_role, wanted, some, weights, here, calibrations)
        of_rows, _ = _summed(bent, swept.calibrations)
        departures.append(np.sum(list(of_rows.values()), axis=0))
    joined = {group: np.concatenate(each) for group, each in groups.items()}
    return joined, np.concatenate(both), np.concatenate(departures)


def _summed(
    by_role: Mapping[str, Slopes], names: Mapping[str, str]
) -> tuple[dict[str, FloatArray], FloatArray]:
    """Variances by source group, what dummies' sweeps add for themselves as `DUMMIES`, and
    `Variance.both`."""
    groups: dict[str, FloatArray] = {}
    own = {role: own_variance(one) for role, one in by_role.items()}
    common = {name: common_variance(x) for name, x in _by_calibration(by_role, names).items()}
    for role, one in (*own.items(), *common.items()):
        of_dummy = role in own and role not in (DEVICE, COLD)
        for group, variance in one.by_group.items():
            name = DUMMIES if of_dummy else group
            groups[name] = groups.get(name, 0.0) + variance
    return groups, np.sum([one.both for one in (*own.values(), *common.values())], axis=0)


def _portions(taken: Taken, swept: Swept) -> Iterator[slice]:
    n_point = len(swept.frequency_hz) if swept.cold else taken.points.stop - taken.points.start
    return portions(len(taken.estimate.value), n_point)


def _slopes(
    wanted: Wanted, taken: Taken, swept: Swept, calibrations: Mapping[str, Sources]
) -> dict[str, Slopes]:
    """By all that values depend on, by role."""
    points, by_sweep = slopes(wanted, swept.frequency_hz, taken, swept.device, swept.cold)
    return {
        role: slopes_by(swept.leg(role, points, calibrations[name]), by_sweep[role])
        for role, name in swept.calibrations.items()
    }


def _by_calibration(
    by_role: Mapping[str, Slopes], names: Mapping[str, str]
) -> dict[str, list[Slopes]]:
    """Slopes by the sweeps that each calibration corrected, by its name."""
    found: dict[str, list[Slopes]] = {}
    for role, one in by_role.items():
        found.setdefault(names[role], []).append(one)
    return found


def _with_weights(
    by_role: Mapping[str, Slopes],
    wanted: Wanted,
    taken: Taken,
    weights: FloatArray,
    swept: Swept,
    calibrations: Mapping[str, Sources],
) -> dict[str, Slopes]:
    """Of values that are weighed otherwise from the same quantity.

    Slopes at a point are those of the value times the ratio of the weights there; only through
    access resistances, which are taken from many points, have they to be carried back anew.
    """
    estimate = taken.estimate
    if swept.cold is not None:
        other = replace(taken, estimate=replace(estimate, weights=weights))
        return _slopes(wanted, other, swept, calibrations)
    used = estimate.weights != 0
    factor = np.where(used, weights / np.where(used, estimate.weights, 1.0), 0.0)
    return {role: one.times(factor) for role, one in by_role.items()}


def _is_level(wanted: Wanted, both: FloatArray) -> BoolArray:
    """False for a level or a phase that is lost in uncertainty."""
    per_relative = _PER_RELATIVE.get(wanted.figure.unit)
    if per_relative is None:
        return np.ones(len(both), dtype=bool)
    certain: BoolArray = np.sqrt(both) / per_relative <= LARGEST_RELATIVE
    return certain


def _straight(
    wanted: Wanted,
    taken: Taken,
    swept: Swept,
    calibrations: Mapping[str, Sources],
    u: FloatArray,
) -> BoolArray:
    """Where values change by u, within `LARGEST_BEND`, if the sources are moved so far.

    Those with the greatest u, also in proportion, are tried; the others only if one of these bends
    by more than `BEND_OF_NONE`.
    """
    value = taken.estimate.value

    def bends(rows: slice | Places) -> FloatArray:
        return _bends(wanted, taken.of(rows), swept.of(rows), calibrations, u[rows])

    straight: BoolArray = np.ones(len(u), dtype=bool)
    known = np.flatnonzero(np.isfinite(value) & np.isfinite(u))
    by_size = known[np.argsort(-u[known])][:TRIED]
    by_share = known[np.argsort(-(u[known] / np.abs(value[known])))][:TRIED]
    if len(known) and (bends(np.union1d(by_size, by_share)) > BEND_OF_NONE).any():
        for rows in _portions(taken, swept):
            straight[rows] = bends(rows) <= LARGEST_BEND
    return straight


def _bends(
    wanted: Wanted,
    taken: Taken,
    swept: Swept,
    calibrations: Mapping[str, Sources],
    u: FloatArray,
) -> FloatArray:
    """Greatest share of u by which values do not change by u if the sources are moved so far."""
    share = np.where(u > 0, np.array([[1.0], [-1.0]]) / u, 0.0)
    change = _moved_values(wanted, taken, swept, calibrations, share) - taken.estimate.value
    if wanted.figure.unit == "deg":
        change = (change + 180.0) % 360.0 - 180.0
    off = np.where(u > 0, np.abs(share * change - 1.0), 0.0)
    return np.asarray(np.where(np.isnan(off), np.inf, off).max(axis=0))


def _moved_values(
    wanted: Wanted,
    taken: Taken,
    swept: Swept,
    calibrations: Mapping[str, Sources],
    share: FloatArray,
) -> FloatArray:
    """Values if their sources are moved, shaped as `share`, (n_share, n)."""
    device, z_ref_ohm = swept.device, wanted.around.z_ref_ohm
    by_role, names = _slopes(wanted, taken, swept, calibrations), swept.calibrations
    terms = {
        name: moved_terms(each[0].leg.sources, deviations_by(each), share)
        for name, each in _by_calibration(by_role, names).items()
    }
    at = {}
    for role, one in by_role.items():
        by_entry = moved(one, terms[names[role]], share)
        at[role] = as_matrices(by_entry.reshape(len(by_entry), share.size, -1))
    parts = None if device.dummies is None else {part: at[part] for part in device.dummies}
    inner = Corrected(at[DEVICE], device.method, parts).stripped(z_ref_ohm)
    cold = None
    if COLD in at:
        cold = Corrected(at[COLD], device.method, parts).stripped(z_ref_ohm)
    frequency_hz = by_role[DEVICE].leg.sources.terms.frequency_hz
    again = Devices(frequency_hz, inner, cold).take(wanted)
    assert again is not None
    return again.estimate.value.reshape(share.shape)
