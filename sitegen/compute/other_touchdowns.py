"""What would count if the campaign had declared another rule of choice between touchdowns."""

from typing import Literal

import numpy as np
import pandas as pd

from sitegen.compute.judged import judged
from sitegen.compute.touchdown_choice import KEY, choose_touchdowns
from sitegen.model.campaign import CampaignRecord

Rule = Literal["first", "last", "mean"]
RULES: tuple[Rule, ...] = ("first", "last", "mean")
"""Every rule that a campaign can declare."""


def under_rule(results: pd.DataFrame, campaign: CampaignRecord, rule: Rule) -> pd.DataFrame:
    """The rows that would count under a rule, with their outcomes and standing.

    results: rows of `RESULT_COLUMNS` of one wafer with every touchdown, judged under the campaign's
    own rule of choice, and with the columns that judging leaves beside them. Single touchdowns are
    taken with the outcome that they have; a mean is made and judged as if it had been declared,
    with its own uncertainty.
    """
    several = results["touchdowns"].to_numpy() > 1
    alone = results[~several]
    repeated = results[several & (results["touchdown"].to_numpy() > 0)]
    if repeated.empty:
        return alone
    if rule == "mean":
        chosen = _means(repeated, campaign)
    else:
        numbers = repeated.groupby(KEY, sort=False)["touchdown"]
        place = numbers.transform("min" if rule == "first" else "max")
        chosen = repeated[repeated["touchdown"] == place]
    return pd.concat([one for one in (alone, chosen) if len(one)], ignore_index=True)


def _means(repeated: pd.DataFrame, campaign: CampaignRecord) -> pd.DataFrame:
    """Means of the touchdowns of each value, judged."""
    touchdowns = campaign.touchdowns.model_copy(update={"counts": "mean"})
    declared = campaign.model_copy(update={"touchdowns": touchdowns})
    values = repeated.drop(columns="ev_detail", errors="ignore").rename(
        columns={"standing_detail": "ev_detail"}
    )
    values = values.assign(
        ev_detail=values["ev_detail"].fillna(""),
        ev_reasons=values["ev_reasons"].astype(np.int64),
        **{name: values[name].eq(True) for name in ("ev_not_closed", "ev_never_verified")},
    )
    chosen = choose_touchdowns(values, declared)
    means = judged(chosen[chosen["counts"].eq(True)].reset_index(drop=True), declared)
    return means.rename(columns={"ev_detail": "standing_detail"})
