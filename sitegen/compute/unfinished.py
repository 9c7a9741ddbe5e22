"""What is still to be filled in before a campaign's records are whole, as findings."""

from sitegen import addresses
from sitegen.model.base import Record
from sitegen.model.blanks import blanks_of
from sitegen.model.loaded import Campaign
from sitegen.problems import TO_FILL_IN, Finding
from sitegen.units import count


def unfinished(campaign: Campaign) -> tuple[Finding, ...]:
    """One finding for each record with blanks, and one for each wafer that waits for a layout."""
    records: list[tuple[str, str, Record]] = [("campaign", addresses.HOME, campaign.record)]
    if campaign.mapping is not None:
        records.append(("mapping", addresses.HOME, campaign.mapping))
    for word, page, loaded in (
        ("calibration", addresses.calibration, campaign.calibrations),
        ("verification", addresses.verification, campaign.verifications),
        ("acceptance", addresses.acceptance, campaign.acceptances),
        ("wafer", addresses.wafer, campaign.wafers),
    ):
        records += [(f"{word} {one.record.id}", page(one.record.id), one.record) for one in loaded]
    waiting = [one.record for one in campaign.waiting]
    records += [(f"wafer {one.id}", addresses.HOME, one) for one in waiting]
    return tuple(
        [found for one in records if (found := _blanks(*one)) is not None]
        + [
            Finding(
                "wafer without a layout",
                f"wafer {one.id}",
                f"The record of wafer {one.id} is there, and campaign.toml has no [layout] yet: it"
                " has no page until then.",
                "attention",
                addresses.HOME,
            )
            for one in waiting
        ]
    )


def _blanks(subject: str, address: str, record: Record) -> Finding | None:
    keys = blanks_of(record)
    if not keys:
        return None
    of = f"the {subject}" if " " not in subject else subject
    return Finding(
        TO_FILL_IN,
        subject,
        f"The record of {of} has {count(len(keys), 'entry', 'entries')} to fill in:"
        f" {', '.join(keys)}.",
        "attention",
        address,
    )
