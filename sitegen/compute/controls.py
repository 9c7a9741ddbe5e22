"""Control dies over time: readings, limits, reproducibility, drift, and what their failure takes.

A control die is measured again at the start, at intervals and at the end. It says that the whole
chain, from the probes to the figure, still gives what it gave.
"""

from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
import pandas as pd
from scipy.special import stdtr

from sitegen import addresses
from sitegen.compute.clocks import clock_margin, instant, reference_times
from sitegen.compute.standing import without_standing
from sitegen.compute.stats.control import D2, control_limits
from sitegen.compute.stats.trend import LEAST_POINTS, Line, line_through
from sitegen.compute.sweeps import WaferSetting
from sitegen.model.arrays import BoolArray
from sitegen.model.campaign import CampaignRecord, Instrument, Station
from sitegen.model.device_results import ControlReading, ControlResult
from sitegen.model.trust import Control
from sitegen.problems import Finding
from sitegen.units import count, quantity

DRIFT_LEVEL = 1e-3
"""Chance that a campaign without drift has any control die that is said to drift; it is shared
among the campaign's control dies (Bonferroni). Fixed before any study of planted faults."""
LEAST_FOR_LIMITS = 5
LEAST_FOR_SPREAD = 3
BEFORE_ALL = datetime.min.replace(tzinfo=UTC)
"""`lost_after` where no reading was good before the failure."""
FAILED = "control die failed"


def control_result(
    record: Control,
    rows: pd.DataFrame,
    campaign: CampaignRecord,
    station: Station,
    instrument: Instrument | None,
) -> ControlResult:
    """What the measurements of a control die say.

    rows: value rows of the control's wafer with `ev_reasons`, touchdowns not yet chosen or
    averaged; others than the control's are left out here. A reading without standing, below its
    floor or without a value does not judge. instrument: the one whose clock stamped the rows.
    """
    mine = _readings(record, rows)
    at = reference_times(mine["measured_at"].to_numpy("datetime64[us]"), instrument)
    order = np.lexsort((mine["touchdown"].to_numpy(), at))
    mine, at = mine.iloc[order], at[order]
    value = mine["value"].to_numpy(dtype=np.float64)
    reference = record.reference
    if reference is None and len(value):
        reference = float(value[0])
    bad = np.zeros(0, dtype=bool) if reference is None else abs(value - reference) > record.bound
    moments = [moment.replace(tzinfo=UTC) for moment in at.astype("datetime64[us]").tolist()]
    limits = control_limits(value) if len(value) >= LEAST_FOR_LIMITS else None
    line = line_through((at - at[:1]) / np.timedelta64(1, "h"), value) if len(value) > 2 else None
    drift_p = None if line is None else _drift_p(line, at, mine)
    level = DRIFT_LEVEL / max(len(campaign.controls), 1)
    failed_at, lost_after = _lost(moments, bad)
    return ControlResult(
        record=record,
        station=station.id,
        unit=next(one.unit for one in campaign.parameters if one.id == record.parameter),
        reference=reference,
        readings=_as_readings(mine, moments, reference or 0.0, bad),
        lower=None if limits is None else limits.lower,
        upper=None if limits is None else limits.upper,
        reproducibility=float(np.mean(np.abs(np.diff(value))) / D2)
        if len(value) >= LEAST_FOR_SPREAD
        else None,
        drift_per_hour=None if line is None else line.slope,
        drift_p=drift_p,
        drifting=drift_p is not None and len(value) >= LEAST_POINTS and drift_p < level,
        lost_after=lost_after,
        failed_at=failed_at,
        instrument="" if instrument is None else instrument.id,
    )


def with_controls(
    values: pd.DataFrame, controls: Sequence[ControlResult], setting: WaferSetting
) -> pd.DataFrame:
    """Values without standing that were taken after the last good reading before a failure.

    values: value rows with their evidence columns; controls: of the whole campaign, those of other
    stations are left out here. As with a failed verification, later good readings restore nothing,
    and a value that two clocks cannot tell from the good reading counts as taken after it.
    """
    failures = [
        one for one in controls if one.lost_after is not None and one.station == setting.station.id
    ]
    if values.empty or not failures:
        return values
    kinds = {one.id: one.kind for one in setting.campaign.parameters}
    is_rf = (values["parameter"].map(kinds) == "rf").to_numpy()
    stamped = values["measured_at"].to_numpy("datetime64[us]")
    clocks = {one.id: one for one in setting.station.instruments}
    for control in failures:
        lost = np.zeros(len(values), dtype=bool)
        for rows, instrument in ((is_rf, setting.rf_instrument), (~is_rf, setting.dc_instrument)):
            margin = clock_margin(instrument, clocks.get(control.instrument))
            lost |= rows & _after(reference_times(stamped, instrument), control, margin)
        values = without_standing(values, FAILED, lost, [_failure(control)] * int(lost.sum()))
    return values


