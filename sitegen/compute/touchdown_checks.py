"""Touchdowns judged by their contact checks, and what that does to the values taken with them.

A touchdown's row is about one device or, where it names none, about all devices of the die. A value
looks for what its own device's row states, then for what the row for all devices states; of the
contact resistance also for what stands beside the value itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from sitegen.compute.standing import without_standing
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import CampaignRecord, Touchdowns
from sitegen.model.device_results import TOUCHDOWN_RESULT_SCHEMA
from sitegen.model.trust import CONTACT_COLUMNS, CONTACT_UNITS, ContactCheck
from sitegen.units import quantity

Texts = npt.NDArray[np.object_]
PLACE = ["die_x", "die_y", "site", "touchdown"]
FAILED, ABSENT = "contact check failed", "contact check missing"


@dataclass(frozen=True, eq=False)
class _Judgement:
    """Outcomes of n rows."""

    failed: BoolArray
    missing: BoolArray
    told_failed: Texts
    """Which checks failed, with value and bound; '' where none did."""
    told_missing: Texts


def judge_touchdowns(table: pa.Table, campaign: CampaignRecord, wafer: str) -> pa.Table:
    """Each touchdown with the outcome of its checks: `TOUCHDOWN_RESULT_SCHEMA`, the same order.

    table: `TOUCHDOWN_SCHEMA`. Touchdowns on a pad are counted where the table does not state them.
    A row for all devices is held to every check, also to those of single devices.
    """
    rows = table.to_pandas()
    found = _judged(rows, _devices(rows["device"]), checks_of(campaign.touchdowns))
    outcome = np.where(found.failed, "failed", np.where(found.missing, "missing", "passed"))
    reasons = [
        "; ".join(part for part in parts if part)
        for parts in zip(found.told_failed, found.told_missing, strict=True)
    ]
    rows = rows.assign(
        wafer=wafer,
        outcome=outcome.astype(object),
        outcome_reason=reasons,
        pad_touchdowns=pad_touchdowns(rows),
    )
    return pa.Table.from_pandas(
        rows.reindex(columns=TOUCHDOWN_RESULT_SCHEMA.names),
        schema=TOUCHDOWN_RESULT_SCHEMA,
        preserve_index=False,
    ).replace_schema_metadata(None)


def with_touchdowns(
    values: pd.DataFrame, judged: pa.Table, campaign: CampaignRecord
) -> pd.DataFrame:
    """Values without standing where their touchdown failed a check, or lacks a mandatory one.

    values: value rows with their evidence columns; judged: `TOUCHDOWN_RESULT_SCHEMA` of the same
    wafer. `contact_resistance_max_ohm` is judged with the evidence where the value's own row states
    a contact resistance, and here where the table of touchdowns does.
    """
    checks = campaign.touchdowns.checks
    if values.empty or not (checks or judged.num_rows):
        return values
    measured = _measured(values, judged)
    devices = values["device"].to_numpy(dtype=object)
    own = _own_resistance(values)
    declared = measured.assign(
        contact_resistance_ohm=np.where(
            measured["contact_resistance_ohm"].isna(), own, measured["contact_resistance_ohm"]
        )
    )
    found = _judged(declared, devices, checks)
    limit = _judged(measured, devices, _limit(campaign.touchdowns))
    failed = found.failed | limit.failed
    both = [
        " and ".join(dict.fromkeys(part for part in parts if part))
        for parts in zip(found.told_failed[failed], limit.told_failed[failed], strict=True)
    ]
    values = without_standing(values, FAILED, failed, both)
    return without_standing(
        values, ABSENT, found.missing, [str(text) for text in found.told_missing[found.missing]]
    )


def contact_resistance_ohm(values: pd.DataFrame, judged: pa.Table) -> FloatArray:
    """Of each value's touchdown, (n,): from the touchdowns, else from the value's own row."""
    found = _measured(values, judged)["contact_resistance_ohm"].to_numpy(dtype=np.float64)
    return np.where(np.isnan(found), _own_resistance(values), found)


def checks_of(touchdowns: Touchdowns) -> tuple[ContactCheck, ...]:
    """The declared checks, with the greatest contact resistance as one of them."""
    return (*touchdowns.checks, *_limit(touchdowns))


def pad_touchdowns(rows: pd.DataFrame) -> npt.NDArray[np.int64]:
    """Touchdowns on the pads up to and with each row, (n,): as stated, else counted in time order.

    rows: columns of `TOUCHDOWN_SCHEMA`. A row for all devices counts for each of them, and has the
    count of the device that was touched most often.
    """
    ordered = rows.sort_values(["measured_at", "touchdown"], kind="stable")
    for_all = ordered["device"].isna()
    touched = pd.get_dummies(ordered["device"], dtype=np.int64).assign(**{"": 0})
    touched[for_all] = 1
    counts = touched.groupby([ordered[name] for name in ("die_x", "die_y", "site")]).cumsum()
    counted = counts.where(touched > 0).max(axis=1).reindex(rows.index)
    stated = rows["pad_touchdowns"].astype(np.float64)
    return np.asarray(stated.where(stated.notna(), counted), dtype=np.int64)


def _limit(touchdowns: Touchdowns) -> tuple[ContactCheck, ...]:
    bound = touchdowns.contact_resistance_max_ohm
    return () if bound is None else (ContactCheck(quantity="contact resistance", upper=bound),)


def _devices(column: "pd.Series[str]") -> Texts:
    """Device of each touchdown, None: all."""
    found = np.empty(len(column), dtype=object)
    found[:] = [
        None if missing else name for name, missing in zip(column, column.isna(), strict=True)
    ]
    return found


def _own_resistance(values: pd.DataFrame) -> FloatArray:
    if "contact_resistance_ohm" not in values:
        return np.full(len(values), np.nan)
    return values["contact_resistance_ohm"].to_numpy(dtype=np.float64)


def _measured(values: pd.DataFrame, judged: pa.Table) -> pd.DataFrame:
    """What each value's touchdown measured, by `CONTACT_COLUMNS`, one row a value in order."""
    columns = list(CONTACT_COLUMNS.values())
    rows = judged.select([*PLACE, "device", *columns]).to_pandas()
    keys = values[[*PLACE, "device"]].reset_index(drop=True)
    own = keys.merge(rows[rows["device"].notna()], how="left", on=[*PLACE, "device"])
    for_all = rows[rows["device"].isna()].drop(columns="device")
    general = keys.merge(for_all, how="left", on=PLACE)
    return own[columns].astype(np.float64).fillna(general[columns].astype(np.float64))


