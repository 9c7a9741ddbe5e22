"""Tables of the statistics for data/: every figure that a parameter's page states."""

from collections.abc import Iterator, Mapping
from typing import Any

import pyarrow as pa

from sitegen.model.campaign import CampaignRecord
from sitegen.model.campaign_statistics import CampaignStatistics, ParameterStatistics
from sitegen.model.distribution_results import Distribution
from sitegen.model.statistics import Estimate
from sitegen.publish.record_tables import REAL, TEXT, WHOLE, YES, Columns, table_of

_KEY: Columns = (
    ("parameter", TEXT, "parameter"),
    ("condition", TEXT, "declared set point of bias and temperature"),
)
_ESTIMATE: Columns = (
    ("value", REAL, "the figure in 'unit'; null: not stated"),
    ("lower", REAL, "lower end of its interval, 95 % unless the figure says otherwise"),
    ("upper", REAL, "upper end; null at one end alone: open there"),
    ("reason", TEXT, "why value or interval is not stated, and what would be needed"),
)
STATISTIC_COLUMNS: Columns = (
    *_KEY,
    ("wafer", TEXT, "wafer; empty: all wafers of the campaign"),
    ("group", TEXT, "distribution, tolerance, capability, measured part, risks"),
    ("figure", TEXT, "what is stated"),
    ("unit", TEXT, "unit of value and interval; 1 for a number"),
    *_ESTIMATE,
)
COMPONENT_COLUMNS: Columns = (
    *_KEY,
    ("study", TEXT, "study of repeatability and reproducibility; empty: the campaign's wafers"),
    ("level", TEXT, "source of spread, the outermost first"),
    ("groups", WHOLE, "how many of it there are"),
    ("degrees_of_freedom", WHOLE, "of its mean square"),
    ("mean_square", REAL, "in 'unit' squared; null for unbalanced data"),
    ("f_ratio", REAL, "against the mean square of the level below"),
    ("p_value", REAL, "of an F so large without this source"),
    ("share", REAL, "of the sum of the variances"),
    ("unit", TEXT, "unit of the standard deviation"),
    *_ESTIMATE,
)
PATTERN_COLUMNS: Columns = (
    *_KEY,
    ("wafer", TEXT, "wafer"),
    ("kind", TEXT, "zones, plane, bowl, neighbours, reticle, cluster of outside dies"),
    ("n", WHOLE, "dies that it is tested on"),
    ("islands", WHOLE, "dies without a measured neighbour"),
    ("statistic", REAL, "test statistic"),
    ("statistic_name", TEXT, "which"),
    ("p_value", REAL, "of one so large without the pattern"),
    ("adjusted_p", REAL, "the same after Holm's correction for the wafers tested"),
    ("share", REAL, "of the variance within the wafer; of neighbours Moran's I"),
    ("text", TEXT, "what it looks like; empty where nothing is claimed"),
    ("reason", TEXT, "why it was not tested"),
)
OUTLIER_COLUMNS: Columns = (
    *_KEY,
    ("wafer", TEXT, "wafer"),
    ("die_x", WHOLE, "column of the die in the campaign's layout"),
    ("die_y", WHOLE, "row of the die in the campaign's layout"),
    ("site", TEXT, "place inside the die"),
    ("value", REAL, "value in 'unit'"),
    ("unit", TEXT, "unit of the value"),
    ("kinds", TEXT, "static limits, dynamic limits, neighbours"),
    ("score", REAL, "greatest distance in robust sigmas"),
    ("outcome", TEXT, "its outcome, which the flag does not change"),
)
TREND_COLUMNS: Columns = (
    *_KEY,
    ("wafer", TEXT, "wafer"),
    ("against", TEXT, "touchdown number or time since calibration"),
    ("n", WHOLE, "values in order"),
    ("unit", TEXT, "unit of the slope: a touchdown, or an hour"),
    ("p_value", REAL, "two-sided, of such a slope without a trend"),
    ("adjusted_p", REAL, "after Holm's correction over wafers and regressors"),
    ("runs", TEXT, "run rules that were met, each with its count"),
    ("expected_runs", REAL, "signals that values without order would show"),
    *_ESTIMATE,
)
COMPARISON_COLUMNS: Columns = (
    *_KEY,
    ("kind", TEXT, "wafers or splits"),
    ("first", TEXT, "whose mean comes first"),
    ("second", TEXT, "whose mean is taken off"),
    ("n_first", WHOLE, "values of the first"),
    ("n_second", WHOLE, "values of the second"),
    ("unit", TEXT, "unit of difference and uncertainty"),
    ("p_value", REAL, "two-sided, of such a difference between equals"),
    ("adjusted_p", REAL, "after Holm's correction over the comparisons of the parameter"),
    ("effect_size", REAL, "Hedges' g"),
    ("effect_lower", REAL, "lower end of its interval"),
    ("effect_upper", REAL, "upper end of its interval"),
    ("u_measurement", REAL, "standard uncertainty by the measurement's shared errors"),
    ("margin", REAL, "declared margin of equivalence; null: none"),
    ("equivalence", TEXT, "equivalent, different by more, not shown, not stated; null: no margin"),
    *_ESTIMATE,
)
CORRELATION_COLUMNS: Columns = (
    *_KEY,
    ("other_parameter", TEXT, "second parameter"),
    ("other_condition", TEXT, "its set point"),
    ("n", WHOLE, "dies that have both"),
    ("rank", REAL, "Spearman's correlation within wafers"),
    ("rank_lower", REAL, "lower end of its interval"),
    ("rank_upper", REAL, "upper end of its interval"),
    ("p_value", REAL, "two-sided, without a correlation"),
    ("adjusted_p", REAL, "after correction over all pairs (Benjamini and Hochberg)"),
    ("pairs", WHOLE, "pairs that were looked at"),
    ("declared", YES, "the campaign asks for this pair"),
    *_ESTIMATE,
)
YIELD_COLUMNS: Columns = (
    ("wafer", TEXT, "wafer; empty: the process that made them, or the campaign's verdict"),
    ("conforming", WHOLE, "dies that conform by the declared logic"),
    ("judged", WHOLE, "dies judged in full: the denominator"),
    ("verdict", TEXT, "of the wafer or the campaign by the declared logic"),
    ("verdict_reason", TEXT, "what decided it"),
    *_ESTIMATE,
)
LIMITING_COLUMNS: Columns = (
    ("parameters", TEXT, "parameter at condition; several that take the same dies by '; '"),
    ("dies", WHOLE, "judged dies that each of them takes"),
    ("alone", WHOLE, "of them those that nothing else takes; of several: those with just these"),
)


