"""Hand-made statistics with realistic content, odd cases included, to render pages from."""

from dataclasses import replace
from typing import Any

from sitegen.model.campaign_statistics import CampaignStatistics, ParameterStatistics
from sitegen.model.concerned_results import ConcernedDies, ConcernedValue
from sitegen.model.decision_results import Risks
from sitegen.model.distribution_results import (
    Capability,
    Distribution,
    Normality,
    ToleranceInterval,
)
from sitegen.model.relation_results import Comparison, Equivalence, Trend
from sitegen.model.results import CampaignResults, ParameterResult
from sitegen.model.space_results import AverageLimits, Outlier, Outliers, Patterns, PatternTest
from sitegen.model.statistics import Estimate
from sitegen.model.variation_results import Component, GaugeStudy, MeasuredPart, Variation
from sitegen.model.yield_results import ProcessYield, Yields
from tests.render import samples

NOT = Estimate(None)
FIVE_WAFERS = "needs 5 wafers, there are 3"


def not_stated(reason: str = "") -> Estimate:
    """An estimate that is not stated."""
    return Estimate(None, reason=reason)


def risks(**changes: Any) -> Risks:
    """Of 91 values with u = 2.1 mV in a tolerance of 200 mV, with a prior."""
    fields: dict[str, Any] = {
        "n": 91,
        "least_probability": 0.9772,
        "expected_outside": 0.034,
        "specific_consumer": 0.0228,
        "specific_producer": 0.61,
        "global_consumer": 0.000041,
        "global_producer": 0.0123,
        "capability_index": 23.8,
        "uncertainty_share": 0.021,
        "worst_false_acceptance": 0.0228,
    }
    return Risks(**{**fields, **changes})


NO_RISKS = Risks(0, *(None,) * 9, reason="no uncertainty is stated")


def tolerance(kind: Any = "normal", **changes: Any) -> ToleranceInterval:
    """Of 91 values, 95 % of the law with 95 % confidence."""
    fields: dict[str, Any] = {
        "kind": kind,
        "side": "both",
        "coverage": 0.95,
        "confidence": 0.95,
        "n": 91,
        "factor": 2.255 if kind == "normal" else None,
        "lower": -2.6902,
        "upper": -2.5098,
    }
    return ToleranceInterval(**{**fields, **changes})


def distribution(n: int = 91, **changes: Any) -> Distribution:
    """Values around −2.6 V that spread by 40 mV."""
    fields: dict[str, Any] = {
        "n": n,
        "mean": Estimate(-2.6, -2.6083, -2.5917),
        "standard_deviation": Estimate(0.04, 0.0349, 0.0468),
        "median": Estimate(-2.605, -2.611, -2.598),
        "robust_spread": 0.041,
        "skewness": -0.12,
        "excess_kurtosis": 0.31,
        "tail": "",
        "normality": Normality("Anderson-Darling", n, 0.41, 0.33),
        "tolerance": (
            tolerance(n=n),
            tolerance(
                "distribution-free", n=n, lower=None, upper=None, reason="needs 93, there are 91"
            ),
        ),
    }
    return Distribution(**{**fields, **changes})


def no_distribution(n: int = 0, reason: str = "needs 2 values, there is none") -> Distribution:
    """Nothing is stated."""
    off = not_stated(reason)
    return Distribution(
        n,
        off,
        off,
        off,
        None,
        None,
        None,
        "",
        Normality("", n, None, None, reason),
        (tolerance(n=n, factor=None, lower=None, upper=None, reason=reason),),
    )


def capability(**changes: Any) -> Capability:
    """Of three wafers: no interval for what needs five."""
    fields: dict[str, Any] = {
        "side": "both",
        "method": "normal",
        "n": 91,
        "wafers": 3,
        "pp": Estimate(0.833, 0.71, 0.96),
        "ppk": Estimate(0.8333, 0.69, 0.97),
        "cp": not_stated(FIVE_WAFERS),
        "cpk": not_stated(FIVE_WAFERS),
        "nearer": "upper",
        "expected_outside": 0.0124,
    }
    return Capability(**{**fields, **changes})


def no_capability(side: Any = "none", reason: str = "there are no limits") -> Capability:
    """Nothing is stated."""
    off = not_stated(reason)
    return Capability(side, "", 0, 0, off, off, off, off, "", None, reason)


def component(level: str, s: float, share: float, **changes: Any) -> Component:
    """With an interval of a quarter about it."""
    fields: dict[str, Any] = {
        "level": level,
        "groups": {"wafer": 3, "die": 91, "touchdown": 104}.get(level, 10),
        "degrees_of_freedom": {"wafer": 2, "die": 88, "touchdown": 13}.get(level, 9),
        "mean_square": None,
        "f_ratio": 4.2,
        "p_value": 0.018,
        "standard_deviation": Estimate(s, 0.75 * s, 1.25 * s),
        "share": share,
    }
    return Component(**{**fields, **changes})