def control_findings(controls: Sequence[ControlResult]) -> tuple[Finding, ...]:
    """Control dies that were out of their bound, that drift, or that were not measured."""
    found = []
    for one in controls:
        record, (x, y) = one.record, one.record.die
        where = f"Control die {record.id}, ({x}, {y}) of wafer {record.wafer},"
        found += [
            Finding(
                kind,
                f"control {record.id}",
                f"{where} {text}.",
                "decision" if kind == FAILED else "attention",
                addresses.station(one.station),
            )
            for kind, text in _found_of(one)
        ]
    return tuple(sorted(found))


def _found_of(one: ControlResult) -> list[tuple[str, str]]:
    """Kinds of findings of one control die, each with what it does."""
    n, parameter = len(one.readings), one.record.parameter
    outside = [reading for reading in one.readings if reading.outcome == "out of bound"]
    told = []
    if not n:
        told.append(("control die not measured", "has no reading that can judge the station"))
    if outside:
        worst = max((reading.difference for reading in outside), key=abs)
        told.append(
            (
                FAILED,
                f"was out of its bound in {len(outside)} of {count(n, 'reading')}: {parameter}"
                f" differs from its reference by up to {quantity(worst, one.unit)}, accepted is"
                f" {quantity(one.record.bound, one.unit)}. Values of station {one.station}"
                f" {_since(one)} have lost their standing",
            )
        )
    if one.drifting:
        told.append(
            (
                "control die drifts",
                f"drifts: {parameter} changes by {quantity(one.drift_per_hour, one.unit)} an hour"
                f" over {count(n, 'reading')} (p = {one.drift_p:.1g})",
            )
        )
    return told


def _readings(record: Control, rows: pd.DataFrame) -> pd.DataFrame:
    """The control's rows that can judge, at one site."""
    mine = rows[
        (rows["die_x"] == record.die[0])
        & (rows["die_y"] == record.die[1])
        & (rows["parameter"] == record.parameter)
        & (rows["condition"] == record.condition)
        & (rows["touchdown"] > 0)
    ]
    site = record.site if record.site is not None else mine["site"].min() if len(mine) else ""
    doubtful = mine["value"].isna() | (mine["ev_reasons"] != 0) | (mine["site"] != site)
    for name in ("below_floor", "not_reached"):
        if name in mine:
            doubtful |= mine[name].eq(True)
    return mine[~doubtful]


def _as_readings(
    rows: pd.DataFrame, moments: Sequence[datetime], reference: float, bad: BoolArray
) -> tuple[ControlReading, ...]:
    u = rows["u"] if "u" in rows else pd.Series(np.nan, rows.index)
    return tuple(
        ControlReading(
            at=at,
            touchdown=int(touchdown),
            value=float(value),
            u=None if np.isnan(u_value) else float(u_value),
            difference=float(value - reference),
            outcome="out of bound" if outside else "good",
        )
        for at, touchdown, value, u_value, outside in zip(
            moments, rows["touchdown"], rows["value"], u, bad, strict=True
        )
    )


def _drift_p(line: Line, at: np.ndarray, rows: pd.DataFrame) -> float:
    """Probability of a slope at least so large without drift.

    The common error of each calibration (`u_common`) makes readings under it move together, which
    a line through them does not see: it is added to the slope's standard error, calibrations taken
    as independent. Slope = sum of w_i y_i, so one calibration's error e adds e times its sum of w.
    """
    hours = (at - at[0]) / np.timedelta64(1, "h")
    weights = (hours - line.mean_x) / line.sum_of_squares_x
    variance = line.slope_u**2
    if {"u_common", "ev_calibration"} <= set(rows.columns):
        common = np.nan_to_num(rows["u_common"].to_numpy(dtype=np.float64))
        names = rows["ev_calibration"].fillna("").to_numpy(dtype=object)
        variance += sum(
            float(np.sum((weights * common)[names == name])) ** 2
            for name in sorted(set(names) - {""})
        )
    if variance == 0.0:
        return line.p_value
    return 2.0 * float(stdtr(line.n - 2, -abs(line.slope) / np.sqrt(variance)))


def _lost(moments: Sequence[datetime], bad: BoolArray) -> tuple[datetime | None, datetime | None]:
    """When the control failed first, and the last good reading before it."""
    if not bad.any():
        return None, None
    first = int(np.argmax(bad))
    return moments[first], moments[first - 1] if first else BEFORE_ALL


def _after(at: np.ndarray, control: ControlResult, margin: np.timedelta64) -> BoolArray:
    assert control.lost_after is not None
    if control.lost_after == BEFORE_ALL:
        return np.ones(len(at), dtype=bool)
    return np.asarray(at > instant(control.lost_after) - margin)


def _failure(control: ControlResult) -> str:
    assert control.failed_at is not None
    return f"{control.record.id} out of bound at {_time(control.failed_at)}"


def _since(control: ControlResult) -> str:
    """'after its last good reading at ...', or of all where there was none."""
    if control.lost_after is None or control.lost_after == BEFORE_ALL:
        return "from the start"
    return f"after its last good reading at {_time(control.lost_after)}"


def _time(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} UTC"
