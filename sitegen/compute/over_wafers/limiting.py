"""Which parameters take dies, alone and together."""

from collections import Counter
from collections.abc import Mapping

import pandas as pd

from sitegen.model.campaign import CampaignRecord
from sitegen.model.results import JUDGED
from sitegen.model.yield_results import LimitingParameter, LimitingTogether

DIE = ["wafer", "die_x", "die_y"]
Kind = tuple[str, str]
"""Parameter and condition."""


def limiting(
    refused: pd.DataFrame, results: pd.DataFrame, campaign: CampaignRecord
) -> tuple[tuple[LimitingParameter, ...], tuple[LimitingTogether, ...]]:
    """Parameters by the judged dies that they take, the most limiting first; and sets of them.

    refused: `DIE_COLUMNS` of the dies judged in full that do not conform; results: the joined
    columns. A parameter takes a die where a value of it that counts and stands has an outcome that
    no conforming die may have, at any site. Every die belongs to just one set.
    """
    takers = _takers(refused, results, campaign)
    order = {
        (parameter.id, condition): place
        for place, (parameter, condition) in enumerate(
            (parameter, condition)
            for parameter in campaign.parameters
            for condition in parameter.conditions
        )
    }
    sets = Counter(tuple(sorted(kinds, key=lambda kind: order[kind])) for kinds in takers.values())
    taken = Counter(kind for kinds in takers.values() for kind in kinds)
    found = [
        LimitingParameter(parameter, condition, count, sets[((parameter, condition),)])
        for (parameter, condition), count in taken.items()
    ]
    found.sort(key=lambda one: (-one.outside, -one.alone, order[one.parameter, one.condition]))
    together = [LimitingTogether(kinds, dies) for kinds, dies in sets.items()]
    together.sort(
        key=lambda one: (-one.dies, len(one.parameters), [order[k] for k in one.parameters])
    )
    return tuple(found), tuple(together)


def _takers(
    refused: pd.DataFrame, results: pd.DataFrame, campaign: CampaignRecord
) -> Mapping[tuple[str, int, int], set[Kind]]:
    """By die: the parameters and conditions that take it."""
    words = set(JUDGED) - set(campaign.verdict.conforming)
    takes = (
        results["outcome"].isin(words)
        & results["counts"].astype(bool)
        & (results["standing"] != "without standing")
    )
    dies = set(refused[DIE].itertuples(index=False, name=None))
    found: dict[tuple[str, int, int], set[Kind]] = {}
    rows = results.loc[takes, [*DIE, "parameter", "condition"]]
    for wafer, x, y, parameter, condition in rows.itertuples(index=False, name=None):
        if (wafer, x, y) in dies:
            found.setdefault((str(wafer), int(x), int(y)), set()).add((parameter, condition))
    return found
