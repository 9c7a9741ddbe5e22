"""Correlations of every two parameters over the dies that have both, about each wafer's own mean.

What makes wafers differ, a calibration's error among it, correlates nothing here. Each value's own
measurement error is inside: it takes a correlation of the devices towards zero.

Intervals and p-values count dies by what they are worth (`stats/resemblance`): where neighbours
resemble each other in both parameters, n dies are worth fewer independent ones. By simulation the
intervals of nominal 95 % hold 92 to 97 % for resemblance that falls with distance alike everywhere,
and 85 to 94 % where every wafer carries a plane and a bowl of its own as large as the noise; with
every die counted as independent it would be 41 to 86 % and 36 to 81 %
(tests/compute/over_wafers/relation_coverage.md).
"""

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.over_wafers.samples import Key, Sample
from sitegen.compute.stats import correlation as stats
from sitegen.compute.stats.multiple import benjamini_hochberg
from sitegen.compute.stats.resemblance import Grid, independent_deviations
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.relation_results import Correlation
from sitegen.model.statistics import Estimate

LEVEL = 0.05
"""Adjusted p-value below which a pair is told that was not declared."""
LEAST_RANKS = 9
"""Fewest deviations (dies less wafers) for interval and p-value of a rank correlation. With fewer
the ranks take so few orders that the interval holds 61 to 98 % at 5 dies and 75 to 98 % at 6, by
simulation of normal values correlated by 0 to 0.95."""


def correlations(
    samples: Mapping[Key, Sample], campaign: CampaignRecord
) -> tuple[Correlation, ...]:
    """The declared pairs in their order, then every other one with an adjusted p below `LEVEL`.

    Every two of the samples are looked at and adjusted for (Benjamini and Hochberg), one parameter
    under two conditions too; the strongest first. A die and site is one row: values at different
    sites are never paired.
    """
    keys = tuple(samples)
    if len(keys) < 2:
        return ()
    table, grid = _table(list(samples.values()), campaign)
    found = stats.correlate_within(table, grid.wafer)
    worth = [_worth(table, grid, found.linear), _worth_of_ranks(table, grid, found.rank)]
    freedom = [
        np.where(np.isnan(r), np.nan, np.fmin(one, found.freedom))
        for one, r in zip(worth, (found.linear, found.rank), strict=True)
    ]
    pairs = np.array(list(combinations(range(len(keys)), 2)))
    ranked = found.freedom >= LEAST_RANKS
    held = stats.held_below_one(found.rank, found.n, found.groups)
    p_value = stats.p_of(held, np.where(ranked, freedom[1], np.nan))
    adjusted = np.full(p_value.shape, np.nan)
    upper = pairs[:, 0], pairs[:, 1]
    adjusted[upper] = benjamini_hochberg(p_value[upper])
    linear = stats.fisher_interval(found.linear, freedom[0])
    low, high = stats.rank_interval(held, np.where(ranked, freedom[1], np.nan))
    rank = np.minimum(low, found.rank), np.maximum(high, found.rank)

    def told(first: int, second: int, declared: bool) -> Correlation:
        one, other = sorted((first, second))
        n, wafers = int(found.n[one, other]), int(found.groups[one, other])
        return Correlation(
            first=keys[first],
            second=keys[second],
            n=n,
            wafers=wafers,
            rank=_estimate(found.rank, rank, freedom[1], (one, other), n, wafers, LEAST_RANKS),
            linear=_estimate(found.linear, linear, freedom[0], (one, other), n, wafers, 3),
            p_value=_number(p_value[one, other]),
            adjusted_p=_number(adjusted[one, other]),
            pairs=len(pairs),
            declared=declared,
            freedom=_number(freedom[0][one, other]),
        )

    declared = _declared(keys, campaign)
    beside = {tuple(sorted(pair)) for pair in declared}
    clear = [
        (int(one), int(other))
        for one, other in pairs[adjusted[upper] < LEVEL]
        if (int(one), int(other)) not in beside
    ]
    clear.sort(key=lambda pair: (float(p_value[pair]), -abs(float(found.rank[pair]))))
    return (
        *(told(*pair, declared=True) for pair in declared),
        *(told(*pair, declared=False) for pair in clear),
    )


def _declared(keys: Sequence[Key], campaign: CampaignRecord) -> list[tuple[int, int]]:
    place = {key: number for number, key in enumerate(keys)}
    named = [((one.x, one.x_condition), (one.y, one.y_condition)) for one in campaign.pairs]
    return [
        (place[first], place[second])
        for first, second in named
        if first in place and second in place and first != second
    ]


def _table(samples: Sequence[Sample], campaign: CampaignRecord) -> tuple[FloatArray, Grid]:
    """(n, p) values, a row for each die and site with any value, and where the rows lie."""
    column = np.repeat(np.arange(len(samples)), [one.n for one in samples])
    site = pd.factorize(np.concatenate([one.site for one in samples]), sort=True)[0]

    def joined(name: str) -> npt.NDArray[np.int64]:
        parts = [np.asarray(getattr(one, name), dtype=np.int64) for one in samples]
        return np.concatenate(parts)

    wafer, x, y = joined("wafer"), joined("die_x"), joined("die_y")
    code = wafer
    for part in (y, x, site):
        low = part.min(initial=0)
        code = code * (int(part.max(initial=0)) - int(low) + 1) + (part - low)
    _, first, row = np.unique(code, return_index=True, return_inverse=True)
    table = np.full((len(first), len(samples)), np.nan)
    table[row, column] = np.concatenate([one.value for one in samples])
    layout = campaign.layout
    pitch = (1.0, 1.0) if layout is None else (layout.die_pitch_x_mm, layout.die_pitch_y_mm)
    return table, Grid(wafer[first], x[first], y[first], pitch)


def _worth(table: FloatArray, grid: Grid, r: FloatArray) -> FloatArray:
    """Independent deviations that the dies of each pair are worth."""
    return independent_deviations(stats.deviations_within(table, grid.wafer), grid, r)


def _worth_of_ranks(table: FloatArray, grid: Grid, r: FloatArray) -> FloatArray:
    return _worth(stats.ranks_within(table, grid.wafer), grid, r)


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _estimate(
    value: FloatArray,
    ends: tuple[FloatArray, FloatArray],
    freedom: FloatArray,
    place: tuple[int, int],
    n: int,
    wafers: int,
    least: int,
) -> Estimate:
    """One correlation with its interval, or why it has none; least: deviations that it needs."""
    if np.isnan(value[place]):
        why = "one of the two does not vary" if n else "needs 2 dies of a wafer that have both"
        return Estimate(None, reason=why)
    why = ""
    if n - wafers < least:
        why = f"needs {wafers + least} dies on these wafers, there are {n}"
    elif np.isnan(ends[0][place]):
        why = (
            f"neighbours resemble each other so much that {n} dies are worth"
            f" {freedom[place]:.1f} independent deviations; an interval needs more than 2"
        )
    return Estimate(
        float(value[place]), _number(ends[0][place]), _number(ends[1][place]), reason=why
    )
