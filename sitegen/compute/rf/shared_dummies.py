"""What sources do to values through dummies that all of them share.

All that lies behind what is made of shared dummies alone (`pads.Pads.shared`) is the same for every
value. It is worked out once, as matrices that slopes by it are multiplied with.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.pads import BySweep
from sitegen.compute.rf.sensitivity import (
    Leg,
    Precision,
    Slopes,
    passes_of,
    slopes_by,
    square_sum,
)
from sitegen.model.arrays import ComplexArray, FloatArray


@dataclass(frozen=True, eq=False)
class SharedDummies:
    """For slopes by the m entries of some matrices at n_f points."""

    names: tuple[str, ...]
    """Of the matrices, four entries each."""
    common: Mapping[str, ComplexArray]
    """(m n_f, n_source) by calibration: deviations that its sources make of the entries."""
    whole: ComplexArray
    """(m n_f, n_own) likewise of what is a sweep's own and the same over all points."""
    noise: ComplexArray
    """(k, m, n_f) likewise of noise, each point's own; upper triangular, k no more than m."""

    def gathered(self, by_sweep: BySweep) -> ComplexArray:
        """Slopes of n values by the entries, (n, m, n_f)."""
        return np.stack([entry for name in self.names for entry in by_sweep[name]], axis=1)

    def deviations(self, name: str, slopes: ComplexArray) -> ComplexArray:
        """What each source of a calibration does to values with such slopes, (n, n_source)."""
        found: ComplexArray = slopes.reshape(len(slopes), -1) @ self.common[name]
        return found

    def own_variance(self, slopes: ComplexArray) -> FloatArray:
        """Variance of the values from all that the sweeps have for themselves, (n,)."""
        variance = square_sum(slopes.reshape(len(slopes), -1) @ self.whole)
        for row, by_entry in enumerate(self.noise):
            moved = by_entry[row] * slopes[:, row]
            for entry in range(row + 1, slopes.shape[1]):
                moved += by_entry[entry] * slopes[:, entry]
            variance += square_sum(moved)
        return variance


@dataclass(frozen=True, eq=False)
class _OfSweep:
    """What sources do to the entries of one corrected sweep, (e, n_f, ...)."""

    common: ComplexArray
    whole: ComplexArray
    noise: ComplexArray


def shared_dummies(
    shared: Mapping[str, BySweep],
    legs: Mapping[str, Leg],
    calibrations: Mapping[str, str],
    precision: Precision,
) -> SharedDummies:
    """Work out what lies behind the matrices of `Pads.shared`.

    Args:
        shared: from `Pads`.
        legs: of one sweep each, by part, in double precision.
        calibrations: of each part.
        precision: of the slopes to come.
    """
    of_part = {
        part: _of_sweep(legs[part])
        for part in dict.fromkeys(part for by_part in shared.values() for part in by_part)
    }

    def through(by_part: BySweep, name: str, part: str) -> ComplexArray:
        """Of one matrix what one sweep makes of it, (4, n_f, ...)."""
        there = getattr(of_part[part], name)
        if part not in by_part:
            return np.zeros((4, *there.shape[1:]), np.complex128)
        return _at_points(by_part[part], there)

    def stacked(name: str, part: str) -> ComplexArray:
        return np.concatenate([through(one, name, part) for one in shared.values()])

    common: dict[str, ComplexArray] = {}
    for part in of_part:
        mine = stacked("common", part)
        common[calibrations[part]] = common.get(calibrations[part], 0.0) + mine
    whole, noise = (
        np.concatenate([stacked(name, part) for part in of_part], axis=-1)
        for name in ("whole", "noise")
    )
    # the sum of |sum of x_e N_er|^2 over r is |R x|^2 with the transpose of N = Q R
    triangular = np.linalg.qr(np.moveaxis(noise, 1, 0).swapaxes(-1, -2)).R
    return SharedDummies(
        tuple(shared),
        {name: _flat(one).astype(precision) for name, one in common.items()},
        _flat(whole).astype(precision),
        np.ascontiguousarray(np.moveaxis(triangular, 0, -1)).astype(precision),
    )


def _at_points(left: ComplexArray, right: ComplexArray) -> ComplexArray:
    """Matrix products (i, j, n_f) by (j, n_f, k) at each point, (i, n_f, k)."""
    return np.moveaxis(np.moveaxis(left, -1, 0) @ np.moveaxis(right, 1, 0), 0, 1)


def _flat(of_entries: ComplexArray) -> ComplexArray:
    flat: ComplexArray = of_entries.reshape(-1, of_entries.shape[-1])
    return flat


def _of_sweep(leg: Leg) -> _OfSweep:
    n_entry, n_f = len(leg.s), leg.s.shape[-1]
    unit = np.eye(n_entry)[:, :, np.newaxis] * np.ones(n_f) + 0j
    slopes = slopes_by(leg, unit)
    by_point = np.moveaxis(slopes.by_raw * leg.noise, 0, -1)
    return _OfSweep(_common(slopes), _whole(slopes), by_point)


def _common(slopes: Slopes) -> ComplexArray:
    sources = slopes.leg.sources
    n_entry, n_f = len(slopes.by_s), slopes.by_s.shape[-1]
    found = np.zeros((n_entry, n_f, len(sources.groups)), np.complex128)
    for entry, (which, changes) in enumerate(sources.of_entries):
        by_terms = np.stack(slopes.by_terms(entry), axis=1)
        found[..., which] += _at_points(by_terms, changes.reshape(3, n_f, -1))
    return found


def _whole(slopes: Slopes) -> ComplexArray:
    """As `sensitivity.own_variance`: linearity of each raw S-parameter, path of each port, touch of
    each port and of both transmissions."""
    leg, errors = slopes.leg, slopes.leg.sources.errors
    shares = slopes.by_raw * leg.raw
    linearity = errors.linearity * shares
    cable = errors.cable * np.tensordot(passes_of(len(shares)), shares, axes=1)
    by_s = slopes.by_s
    touched = [by_s[0]] if len(by_s) == 1 else [by_s[0], by_s[3], (by_s * leg.s)[1:3].sum(axis=0)]
    every = np.concatenate([linearity, cable, errors.contact * np.stack(touched)])
    return np.moveaxis(every, 0, -1)