def _judged(rows: pd.DataFrame, devices: Texts, checks: Sequence[ContactCheck]) -> _Judgement:
    """Hold each row to the checks of its device; None is a row for all devices."""
    n = len(rows)
    failed, missing = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    told: dict[str, list[list[str]]] = {
        name: [[] for _ in range(n)] for name in ("failed", "missing")
    }
    for check in checks:
        mine = np.array(
            [not check.devices or one is None or one in check.devices for one in devices],
            dtype=bool,
        )
        value = rows[CONTACT_COLUMNS[check.quantity]].to_numpy(dtype=np.float64)
        low = -np.inf if check.lower is None else check.lower
        high = np.inf if check.upper is None else check.upper
        bad = mine & ((value < low) | (value > high))
        absent = mine & np.isnan(value) & check.mandatory
        for row in np.flatnonzero(bad):
            told["failed"][row].append(_phrase(check, float(value[row])))
        for row in np.flatnonzero(absent):
            told["missing"][row].append(f"no {check.quantity}")
        failed |= bad
        missing |= absent
    texts = {name: np.full(n, "", dtype=object) for name in told}
    for name, listed in told.items():
        texts[name][:] = [" and ".join(dict.fromkeys(phrases)) for phrases in listed]
    return _Judgement(failed, missing, texts["failed"], texts["missing"])


def _phrase(check: ContactCheck, value: float) -> str:
    """'contact resistance 3.2 Ω, at most 1 Ω'."""
    unit = CONTACT_UNITS[check.quantity]
    low, high = check.lower, check.upper
    bound = (
        f"at least {_told(low, unit)}"
        if low is not None and value < low
        else f"at most {_told(high, unit)}"
    )
    return f"{check.quantity} {_told(value, unit)}, {bound}"


def _told(value: float | None, unit: str) -> str:
    """A number with its unit; overtravel stays in micrometres."""
    if value is not None and unit == "µm":
        return f"{value:.4g} µm"
    return quantity(value, unit)
