"""Means of wafers and differences of wafers, with what each carries of its values' uncertainty.

A mean keeps the parts that its values share; a difference of two wafers cancels them where both
share them: the calibration's for the share of values on the same calibration. What is shared by
whom is decided in `uncertainty_parts`. Both are of the dies as measured: how far the wafers' means
vary from lot to lot is another question.

The part of an error that cancels is the difference of the two means' parts. It rests on taking an
error's effect on each value as proportional to that value's u: exact for values alike, as the dies
of one layout are.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from sitegen.compute.population import NEEDED
from sitegen.compute.rows import Rows, count_of, groups_of, rows_of, taken
from sitegen.compute.standing import that_stand
from sitegen.compute.uncertainty_parts import Carried, carried_by_mean
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.device import Device
from sitegen.model.wafer import WaferRecord
from sitegen.model.wafer_means import WaferDifference, WaferMean


@dataclass(frozen=True)
class Compared:
    """Means of every wafer and differences of every pair, by parameter and condition."""

    means: tuple[WaferMean, ...]
    differences: tuple[WaferDifference, ...]


@dataclass(frozen=True)
class _Found:
    """A mean with what it carries."""

    told: WaferMean
    carried: Carried | None


def compare_wafers(
    results: pd.DataFrame, campaign: CampaignRecord, wafers: Sequence[WaferRecord]
) -> Compared:
    """Means and differences, parameters in the campaign's order and wafers in the order given.

    results: `population.NEEDED` of `RESULT_COLUMNS`, of all wafers. Only values that count and
    stand are used. Where one of them is below the floor or was not reached, the mean is not stated
    here: its uncertainty would not be that of a mean of numbers.
    """
    valid = rows_of(that_stand(results), NEEDED)
    groups = dict(groups_of(valid, ("parameter", "condition", "wafer")))
    nothing = taken(valid, np.zeros(0, dtype=np.int64))
    devices = {one.id: one for one in campaign.devices}
    instruments = {one.id: f"{one.station}/{one.dc_instrument}" for one in wafers}
    k = campaign.decision.coverage_factor
    means: list[WaferMean] = []
    differences: list[WaferDifference] = []
    for parameter in campaign.parameters:
        for condition in parameter.conditions:
            found = [
                _mean(
                    groups.get((parameter.id, condition, one.id), nothing),
                    (parameter, condition, one.id),
                    devices,
                    instruments,
                    k,
                )
                for one in wafers
            ]
            means += [one.told for one in found]
            differences += [_difference(*pair, k) for pair in combinations(found, 2)]
    return Compared(tuple(means), tuple(differences))


def _mean(
    rows: Rows,
    of: tuple[Parameter, str, str],
    devices: Mapping[str, Device],
    instruments: Mapping[str, str],
    k: float,
) -> _Found:
    parameter, condition, wafer = of
    n = count_of(rows)
    censored = int((rows["below_floor"] | rows["not_reached"]).sum())
    stated = n > 0 and not censored
    carried = carried_by_mean(rows, parameter, devices, instruments) if stated else None
    reason = ""
    if censored:
        reason = f"{censored} of {n} values are below the floor or were not reached"
    elif not n:
        reason = "no value stands"
    elif carried is None:
        reason = "not every value has a stated uncertainty"
    named = Counter(one for one in rows["calibration"].tolist() if one is not None)
    told = WaferMean(
        parameter=parameter.id,
        condition=condition,
        wafer=wafer,
        n=n,
        mean=float(rows["value"].mean()) if stated else None,
        u=None if carried is None else carried.u,
        u_common=None if carried is None else carried.u_common,
        u_own=None if carried is None else carried.u_own,
        expanded_uncertainty=None if carried is None else k * carried.u,
        calibrations=tuple(sorted((str(name), int(n)) for name, n in named.items())),
        reason=reason,
    )
    return _Found(told, carried)


def _difference(first: _Found, second: _Found, k: float) -> WaferDifference:
    one, other = first.told, second.told
    difference = None if one.mean is None or other.mean is None else one.mean - other.mean
    carried = None
    if first.carried is not None and second.carried is not None:
        carried = first.carried.minus(second.carried)
    return WaferDifference(
        parameter=one.parameter,
        condition=one.condition,
        first=one.wafer,
        second=other.wafer,
        n_first=one.n,
        n_second=other.n,
        difference=difference,
        u=None if carried is None else carried.u,
        u_common=None if carried is None else carried.u_common,
        u_own=None if carried is None else carried.u_own,
        expanded_uncertainty=None if carried is None else k * carried.u,
        same_calibration=None if difference is None else _same_share(one, other),
        reason="; ".join(f"{mean.wafer}: {mean.reason}" for mean in (one, other) if mean.reason),
    )


def _same_share(one: WaferMean, other: WaferMean) -> float | None:
    """Share of the values that stand on a calibration of both; None where none is named."""
    if not one.calibrations and not other.calibrations:
        return None
    mine, theirs = dict(one.calibrations), dict(other.calibrations)
    both = mine.keys() & theirs.keys()
    return float(np.sum([min(mine[name] / one.n, theirs[name] / other.n) for name in both]))
