"""What a figure of a sweep is: a quantity over frequency, and how one value is taken from it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.seen import Rows, Seen, Surroundings, seen
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.figures import Place

Texts = npt.NDArray[np.object_]
"""(n,) one text a sweep; empty where there is nothing to say."""

EXPLAINED = 1.96
"""Standard uncertainties of a departure from a law that 95 % of departures stay within by what is
propagated alone. With one instead, every third device that obeys the law would be given a part for
departing from it, as large as chance has it. A true departure within it is not seen."""


Quantity = Callable[[Seen], FloatArray]
"""Two-ports at n_f frequencies to a quantity (..., n_f).

Each point depends on S at that point only, apart from whole turns of a phase. NaN where S is NaN
and where the quantity is not defined.
"""
Slope = Callable[[Seen], ComplexArray]
"""Its slopes by S11, S12, S21, S22, (4, ..., n_f), each by S at the same point; see `seen`. Of no
meaning where the quantity is NaN."""


@dataclass(frozen=True, eq=False)
class Departure:
    """What values would change by if their law were not held but found from the points.

    Noise, contact, calibration and dummies bend the points as well as they move the value, and
    are propagated to it already: of the departure counts what they do not explain.
    """

    value: FloatArray
    """(n,) in the figure's unit."""
    weights: FloatArray
    """(n, n_f) its change with the quantity at each point, as the estimate's; 0 where those are,
    and everywhere for a departure that is assumed, not found."""
    u_scatter: FloatArray
    """(n,) its standard uncertainty by the points' scatter alone."""

    def of(self, rows: slice | Rows) -> "Departure":
        """Of some of the values."""
        return Departure(self.value[rows], self.weights[rows], self.u_scatter[rows])

    def at(self, points: slice) -> "Departure":
        """With some of the points only; the others weigh nothing."""
        return replace(self, weights=self.weights[:, points])

    def square(self, propagated: FloatArray | float = 0.0) -> FloatArray:
        """What it adds to a value's variance, (n,).

        The departure as a half width, rectangular, less what `EXPLAINED` standard uncertainties
        make; and its scatter less its variance, as far as they exceed.

        Args:
            propagated: variance of the departure from all sources that are propagated.
        """
        beyond = np.maximum(self.value**2 - EXPLAINED**2 * propagated, 0.0) / 3.0
        scatter: FloatArray = np.maximum(self.u_scatter**2 - propagated, 0.0)
        return beyond + scatter


@dataclass(frozen=True, eq=False)
class Estimate:
    """One value a sweep, in the figure's unit, and how it came about."""

    value: FloatArray
    """(n,), NaN where there is none."""
    weights: FloatArray
    """(n, n_f) change of the value with the quantity at each point, with the choice of points
    held; 0 at points that are not used."""
    u_extraction: FloatArray
    """(n,) standard uncertainty that taking the value adds: scatter about the law, extrapolation;
    0 where nothing is fitted, NaN where there is no value."""
    remarks: Texts
    """What is to be known about the value."""
    no_value: Texts
    """Why there is no value."""
    details: Mapping[str, FloatArray]
    """Facts about a fit by name, (n,) each; the estimator's docstring names them."""
    departure: Departure | None = None
    """From the law that was held; its `square()` is in `u_extraction`. None: there is no law."""

    def of(self, rows: slice | Rows) -> "Estimate":
        """Of some of the values: what their slopes need."""
        departure = None if self.departure is None else self.departure.of(rows)
        value, weights = self.value[rows], self.weights[rows]
        return replace(self, value=value, weights=weights, departure=departure)

    def at(self, points: slice) -> "Estimate":
        """With some of the points only; the others weigh nothing."""
        departure = None if self.departure is None else self.departure.at(points)
        return replace(self, weights=self.weights[:, points], departure=departure)


Estimator = Callable[[FloatArray, FloatArray, Place], Estimate]
"""A quantity (n, n_f) at one or more frequencies in Hz (n_f,) to one value a sweep."""
Advise = Callable[[Seen, float], Texts]
"""Whole sweeps of n two-ports and the wanted frequency: remarks (n,)."""


@dataclass(frozen=True)
class Figure:
    """A figure of merit: what it is called, how it is computed and where that comes from."""

    key: str
    """As a parameter's record names it."""
    name: str
    unit: str
    """Of the value."""
    formula: str
    source: str
    pointwise: Quantity
    """See `at_points`."""
    by_s: Slope
    """See `slopes`."""
    estimate: Estimator
    followed: bool = False
    """Whether whole turns of a phase are counted from the lowest frequency, so that all points up
    to the wanted one are needed (`figures.used_frequencies`)."""
    advise: Advise | None = None
    """Remarks on a value at one frequency that only the whole sweep can give."""

    def at_points(self, at: Seen) -> FloatArray:
        """The quantity at each point; NaN where it is not defined, without a warning."""
        with np.errstate(all="ignore"):
            values = self.pointwise(at)
        return np.where(np.isfinite(values), values, np.nan)

    def slopes(self, at: Seen) -> ComplexArray:
        """The quantity's slopes by S, (4, ..., n_f), without a warning."""
        with np.errstate(all="ignore"):
            return self.by_s(at)

    def quantity(
        self, s: ComplexArray, frequency_hz: FloatArray, around: Surroundings
    ) -> FloatArray:
        """The same of S (..., n_f, 2, 2), (..., n_f)."""
        return self.at_points(seen(s, frequency_hz, around))
