"""Stresses of campaign.toml: each leads to wafers, and to two records of one wafer in order."""

from collections.abc import Iterator, Mapping

from sitegen.model.campaign import CampaignRecord
from sitegen.model.declared_statistics import Remeasured, Stress
from sitegen.model.loaded import LoadedWafer
from sitegen.model.remeasured import contradiction, measured_again
from sitegen.read.declared_devices import check_wafer
from sitegen.read.files import Intake
from sitegen.read.references import CAMPAIGN_FILE, check_unique
from sitegen.read.words import quoted


def check_stresses(intake: Intake, record: CampaignRecord) -> None:
    """Wafers are known, each named once in a stress, and what counts twice is in no split."""
    check_unique(intake, CAMPAIGN_FILE, "stresses", [stress.id for stress in record.stresses])
    for number, stress in enumerate(record.stresses, 1):
        first: dict[str, str] = {}
        for place, pair in _pairs(number, stress):
            for key, wafer in (("before", pair.before), ("after", pair.after)):
                where = f"{place}.{key}"
                earlier = first.setdefault(wafer, where)
                if earlier == where:
                    check_wafer(intake, where, wafer, record)
                    continue
                intake.tell(
                    CAMPAIGN_FILE,
                    where,
                    found=f"wafer {quoted(wafer)}, which {earlier} names already",
                    expected="each wafer record once in a stress, either before or after it",
                    remedy="Correct one of the two.",
                )
    _check_splits(intake, record)


def _check_splits(intake: Intake, record: CampaignRecord) -> None:
    again = measured_again(record)
    for number, split in enumerate(record.splits, 1):
        for wafer in dict.fromkeys(split.wafers):
            if wafer in again:
                intake.tell(
                    CAMPAIGN_FILE,
                    f"splits[{number}].wafers (id {quoted(split.id)})",
                    found=f"wafer {quoted(wafer)}, which a stress names as 'after'",
                    expected="wafers that take part in the statistics",
                    remedy="Name the wafer's record before the stress instead.",
                )


def check_stressed_wafers(
    intake: Intake, record: CampaignRecord, wafers: Mapping[str, LoadedWafer | None]
) -> None:
    """The two records of a pair, where both were read, can be of one wafer in this order."""
    read = {one.record.id: one.record for one in wafers.values() if one is not None}
    for number, stress in enumerate(record.stresses, 1):
        for place, pair in _pairs(number, stress):
            if pair.before == pair.after or not {pair.before, pair.after} <= read.keys():
                continue
            against = contradiction(read[pair.before], read[pair.after])
            if against is not None:
                intake.tell(
                    CAMPAIGN_FILE,
                    f"{place}.after",
                    found=against.found,
                    expected=against.expected,
                    remedy=f"{against.remedy} Until then the two are not compared.",
                )


def _pairs(number: int, stress: Stress) -> Iterator[tuple[str, Remeasured]]:
    """Each pair with its place: 'stresses[1].controls[2]'."""
    for key, pairs in (("pairs", stress.pairs), ("controls", stress.controls)):
        for place, pair in enumerate(pairs, 1):
            yield f"stresses[{number}].{key}[{place}]", pair
