"""Which wafer was on the chuck, and how it lay: measured maps against maps from earlier.

Smooth patterns are alike from wafer to wafer, and a bowl looks the same when it is turned. What
tells wafers apart is the detail from die to die, so a plane and a bowl are taken out of every map
first, and what is left is compared by ranks.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri
from scipy.stats import rankdata

from sitegen import addresses
from sitegen.compute.stats.spatial import (
    AS_RECORDED,
    MINIMUM_DIES,
    ORIENTATIONS,
    Correlations,
    WaferMap,
    orientation_correlations,
)
from sitegen.compute.stats.surface import without_surface
from sitegen.compute.suspicions import maps_of
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Layout
from sitegen.problems import Finding
from sitegen.units import count

LEVEL = 1e-3
"""Chance that a campaign whose maps tell nothing shows any wafer as another; it is shared among all
the comparisons (Bonferroni). Fixed before any study of planted faults."""
GREATEST = 0.99
"""A correlation beyond it counts as this much: no single parameter decides alone."""


@dataclass(frozen=True)
class Likeness:
    """How a wafer's map agrees with an earlier map, pooled over parameters."""

    wafer: str
    """Of the earlier map."""
    orientation: str
    """What has to be done to the measured map: a word of `ORIENTATIONS`."""
    correlation: float
    """Mean rank correlation over the parameters."""
    own: float
    """The same with the wafer's own earlier map as recorded, over the same parameters."""
    n_dies: int
    parameters: int
    beyond: float
    """By how many standard deviations of chance it agrees better than the own one does."""
    distinct: float
    """By how many it agrees at all."""


@dataclass(frozen=True)
class WaferIdentity:
    """What the earlier maps say of one wafer."""

    wafer: str
    best: Likeness | None
    """The other map, or the own one changed, that agrees best; None where none can be compared."""
    needed: float
    """What both of its distances must exceed."""

    @property
    def doubtful(self) -> bool:
        """Whether another map agrees better than chance explains."""
        return self.best is not None and min(self.best.beyond, self.best.distinct) > self.needed


def wafer_identities(
    results: pd.DataFrame, earlier: pd.DataFrame, layout: Layout
) -> tuple[WaferIdentity, ...]:
    """Every wafer with an earlier map, compared with all earlier maps in all orientations.

    results: wafer, die_x, die_y, parameter, condition, value, below_floor, counts of all wafers;
    earlier: wafer, die_x, die_y, parameter, condition, value. Parameters are compared under the
    same condition. Turns by 90 degrees are tried where the dies' pitches are equal.

    For each parameter the Fisher z of the rank correlation has variance 1.06 / (n - 3) (Fieller,
    Hartley and Pearson 1957, Biometrika 44:470). The z are added over parameters; those of two
    parameters correlate by the product of their correlations on both maps, which is in the sum's
    variance, so that parameters that say the same do not count twice.
    """
    usable = results[results["counts"].eq(True)]
    both = pd.concat(
        [
            usable.assign(wafer="measured/" + usable["wafer"].astype(str)),
            earlier.assign(
                wafer="earlier/" + earlier["wafer"].astype(str), counts=True, below_floor=False
            ),
        ],
        ignore_index=True,
    )
    maps = {name: _detail(one) for name, one in maps_of(both, layout).items()}
    known = {name.removeprefix("earlier/"): one for name, one in maps.items() if name[0] == "e"}
    names = list(ORIENTATIONS)[: 8 if layout.die_pitch_x_mm == layout.die_pitch_y_mm else 4]
    asked = [name for name in sorted(known) if f"measured/{name}" in maps]
    tries = max(len(asked) * (len(known) * len(names) - 1), 1)
    needed = -float(ndtri(LEVEL / tries))
    return tuple(
        WaferIdentity(name, _best(name, maps[f"measured/{name}"], known, names), needed)
        for name in asked
    )


def identity_findings(identities: tuple[WaferIdentity, ...]) -> tuple[Finding, ...]:
    """One finding for each wafer that looks like another, or like itself turned or mirrored."""
    found = []
    for one in identities:
        best = one.best
        if best is None or not one.doubtful:
            continue
        other = best.wafer != one.wafer
        where = f"the earlier map of {best.wafer}" if other else "its own earlier map"
        how = "" if best.orientation == AS_RECORDED else f" when {best.orientation}"
        asked = "which wafer was measured" if other else "how the wafer lay"
        found.append(
            Finding(
                "wafer identity in doubt",
                f"wafer {one.wafer}",
                f"Wafer {one.wafer} agrees with {where}{how} better than with its own as recorded:"
                f" rank correlation {best.correlation:.2f} instead of {best.own:.2f}, over"
                f" {count(best.n_dies, 'die')} and {count(best.parameters, 'parameter')}, smooth"
                f" surfaces taken out. Check {asked}.",
                "decision",
                addresses.wafer(one.wafer),
            )
        )
    return tuple(sorted(found))


def _detail(wafer: WaferMap) -> WaferMap:
    """The map's ranks less their smooth surface; parameters on too few dies are left out."""
    left = np.full(wafer.values.shape, np.nan)
    for place in range(wafer.values.shape[1]):
        known = ~np.isnan(wafer.values[:, place])
        if known.sum() >= MINIMUM_DIES:
            ranks = rankdata(wafer.values[known, place])
            left[known, place] = without_surface(ranks, wafer.die_x[known], wafer.die_y[known])
    return WaferMap(wafer.die_x, wafer.die_y, left)


def _best(
    name: str, measured: WaferMap, known: dict[str, WaferMap], names: list[str]
) -> Likeness | None:
    own = orientation_correlations(measured, known[name], names[:1])
    own_spread = _covariance(measured, known[name])
    tried = []
    for other, earlier in known.items():
        found = orientation_correlations(measured, earlier, names)
        spread = _covariance(measured, earlier), own_spread
        for place, orientation in enumerate(names):
            if (other, orientation) != (name, AS_RECORDED):
                one = _likeness(found, place, own, spread)
                if one is not None:
                    tried.append(Likeness(other, orientation, *one))
    return max(tried, key=lambda one: one.beyond, default=None)


def _likeness(
    found: Correlations, place: int, own: Correlations, spread: tuple[FloatArray, FloatArray]
) -> tuple[float, float, int, int, float, float] | None:
    """Fields of `Likeness` from its correlation on; None without a parameter in both."""
    used = ~np.isnan(found.changed[place] + own.changed[0])
    if not used.any():
        return None
    theirs, mine = found.changed[place, used], own.changed[0, used]
    n_dies = int(min(found.n_dies[place, used].min(), own.n_dies[0, used].min()))
    squares = [1.06 / (n_dies - 3) * float(one[np.ix_(used, used)].sum()) for one in spread]
    z = [float(np.arctanh(np.clip(one, -GREATEST, GREATEST)).sum()) for one in (theirs, mine)]
    return (
        float(theirs.mean()),
        float(mine.mean()),
        n_dies,
        int(used.sum()),
        (z[0] - z[1]) / float(np.sqrt(sum(squares))),
        z[0] / float(np.sqrt(squares[0])),
    )


def _covariance(a: WaferMap, b: WaferMap) -> npt.NDArray[np.float64]:
    """Correlation of the z of each two parameters where the maps do not resemble each other."""
    one, two = (np.nan_to_num(pd.DataFrame(wafer.values).corr().to_numpy()) for wafer in (a, b))
    return np.asarray(np.maximum(one * two, np.eye(len(one))))
