"""Tables of the statistics for data/: every figure that a parameter's page states."""

from collections.abc import Iterator, Mapping
from typing import Any

import pyarrow as pa

from sitegen.model.campaign import CampaignRecord
from sitegen.model.campaign_statistics import CampaignStatistics, ParameterStatistics
from sitegen.publish.record_tables import REAL, TEXT, WHOLE, YES, Columns, table_of
from sitegen.publish.statistics_figures import estimate_of, figures, key_of

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
    ("group", TEXT, "what it belongs to, such as distribution, capability or a study"),
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
    ("adjusted_p", REAL, "the same after Holm's correction over wafers and kinds"),
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
    ("equivalence_lower", REAL, "lower end of the 90 % interval that must lie inside the margin"),
    ("equivalence_upper", REAL, "upper end of it"),
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
    ("intraclass_correlation", REAL, "of two dies of a wafer; of the process only"),
    ("correlation_lower", REAL, "lower end of its 95 % interval"),
    ("correlation_upper", REAL, "upper end of it"),
    ("design_effect", REAL, "by how much it widens the variance of the pooled share"),
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
            figures(statistics, campaign),
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


def _components(
    statistics: CampaignStatistics, units: Mapping[str, str]
) -> Iterator[Mapping[str, Any]]:
    for one in statistics.parameters:
        parts = [("", part) for part in one.variation.components]
        parts += [(study.study, part) for study in one.studies for part in study.components]
        for study, part in parts:
            yield {
                **key_of(one),
                "study": study,
                **vars(part),
                "unit": units[one.parameter],
                **estimate_of(part.standard_deviation),
            }


def _patterns(found: tuple[ParameterStatistics, ...]) -> Iterator[Mapping[str, Any]]:
    for one in found:
        for pattern in one.patterns:
            for test in pattern.tests:
                yield {
                    **key_of(one),
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
                **key_of(one),
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
                **key_of(one),
                **vars(trend),
                "unit": f"{units[one.parameter]}/{by}",
                "runs": "; ".join(f"{name}: {times}" for name, times in trend.runs),
                **estimate_of(trend.slope),
                "reason": trend.reason or trend.slope.reason,
            }


def _comparisons(
    statistics: CampaignStatistics, units: Mapping[str, str]
) -> Iterator[Mapping[str, Any]]:
    for one in statistics.parameters:
        for pair in one.comparisons:
            same = pair.equivalence
            yield {
                **key_of(one),
                **vars(pair),
                "unit": units[one.parameter],
                **estimate_of(pair.difference),
                "reason": pair.reason or pair.difference.reason,
                "effect_size": pair.effect_size.value,
                "effect_lower": pair.effect_size.lower,
                "effect_upper": pair.effect_size.upper,
                "margin": None if same is None else same.margin,
                "equivalence": None if same is None else same.verdict,
                "equivalence_lower": None if same is None else same.lower,
                "equivalence_upper": None if same is None else same.upper,
            }


def _correlations(statistics: CampaignStatistics) -> Iterator[Mapping[str, Any]]:
    for pair in statistics.correlations:
        yield {
            **vars(pair),
            **estimate_of(pair.linear),
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
        yield {**vars(one), **estimate_of(one.share)}
    yield {
        "wafer": "",
        "conforming": yields.process.conforming,
        "judged": yields.process.judged,
        "verdict": yields.verdict,
        "verdict_reason": yields.verdict_reason,
        "intraclass_correlation": yields.process.intraclass_correlation.value,
        "correlation_lower": yields.process.intraclass_correlation.lower,
        "correlation_upper": yields.process.intraclass_correlation.upper,
        "design_effect": yields.process.design_effect,
        **estimate_of(yields.process.share),
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