def measured(**changes: Any) -> MeasuredPart:
    """Own uncertainty 1.7 mV of a spread of 36 mV; 1.2 mV shared."""
    fields: dict[str, Any] = {
        "n": 91,
        "spread": 0.036,
        "u_own": 0.0017,
        "u_shared": 0.0012,
        "spread_of_dies": Estimate(0.03596, 0.0314, 0.0421),
        "share_measured": Estimate(0.00223, 0.0016, 0.0029),
    }
    return MeasuredPart(**{**fields, **changes})


def variation(**changes: Any) -> Variation:
    """Wafers, dies and touchdowns; no interval between three wafers."""
    fields: dict[str, Any] = {
        "method": "REML",
        "n": 104,
        "components": (
            component(
                "wafer",
                0.0192,
                0.221,
                standard_deviation=Estimate(0.0192, reason=FIVE_WAFERS),
            ),
            component("die", 0.0360, 0.776),
            component("touchdown", 0.0022, 0.003, f_ratio=None, p_value=None),
        ),
        "measured": measured(),
        "wafer_spread_by_measurement": 0.0009,
    }
    return Variation(**{**fields, **changes})


def no_variation(reason: str) -> Variation:
    """Nothing is stated."""
    off = not_stated(reason)
    return Variation("", 0, (), MeasuredPart(0, None, None, None, off, off, reason), None, reason)


def study(**changes: Any) -> GaugeStudy:
    """Over three operators, ten dies, three repeats; the interaction pooled."""
    fields: dict[str, Any] = {
        "study": "OP-1",
        "between": "operators",
        "parameter": "VTH",
        "condition": "room",
        "parts": 10,
        "appraisers": 3,
        "repeats": 3,
        "components": (
            component("die", 0.035, 0.999, mean_square=0.011),
            component("operator", 0.0005, 0.0002, mean_square=9e-6),
            component("interaction", 0.0, 0.0, standard_deviation=Estimate(0.0)),
            component("repeat", 0.0008, 0.0008, f_ratio=None, p_value=None),
        ),
        "interaction_pooled": True,
        "repeatability": Estimate(0.0008, 0.0007, 0.00097),
        "reproducibility": Estimate(0.0005, 0.0, 0.0031),
        "combined": Estimate(0.00094, 0.0008, 0.0033),
        "part_to_part": Estimate(0.035, 0.024, 0.064),
        "total": 0.03501,
        "share_of_total": 0.0269,
        "share_of_tolerance": 0.0283,
        "distinct_categories": 52,
    }
    return GaugeStudy(**{**fields, **changes})


def pattern(kind: str, p: float, share: float, text: str = "") -> PatternTest:
    """A test with its p-value adjusted for three wafers."""
    return PatternTest(kind, 30, 11.2, "F", p, min(3 * p, 1.0), share, text)


def patterns(wafer: str = "W1", claimed: bool = True) -> Patterns:
    """A plane that is claimed or not, neighbours, and a reticle that was not tested."""
    return Patterns(
        wafer=wafer,
        n=30,
        islands=1,
        tests=(
            pattern("zones", 0.21, 0.05),
            pattern("plane", 1e-6, 0.38, "rises to the right by 62 mV over the diameter")
            if claimed
            else pattern("plane", 0.4, 0.02),
            pattern("bowl", 0.6, 0.01),
            PatternTest("neighbours", 29, 2.1, "z", 0.018, 0.054, 0.22, ""),
            PatternTest(
                "reticle", 30, None, "F", None, None, None, "", "no reticle grid is declared"
            ),
        ),
        clusters=(),
    )


OUTLIER = Outlier("W2", (0, 4), "", -2.531, ("neighbours",), 7.3, "within")
OUTLIER_OUTSIDE = Outlier("W1", (3, -2), "", -2.4962, ("dynamic limits",), 6.8, "outside")


def outliers(**changes: Any) -> Outliers:
    """Two dies stand out; static limits are not available."""
    fields: dict[str, Any] = {
        "static": AverageLimits("static", 91, None, None, "needs 6 lots of 30 values, there is 1"),
        "dynamic": (
            ("W1", AverageLimits("dynamic", 46, -2.85, -2.36)),
            ("W2", AverageLimits("dynamic", 45, -2.84, -2.35)),
        ),
        "flagged": (OUTLIER, OUTLIER_OUTSIDE),
        "expected": 0.02,
        "robust_sigma": Estimate(0.041, 0.035, 0.049),
    }
    return Outliers(**{**fields, **changes})


NO_OUTLIERS = Outliers(
    AverageLimits("static", 0, None, None, "there is no value"), (), (), 0.0, NOT
)


def trend(wafer: str = "W2", claimed: bool = True) -> Trend:
    """A drift of −1.2 mV an hour, claimed or not."""
    return Trend(
        wafer,
        "time since calibration",
        45,
        Estimate(-0.0012, -0.0018, -0.0006) if claimed else Estimate(-0.0001, -0.0008, 0.0006),
        0.0004 if claimed else 0.7,
        0.0016 if claimed else 1.0,
        (("Western Electric 4", 1),),
        0.3,
    )