def contents(
    statistics: CampaignStatistics, campaign: CampaignRecord
) -> tuple[tuple[str, str, pa.Table], ...]:
    """Name, description and content of each table."""
    units = {one.id: one.unit for one in campaign.parameters}
    found = statistics.parameters
    listed = (
        (
            "statistics",
            "Every figure of each parameter with its interval.",
            STATISTIC_COLUMNS,
            _figures(statistics, units),
        ),
        (
            "components",
            "Where the spread of each parameter comes from.",
            COMPONENT_COLUMNS,
            _components(statistics, units),
        ),
        ("patterns", "Tests of patterns on each wafer.", PATTERN_COLUMNS, _patterns(found)),
        (
            "outliers",
            "Dies that stand out; a flag is never a verdict.",
            OUTLIER_COLUMNS,
            _outliers(statistics, units),
        ),
        (
            "trends",
            "Values in the order of measurement.",
            TREND_COLUMNS,
            _trends(statistics, units),
        ),
        (
            "comparisons",
            "Wafers and splits against each other.",
            COMPARISON_COLUMNS,
            _comparisons(statistics, units),
        ),
        (
            "correlations",
            "Parameters against each other over the dies.",
            CORRELATION_COLUMNS,
            _correlations(statistics),
        ),
        (
            "yields",
            "Conforming dies of each wafer and of the process.",
            YIELD_COLUMNS,
            _yields(statistics),
        ),
        (
            "limiting-parameters",
            "Which parameters take dies, alone and together.",
            LIMITING_COLUMNS,
            _limiting(statistics),
        ),
    )
    return tuple((name, text, table_of(columns, rows)) for name, text, columns, rows in listed)


