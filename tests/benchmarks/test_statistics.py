"""What all statistics of a campaign cost, as a ratio to pandas' own description of its values.

24 wafers of 300 dies and 30 parameters with limits and uncertainty. The description is the plain
groupby-describe of the same values by wafer and parameter; the program's part is all of it: the
summaries of each wafer and of the campaign, means and differences with what they carry, joint
statistics, distributions, tolerance intervals, capability, components, patterns, outliers, trends,
comparisons, correlations, yields.
"""

from datetime import timedelta

import pytest

from sitegen.compute.differences import compare_wafers
from sitegen.compute.joint_statistics import joint_statistics
from sitegen.compute.over_wafers.campaign_statistics import campaign_statistics
from sitegen.compute.population import summarise_results
from tests.benchmarks.processor_time import best_s
from tests.compute.over_wafers.campaign_values import START, campaign, dies_of, values, wafer_record

WAFERS, DIES, PARAMETERS = 24, 300, 30
MOST_DESCRIPTIONS = 10.0


@pytest.mark.long
def test_all_statistics_against_a_description() -> None:
    rows, record = values(WAFERS, DIES, PARAMETERS), campaign(PARAMETERS)
    dies, wafers = dies_of(rows), [wafer_record(number) for number in range(WAFERS)]
    made = {f"CAL-{number}": START + timedelta(hours=24 * number - 1) for number in range(12)}

    def describe() -> object:
        return rows.groupby(["wafer", "parameter"])["value"].describe()

    def everything() -> object:
        compared = compare_wafers(rows, record, wafers)
        summaries = [summarise_results(rows, record, "")]
        summaries += [
            summarise_results(mine, record, str(wafer)) for wafer, mine in rows.groupby("wafer")
        ]
        joint = joint_statistics(rows, record, [one.id for one in wafers])
        found = campaign_statistics(rows, dies, record, wafers, compared.differences, made)
        assert found is not None and len(found.parameters) == PARAMETERS
        return summaries, joint, found

    everything()  # what is cached by the number of dies is found once in any campaign
    described_s, program_s = best_s(describe, 3), best_s(everything, 2)
    print(
        f"described {described_s:.2f} s, program {program_s:.2f} s: {program_s / described_s:.1f}"
    )
    assert program_s <= MOST_DESCRIPTIONS * described_s
