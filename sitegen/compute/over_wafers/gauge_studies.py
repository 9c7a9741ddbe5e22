"""Repeatability and reproducibility studies that the campaign declares."""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sitegen.compute.standing import touchdowns_that_stand
from sitegen.compute.stats.gauge import (
    APPRAISER,
    INTERACTION,
    PART,
    REPEAT,
    Gauge,
    Gauged,
    gauge,
)
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.declared_statistics import Study
from sitegen.model.statistics import CONFIDENCE, Estimate
from sitegen.model.variation_results import Component, GaugeStudy
from sitegen.model.wafer import WaferRecord

CATEGORY_FACTOR = 1.41
"""Of the number of categories that a gauge can tell apart (AIAG's manual, quoted from memory)."""
TOLERANCE_SPREAD = 6.0
"""Standard deviations that are set against the width between two limits (likewise)."""
EQUAL = "all readings of each die are equal"
ONE = {"operators": "operator", "stations": "station"}


def gauge_studies(
    results: pd.DataFrame, campaign: CampaignRecord, wafers: Sequence[WaferRecord]
) -> tuple[GaugeStudy, ...]:
    """Each declared study of each parameter and condition that it holds a value of.

    results: of `RESULT_COLUMNS`, of all wafer records. Parts are dies, or sites of dies; repeats
    are single touchdowns with a number and standing, over all records of one appraiser. Studies,
    then parameters and conditions in the campaign's order.
    """
    found: list[GaugeStudy] = []
    valid = touchdowns_that_stand(results)
    for study in campaign.studies:
        who = {
            one.id: one.by if study.between == "operators" else one.station
            for one in wafers
            if one.id in study.wafers
        }
        order = {wafer: place for place, wafer in enumerate(study.wafers)}
        rows = valid[valid["wafer"].isin(list(who))]
        rows = rows.assign(_who=rows["wafer"].map(who), _order=rows["wafer"].map(order))
        rows = rows.sort_values(["die_y", "die_x", "site", "_order", "touchdown"])
        groups = {
            (str(name), str(condition)): group
            for (name, condition), group in rows.groupby(["parameter", "condition"], sort=False)
        }
        found += [
            _study(
                study,
                parameter,
                condition,
                groups[parameter.id, condition],
                _missing(study, parameter, condition, who, groups[parameter.id, condition]),
            )
            for parameter in campaign.parameters
            for condition in parameter.conditions
            if (parameter.id, condition) in groups
        ]
    return tuple(found)


def _missing(
    study: Study,
    parameter: Parameter,
    condition: str,
    there: Collection[str],
    rows: pd.DataFrame,
) -> list[str]:
    """Records that the study declares and that give it nothing, by name."""
    measured = set(rows["wafer"])
    under = f" under {condition}" if len(parameter.conditions) > 1 else ""
    return [
        f"{wafer} has no value of {parameter.id}{under}"
        if wafer in there
        else f"there is no record of {wafer}"
        for wafer in study.wafers
        if wafer not in measured
    ]


@dataclass(frozen=True, eq=False)
class _Balanced:
    """Values of the parts that all appraisers measured alike."""

    values: FloatArray
    """(part, appraiser, repeat); without a part where there is nothing to study."""
    parts_left_out: int
    values_left_out: int


def _balanced(rows: pd.DataFrame) -> _Balanced:
    """The most values that make a balanced study: the first r touchdowns of the parts that every
    appraiser touched r times, with r of at least two where two parts allow it."""
    part = rows.groupby(["die_y", "die_x", "site"], sort=False).ngroup().to_numpy()
    appraiser = pd.factorize(rows["_who"])[0]
    n_part, n_appraiser = int(part.max()) + 1, int(appraiser.max()) + 1
    cell = part * n_appraiser + appraiser
    count = np.bincount(cell, minlength=n_part * n_appraiser).reshape(n_part, n_appraiser)
    fewest = count.min(axis=1)
    choices = [
        (min(r, 2), parts * r, parts, r)
        for r in range(1, int(fewest.max()) + 1)
        if (parts := int((fewest >= r).sum())) >= 2
    ]
    if not choices or n_appraiser < 2:
        return _Balanced(np.zeros((0, n_appraiser, 0)), n_part, len(rows))
    repeats = max(choices)[3]
    order = np.argsort(cell, kind="stable")
    start = np.concatenate([[0], np.cumsum(count.ravel())[:-1]]).reshape(n_part, n_appraiser)
    taken = start[fewest >= repeats][:, :, None] + np.arange(repeats)
    values = rows["value"].to_numpy(dtype=np.float64)[order][taken]
    used = int((fewest >= repeats).sum())
    inside = int(count[fewest >= repeats].sum())
    return _Balanced(values, n_part - used, inside - values.size)


