"""What an instrument's declared accuracy makes of a figure: the curve read again, off by it.

All readings of a range err together: by the same share (relative part) and by the same amount
(offset), the two and different ranges independently. So the figure is extracted again with each
off by one standard uncertainty (JCGM 100:2008, 5.1.3, note 2), and the changes add in quadrature.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sitegen.compute.dc.curves import Curves
from sitegen.compute.dc.estimates import Estimate
from sitegen.model.arrays import BoolArray, FloatArray


@dataclass(frozen=True)
class RangeAccuracy:
    """Standard uncertainties of a range's readings."""

    relative_u: float
    offset_u: float
    """A or V."""


@dataclass(frozen=True)
class Instruments:
    """Declared accuracies of what reads the measured axis, by range, and of both set axes."""

    readings: Mapping[str, RangeAccuracy]
    source: RangeAccuracy | None = None
    drain: RangeAccuracy | None = None
    """Of the stepped axis, where that is the drain voltage."""


def instrument_uncertainty(
    extract: Callable[[Curves], Estimate],
    curves: Curves,
    found: Estimate,
    ranges: npt.NDArray[np.object_],
    instruments: Instruments,
) -> FloatArray:
    """(n,) part of the figure's uncertainty; NaN where no accuracy of its points is declared.

    found: what `extract` gives for the curves. ranges: (n, p), None where not stated.
    """
    n = len(found.value)
    square = np.zeros(n)
    stated = np.zeros(n, dtype=bool)
    for one in _sources(curves, ranges, instruments):
        by_value = one.points.reshape(-1, n, one.points.shape[1])  # a shift has two curves a value
        stated |= (by_value & found.used).any(axis=(0, 2))
        for off in (one.accuracy.relative_u * one.reading, one.accuracy.offset_u):
            if not np.any(off):
                continue
            moved = np.where(one.points, off, 0.0)
            still = np.zeros(moved.shape)
            again = extract(curves.moved(*((still, moved) if one.swept else (moved, still))))
            change = again.value - found.value
            square += np.where(np.isfinite(change), change, 0.0) ** 2
    if instruments.drain is not None:
        still = np.zeros(curves.swept.shape)
        drain, volts = instruments.drain, np.nan_to_num(curves.drain_v)
        for off_v in (drain.relative_u * volts, np.full(len(volts), drain.offset_u)):
            change = extract(curves.moved(still, still, off_v)).value - found.value
            square += np.where(np.isfinite(change), change, 0.0) ** 2
            stated |= np.isfinite(change) & (change != 0)
    return np.where(stated & np.isfinite(found.value), np.sqrt(square), np.nan)


@dataclass(frozen=True, eq=False)
class _Source:
    """Readings that err together."""

    points: BoolArray
    """(n, p)."""
    reading: FloatArray
    """(n, p), where `points`."""
    accuracy: RangeAccuracy
    swept: bool


def _sources(
    curves: Curves, ranges: npt.NDArray[np.object_], instruments: Instruments
) -> list[_Source]:
    found = [
        _Source(np.asarray(ranges == name), curves.measured, accuracy, False)
        for name, accuracy in sorted(instruments.readings.items())
        if (ranges == name).any()
    ]
    if instruments.source is not None:
        points = np.isfinite(curves.swept)
        found.append(_Source(points, curves.swept, instruments.source, True))
    return found


def undeclared(
    found: Estimate, ranges: npt.NDArray[np.object_], instruments: Instruments
) -> npt.NDArray[np.object_]:
    """(n,) ranges of the used points whose accuracy is not declared, '' where all are."""
    n = len(found.value)
    told = np.full(n, "", dtype=object)
    if not instruments.readings:
        return told
    stated = set(instruments.readings)
    for row in range(n):
        names = {str(one) for one in ranges[row][found.used[row]]} - stated
        if names:
            told[row] = ", ".join(sorted(names))
    return told
