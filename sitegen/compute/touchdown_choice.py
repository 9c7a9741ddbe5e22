"""Which of several touchdowns counts, and what their spread and their mean say."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.uncertainty_parts import COMMON, INSIDE, OWN, quadrature, with_own_dummies
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter

KEY = ["die_y", "die_x", "site", "device", "parameter", "condition"]
LEAST_DEGREES_OF_FREEDOM = 5
"""Of a pooled spread of touchdowns that is taken into u; our own choice."""

_NUMBERS = ("floor", "raw_reading", *COMMON, *OWN, *INSIDE)
_FLAGS = ("below_floor", "not_reached")
_TEXTS = ("no_value", "remarks", "flags")
COLUMNS: Mapping[str, float | bool | str] = {
    **dict.fromkeys(_NUMBERS, np.nan),
    **dict.fromkeys(_FLAGS, False),
    **dict.fromkeys(_TEXTS, ""),
}
"""What a column holds where its source does not state it."""


def choose_touchdowns(values: pd.DataFrame, campaign: CampaignRecord) -> pd.DataFrame:
    """Mark the value that counts of each die, site, device, parameter and condition.

    'first' and 'last' by the touchdown's number; 'mean' adds a row with touchdown 0 whose value
    is the mean of all, see `_means`. Adds 'touchdowns', 'counts' and u_touchdowns, see
    `spread_of_touchdowns`, and every column of `COLUMNS`.
    """
    values = _with_columns(values).sort_values([*KEY, "touchdown"], ignore_index=True)
    values = spread_of_touchdowns(values, campaign.parameters)
    groups = values.groupby(KEY, sort=False)
    values["touchdowns"] = groups["touchdown"].transform("size").astype(np.int32)
    rule = campaign.touchdowns.counts
    if rule == "mean":
        values["counts"] = values["touchdowns"] == 1
        several = values[values["touchdowns"] > 1]
        if several.empty:
            return values
        means = _means(several.reset_index(drop=True), with_own_dummies(campaign))
        table = pd.concat([values, means], ignore_index=True)
        return table.sort_values([*KEY, "touchdown"], ignore_index=True)
    pick = groups["touchdown"].transform("min" if rule == "first" else "max")
    values["counts"] = values["touchdown"] == pick
    return values


def _with_columns(values: pd.DataFrame) -> pd.DataFrame:
    """The values with every column of `COLUMNS`, filled where a source does not have it."""
    filled: dict[str, pd.Series[Any]] = {}
    for name, empty in COLUMNS.items():
        column = values[name] if name in values else pd.Series(empty, index=values.index)
        if isinstance(empty, bool):
            filled[name] = column.eq(True)
        elif isinstance(empty, str):
            filled[name] = column.astype(object).where(column.notna(), "")
        else:
            filled[name] = column.astype(np.float64)
    return values.assign(**filled)


def spread_of_touchdowns(values: pd.DataFrame, parameters: tuple[Parameter, ...]) -> pd.DataFrame:
    """Add u_touchdowns to values taken from curves: the pooled spread of repeated touchdowns.

    s² = Σ (n_i - 1) s_i² / Σ (n_i - 1) over the dies of the wafer touched n_i > 1 times under one
    condition, of values with standing that are not censored (JCGM 100:2008, 4.2.4); at least
    `LEAST_DEGREES_OF_FREEDOM` in all, else it is not stated.
    Values from sweeps have the contact's repeatability in u_own already, values of a table in what
    their parameter declares.
    """
    curves = [one.id for one in parameters if one.from_curve is not None]
    used = (
        values["parameter"].isin(curves)
        & values["value"].notna()
        & (values["ev_reasons"] == 0)
        & ~values["below_floor"]
        & ~values["not_reached"]
    )
    repeated = values.loc[used, [*KEY, "value"]]
    dies = repeated.groupby(KEY, sort=False)["value"].agg(["size", "var"]).reset_index()
    dies = dies[dies["size"] > 1]
    freedom = dies["size"] - 1
    pooled = (
        dies.assign(freedom=freedom, square=freedom * dies["var"])
        .groupby(["parameter", "condition"], sort=False)[["freedom", "square"]]
        .sum()
    )
    pooled = pooled[pooled["freedom"] >= LEAST_DEGREES_OF_FREEDOM]
    spread = dict(zip(pooled.index, np.sqrt(pooled["square"] / pooled["freedom"]), strict=True))
    keys = zip(values["parameter"], values["condition"], strict=True)
    return values.assign(u_touchdowns=[spread.get(key, np.nan) for key in keys])


def _means(several: pd.DataFrame, own_dummies: frozenset[str]) -> pd.DataFrame:
    """The mean of each value's touchdowns, as a row with touchdown 0 that counts.

    It stands only where every touchdown stands; where some lie below the floor and some do not, or
    where values were not reached on both sides of zero, there is no mean. Where one touchdown did
    not reach its value the mean is only known to lie beyond what is stated.

    Uncertainty: what is common to the touchdowns stays whole (the mean of their parts), what is of
    each one's own adds in squares and shrinks. Dummies of the die itself serve all of its
    touchdowns, so their part of u_own stays.
    """
    groups = several.groupby(KEY, sort=False)
    code = groups.ngroup().to_numpy()
    n = np.bincount(code).astype(np.float64)

    def mean(name: str) -> FloatArray:
        return np.bincount(code, several[name].to_numpy(dtype=np.float64)) / n

    def any_of(name: str) -> "pd.Series[bool]":
        return groups[name].any().reset_index(drop=True)

    below, beyond = any_of("below_floor").to_numpy(), any_of("not_reached").to_numpy()
    all_below = groups["below_floor"].all().to_numpy()
    value = mean("value")
    sides = groups["value"].min().to_numpy() * groups["value"].max().to_numpy() < 0
    why = [
        (below & ~all_below, "touchdowns lie on both sides of the floor"),
        (beyond & sides, "touchdowns did not reach their value on both sides of zero"),
        (np.isnan(value), "a touchdown has no value"),
    ]
    none = np.any([where for where, _ in why], axis=0)
    reasons = np.zeros(len(n), dtype=np.int64)
    np.bitwise_or.at(reasons, code, several["ev_reasons"].to_numpy(dtype=np.int64))
    stands = reasons == 0
    rows = groups.tail(1).reset_index(drop=True)
    return rows.assign(
        touchdown=0,
        counts=True,
        value=np.where(none, np.nan, value),
        no_value=np.select([where for where, _ in why], [text for _, text in why], ""),
        below_floor=all_below,
        not_reached=beyond & ~none,
        floor=groups["floor"].max().to_numpy(),
        raw_reading=np.where(all_below, mean("raw_reading"), np.nan),
        **_mean_uncertainty(several, code, n, own_dummies),
        ev_reasons=reasons,
        **{
            name: any_of(name).to_numpy() & stands
            for name in ("ev_not_closed", "ev_never_verified")
        },
        **{
            name: _joined(several[name].to_numpy(dtype=object), code, len(n))
            for name in ("ev_detail", "remarks", "flags")
        },
    )


def _mean_uncertainty(
    several: pd.DataFrame,
    code: npt.NDArray[np.integer[Any]],
    n: FloatArray,
    own_dummies: frozenset[str],
) -> dict[str, FloatArray]:
    """The parts of u of each mean of touchdowns."""

    def mean(u: FloatArray) -> FloatArray:
        return np.bincount(code, u) / n

    def shrunk(u: FloatArray) -> FloatArray:
        return np.sqrt(np.bincount(code, u**2)) / n

    part = {name: several[name].to_numpy(dtype=np.float64) for name in (*COMMON, *OWN, *INSIDE)}
    found = {name: mean(part[name]) for name in (*COMMON, *INSIDE)}
    found |= {name: shrunk(part[name]) for name in OWN}
    theirs = several["device"].isin(own_dummies).to_numpy()
    kept = np.where(theirs, np.nan_to_num(part["u_dummies"]), 0.0)
    kept = np.minimum(kept, part["u_own"])
    found["u_own"] = quadrature(shrunk(np.sqrt(part["u_own"] ** 2 - kept**2)), mean(kept))
    return found


def _joined(
    texts: npt.NDArray[np.object_], code: npt.NDArray[np.integer[Any]], groups: int
) -> npt.NDArray[np.object_]:
    """Of each group every phrase of its texts once, in alphabetical order; (groups,)."""
    phrases: dict[int, set[str]] = {}
    for place in np.flatnonzero(texts != ""):
        phrases.setdefault(int(code[place]), set()).update(texts[place].split("; "))
    found = np.full(groups, "", dtype=object)
    for group, one in phrases.items():
        found[group] = "; ".join(sorted(one))
    return found
