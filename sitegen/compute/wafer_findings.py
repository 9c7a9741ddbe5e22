"""What the measurements of one wafer show by themselves: findings for its page."""

import pandas as pd
import pyarrow as pa

from sitegen import addresses
from sitegen.compute.sweeps import CorrectedGroup, WaferSetting, suspects
from sitegen.model.wafer import WaferRecord
from sitegen.problems import Finding
from sitegen.units import count


def findings_of(
    record: WaferRecord,
    results: pd.DataFrame,
    groups: tuple[CorrectedGroup, ...],
    setting: WaferSetting,
) -> tuple[Finding, ...]:
    """Sweeps like bare probes, absurd values, temperatures off, an unchecked substrate."""
    page = addresses.wafer(record.id)
    found = [
        *_suspicious_sweeps(record, groups, setting, page),
        *_absurd_values(record, results, page),
        *_wrong_temperatures(record, results, setting, page),
        *_unchecked_substrate(record, results, setting, page),
    ]
    return tuple(sorted(found))


def _suspicious_sweeps(
    record: WaferRecord,
    groups: tuple[CorrectedGroup, ...],
    setting: WaferSetting,
    page: str,
) -> list[Finding]:
    found = []
    for one in groups:
        suspicious = suspects(one, setting)
        for word, where in (
            ("an open", suspicious.like_open),
            ("a short", suspicious.like_short),
        ):
            if not where.any():
                continue
            keys = one.group.keys.filter(pa.array(where))
            first = f"die ({keys['die_x'][0].as_py()}, {keys['die_y'][0].as_py()})"
            found.append(
                Finding(
                    kind="suspicious sweep",
                    subject=f"wafer {record.id}",
                    text=f"On wafer {record.id}, {count(int(where.sum()), 'sweep')} of"
                    f" {one.group.device} look{'s' if where.sum() == 1 else ''} like {word},"
                    f" the first on {first}: check the contact.",
                    weight="attention",
                    address=page,
                )
            )
    return found


def _absurd_values(record: WaferRecord, results: pd.DataFrame, page: str) -> list[Finding]:
    absurd = results[results["absurd"].astype(bool) & (results["touchdown"] > 0)]
    return [
        Finding(
            kind="absurd value",
            subject=f"wafer {record.id}",
            text=f"On wafer {record.id}, {count(len(rows), 'value')} of {parameter}"
            f" {'lies' if len(rows) == 1 else 'lie'} outside the plausible range, the first on die"
            f" ({rows['die_x'].iloc[0]}, {rows['die_y'].iloc[0]}).",
            weight="attention",
            address=page,
        )
        for parameter, rows in absurd.groupby("parameter")
    ]


def _wrong_temperatures(
    record: WaferRecord, results: pd.DataFrame, setting: WaferSetting, page: str
) -> list[Finding]:
    found = []
    for condition in setting.campaign.conditions:
        if condition.temperature_tolerance_c is None:
            continue
        rows = results[(results["condition"] == condition.id) & (results["touchdown"] > 0)]
        distance = (rows["temperature_c"] - condition.temperature_c).abs()
        off = rows[distance > condition.temperature_tolerance_c]
        if len(off):
            found.append(
                Finding(
                    kind="temperature off its set point",
                    subject=f"wafer {record.id}",
                    text=f"On wafer {record.id}, {count(len(off), 'value')} under {condition.id}"
                    f" {'was' if len(off) == 1 else 'were'} taken more than"
                    f" {condition.temperature_tolerance_c:g} °C from the set point of"
                    f" {condition.temperature_c:g} °C.",
                    weight="attention",
                    address=page,
                )
            )
    return found


def _unchecked_substrate(
    record: WaferRecord, results: pd.DataFrame, setting: WaferSetting, page: str
) -> list[Finding]:
    """RF values whose change of the contact substrate's temperature could not be checked.

    A calibration whose validity does not bound that change asks for nothing.
    """
    bounded = [
        one.result.record
        for one in setting.calibrations
        if one.result.record.validity.substrate_change_c is not None
    ]
    values = results[results["calibration"].isin([one.id for one in bounded])]
    without = [one.id for one in bounded if one.substrate_c is None]
    by_calibration = values["calibration"].isin(without)
    told = [
        f"For {count(number, 'RF value')} on wafer {record.id} the contact substrate's temperature"
        f" is not stated{where}, so its change since the calibration was not checked."
        for number, where in (
            (int((~by_calibration & values["substrate_c"].isna()).sum()), ""),
            (int(by_calibration.sum()), " by the calibration"),
        )
        if number
    ]
    return [
        Finding(
            kind="substrate temperature not stated",
            subject=f"wafer {record.id}",
            text=text,
            weight="attention",
            address=page,
        )
        for text in told
    ]
