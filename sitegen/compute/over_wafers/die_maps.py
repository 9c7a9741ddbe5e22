"""The values of one parameter as one map a wafer: one number a die."""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.over_wafers.samples import IntArray, Sample
from sitegen.model.arrays import BoolArray, FloatArray


@dataclass(frozen=True, eq=False)
class DieMap:
    """One wafer's dies (n,), by die_y, then die_x."""

    wafer: str
    die_x: IntArray
    die_y: IntArray
    x_mm: FloatArray
    y_mm: FloatArray
    value: FloatArray
    """Mean of the die's sites; of their logarithms where `logarithms`."""
    outside: BoolArray
    """Whether the die is outside its limits at any site."""
    unfit: int
    """Values of the wafer without a logarithm; then `value` means nothing."""
    censored: int
    """Values of the wafer that are no numbers: their dies are not here."""

    @property
    def n(self) -> int:
        """How many dies there are."""
        return len(self.value)

    @property
    def places(self) -> bytes:
        """The same for maps of the same dies."""
        return self.die_x.tobytes() + self.die_y.tobytes()


def in_logarithms(sample: Sample) -> bool:
    """Whether patterns and outliers are looked for in logarithms, as the parameter declares."""
    return sample.parameter.distribution == "log-normal"


def on_scale(sample: Sample) -> FloatArray:
    """(n,): values, or their logarithms where declared; NaN where there is none."""
    if not in_logarithms(sample):
        return np.asarray(sample.value, dtype=np.float64)
    positive = sample.value > 0
    return np.where(positive, np.log(np.where(positive, sample.value, 1.0)), np.nan)


def die_maps(sample: Sample) -> tuple[DieMap, ...]:
    """One map for each wafer of the campaign, also where it has no value.

    The sites of a die are averaged, so that a die counts once: what lies within a die is no pattern
    of the wafer. Sites that a die lacks are not made up for.
    """
    keys = np.stack([sample.die_x, sample.die_y, sample.wafer])
    order = np.lexsort(keys)
    ordered = keys[:, order]
    new = np.ones(sample.n, dtype=bool)
    new[1:] = (ordered[:, 1:] != ordered[:, :-1]).any(axis=0)
    first = np.flatnonzero(new)
    sites = np.diff(np.append(first, sample.n))
    value = on_scale(sample)[order]
    beyond = (sample.outcome == "outside")[order]
    unfit = np.bincount(sample.wafer[order][np.isnan(value)], minlength=len(sample.wafers))
    if sample.n:
        value = np.add.reduceat(value, first) / sites
        beyond = np.logical_or.reduceat(beyond, first)
    rows = order[first]
    ends = np.searchsorted(sample.wafer[rows], np.arange(len(sample.wafers) + 1))
    maps = []
    for place, wafer in enumerate(sample.wafers):
        here = slice(ends[place], ends[place + 1])
        own = rows[here]
        maps.append(
            DieMap(
                wafer=wafer,
                die_x=sample.die_x[own],
                die_y=sample.die_y[own],
                x_mm=sample.x_mm[own],
                y_mm=sample.y_mm[own],
                value=value[here],
                outside=beyond[here],
                unfit=int(unfit[place]),
                censored=int(sample.censored[place]),
            )
        )
    return tuple(maps)
