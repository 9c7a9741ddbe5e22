"""Do the zones of a wafer differ? One-way analysis of variance of whole maps at once."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.compute.stats.deviations import deviations
from sitegen.compute.stats.surface_fit import FTests, f_tests
from sitegen.compute.stats.zones import ZONES
from sitegen.model.arrays import FloatArray

LEAST_IN_ZONE = 3
"""Fewest dies in each zone for the test."""


@dataclass(frozen=True, eq=False)
class ZoneFit:
    """Zones of each map."""

    tests: FTests
    means: FloatArray
    """(n_map, n_zone) from the map's mean, in the values' unit."""
    residuals: FloatArray
    """(n_map, n), in shares of the greatest deviation of each map."""


def zone_basis(zone: npt.ArrayLike) -> FloatArray:
    """(n, n_zone) orthonormal terms of dies (n,) in zones 0, 1, 2, each with a die at least."""
    here = (np.asarray(zone)[:, np.newaxis] == np.arange(len(ZONES))).astype(np.float64)
    return np.asarray(here / np.sqrt(here.sum(axis=0)))


def fit_zones(values: npt.ArrayLike, basis: FloatArray) -> ZoneFit:
    """One-way analysis of variance of maps (n_map, n) over zones of `zone_basis`.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 7.4.3.
    """
    scaled, size = deviations(values)
    parts = scaled @ basis
    residuals = scaled - parts @ basis.T
    n, k = basis.shape
    tests = f_tests(
        np.sum(parts**2, axis=1),
        k - 1,
        np.sum(residuals**2, axis=1),
        n - k,
        np.sum(scaled**2, axis=1),
    )
    per_zone = np.sqrt(np.sum(basis > 0, axis=0))
    return ZoneFit(tests, parts / per_zone * size[:, np.newaxis], residuals)
