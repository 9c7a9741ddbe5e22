"""Tables of what stresses did, for data/: each wafer and all together."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pyarrow as pa

from sitegen.model.campaign import CampaignRecord
from sitegen.model.shift_results import PairShift, Shift
from sitegen.publish.record_tables import REAL, TEXT, WHOLE, YES, Columns, table_of
from sitegen.publish.statistics_figures import estimate_of

SHIFT_COLUMNS: Columns = (
    ("stress", TEXT, "stress between the two measurements"),
    ("parameter", TEXT, "parameter"),
    ("condition", TEXT, "declared set point of bias and temperature"),
    ("before", TEXT, "wafer record before; empty: all stressed wafers together"),
    ("after", TEXT, "wafer record after; empty: all stressed wafers together"),
    ("control", YES, "true: measured twice without the stress"),
    ("had", WHOLE, "numbers with standing before"),
    ("n", WHOLE, "of them those with a number with standing after"),
    ("lost", WHOLE, "of them those without"),
    ("lost_devices", WHOLE, "of those the ones whose device was measured again"),
    ("lost_reasons", TEXT, "why, each with its count"),
    ("appeared", TEXT, "numbers after without one before, by why there was none"),
    ("unit", TEXT, "unit of shifts and uncertainties"),
    ("value", REAL, "mean shift, after less before; of all together less that of control wafers"),
    ("lower", REAL, "lower end of its 95 % interval, shared errors of the measurement included"),
    ("upper", REAL, "upper end of it"),
    ("reason", TEXT, "why something is not stated, and what would be needed"),
    ("of_process", YES, "true: the wafer is the unit of the interval; false: of these wafers only"),
    ("median", REAL, "median shift of the dies"),
    ("median_lower", REAL, "lower end of its 95 % interval"),
    ("median_upper", REAL, "upper end of it"),
    ("standard_deviation", REAL, "of the dies' shifts about their wafer's mean"),
    ("control_mean", REAL, "mean shift of the control wafers, taken off; null: none"),
    ("p_value", REAL, "two-sided, of such a mean shift without any"),
    ("adjusted_p", REAL, "after Holm's correction over parameters and conditions of the stress"),
    ("sign_p", REAL, "of the sign test; null where control wafers are taken off"),
    ("u", REAL, "standard uncertainty of the mean shift by the measurement"),
    ("u_shared", REAL, "part of u that the dies share and that does not cancel"),
    ("resolved", TEXT, "resolved: the mean shift exceeds k u; not resolved; not stated"),
    ("u_die", REAL, "median standard uncertainty of one die's shift"),
    ("shift_max", REAL, "greatest shift that the parameter declares"),
    ("within", WHOLE, "dies whose shift is within it by the decision rule"),
    ("outside", WHOLE, "dies whose shift is beyond it by the decision rule"),
    ("undecided", WHOLE, "dies whose shift is in a guard band or not assessable"),
    ("dependence", REAL, "correlation of a die's shift with the mean of its two values"),
    ("dependence_lower", REAL, "lower end of its 95 % interval"),
    ("dependence_upper", REAL, "upper end of it"),
    ("dependence_adjusted_p", REAL, "adjusted like 'adjusted_p'"),
    ("patterns", TEXT, "what is claimed of the place of the shifts, by wafer record after"),
)


def content(shifts: Sequence[Shift], campaign: CampaignRecord) -> pa.Table:
    """All stressed wafers together, then each wafer, of each parameter, condition and stress."""
    units = {one.id: one.unit for one in campaign.parameters}
    return table_of(SHIFT_COLUMNS, _rows(shifts, units))


def _rows(shifts: Sequence[Shift], units: Mapping[str, str]) -> Iterator[Mapping[str, Any]]:
    for one in shifts:
        key = {
            "stress": one.stress,
            "parameter": one.parameter,
            "condition": one.condition,
            "unit": units[one.parameter],
        }
        decided = {"within": one.outcomes.get("within", 0), "outside": one.beyond}
        yield {
            **vars(one),
            **key,
            **_common(one),
            "before": "",
            "after": "",
            "control": False,
            "dependence": one.dependence.value,
            "dependence_lower": one.dependence.lower,
            "dependence_upper": one.dependence.upper,
            "dependence_adjusted_p": one.dependence_adjusted,
            "patterns": "; ".join(
                f"{pattern.wafer}: {test.text}"
                for pattern in one.patterns
                for test in pattern.tests
                if test.text
            ),
            **(
                {**decided, "undecided": sum(one.outcomes.values()) - sum(decided.values())}
                if one.shift_max is not None
                else {}
            ),
        }
        for pair in one.pairs:
            yield {**vars(pair), **key, **_common(pair), "of_process": False}


def _common(one: Shift | PairShift) -> dict[str, Any]:
    """What wafers and all together have alike."""
    return {
        "lost": sum(each.n for each in one.lost),
        "lost_devices": one.lost_devices,
        "lost_reasons": "; ".join(f"{each.reason}: {each.n}" for each in one.lost),
        "appeared": "; ".join(f"{why}: {n}" for why, n in one.appeared),
        **estimate_of(one.mean),
        "reason": one.reason or one.mean.reason,
        "median": one.median.value,
        "median_lower": one.median.lower,
        "median_upper": one.median.upper,
    }
