"""What only a look over all wafers gives: findings, comparisons, what goes to the design team."""

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from sitegen import jobs
from sitegen.compute.agreements import agreement_findings
from sitegen.compute.controls import control_findings
from sitegen.compute.differences import Compared
from sitegen.compute.handover import choose_dies
from sitegen.compute.identity import identity_findings, wafer_identities
from sitegen.compute.joint_statistics import joint_statistics
from sitegen.compute.suspicions import suspicions
from sitegen.compute.wear_of_contacts import contact_effects, effect_findings
from sitegen.model.campaign import CampaignRecord
from sitegen.model.device_results import TOUCHDOWN_RESULT_COLUMNS, ControlResult, HandedOver
from sitegen.model.result_tables import EARLIER_COLUMNS
from sitegen.model.results import TableFile
from sitegen.problems import Finding
from sitegen.publish import difference_tables, handover_tables
from sitegen.publish.handover_sweeps import write_sweeps
from sitegen.publish.tables import read_columns, write_table
from sitegen.wafer_jobs import Computed, traces_beside


def findings_between(
    record: CampaignRecord,
    values: pd.DataFrame,
    controls: Sequence[ControlResult],
    computed: Sequence[Computed],
    root: Path,
) -> list[Finding]:
    """Control dies, agreements, cleanings and touchdowns, turned and exchanged wafers."""
    touchdowns = read_columns(root, "touchdowns", [name for name, _, _ in TOUCHDOWN_RESULT_COLUMNS])
    effects = contact_effects(values, touchdowns, record, [one.record for one in computed])
    found = [
        *control_findings(controls),
        *agreement_findings(values, record),
        *effect_findings(effects),
    ]
    if record.layout is not None:
        earlier = read_columns(root, "earlier-maps", [name for name, _, _ in EARLIER_COLUMNS])
        found += suspicions(values, record.layout)
        found += identity_findings(wafer_identities(values, earlier, record.layout))
    return found


def write_comparisons(
    record: CampaignRecord, values: pd.DataFrame, compared: Compared, root: Path
) -> tuple[TableFile, ...]:
    """Means and differences of wafers, the table of every die, and what a model is made from."""
    wafers = sorted(str(name) for name in values["wafer"].unique())
    contents = [*difference_tables.contents(compared.means, compared.differences, record)]
    if len(values):
        statistics = joint_statistics(values, record, wafers)
        contents += handover_tables.contents(values, statistics, record)
    return tuple(
        write_table(root, name, description, table.schema, [table])
        for name, description, table in contents
    )


def hand_over(
    record: CampaignRecord, values: pd.DataFrame, computed: Sequence[Computed], root: Path
) -> tuple[HandedOver, ...]:
    """Choose the dies whose sweeps go to the design team, and write them, one wafer at a time."""
    chosen = choose_dies(values, record, [one.record.id for one in computed])
    for one in computed:
        if any(die.wafer == one.record.id for die in chosen):
            traces = jobs.kept(traces_beside(one.kept))
            chosen = write_sweeps(root, chosen, traces, record, one.record)
    return chosen
