"""How much of a campaign each source of mapping.toml understands."""

from collections import Counter

from sitegen.model.loaded import Campaign
from sitegen.model.source_use import SourceUse


def source_uses(campaign: Campaign) -> tuple[SourceUse, ...]:
    """Each source in the mapping's order; none without a mapping.

    Files of calibrations and verifications are counted as the list of gathered files has them,
    all others as they were found; a file of several wafers counts once.
    """
    if campaign.mapping is None:
        return ()
    listed = Counter(row.source for row in campaign.gathered)
    uses = []
    for source in campaign.mapping.sources:
        files: set[str] = set()
        wafers: list[str] = []
        for wafer in campaign.wafers:
            for mapped in wafer.mapped:
                if mapped.source.id == source.id:
                    files.update(file for one in mapped.files for file in one.files)
                    wafers.append(wafer.record.id)
        count = listed[source.id] if source.is_of_events else len(files)
        uses.append(SourceUse(source, count, tuple(sorted(set(wafers)))))
    return tuple(uses)
