"""Whether the wafer measured after a stress is the one measured before, lying as before.

A difference of two dies means nothing where the wafers were exchanged or one lay turned. What tells
wafers apart is the detail from die to die, which a stress that acts smoothly leaves: the record
before serves as the earlier map of the record after (`identity`).
"""

from collections.abc import Sequence

import pandas as pd

from sitegen import addresses
from sitegen.compute.identity import WaferIdentity, wafer_identities
from sitegen.compute.stats.spatial import AS_RECORDED
from sitegen.model.campaign import CampaignRecord
from sitegen.problems import Finding
from sitegen.units import count


def exchanged_wafers(results: pd.DataFrame, campaign: CampaignRecord) -> list[Finding]:
    """Records after a stress that agree better with another record before, or turned.

    results: `paired_dies.COLUMNS` of all wafers that stresses name.
    """
    if campaign.layout is None:
        return []
    found = []
    for stress in campaign.stresses:
        before = {one.after: one.before for one in (*stress.pairs, *stress.controls)}
        named = {name: after for after, name in before.items()}
        earlier = results[results["wafer"].isin(named) & results["counts"].eq(True)]
        earlier = earlier[earlier["value"].notna()]
        after = results[results["wafer"].isin(before)]
        identities = wafer_identities(
            after, earlier.assign(wafer=earlier["wafer"].map(named)), campaign.layout
        )
        found += _findings(stress.id, identities, before)
    return found


def _findings(
    stress: str, identities: Sequence[WaferIdentity], before: dict[str, str]
) -> list[Finding]:
    found = []
    for one in identities:
        best = one.best
        if best is None or not one.doubtful:
            continue
        other = best.wafer != one.wafer
        how = "" if best.orientation == AS_RECORDED else f" when {best.orientation}"
        whose = before[best.wafer] if other else "its own record before"
        asked = "which wafer was measured" if other else "how the wafer lay"
        found.append(
            Finding(
                "wafer identity in doubt",
                f"wafer {one.wafer}",
                f"Wafer {one.wafer}, after stress {stress}, agrees with {whose}{how} better than"
                f" with {before[one.wafer]} as recorded: rank correlation {best.correlation:.2f}"
                f" instead of {best.own:.2f}, over {count(best.n_dies, 'die')} and"
                f" {count(best.parameters, 'parameter')}, smooth surfaces taken out. Check {asked}:"
                " the shifts of its dies are of other devices.",
                "decision",
                addresses.wafer(one.wafer),
            )
        )
    return found