def _estimate(found: Estimate) -> dict[str, Any]:
    return {name: getattr(found, name) for name in ("value", "lower", "upper", "reason")}


def _key(one: ParameterStatistics) -> dict[str, str]:
    return {"parameter": one.parameter, "condition": one.condition}


def _figures(
    statistics: CampaignStatistics, units: Mapping[str, str]
) -> Iterator[Mapping[str, Any]]:
    for one in statistics.parameters:
        unit = units[one.parameter]
        for wafer, shape in (("", one.distribution), *one.by_wafer):
            for group, figure, of_unit, estimate in _of_distribution(shape, unit):
                yield {
                    **_key(one),
                    "wafer": wafer,
                    "group": group,
                    "figure": figure,
                    "unit": of_unit,
                    **_estimate(estimate),
                }
        for group, figure, of_unit, estimate in _of_campaign(one, unit):
            yield {
                **_key(one),
                "wafer": "",
                "group": group,
                "figure": figure,
                "unit": of_unit,
                **_estimate(estimate),
            }


def _of_distribution(shape: Distribution, unit: str) -> Iterator[tuple[str, str, str, Estimate]]:
    test = shape.normality
    for name, of_unit, estimate in (
        ("mean", unit, shape.mean),
        ("standard deviation", unit, shape.standard_deviation),
        ("median", unit, shape.median),
        ("robust spread", unit, Estimate(shape.robust_spread)),
        ("skewness", "1", Estimate(shape.skewness)),
        ("excess kurtosis", "1", Estimate(shape.excess_kurtosis)),
        (f"p of {test.test or 'normality'}", "1", Estimate(test.p_value, reason=test.reason)),
    ):
        yield "distribution", name, of_unit, estimate
    for one in shape.tolerance:
        name = f"{one.kind}, {one.side}, {one.coverage:g} with confidence {one.confidence:g}"
        yield "tolerance", name, unit, Estimate(None, one.lower, one.upper, one.reason)


def _of_campaign(one: ParameterStatistics, unit: str) -> Iterator[tuple[str, str, str, Estimate]]:
    able, part, risks = one.capability, one.variation.measured, one.risks
    for name, estimate in (("Pp", able.pp), ("Ppk", able.ppk), ("Cp", able.cp), ("Cpk", able.cpk)):
        yield "capability", name, "1", estimate
    yield "measured part", "spread within wafers", unit, Estimate(part.spread, reason=part.reason)
    yield "measured part", "own part of u", unit, Estimate(part.u_own)
    yield "measured part", "shared part of u", unit, Estimate(part.u_shared)
    yield "measured part", "spread of the dies themselves", unit, part.spread_of_dies
    yield "measured part", "share of the variance", "1", part.share_measured
    for name, figure in (
        ("least probability of conformity", risks.least_probability),
        ("accepted values expected outside", risks.expected_outside),
        ("greatest specific consumer's risk", risks.specific_consumer),
        ("greatest specific producer's risk", risks.specific_producer),
        ("global consumer's risk", risks.global_consumer),
        ("global producer's risk", risks.global_producer),
        ("measurement capability index", risks.capability_index),
        ("U as a share of the tolerance", risks.uncertainty_share),
    ):
        yield "risks", name, "1", Estimate(figure, reason=risks.reason if figure is None else "")


