"""What two calibrations made back to back would show of each other, by the comparison bound."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.propagation import Perturbation
from sitegen.compute.rf.residuals import Residual, residuals_between
from sitegen.compute.rf.terms import ErrorTerms, term_rows, terms_from_rows
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import SourceGroup

REPEATABLE: tuple[SourceGroup, ...] = ("noise", "contact repeatability", "fitted load", "cable")
"""What differs from one calibration to the next at once, where both are made alike. Definitions do
not, nor does linearity: the same standards give the same levels."""
BETWEEN_METHODS: tuple[SourceGroup, ...] = (
    *REPEATABLE,
    "definitions",
    "line impedance",
    "linearity",
)
"""What differs between calibrations that are not made alike: they take an error of a definition
each in its own way. Errors that both share in part are drawn for each, which is generous."""
PROBABILITY = 0.95
_DRAWS, _FREQUENCIES, _SEED = 400, 16, 20260420
_RADII = np.array([0.0, 0.5, 0.8, 1.0])[:, np.newaxis]
_GAMMA = (_RADII * np.exp(2j * np.pi * np.arange(16) / 16.0)).ravel()
_THROUGH = np.linspace(0.0, 1.0, 9)


@dataclass(frozen=True, eq=False)
class Repeatable:
    """A calibration with what would be different in one made at once again."""

    terms: ErrorTerms
    perturbations: Sequence[Perturbation]
    """Of `REPEATABLE` groups only, or of `BETWEEN_METHODS`."""


def repeatable_difference(first: Repeatable, second: Repeatable) -> FloatArray:
    """The comparison bound that two such calibrations stay within with 95 % probability.

    Sources of both are drawn independently, and the bound of each draw is taken to the first
    order, at no more than 16 frequencies; between these the quantile follows the root sum of
    squares of all residuals, to which it has a ratio that changes little.

    Returns:
        (n_freq,); NaN where a term is not determined, zero without sources.
    """
    n_freq = len(first.terms.frequency_hz)
    changes = [_changes(one) for one in (first, second) if one.perturbations]
    if not changes:
        return np.zeros(n_freq)
    size = np.sqrt(np.sum([one.variance for one in changes], axis=0))
    known = np.flatnonzero(np.isfinite(size) & (size > 0))
    if not len(known):
        return np.asarray(size)
    at = known[np.unique(np.linspace(0, len(known) - 1, _FREQUENCIES).round().astype(int))]
    rng = np.random.default_rng(_SEED)
    shown = np.zeros((_DRAWS, len(at)))
    drawn = np.sum([one.draw(rng, at) for one in changes], axis=0)
    for direction in drawn:
        shown = np.maximum(shown, _first_order_bound(*direction))
    ratio = np.quantile(shown, PROBABILITY, axis=0) / size[at]
    places = np.arange(n_freq)
    return np.asarray(size * np.interp(places, at, ratio))


@dataclass(frozen=True, eq=False)
class _Changes:
    """Residuals of each source: (n_source, n_direction, 6, n_freq), d, r, m, far, t, leak."""

    residuals: ComplexArray
    circular: FloatArray
    """1 where a source is circular, 0 where it is real, (n_source,)."""

    @property
    def variance(self) -> FloatArray:
        """(n_freq,) of all residuals together."""
        power = (np.abs(self.residuals) ** 2).sum(axis=(1, 2))
        return np.asarray((1.0 + self.circular) @ power)

    def draw(self, rng: np.random.Generator, at: np.ndarray) -> ComplexArray:
        """(n_direction, 6, _DRAWS, len(at)) sums over all sources, each drawn at random."""
        real, imaginary = rng.normal(size=(2, _DRAWS, len(self.circular)))
        draws = real + 1j * imaginary * self.circular
        return np.asarray(np.einsum("ns,sdkf->dknf", draws, self.residuals[..., at]))


def _changes(one: Repeatable) -> _Changes:
    rows = np.array([[row.values for row in term_rows(p.terms)] for p in one.perturbations])
    with np.errstate(all="ignore"):
        moved = terms_from_rows(one.terms, np.moveaxis(rows, 0, 1))
        directions = residuals_between(one.terms, moved)
    stacked = np.array([_listed(direction) for direction in directions])
    circular = np.array([float(p.kind == "circular") for p in one.perturbations])
    return _Changes(np.moveaxis(stacked, 2, 0), circular)


def _listed(one: Residual) -> list[ComplexArray]:
    return [one.d, one.r, one.m, one.far + one.load, one.t, one.leak]


def _first_order_bound(
    d: ComplexArray,
    r: ComplexArray,
    m: ComplexArray,
    far: ComplexArray,
    t: ComplexArray,
    leak: ComplexArray,
) -> FloatArray:
    """Greatest |dS| of one direction's two S-parameters on a grid of passive devices."""
    greatest: FloatArray = np.zeros(d.shape)
    for gamma in _GAMMA:
        reflected = np.abs(d + gamma * (r + gamma * m)) + np.abs(far) * (1.0 - abs(gamma) ** 2)
        greatest = np.maximum(greatest, reflected)
    mismatch = np.abs(m) + np.abs(far)
    for y in _THROUGH:
        passed = np.abs(leak) + y * (np.abs(t) + mismatch * np.sqrt(1.0 - y**2))
        greatest = np.maximum(greatest, passed)
    return greatest
