"""The shifts of single dies: judged, over the wafer, and against the starting value."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.conformity import decide
from sitegen.compute.over_wafers.paired_dies import PairedDies
from sitegen.compute.over_wafers.patterns import patterns
from sitegen.compute.over_wafers.samples import Sample
from sitegen.compute.over_wafers.shift_means import MeanShift, number
from sitegen.compute.stats import correlation
from sitegen.compute.stats.paired import sums_and_differences
from sitegen.compute.stats.resemblance import Grid, independent_deviations
from sitegen.compute.uncertainty_parts import u_of_differences
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.declared_statistics import Stress
from sitegen.model.device import Device
from sitegen.model.results import OUTCOMES
from sitegen.model.shift_results import SHIFT_DIE_COLUMNS
from sitegen.model.space_results import Patterns
from sitegen.model.statistics import Estimate

PAIRED = "paired"
"""State of a value that has a partner; else the reason why it has none."""
LEAST_FREEDOM = 3
"""Fewest deviations (dies less wafers) for an interval of a correlation."""


@dataclass(frozen=True)
class Judging:
    """What the dies of one parameter are judged with."""

    parameter: Parameter
    campaign: CampaignRecord
    devices: Mapping[str, Device]
    instruments: Mapping[str, str]


def die_table(
    stress: Stress, condition: str, every: Sequence[PairedDies], mean: MeanShift, judging: Judging
) -> pd.DataFrame:
    """`SHIFT_DIE_COLUMNS`: each value with a number before, its difference, shift and outcome.

    The shift of a stressed die is its difference less the control's mean, judged against the
    parameter's `shift_max` with the uncertainty of both; of control dies nothing is taken off and
    nothing judged.
    """
    rows = [_paired_rows(one, mean, judging) for one in every if one.n]
    rows += [_lost_rows(one) for one in every if one.lost]
    names = [name for name, _, _ in SHIFT_DIE_COLUMNS]
    if not rows:
        return pd.DataFrame({name: [] for name in names})
    table = pd.concat(rows, ignore_index=True).sort_values(
        ["control", "after", "die_y", "die_x", "site"], ignore_index=True
    )
    key = {"stress": stress.id, "parameter": judging.parameter.id, "condition": condition}
    return table.assign(**key)[names]


def _paired_rows(dies: PairedDies, mean: MeanShift, judging: Judging) -> pd.DataFrame:
    parameter, taken_off = judging.parameter, 0.0
    less = None
    if not dies.control and mean.control_mean is not None:
        taken_off, less = mean.control_mean, mean.control_carried
    u = u_of_differences(
        dies.after, dies.before, parameter, judging.devices, judging.instruments, less
    )
    if less is None and not dies.control and mean.control_mean is not None:
        u = np.full(u.shape, np.nan)  # that of what was taken off is not stated
    shift = dies.difference - taken_off
    outcome = np.full(dies.n, "", dtype=object)
    if parameter.shift_max is not None and not dies.control:
        most = parameter.shift_max
        decision = parameter.decision or judging.campaign.decision
        found = decide(shift, u, -most, most, decision).outcome
        outcome = np.array(OUTCOMES, dtype=object)[found]
    return pd.DataFrame(
        {
            **_key(dies),
            "die_x": dies.before["die_x"].astype(np.int64),
            "die_y": dies.before["die_y"].astype(np.int64),
            "site": dies.before["site"],
            "value_before": dies.before["value"],
            "value_after": dies.after["value"],
            "difference": dies.difference,
            "shift": shift,
            "u": u,
            "outcome": outcome,
            "state": PAIRED,
        }
    )


def _lost_rows(dies: PairedDies) -> pd.DataFrame:
    n = len(dies.lost)
    nothing = np.full(n, np.nan)
    return pd.DataFrame(
        {
            **_key(dies),
            "die_x": [one.die[0] for one in dies.lost],
            "die_y": [one.die[1] for one in dies.lost],
            "site": [one.die[2] for one in dies.lost],
            "value_before": [one.value for one in dies.lost],
            **dict.fromkeys(("value_after", "difference", "shift", "u"), nothing),
            "outcome": "",
            "state": [one.reason for one in dies.lost],
        }
    )


def _key(dies: PairedDies) -> dict[str, Any]:
    return {"before": dies.pair.before, "after": dies.pair.after, "control": dies.control}


def outcomes(judged: pd.DataFrame) -> dict[str, int]:
    """How many shifts of stressed dies came out how, in the order of `OUTCOMES`."""
    counts = judged["outcome"].value_counts()
    return {word: int(counts[word]) for word in OUTCOMES if word in counts}


def size_dependence(
    stressed: Sequence[PairedDies], campaign: CampaignRecord
) -> tuple[Estimate, float | None]:
    """Correlation of a die's shift with the mean of its two values within wafers, and its p-value.

    Interval by Fisher's z. Dies count by what they are worth where neighbours resemble each other
    in both, as `relations` counts them.
    """
    rows = [one.by_die() for one in stressed]
    wafer = np.repeat(np.arange(len(rows)), [len(one[0]) for one in rows])
    if not len(wafer):
        return Estimate(None, reason="no die has a number before and after"), None
    table = sums_and_differences(*(np.concatenate([one[side] for one in rows]) for side in (1, 2)))
    found = correlation.correlate_within(table, wafer)
    r, freedom = float(found.linear[0, 1]), float(found.freedom[0, 1])
    n, wafers = int(found.n[0, 1]), int(found.groups[0, 1])
    if np.isnan(r):
        why = "values or shifts do not vary" if n else "needs 2 dies on a wafer"
        return Estimate(None, reason=why), None
    layout = campaign.layout
    pitch = (1.0, 1.0) if layout is None else (layout.die_pitch_x_mm, layout.die_pitch_y_mm)
    places = [
        np.concatenate([one.before[name][row[0]] for one, row in zip(stressed, rows, strict=True)])
        for name in ("die_x", "die_y")
    ]
    grid = Grid(wafer, places[0].astype(np.int64), places[1].astype(np.int64), pitch)
    worth = independent_deviations(correlation.deviations_within(table, wafer), grid, found.linear)
    freedom = float(np.fmin(worth[0, 1], freedom))
    if n - wafers < LEAST_FREEDOM:
        needed = wafers + LEAST_FREEDOM
        return Estimate(r, reason=f"needs {needed} dies on these wafers, there are {n}"), None
    low, high = correlation.fisher_interval(r, freedom)
    p = number(float(correlation.p_of(r, freedom)))
    why = "" if not np.isnan(low) else "neighbours resemble each other too much for an interval"
    return Estimate(r, number(float(low)), number(float(high)), why), p


def shift_patterns(
    stressed: Sequence[PairedDies], parameter: Parameter, condition: str, campaign: CampaignRecord
) -> tuple[Patterns, ...]:
    """Where on each stressed wafer the shifts lie, by its record after."""
    if campaign.layout is None or not stressed:
        return ()
    return patterns(_sample(stressed, parameter, condition), campaign.layout)


def _sample(stressed: Sequence[PairedDies], parameter: Parameter, condition: str) -> Sample:
    """The differences as if they were a parameter's values, without limits."""
    n = sum(one.n for one in stressed)
    free = {"lower": None, "upper": None, "target": None, "distribution": "normal"}

    def joined(name: str) -> npt.NDArray[Any]:
        return np.concatenate([one.before[name] for one in stressed])

    unknown: FloatArray = np.full(n, np.nan)
    return Sample(
        parameter=parameter.model_copy(update=free),
        condition=condition,
        wafers=tuple(one.pair.after for one in stressed),
        wafer=np.repeat(np.arange(len(stressed)), [one.n for one in stressed]),
        die_x=joined("die_x").astype(np.int64),
        die_y=joined("die_y").astype(np.int64),
        x_mm=joined("x_mm"),
        y_mm=joined("y_mm"),
        site=joined("site"),
        value=np.concatenate([one.difference for one in stressed]),
        u=unknown,
        u_own=unknown,
        u_shared=unknown,
        outcome=np.full(n, "no limits", dtype=object),
        calibration=np.full(n, "", dtype=object),
        measured_at=np.full(n, np.datetime64("NaT", "us")),
        censored=np.array([one.censored for one in stressed], dtype=np.int64),
        without_standing=np.zeros(len(stressed), dtype=np.int64),
    )
