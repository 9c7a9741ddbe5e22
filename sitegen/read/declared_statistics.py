"""What campaign.toml declares for the statistics: it must lead to parameters, wafers and dies."""

from collections.abc import Sequence

from sitegen.model.campaign import CampaignRecord
from sitegen.model.declared_statistics import Pair
from sitegen.read.declared_devices import check_die, check_wafer
from sitegen.read.declared_stresses import check_stresses
from sitegen.read.files import Intake
from sitegen.read.references import CAMPAIGN_FILE, check_unique, is_known
from sitegen.read.words import choices, quoted


def check_statistics(intake: Intake, record: CampaignRecord) -> None:
    """Pairs of parameters, splits of wafers, studies, stresses, and the field of exposure."""
    if record.layout is not None and record.layout.reticle is not None:
        check_die(intake, "layout.reticle.origin_die", record.layout.reticle.origin_die, record)
    _check_pairs(intake, record)
    check_unique(intake, CAMPAIGN_FILE, "splits", [split.id for split in record.splits])
    _check_splits(intake, record)
    check_unique(intake, CAMPAIGN_FILE, "studies", [study.id for study in record.studies])
    for number, study in enumerate(record.studies, 1):
        _check_wafers(
            intake, f"studies[{number}].wafers (id {quoted(study.id)})", study.wafers, record
        )
    check_stresses(intake, record)


def _check_pairs(intake: Intake, record: CampaignRecord) -> None:
    first: dict[frozenset[tuple[str, str]], int] = {}
    for number, pair in enumerate(record.pairs, 1):
        place = f"pairs[{number}]"
        _check_value(intake, place, "x", pair.x, pair.x_condition, record)
        _check_value(intake, place, "y", pair.y, pair.y_condition, record)
        both = _of(pair)
        if len(both) == 1:
            intake.tell(
                CAMPAIGN_FILE,
                f"{place}.y",
                found="the same parameter and condition as 'x'",
                expected="another parameter, or another condition",
                remedy="Correct one of the two.",
            )
            continue
        earlier = first.setdefault(both, number)
        if earlier != number:
            intake.tell(
                CAMPAIGN_FILE,
                place,
                found=f"the same two as entry {earlier} has",
                expected="each pair once",
                remedy="Remove one of the two.",
            )


def _of(pair: Pair) -> frozenset[tuple[str, str]]:
    return frozenset({(pair.x, pair.x_condition), (pair.y, pair.y_condition)})


def _check_value(
    intake: Intake, place: str, key: str, parameter: str, condition: str, record: CampaignRecord
) -> None:
    """The parameter is declared and is measured under the condition."""
    parameters = {each.id: each for each in record.parameters}
    remedy = "Declare it under [[parameters]]."
    where = f"{place}.{key}"
    if not is_known(intake, CAMPAIGN_FILE, where, parameter, parameters, "parameter", remedy):
        return
    conditions = parameters[parameter].conditions
    if condition not in conditions:
        intake.tell(
            CAMPAIGN_FILE,
            f"{where}_condition",
            found=f"{quoted(condition)} with the parameter {quoted(parameter)}",
            expected=f"{choices(conditions)}, the parameter's conditions",
            remedy="Correct the condition, or add it to the parameter.",
        )


def _check_splits(intake: Intake, record: CampaignRecord) -> None:
    """Each wafer is known and in one split, and there are two splits to compare."""
    first: dict[str, str] = {}
    for number, split in enumerate(record.splits, 1):
        place = f"splits[{number}].wafers (id {quoted(split.id)})"
        _check_wafers(intake, place, split.wafers, record)
        for wafer in dict.fromkeys(split.wafers):
            earlier = first.setdefault(wafer, split.id)
            if earlier != split.id:
                intake.tell(
                    CAMPAIGN_FILE,
                    place,
                    found=f"wafer {quoted(wafer)}, which is in the split {quoted(earlier)} already",
                    expected="each wafer in one split",
                    remedy="Remove it from one of the two.",
                )
    if len(record.splits) == 1:
        intake.tell(
            CAMPAIGN_FILE,
            f"splits[1] (id {quoted(record.splits[0].id)})",
            found="one split alone",
            expected="two splits or more, which are compared with each other",
            remedy="Declare the other wafers as a split, or remove this one.",
        )


def _check_wafers(
    intake: Intake, place: str, wafers: Sequence[str], record: CampaignRecord
) -> None:
    """Each wafer is planned or has a folder, and is named once."""
    for wafer in dict.fromkeys(wafers):
        check_wafer(intake, place, wafer, record)
        if wafers.count(wafer) > 1:
            intake.tell(
                CAMPAIGN_FILE,
                place,
                found=f"wafer {quoted(wafer)} {wafers.count(wafer)} times",
                expected="each wafer once",
                remedy="Remove what is too much.",
            )
