"""Whether values allow intervals of variances, which take normal values and one spread for granted.

A kurtosis other than the normal law's makes such intervals too short or too long at every number of
values: of a log-normal law of sigma 0.6 that of s holds 65 % with 89 values, in place of 95 %.
"""

import numpy as np
import pandas as pd

from sitegen.compute.over_wafers.laws import in_law, normality_over, refusal
from sitegen.compute.over_wafers.samples import IntArray, Sample
from sitegen.compute.stats.equal_spreads import equal_spreads
from sitegen.compute.stats.normality import LEAST_VALUES
from sitegen.model.arrays import FloatArray
from sitegen.units import THIN, number, shown_unit

LEVEL_OF_SPREADS = 0.01
"""Wafers' spreads are told to differ below this p-value; our own choice, stricter than the law's,
since intervals bear small differences of the spread better than a wrong law."""


def no_interval(sample: Sample) -> str:
    """Why no interval of a variance is stated of these values; '' where nothing speaks against it.

    The parameter is declared log-normal, the test refuses the normal law at 5 % (`laws`), or the
    wafers' spreads differ at 1 % (Brown and Forsythe; of wafers with 8 dies). Both tests are of
    dies, sites averaged: sites of a die are alike, and tests that took them as independent would
    refuse too often. Of normal dies 5 to 6 % are refused, simulated on 1 to 6 wafers.
    """
    if sample.parameter.distribution != "normal":
        return (
            "intervals take values as normal; the parameter is declared"
            f" {sample.parameter.distribution}"
        )
    if not sample.n or not np.ptp(sample.value):
        return ""
    dies, wafer = _dies(sample)
    scaled, why = in_law(dies, sample.parameter)
    if scaled is None:
        return why
    if not np.ptp(scaled):
        return ""
    refused = refusal(normality_over(scaled, wafer), sample.parameter)
    return refused or _spreads_differ(scaled, wafer, sample.parameter.unit)


def _spreads_differ(dies: FloatArray, wafer: IntArray, unit: str) -> str:
    """'the wafers' spreads differ (1.2 mV to 3.4 mV)', or ''; dies and wafer (n_die,)."""
    enough = np.flatnonzero(np.bincount(wafer) >= LEAST_VALUES)
    wafers = [dies[wafer == place] for place in enough]
    tested = equal_spreads(wafers)
    if tested is None or tested[1] >= LEVEL_OF_SPREADS:
        return ""
    found = [float(np.std(one - one[0], ddof=1)) for one in wafers]
    ends = [float(f"{end:.2g}") for end in (min(found), max(found))]
    factor, symbol = shown_unit(ends, unit)
    least, most = (f"{number(end * factor, 2)}{THIN if symbol else ''}{symbol}" for end in ends)
    return f"the wafers' spreads differ ({least} to {most})"


def _dies(sample: Sample) -> tuple[FloatArray, IntArray]:
    """Means of the dies (n_die,) and their wafers (n_die,)."""
    frame = pd.DataFrame(
        {"wafer": sample.wafer, "y": sample.die_y, "x": sample.die_x, "value": sample.value}
    )
    found = frame.groupby(["wafer", "y", "x"], as_index=False)["value"].mean()
    return found["value"].to_numpy(dtype=np.float64), found["wafer"].to_numpy(dtype=np.int64)