def comparison(kind: str = "wafers", **changes: Any) -> Comparison:
    """Two wafers that differ by 27 mV, more than the margin."""
    fields: dict[str, Any] = {
        "kind": kind,
        "first": "W1",
        "second": "W2",
        "n_first": 46,
        "n_second": 45,
        "wafers_first": 1,
        "wafers_second": 1,
        "difference": Estimate(0.0271, 0.0123, 0.0419),
        "effect_size": Estimate(0.75, 0.33, 1.17),
        "p_value": 0.0004,
        "adjusted_p": 0.0012,
        "u_measurement": 0.0009,
        "equivalence": Equivalence(0.01, 0.0147, 0.0395, "different by more", 0.99),
    }
    return Comparison(**{**fields, **changes})


SPLITS = comparison(
    "splits",
    first="gate A",
    second="gate B",
    wafers_first=2,
    wafers_second=1,
    difference=not_stated("needs 2 wafers in each split"),
    effect_size=not_stated(),
    p_value=None,
    adjusted_p=None,
    u_measurement=None,
    equivalence=Equivalence(0.01, None, None, "not stated", None, "needs 2 wafers in each split"),
)


def statistics(parameter: str = "VTH", condition: str = "room", **changes: Any) -> Any:
    """Of one parameter under one condition, everything stated that three wafers allow."""
    fields: dict[str, Any] = {
        "parameter": parameter,
        "condition": condition,
        "risks": risks(),
        "distribution": distribution(),
        "by_wafer": (("W1", distribution(46)), ("W2", distribution(45))),
        "capability": capability(),
        "variation": variation(),
        "studies": (study(),),
        "patterns": (patterns("W1"), patterns("W2", claimed=False)),
        "outliers": outliers(),
        "trends": (trend("W1", claimed=False), trend("W2")),
        "comparisons": (comparison(), SPLITS),
    }
    return ParameterStatistics(**{**fields, **changes})


def nothing(parameter: str, condition: str, reason: str = "there is no value") -> Any:
    """Of a parameter of which nothing can be stated."""
    return statistics(
        parameter,
        condition,
        risks=replace(NO_RISKS, reason=reason),
        distribution=no_distribution(0, reason),
        by_wafer=(),
        capability=no_capability("both", reason),
        variation=no_variation(reason),
        studies=(),
        patterns=(),
        outliers=NO_OUTLIERS,
        trends=(),
        comparisons=(),
    )


def value(kind: str, die: tuple[int, int] = (3, -2), **changes: Any) -> ConcernedValue:
    """A value that is outside by 3.8 mV, or of another kind."""
    fields: dict[str, Any] = {
        "wafer": "W1",
        "die": die,
        "site": "",
        "value": -2.4962,
        "u": 0.0021,
        "kind": kind,
        "beyond": 0.0038 if kind == "outside" else -0.0031,
        "why": "",
    }
    return ConcernedValue(**{**fields, **changes})


LOST = value("without standing", (5, 0), wafer="W2", beyond=None, why="verification failed")


def concerned(parameter: str = "VTH", condition: str = "room", **changes: Any) -> ConcernedDies:
    """One outside, one in a guard band, two without standing, and some not measured."""
    fields: dict[str, Any] = {
        "parameter": parameter,
        "condition": condition,
        "counts": {"outside": 1, "not proven": 1, "without standing": 2, "not measured": 4},
        "dies": 4,
        "reasons": {"verification failed": 1, "expired by time": 1},
        "listed": (
            value("outside"),
            value("not proven", (-1, 4), value=-2.5031),
            LOST,
            replace(LOST, die=(5, 1), why="expired by time"),
        ),
    }
    return ConcernedDies(**{**fields, **changes})


NO_YIELDS = Yields((), ProcessYield(0, 0, 0, NOT, NOT, None, ""), (), (), "not assessable", "", 0)


def result(condition: str = "room", wafer: str = "", **changes: Any) -> ParameterResult:
    """Of the threshold voltage: 91 values, 89 within."""
    outcomes = changes.pop("outcomes", {"within": 89, "not proven": 1, "outside": 1})
    fields: dict[str, Any] = {"n": 91, "missing": 4, "without_standing": 2, "u": 0.0021}
    budget = {"u_instrument": 0.0012, "u_touchdowns": 0.0017}
    summary = samples.summary(**{**fields, "budget": budget, **changes})
    return replace(
        samples.parameter_result("VTH", condition, wafer), summary=summary, outcomes=outcomes
    )


def results(**changes: Any) -> CampaignResults:
    """A campaign with statistics of the threshold voltage under two conditions."""
    room = samples.VTH.model_copy(update={"conditions": ("room",), "equivalence_margin": 0.01})
    record = samples.campaign_record(parameters=(room, samples.H21, samples.BV))
    fields: dict[str, Any] = {
        "context": samples.context(record),
        "parameters": tuple(result("room", wafer) for wafer in ("", "W1", "W2")),
        "statistics": CampaignStatistics((statistics(),), NO_YIELDS, ()),
        "concerned": (concerned(),),
        "findings": (),
    }
    return samples.campaign_results(**{**fields, **changes})
