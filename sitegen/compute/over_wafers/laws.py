"""The law that a parameter's values are taken to follow, and whether they do."""

import numpy as np

from sitegen.compute.over_wafers.samples import IntArray
from sitegen.compute.stats.clusters import clusters, within_wafers
from sitegen.compute.stats.normality import (
    LEAST_VALUES,
    LEVEL,
    NAME,
    SMALL,
    anderson_darling,
    departure,
    standardised,
    together,
)
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.distribution_results import Normality, Side

NO_SPREAD = "no spread: all values are equal"
TOGETHER = f"{NAME} on each wafer, together by Fisher's method"
TOGETHER_WITH_MEANS = f"{NAME} on each wafer and on the wafers' means, together by Fisher's method"
SMALLEST = 1e-100
"""Size of the numbers, and its inverse, within which squares and their ratios can be held."""
LEAST_TOLD = 0.001
"""A p-value below it is told as below it."""
LEAST_MEANS = LEAST_VALUES
GREATEST_RATIO = 2.0
"""Wafers' means are tested together where no wafer has more than this times another's dies: means
of few dies beside means of many follow no common normal law."""


def side_of(parameter: Parameter) -> Side:
    """Which specification limits there are."""
    if parameter.lower is None:
        return "none" if parameter.upper is None else "upper"
    return "lower" if parameter.upper is None else "both"


def in_law(values: FloatArray, parameter: Parameter) -> tuple[FloatArray | None, str]:
    """Values (n,) in the scale in which the declared law is normal, or why there are none."""
    size = float(np.max(np.abs(values), initial=0.0))
    if size and not SMALLEST < size < 1 / SMALLEST:
        return None, "undefined: the numbers are too small or too large to be squared"
    if parameter.distribution == "normal":
        return values, ""
    refused = int(np.count_nonzero(values <= 0))
    if refused:
        be = "is" if refused == 1 else "are"
        return None, f"a log-normal law has positive values only, and {refused} {be} not"
    return np.asarray(np.log(values), dtype=np.float64), ""


def needs(least: int, there: int, of: str = "values") -> str:
    """'needs 8 values, there are 3'."""
    return f"needs {least} {of}, there {'is' if there == 1 else 'are'} {there}"


SITES_ALIKE = "the sites of a die are alike: an interval would take them for as many dies"
"""Why no interval is stated where dies have several sites."""


def censored_reason(censored: int) -> str:
    """Why nothing is stated beside values that are no numbers."""
    what = "1 value has" if censored == 1 else f"{censored} values have"
    return f"{what} no number (below the floor or not reached)"


def normality_of(ranked: FloatArray) -> Normality:
    """The test on ascending values (n,) of one wafer, in the scale of the law."""
    n = len(ranked)
    if n < LEAST_VALUES:
        return Normality("", n, None, None, needs(LEAST_VALUES, n))
    if ranked[0] == ranked[-1]:
        return Normality("", n, None, None, NO_SPREAD)
    statistic, p_value = anderson_darling(ranked)
    distance = departure(standardised(ranked))
    return Normality(NAME, n, statistic, p_value, _told(p_value, distance, n), distance)


def normality_over(values: FloatArray, wafer: IntArray) -> Normality:
    """The test on values (n,) of several wafers, not all equal, in the scale of the law.

    Each wafer with 8 values is tested on its own, since wafers differ in their means; the wafers'
    means are one more sample where there are 8 of about equally many dies, and weigh as much as all
    wafers together. Under normal effects of wafers and normal dies these tests are independent.
    Simulated on such values, 4 to 6 % are refused at the level of 5 %, for 3 to 24 wafers.
    """
    n = len(values)
    dies = np.bincount(wafer)
    tested = [np.sort(values[wafer == place]) for place in np.flatnonzero(dies >= LEAST_VALUES)]
    of_dies = [anderson_darling(one)[1] for one in tested if one[0] < one[-1]]
    if not of_dies:
        return Normality("", n, None, None, f"no wafer has {LEAST_VALUES} values with spread")
    statistic, p_value = together(of_dies)
    spread = np.sqrt(clusters(values, wafer).within)
    distance = departure(within_wafers(values, wafer) / spread)
    told = _told(p_value, distance, n)
    means = _comparable_means(values, wafer)
    if means is None:
        return Normality(TOGETHER, n, statistic, p_value, told, distance)
    statistic, p_value = together([p_value, anderson_darling(means)[1]])
    if p_value < LEVEL:
        told = told or "refused: the wafers' means follow no normal law"
    return Normality(TOGETHER_WITH_MEANS, n, statistic, p_value, told, distance)


def _comparable_means(values: FloatArray, wafer: IntArray) -> FloatArray | None:
    """The wafers' means, ascending, where they are a sample that can be tested."""
    dies = np.bincount(wafer)
    sums, dies = np.bincount(wafer, values)[dies > 0], dies[dies > 0]
    means = np.sort(sums / dies)
    if len(means) < LEAST_MEANS or dies.max() > GREATEST_RATIO * dies.min():
        return None
    return means if means[0] < means[-1] else None


def refusal(normality: Normality, parameter: Parameter) -> str:
    """'' or that the test refuses the law, with its p-value."""
    if normality.p_value is None or normality.p_value >= LEVEL:
        return ""
    p = normality.p_value
    told = f"p = {p:.2g}" if p >= LEAST_TOLD else f"p < {LEAST_TOLD}"
    return f"the test refuses the {parameter.distribution} law ({told})"


def _told(p_value: float, distance: float, n: int) -> str:
    """Of a law that is refused, how large the departure is; '' where it is not refused."""
    if p_value >= LEVEL:
        return ""
    told = f"refused: shares of values are off by up to {100 * distance:.2g} %"
    if distance >= SMALL:
        return told
    return f"{told}: a small departure, seen because there are {n} values"
