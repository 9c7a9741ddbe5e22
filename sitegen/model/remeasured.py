"""Wafers measured again: which records count, and which two can be of one wafer."""

from dataclasses import dataclass

from sitegen.model.base import is_blank
from sitegen.model.campaign import CampaignRecord
from sitegen.model.wafer import WaferRecord


@dataclass(frozen=True)
class Contradiction:
    """Why two records cannot be of one wafer before and after, as parts of a fault."""

    found: str
    expected: str
    remedy: str


def measured_again(campaign: CampaignRecord) -> frozenset[str]:
    """Wafer records that a stress names as `after`: further measurements of wafers that count."""
    return frozenset(
        one.after for stress in campaign.stresses for one in (*stress.pairs, *stress.controls)
    )


def takes_part(record: WaferRecord, campaign: CampaignRecord) -> bool:
    """Whether the record takes part in yields and in the statistics of the campaign.

    A record for a study only does not, and none of a wafer after a stress: its dies are those of
    the record before, and would count twice.
    """
    return not record.only_for_study and record.id not in measured_again(campaign)


def contradiction(before: WaferRecord, after: WaferRecord) -> Contradiction | None:
    """What speaks against the two being one wafer in this order; None where nothing does."""
    begun, done = after.started, before.finished
    if begun is not None and done is not None and begun < done:
        return Contradiction(
            found=f"{after.id}, which was started on {begun.isoformat()}",
            expected=f"a record begun after {before.id} was finished, {done.isoformat()}",
            remedy="Exchange the two, or correct the times.",
        )
    for name, word in (("lot", "lot"), ("identity_read", "identity as read")):
        mine, theirs = getattr(before, name), getattr(after, name)
        if mine != theirs and not is_blank(mine) and not is_blank(theirs):
            return Contradiction(
                found=f'{after.id} with the {word} "{theirs}"',
                expected=f'"{mine}", as {before.id} has: the two are one wafer',
                remedy="Correct the pair, or whichever record is wrong.",
            )
    return None
