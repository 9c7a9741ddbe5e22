"""What a stress did: each die's value after less its value before, over the wafers of the stress.

Which errors cancel between two measurements of one wafer follows from `uncertainty_parts`: the
instrument's where one instrument of one station measured both, the calibration's where both stand
on one calibration, those of dummies on one die of the campaign. Temperature, dummies of the wafer,
curves that are not the law and what is declared as common do not: the wafer was placed anew, and to
take them as independent is on the safe side. Control wafers, measured twice without the stress, are
taken off where declared; an error that both share, as of one calibration after, cancels with it.

From five stressed wafers on (and as many control wafers, where there are any) the wafer is the unit
of the mean's interval; with fewer it holds for these wafers, and takes their dies as independent.
Each value's own errors are in the spread of the differences already; shared ones widen the
interval, as far as that spread does not show them. Sites of a die are averaged first.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from sitegen.compute.over_wafers.paired_dies import (
    COLUMNS,
    NOT_MEASURED,
    UNTOUCHED,
    PairedDies,
    in_order,
    pair_dies,
)
from sitegen.compute.over_wafers.shift_details import (
    Judging,
    die_table,
    outcomes,
    shift_patterns,
    size_dependence,
)
from sitegen.compute.over_wafers.shift_means import (
    NOTHING_PAIRED,
    MeanShift,
    Measured,
    median_shift,
    number,
    over_wafers,
    pooled_spread,
)
from sitegen.compute.rows import Rows, groups_of, rows_of, taken
from sitegen.compute.stats.multiple import holm
from sitegen.compute.stats.paired import sign_p
from sitegen.compute.uncertainty_parts import carried_by_mean
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.declared_statistics import Remeasured, Stress
from sitegen.model.remeasured import contradiction
from sitegen.model.shift_results import SHIFT_DIE_COLUMNS, Lost, PairShift, Resolved, Shift
from sitegen.model.wafer import WaferRecord


@dataclass(frozen=True, eq=False)
class Shifts:
    """Of all stresses."""

    found: tuple[Shift, ...]
    """Parameters and conditions in the campaign's order, stresses in theirs within each."""
    dies: pd.DataFrame
    """`SHIFT_DIE_COLUMNS`: one row a value with a number before."""


def shifts(
    results: pd.DataFrame, campaign: CampaignRecord, wafers: Sequence[WaferRecord]
) -> Shifts:
    """What each stress did to each parameter and condition that has values before or after it.

    results: `paired_dies.COLUMNS` of the results, of the wafers that stresses name at least.
    """
    counting = rows_of(results[results["counts"].eq(True)], COLUMNS)
    groups = dict(groups_of(counting, ("parameter", "condition", "wafer")))
    nothing = taken(counting, np.zeros(0, dtype=np.int64))
    touched = _touched(results)
    devices = {one.id: one for one in campaign.devices}
    instruments = {one.id: f"{one.station}/{one.dc_instrument}" for one in wafers}
    known = {one.id: one for one in wafers}
    found: list[Shift] = []
    tables: list[pd.DataFrame] = []
    for parameter in campaign.parameters:
        judging = Judging(parameter, campaign, devices, instruments)
        for condition in parameter.conditions:
            mine = {wafer: groups.get((parameter.id, condition, wafer), nothing) for wafer in known}
            for stress in campaign.stresses:
                every = _paired(stress, mine, known, nothing, _expected(parameter, mine, touched))
                if any(one.had or one.appeared for one in every):
                    shift, table = _shift(stress, condition, every, judging)
                    found.append(shift)
                    tables.append(table)
    return Shifts(_adjusted(found), _joined(tables))


def _touched(results: pd.DataFrame) -> Mapping[str, frozenset[tuple[int, int]]]:
    """By wafer: dies with any row that was measured."""
    measured = results.loc[results["outcome"] != NOT_MEASURED, ["wafer", "die_x", "die_y"]]
    return {
        str(wafer): frozenset(zip(rows["die_x"].tolist(), rows["die_y"].tolist(), strict=True))
        for wafer, rows in measured.drop_duplicates().groupby("wafer")
    }


def _expected(
    parameter: Parameter,
    rows: Mapping[str, Rows],
    touched: Mapping[str, frozenset[tuple[int, int]]],
) -> Mapping[str, frozenset[tuple[int, int]]]:
    """Of the wafers on which a parameter of every die was measured at all: the touched dies."""
    if parameter.coverage != "every die":
        return {}
    there = {wafer for wafer, mine in rows.items() if (mine["outcome"] != NOT_MEASURED).any()}
    return {wafer: dies for wafer, dies in touched.items() if wafer in there}


def _paired(
    stress: Stress,
    rows: Mapping[str, Rows],
    known: Mapping[str, WaferRecord],
    nothing: Rows,
    touched: Mapping[str, frozenset[tuple[int, int]]],
) -> list[PairedDies]:
    """Stressed wafers, then control wafers; those that cannot be compared without values."""
    made = []
    for control, pairs in ((False, stress.pairs), (True, stress.controls)):
        for pair in pairs:
            why = _against(pair, known)
            before, after = (nothing, nothing) if why else (rows[pair.before], rows[pair.after])
            dies = pair_dies(pair, control, before, after, touched.get(pair.after, UNTOUCHED))
            made.append(replace(dies, reason=why))
    return made