def _study(
    study: Study, parameter: Parameter, condition: str, rows: pd.DataFrame, missing: list[str]
) -> GaugeStudy:
    """One study of one parameter and condition, from its single touchdowns.

    missing: what is said of records that have none.
    """
    balanced = _balanced(rows)
    parts, appraisers, repeats = balanced.values.shape
    if not parts:
        needed = (
            f"needs 2 {study.between}, there is {appraisers}"
            if appraisers < 2
            else f"needs 2 dies that every {ONE[study.between]} measured"
        )
        reason = "; ".join([*missing, needed])
        return _not_stated(study, parameter, condition, appraisers, reason)
    found = gauge(balanced.values, CONFIDENCE)
    combined, part = math.sqrt(found.combined.variance), found.components[PART].variance
    total = math.sqrt(found.combined.variance + part)
    width = (
        None
        if parameter.lower is None or parameter.upper is None
        else parameter.upper - parameter.lower
    )
    return GaugeStudy(
        study=study.id,
        between=study.between,
        parameter=parameter.id,
        condition=condition,
        parts=parts,
        appraisers=appraisers,
        repeats=repeats,
        components=_components(found, ONE[study.between]),
        interaction_pooled=found.pooled and repeats > 1,
        repeatability=_estimate(found.components[REPEAT]),
        reproducibility=_estimate(found.reproducibility),
        combined=_estimate(found.combined),
        part_to_part=_estimate(found.components[PART]),
        total=total,
        share_of_total=combined / total if total > 0 else None,
        share_of_tolerance=None if width is None else TOLERANCE_SPREAD * combined / width,
        distinct_categories=(
            int(CATEGORY_FACTOR * math.sqrt(part) / combined) if combined > 0 else None
        ),
        reason="; ".join([*missing, *_limits_of(study, balanced, combined)]),
    )


def _limits_of(study: Study, balanced: _Balanced, combined: float) -> list[str]:
    """What the study cannot tell, and what it left out; combined: a standard deviation."""
    _, appraisers, repeats = balanced.values.shape
    one = ONE[study.between]
    told: list[str] = []
    if not combined:
        told.append(EQUAL)
    if appraisers == 2:
        told.append(f"2 {study.between} leave reproducibility one degree of freedom")
    if repeats == 1:
        told.append(
            "no two touchdowns of each die: what differs from die to die between"
            f" {study.between} stands in repeatability"
        )
    if balanced.parts_left_out:
        times = "once" if repeats == 1 else f"{repeats} times"
        told.append(
            f"dies left out, not measured {times} by every {one}: {balanced.parts_left_out}"
        )
    if balanced.values_left_out:
        told.append(f"further touchdowns left out: {balanced.values_left_out}")
    return told


def _components(found: Gauge, appraiser: str) -> tuple[Component, ...]:
    """Sources of the study, parts first, repeats last."""
    total = sum(one.variance for one in found.components.values())
    groups = {
        PART: found.parts,
        APPRAISER: found.appraisers,
        INTERACTION: found.parts * found.appraisers,
        REPEAT: found.parts * found.appraisers * found.repeats,
    }
    levels = {PART: "die", APPRAISER: appraiser, INTERACTION: INTERACTION, REPEAT: REPEAT}
    pooled = Estimate(None, reason="not significant, counted as repeatability")
    listed: list[Component] = []
    for name, level in levels.items():
        row = found.rows.get(name)
        component = found.components.get(name)
        if name == REPEAT and row is None:
            row = found.rows[INTERACTION]
        if row is None or (name == INTERACTION and found.repeats == 1):
            continue
        share = None
        if component is not None and total > 0:
            share = component.variance / total
        listed.append(
            Component(
                level=level,
                groups=groups[name],
                degrees_of_freedom=row.degrees_of_freedom,
                mean_square=row.mean_square,
                f_ratio=row.f,
                p_value=row.p_value,
                standard_deviation=pooled if component is None else _estimate(component),
                share=share,
            )
        )
    return tuple(listed)


def _estimate(found: Gauged) -> Estimate:
    """As a standard deviation; of nothing but equal readings there is no interval."""
    if not found.upper:
        return Estimate(0.0, reason="the readings do not differ")
    return Estimate(math.sqrt(found.variance), math.sqrt(found.lower), math.sqrt(found.upper))


def _not_stated(
    study: Study, parameter: Parameter, condition: str, appraisers: int, reason: str
) -> GaugeStudy:
    nothing = Estimate(None, reason=reason)
    return GaugeStudy(
        study=study.id,
        between=study.between,
        parameter=parameter.id,
        condition=condition,
        parts=0,
        appraisers=appraisers,
        repeats=0,
        components=(),
        interaction_pooled=False,
        repeatability=nothing,
        reproducibility=nothing,
        combined=nothing,
        part_to_part=nothing,
        total=None,
        share_of_total=None,
        share_of_tolerance=None,
        distinct_categories=None,
        reason=reason,
    )
