"""Everything that is stated of the values beyond their summaries, part by part."""

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np
import pandas as pd

from sitegen.compute.over_wafers.capabilities import capability
from sitegen.compute.over_wafers.comparisons import comparisons
from sitegen.compute.over_wafers.distributions import distribution_of
from sitegen.compute.over_wafers.gauge_studies import gauge_studies
from sitegen.compute.over_wafers.measured_part import beside_patterns
from sitegen.compute.over_wafers.outliers import outliers
from sitegen.compute.over_wafers.patterns import patterns
from sitegen.compute.over_wafers.relations import correlations
from sitegen.compute.over_wafers.risks import risks
from sitegen.compute.over_wafers.samples import Key, Repeats, Sample, repeats_of, samples_of
from sitegen.compute.over_wafers.trends import trends
from sitegen.compute.over_wafers.variations import variation
from sitegen.compute.over_wafers.yields import yields
from sitegen.model.campaign import CampaignRecord
from sitegen.model.campaign_statistics import CampaignStatistics, ParameterStatistics
from sitegen.model.remeasured import measured_again, takes_part
from sitegen.model.variation_results import GaugeStudy
from sitegen.model.wafer import WaferRecord
from sitegen.model.wafer_means import WaferDifference


def campaign_statistics(
    results: pd.DataFrame,
    dies: pd.DataFrame,
    campaign: CampaignRecord,
    wafers: Sequence[WaferRecord],
    differences: Sequence[WaferDifference],
    calibrated_at: Mapping[str, datetime],
) -> CampaignStatistics | None:
    """All statistics, parameters in the campaign's order; None for a campaign without wafers.

    results: the columns of `RESULT_COLUMNS` that are looked at over all wafers; dies:
    `DIE_COLUMNS`; both of all wafer records, those measured for a study only included: these take
    part in studies alone, and those measured after a stress in nothing here. calibrated_at: when
    each calibration was made.
    """
    if not wafers:
        return None
    counted = tuple(one.id for one in wafers if takes_part(one, campaign))
    mine = results[results["wafer"].isin(counted)]
    samples = samples_of(mine, campaign, counted)
    repeats = repeats_of(mine, campaign, counted)
    studies = gauge_studies(results, campaign, wafers)
    lots = {one.id: one.lot for one in wafers}
    return CampaignStatistics(
        parameters=tuple(
            _of_parameter(
                sample, repeats.get(key), _of(studies, key), lots, campaign, differences,
                calibrated_at,
            )
            for key, sample in samples.items()
        ),
        yields=yields(
            dies[dies["wafer"].isin(counted)],
            mine,
            campaign,
            counted,
            {one.id for one in wafers if one.only_for_study} | measured_again(campaign),
        ),
        correlations=correlations(samples, campaign),
    )  # fmt: skip


def _of(studies: Sequence[GaugeStudy], key: Key) -> tuple[GaugeStudy, ...]:
    return tuple(one for one in studies if (one.parameter, one.condition) == key)


def _of_parameter(
    sample: Sample,
    repeats: Repeats | None,
    studies: tuple[GaugeStudy, ...],
    lots: Mapping[str, str],
    campaign: CampaignRecord,
    differences: Sequence[WaferDifference],
    calibrated_at: Mapping[str, datetime],
) -> ParameterStatistics:
    """One parameter under one condition, its wafers in the campaign's order."""
    parameter, layout = sample.parameter, campaign.layout
    assert layout is not None  # reading refuses wafers without a layout
    pairs = [
        one
        for one in differences
        if (one.parameter, one.condition) == (parameter.id, sample.condition)
    ]
    found = patterns(sample, layout)
    spread = variation(sample, repeats, _between_u(pairs))
    return ParameterStatistics(
        parameter=parameter.id,
        condition=sample.condition,
        risks=risks(sample, parameter.decision or campaign.decision),
        distribution=distribution_of(sample, None),
        by_wafer=tuple((wafer, distribution_of(sample, wafer)) for wafer in sample.wafers),
        capability=capability(sample),
        variation=beside_patterns(spread, found),
        studies=studies,
        patterns=found,
        outliers=outliers(sample, lots),
        trends=trends(sample, calibrated_at),
        comparisons=comparisons(sample, campaign, pairs),
    )


def _between_u(pairs: Sequence[WaferDifference]) -> float | None:
    """What shared errors alone would put between wafers, as a standard deviation.

    A difference of two wafers carries twice the variance that one of them has by itself.
    """
    stated = [one.u_common for one in pairs if one.u_common is not None]
    if not stated:
        return None
    return float(np.sqrt(np.mean(np.square(stated)) / 2))
