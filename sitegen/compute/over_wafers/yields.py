"""How many dies conform: on each wafer, of the process that made them, and what takes them."""

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd

from sitegen.compute.over_wafers.conformity_of_wafers import campaign_verdict, wafer_verdict
from sitegen.compute.over_wafers.laws import needs
from sitegen.compute.over_wafers.limiting import limiting
from sitegen.compute.stats.clustered_share import LEAST_WAFERS, clustered_share
from sitegen.compute.stats.intervals import wilson
from sitegen.model.campaign import CampaignRecord
from sitegen.model.decision import Verdict
from sitegen.model.statistics import Estimate
from sitegen.model.yield_results import ProcessYield, WaferYield, Yields

NONE_JUDGED = "no die is judged in full"
METHOD = "beta-binomial, the wafer as the cluster, averaged over the intraclass correlation"


def yields(
    dies: pd.DataFrame,
    results: pd.DataFrame,
    campaign: CampaignRecord,
    wafers: Sequence[str],
    for_studies: Collection[str] = (),
) -> Yields:
    """Everything that is stated of the yield.

    dies: `DIE_COLUMNS` of all wafers; results: the joined columns of all wafers; wafers: those of
    the campaign that have a record, in order, also those without a judged die. A die belongs to a
    yield where every planned value of it with limits is judged; it conforms where each of these has
    an outcome that the campaign's verdict declares as conforming. for_studies: wafers with a record
    that were measured for a study only; any other planned wafer counts as not measured.
    """
    judged = dies[dies["judged"].to_numpy(dtype=bool) & dies["wafer"].isin(wafers).to_numpy()]
    conforms = judged["conforming"].to_numpy(dtype=bool)
    total, good = judged["wafer"].value_counts(), judged.loc[conforms, "wafer"].value_counts()
    each = tuple(
        wafer_yield(name, int(good.get(name, 0)), int(total.get(name, 0)), campaign.verdict)
        for name in wafers
    )
    found, together = limiting(judged[~conforms], results, campaign)
    planned = {one.id for one in campaign.plan.wafers}
    word, reason = campaign_verdict(
        [one.verdict for one in each], len(planned - {*wafers, *for_studies}), campaign.verdict
    )
    return Yields(
        wafers=each,
        process=process_yield(each),
        limiting=found,
        together=together,
        verdict=word,
        verdict_reason=reason,
        changed_by_touchdowns=int(
            dies["verdict_depends_on_touchdown"]
            .to_numpy(dtype=bool)[dies["wafer"].isin(wafers).to_numpy()]
            .sum()
        ),
    )


def wafer_yield(wafer: str, conforming: int, judged: int, verdict: Verdict) -> WaferYield:
    """The yield of one wafer with Wilson's interval, and its verdict."""
    interval = wilson(conforming, judged)
    share = (
        Estimate(None, reason=NONE_JUDGED)
        if interval is None
        else Estimate(interval.share, interval.lower, interval.upper)
    )
    return WaferYield(wafer, conforming, judged, share, *wafer_verdict(conforming, judged, verdict))


def process_yield(wafers: Sequence[WaferYield]) -> ProcessYield:
    """The pooled share, and from `LEAST_WAFERS` wafers with judged dies on its interval."""
    counted = [one for one in wafers if one.judged]
    conforming = np.array([one.conforming for one in counted], dtype=np.int64)
    judged = np.array([one.judged for one in counted], dtype=np.int64)
    good, of = int(conforming.sum()), int(judged.sum())
    if len(counted) < LEAST_WAFERS:
        of_them = "" if len(counted) == len(wafers) else " with dies judged in full"
        few = needs(LEAST_WAFERS, len(counted), f"wafers{of_them}")
        share = Estimate(good / of, reason=few) if of else Estimate(None, reason=NONE_JUDGED)
        return ProcessYield(len(counted), good, of, share, Estimate(None, reason=few), None, "")
    found = clustered_share(conforming, judged)
    if found.correlation is None:
        alike = "no die" if good == of else "every die"
        correlation = Estimate(None, reason=f"{alike} fails, which says nothing of it")
    else:
        correlation = Estimate(found.correlation, found.correlation_lower, found.correlation_upper)
    return ProcessYield(
        wafers=len(counted),
        conforming=good,
        judged=of,
        share=Estimate(found.share, found.lower, found.upper),
        intraclass_correlation=correlation,
        design_effect=found.design_effect,
        method=METHOD,
    )