def _against(pair: Remeasured, known: Mapping[str, WaferRecord]) -> str:
    """Why a pair is not compared; empty where it is."""
    gone = [name for name in (pair.before, pair.after) if name not in known]
    if gone:
        return f"{' and '.join(gone)} {'is' if len(gone) == 1 else 'are'} not in the record"
    told = contradiction(known[pair.before], known[pair.after])
    return "" if told is None else f"found {told.found}, expected {told.expected}"


def _shift(
    stress: Stress, condition: str, every: Sequence[PairedDies], judging: Judging
) -> tuple[Shift, pd.DataFrame]:
    measured = [_measured(one, judging) if one.n else None for one in every]
    stressed = [one for one in measured if one is not None and not one.dies.control]
    controls = [one for one in measured if one is not None and one.dies.control]
    parameter, mean = judging.parameter, over_wafers(stressed, controls)
    k = (parameter.decision or judging.campaign.decision).coverage_factor
    table = die_table(stress, condition, every, mean, judging)
    of_stressed = table[~table["control"].astype(bool)]
    dies = [one.dies for one in stressed]
    dependence, dependence_p = size_dependence(dies, judging.campaign)
    mine = [one for one in every if not one.control]
    u_stated = of_stressed["u"].dropna()
    shift = Shift(
        stress=stress.id,
        parameter=parameter.id,
        condition=condition,
        pairs=tuple(_pair_shift(*both) for both in zip(every, measured, strict=True)),
        had=sum(one.had for one in mine),
        n=sum(one.n for one in mine),
        dies=sum(len(one.differences) for one in stressed),
        lost=_lost(mine),
        appeared=_appeared(mine),
        wafers=len(stressed),
        controls=len(controls),
        of_process=mean.of_process,
        mean=mean.estimate,
        median=median_shift(stressed, mean.control_mean or 0.0, mean.besides),
        standard_deviation=pooled_spread(stressed),
        control_mean=mean.control_mean,
        p_value=mean.p_value,
        adjusted_p=None,
        sign_p=None if controls else _sign_p(stressed),
        u=None if mean.carried is None else mean.carried.u,
        u_shared=None if mean.carried is None else mean.carried.u_common,
        expanded=None if mean.carried is None else k * mean.carried.u,
        resolved=_resolved(mean, k),
        u_die=float(u_stated.median()) if len(u_stated) else None,
        shift_max=parameter.shift_max,
        outcomes=outcomes(of_stressed) if parameter.shift_max is not None else {},
        dependence=dependence,
        dependence_p=dependence_p,
        patterns=shift_patterns(dies, parameter, condition, judging.campaign),
        reason=mean.reason,
    )
    return shift, table


def _measured(dies: PairedDies, judging: Judging) -> Measured:
    after, before = (
        carried_by_mean(rows, judging.parameter, judging.devices, judging.instruments)
        for rows in (dies.after, dies.before)
    )
    _, was, has = dies.by_die()
    carried = None if after is None or before is None else after.minus(before)
    return Measured(dies, carried, has - was)


def _pair_shift(dies: PairedDies, found: Measured | None) -> PairShift:
    """Of one wafer; found: None without a paired value."""
    measured = [] if found is None else [found]
    mean = over_wafers(measured, ())
    return PairShift(
        before=dies.pair.before,
        after=dies.pair.after,
        control=dies.control,
        had=dies.had,
        n=dies.n,
        dies=sum(len(one.differences) for one in measured),
        lost=dies.losses(),
        appeared=dies.appeared,
        mean=mean.estimate,
        median=median_shift(measured, 0.0, mean.besides),
        standard_deviation=pooled_spread(measured),
        p_value=mean.p_value,
        sign_p=_sign_p(measured),
        u=None if mean.carried is None else mean.carried.u,
        u_shared=None if mean.carried is None else mean.carried.u_common,
        reason=dies.reason or (mean.reason if measured else NOTHING_PAIRED),
    )


def _sign_p(several: Sequence[Measured]) -> float | None:
    return sign_p(np.concatenate([one.differences for one in several])) if several else None


def _resolved(mean: MeanShift, k: float) -> Resolved:
    if mean.estimate.value is None or mean.carried is None:
        return "not stated"
    return "resolved" if abs(mean.estimate.value) > k * mean.carried.u else "not resolved"


def _lost(every: Sequence[PairedDies]) -> tuple[Lost, ...]:
    counts = Counter((one.kind, one.reason) for dies in every for one in dies.lost)
    return in_order(Lost(kind, reason, n) for (kind, reason), n in counts.items())


def _appeared(every: Sequence[PairedDies]) -> tuple[tuple[str, int], ...]:
    counts: Counter[str] = Counter()
    for dies in every:
        counts.update(dict(dies.appeared))
    return tuple(sorted(counts.items()))


def _adjusted(found: Sequence[Shift]) -> tuple[Shift, ...]:
    """With p-values adjusted over all parameters and conditions of each stress."""
    made = list(found)
    for stress in dict.fromkeys(one.stress for one in found):
        places = [place for place, one in enumerate(found) if one.stress == stress]
        of_mean = holm([_or_nan(found[place].p_value) for place in places])
        of_size = holm([_or_nan(found[place].dependence_p) for place in places])
        for place, p_mean, p_size in zip(places, of_mean, of_size, strict=True):
            made[place] = replace(
                made[place], adjusted_p=number(p_mean), dependence_adjusted=number(p_size)
            )
    return tuple(made)


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value


def _joined(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    filled = [one for one in tables if len(one)]
    if filled:
        return pd.concat(filled, ignore_index=True)
    return pd.DataFrame({name: [] for name, _, _ in SHIFT_DIE_COLUMNS})
