"""Means, covariances and correlations of parameters over dies, for one wafer and for all.

Values with standing that count take part, one a die, parameter, condition and site. A value below
the floor, or not reached, is no number and takes no part, nor does a missing one: each pair of
quantities is of the dies that have both. Covariances are of the values as measured: what the
measurement adds to their spread is inside.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitegen.compute.standing import numbers_that_stand
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord
from sitegen.model.joint_statistics import JointStatistics, Scope

QUANTITY = ["parameter", "condition", "site"]
DIE = ["wafer", "die_y", "die_x"]


@dataclass(frozen=True, eq=False)
class _Products:
    """Sums over the dies that have both quantities of a pair, (p, p) each."""

    n: NDArray[np.int64]
    freedom: NDArray[np.int64]
    """Divisor of the covariance."""
    product: FloatArray
    """Sum of products of deviations from the means over the dies of the pair."""
    square: FloatArray
    """[i, j]: sum of squared deviations of quantity i over those dies."""


def joint_statistics(
    results: pd.DataFrame, campaign: CampaignRecord, wafers: Sequence[str]
) -> tuple[JointStatistics, ...]:
    """Of each wafer in the order given, and with several also within them and over all dies.

    results: of `RESULT_COLUMNS`, of all wafers. Quantities in the campaign's order.
    """
    wide = quantities_by_die(results, campaign)
    if wide.empty:
        return ()
    columns = wide.columns.to_frame(index=False).itertuples(index=False, name=None)
    names = tuple(
        (str(parameter), str(condition), str(site)) for parameter, condition, site in columns
    )
    of = wide.index.get_level_values("wafer")
    table = wide.to_numpy(dtype=np.float64)
    parts = {one: _products(table[of == one]) for one in wafers if (of == one).any()}
    found = [
        _stated("wafer", one, names, table[of == one], products) for one, products in parts.items()
    ]
    if len(parts) > 1:
        within = _Products(
            n=np.sum([one.n for one in parts.values()], axis=0),
            freedom=np.sum([one.freedom for one in parts.values()], axis=0),
            product=np.sum([one.product for one in parts.values()], axis=0),
            square=np.sum([one.square for one in parts.values()], axis=0),
        )
        found.append(_stated("within wafers", "", names, table, within))
        found.append(_stated("all dies", "", names, table, _products(table)))
    return tuple(found)


def quantities_by_die(results: pd.DataFrame, campaign: CampaignRecord) -> pd.DataFrame:
    """Values with standing that count and are numbers: one row a die, one column a quantity.

    Index: wafer, die_y, die_x, sorted. Columns: parameter, condition and site in the campaign's
    order; those without a value, and conditions that the parameter does not declare, left out.
    """
    valid = numbers_that_stand(results)
    wide = valid.set_index([*DIE, *QUANTITY])["value"].unstack(QUANTITY).sort_index()
    place = {
        (parameter.id, condition): (row, column)
        for row, parameter in enumerate(campaign.parameters)
        for column, condition in enumerate(parameter.conditions)
    }
    declared = [name for name in wide.columns if (name[0], name[1]) in place]
    order = sorted(declared, key=lambda name: (place[name[0], name[1]], name[2]))
    return wide[order]


def _products(table: FloatArray) -> _Products:
    """Sums over pairs of the columns of (n_die, p), NaN where a die has no value."""
    there = ~np.isnan(table)
    count = there.sum(axis=0)
    center = np.where(there, table, 0.0).sum(axis=0) / np.maximum(count, 1)
    deviation = np.where(there, table - center, 0.0)
    mask = there.astype(np.float64)
    n = np.rint(mask.T @ mask).astype(np.int64)
    some = np.maximum(n, 1)
    total = deviation.T @ mask
    return _Products(
        n=n,
        freedom=np.maximum(n - 1, 0),
        product=deviation.T @ deviation - total * total.T / some,
        square=(deviation**2).T @ mask - total**2 / some,
    )


def _stated(
    scope: Scope,
    wafer: str,
    names: tuple[tuple[str, str, str], ...],
    table: FloatArray,
    products: _Products,
) -> JointStatistics:
    there = ~np.isnan(table)
    count = there.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(there, table, 0.0).sum(axis=0) / count
        covariance = products.product / products.freedom
        spread = np.sqrt(products.square * products.square.T)
        flat = (products.freedom == 0) | ~(spread > 0)
        correlation = np.where(flat, np.nan, np.clip(products.product / spread, -1.0, 1.0))
    return JointStatistics(
        scope=scope,
        wafer=wafer,
        names=names,
        n=products.n,
        mean=np.where(count > 0, mean, np.nan),
        covariance=np.where(products.freedom == 0, np.nan, covariance),
        correlation=correlation,
    )
