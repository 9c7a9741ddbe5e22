"""What refers to each calibration: values and dies that stand on it, and those that do not."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime

import pandas as pd

from sitegen.compute.in_force import CalibrationFacts
from sitegen.model.device import Die
from sitegen.model.results import CalibrationUse


def calibration_uses(
    values: pd.DataFrame, known: Sequence[CalibrationFacts]
) -> Mapping[str, CalibrationUse]:
    """For each calibration the values that count and refer to it.

    values: columns wafer, die_x, die_y, counts, calibration, standing, standing_reasons of all
    wafers.
    """
    counting = values[values["counts"].astype(bool) & values["calibration"].notna()]
    return {
        one.result.record.id: _use(counting[counting["calibration"] == one.result.record.id], one)
        for one in known
    }


def _use(rows: pd.DataFrame, one: CalibrationFacts) -> CalibrationUse:
    lost = rows[rows["standing"] == "without standing"]
    standing = rows[rows["standing"] != "without standing"]
    reasons = Counter(reason for told in lost["standing_reasons"] for reason in told.split("; "))
    return CalibrationUse(
        values_standing=len(standing),
        values_not_closed=int((standing["standing"] == "not closed").sum()),
        values_lost=len(lost),
        lost_reasons=dict(sorted(reasons.items())),
        dies_standing=_dies(standing),
        dies_lost=_dies(lost),
        failed_by=one.failed,
        stands_until=_stands_until(one),
        lost_to_it=reasons["verification failed"],
    )


def _stands_until(one: CalibrationFacts) -> datetime | None:
    """The last verification that passed before the failed one; None where there is none."""
    nothing_stands = one.lost_after is None or one.lost_after < one.result.made_at
    return None if nothing_stands else one.lost_after


def _dies(rows: pd.DataFrame) -> Mapping[str, tuple[Die, ...]]:
    """By wafer the dies of these rows, in the order of their pages."""
    unique = rows[["wafer", "die_y", "die_x"]].drop_duplicates()
    found: dict[str, list[Die]] = {}
    for wafer, die_y, die_x in sorted(unique.itertuples(index=False, name=None)):
        found.setdefault(wafer, []).append((die_x, die_y))
    return {wafer: tuple(dies) for wafer, dies in found.items()}
