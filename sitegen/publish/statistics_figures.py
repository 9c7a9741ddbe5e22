"""Every figure of the statistics in one long table, with its interval or why it has none."""

from collections.abc import Iterator, Mapping
from typing import Any

from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.campaign_statistics import CampaignStatistics, ParameterStatistics
from sitegen.model.distribution_results import Distribution
from sitegen.model.space_results import AverageLimits
from sitegen.model.statistics import Estimate

NO_TOLERANCE = "one limit alone has no tolerance"
Figure = tuple[str, str, str, str, Estimate]
"""Wafer, group, figure, unit, and what is stated of it."""


def estimate_of(found: Estimate) -> dict[str, Any]:
    """The columns of an estimate."""
    return {name: getattr(found, name) for name in ("value", "lower", "upper", "reason")}


def key_of(one: ParameterStatistics) -> dict[str, str]:
    """The columns of a parameter and condition."""
    return {"parameter": one.parameter, "condition": one.condition}


def figures(
    statistics: CampaignStatistics, campaign: CampaignRecord
) -> Iterator[Mapping[str, Any]]:
    """One row a figure."""
    parameters = {one.id: one for one in campaign.parameters}
    for one in statistics.parameters:
        for wafer, group, figure, unit, estimate in _figures(one, parameters[one.parameter]):
            yield {
                **key_of(one),
                "wafer": wafer,
                "group": group,
                "figure": figure,
                "unit": unit,
                **estimate_of(estimate),
            }


def _figures(one: ParameterStatistics, parameter: Parameter) -> Iterator[Figure]:
    unit, able = parameter.unit, one.capability
    for wafer, shape in (("", one.distribution), *one.by_wafer):
        yield from _of_distribution(wafer, shape, unit)
    for name, estimate in (("Pp", able.pp), ("Ppk", able.ppk), ("Cp", able.cp), ("Cpk", able.cpk)):
        yield "", "capability", name, "1", estimate
    yield (
        "",
        "capability",
        "expected share outside",
        "1",
        _alone(able.expected_outside, able.reason),
    )
    yield from _of_variation(one, unit)
    yield from _of_risks(one, parameter)
    for wafer, limits in (("", one.outliers.static), *one.outliers.dynamic):
        yield _of_limits(wafer, limits, unit)


def _of_distribution(wafer: str, shape: Distribution, unit: str) -> Iterator[Figure]:
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
        yield wafer, "distribution", name, of_unit, estimate
    for one in shape.tolerance:
        name = f"{one.kind}, {one.side}, {one.coverage:g} with confidence {one.confidence:g}"
        yield wafer, "tolerance", name, unit, Estimate(None, one.lower, one.upper, one.reason)


def _of_variation(one: ParameterStatistics, unit: str) -> Iterator[Figure]:
    part = one.variation.measured
    for name, of_unit, estimate in (
        ("spread within wafers", unit, Estimate(part.spread, reason=part.reason)),
        ("own part of u", unit, Estimate(part.u_own)),
        ("shared part of u", unit, Estimate(part.u_shared)),
        ("spread of the dies themselves", unit, part.spread_of_dies),
        ("share of the variance", "1", part.share_measured),
        ("between wafers by the measurement alone", unit,
         Estimate(one.variation.wafer_spread_by_measurement)),
    ):  # fmt: skip
        yield "", "measured part", name, of_unit, estimate
    for study in one.studies:
        group = f"study {study.study}"
        categories = study.distinct_categories
        for name, of_unit, estimate in (
            ("repeatability", unit, study.repeatability),
            ("reproducibility", unit, study.reproducibility),
            ("repeatability and reproducibility", unit, study.combined),
            ("part to part", unit, study.part_to_part),
            ("share of the total", "1", _alone(study.share_of_total, study.reason)),
            ("share of the tolerance", "1", _alone(study.share_of_tolerance, study.reason)),
            ("distinct categories", "1",
             _alone(None if categories is None else float(categories), study.reason)),
        ):  # fmt: skip
            yield "", group, name, of_unit, estimate


def _of_risks(one: ParameterStatistics, parameter: Parameter) -> Iterator[Figure]:
    risks = one.risks
    single = (parameter.lower is None) != (parameter.upper is None)
    for name, figure, reason in (
        ("least probability of conformity of a value within", risks.least_probability, ""),
        ("values within that are expected outside", risks.expected_outside, ""),
        ("greatest specific consumer's risk", risks.specific_consumer, ""),
        ("greatest specific producer's risk", risks.specific_producer, ""),
        ("global consumer's risk", risks.global_consumer, ""),
        ("global producer's risk", risks.global_producer, ""),
        ("measurement capability index", risks.capability_index, NO_TOLERANCE if single else ""),
        ("U as a share of the tolerance", risks.uncertainty_share, NO_TOLERANCE if single else ""),
    ):
        yield "", "risks", name, "1", _alone(figure, reason or risks.reason)


def _of_limits(wafer: str, limits: AverageLimits, unit: str) -> Figure:
    held = "".join(f", {end} end held to the specification" for end in limits.at_specification)
    stated = Estimate(None, limits.lower, limits.upper, limits.reason)
    return wafer, "part average limits", f"{limits.scope}{held}", unit, stated


def _alone(figure: float | None, reason: str) -> Estimate:
    return Estimate(figure, reason=reason if figure is None else "")