def _components(
    statistics: CampaignStatistics, units: Mapping[str, str]
) -> Iterator[Mapping[str, Any]]:
    for one in statistics.parameters:
        parts = [("", part) for part in one.variation.components]
        parts += [(study.study, part) for study in one.studies for part in study.components]
        for study, part in parts:
            yield {
                **_key(one),
                "study": study,
                **vars(part),
                "unit": units[one.parameter],
                **_estimate(part.standard_deviation),
            }


def _patterns(found: tuple[ParameterStatistics, ...]) -> Iterator[Mapping[str, Any]]:
    for one in found:
        for pattern in one.patterns:
            for test in pattern.tests:
                yield {
                    **_key(one),
                    "wafer": pattern.wafer,
                    "islands": pattern.islands,
                    **vars(test),
                }


def _outliers(
    statistics: CampaignStatistics, units: Mapping[str, str]
) -> Iterator[Mapping[str, Any]]:
    for one in statistics.parameters:
        for die in one.outliers.flagged:
            yield {
                **_key(one),
                **vars(die),
                "die_x": die.die[0],
                "die_y": die.die[1],
                "kinds": "; ".join(die.kinds),
                "unit": units[one.parameter],
            }


def _trends(
    statistics: CampaignStatistics, units: Mapping[str, str]
) -> Iterator[Mapping[str, Any]]:
    for one in statistics.parameters:
        for trend in one.trends:
            by = "h" if trend.against == "time since calibration" else "touchdown"
            yield {
                **_key(one),
                **vars(trend),
                "unit": f"{units[one.parameter]}/{by}",
                "runs": "; ".join(f"{name}: {times}" for name, times in trend.runs),
                **_estimate(trend.slope),
                "reason": trend.reason or trend.slope.reason,
            }


def _comparisons(
    statistics: CampaignStatistics, units: Mapping[str, str]
) -> Iterator[Mapping[str, Any]]:
    for one in statistics.parameters:
        for pair in one.comparisons:
            same = pair.equivalence
            yield {
                **_key(one),
                **vars(pair),
                "unit": units[one.parameter],
                **_estimate(pair.difference),
                "reason": pair.reason or pair.difference.reason,
                "effect_size": pair.effect_size.value,
                "effect_lower": pair.effect_size.lower,
                "effect_upper": pair.effect_size.upper,
                "margin": None if same is None else same.margin,
                "equivalence": None if same is None else same.verdict,
            }


def _correlations(statistics: CampaignStatistics) -> Iterator[Mapping[str, Any]]:
    for pair in statistics.correlations:
        yield {
            **vars(pair),
            **_estimate(pair.linear),
            "parameter": pair.first[0],
            "condition": pair.first[1],
            "other_parameter": pair.second[0],
            "other_condition": pair.second[1],
            "rank": pair.rank.value,
            "rank_lower": pair.rank.lower,
            "rank_upper": pair.rank.upper,
        }


def _yields(statistics: CampaignStatistics) -> Iterator[Mapping[str, Any]]:
    yields = statistics.yields
    for one in yields.wafers:
        yield {**vars(one), **_estimate(one.share)}
    yield {
        "wafer": "",
        "conforming": yields.process.conforming,
        "judged": yields.process.judged,
        "verdict": yields.verdict,
        "verdict_reason": yields.verdict_reason,
        **_estimate(yields.process.share),
    }


def _limiting(statistics: CampaignStatistics) -> Iterator[Mapping[str, Any]]:
    for one in statistics.yields.limiting:
        yield {
            "parameters": f"{one.parameter} at {one.condition}",
            "dies": one.outside,
            "alone": one.alone,
        }
    for several in statistics.yields.together:
        if len(several.parameters) > 1:
            names = "; ".join(f"{name} at {condition}" for name, condition in several.parameters)
            yield {"parameters": names, "dies": several.dies, "alone": several.dies}
