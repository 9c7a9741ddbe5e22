"""What all statistics of a campaign cost, as a ratio to pandas' own description of its values.

24 wafers of 300 dies and 30 parameters with limits and uncertainty. The description is the plain
groupby-describe of the same values by wafer and parameter; the program's part is all of it: the
summaries of each wafer and of the campaign, means and differences with what they carry, joint
statistics, distributions, tolerance intervals, capability, components, patterns, outliers, trends,
comparisons, correlations, yields.
"""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd

from sitegen.compute.campaign_statistics import campaign_statistics
from sitegen.compute.differences import compare_wafers
from sitegen.compute.joint_statistics import joint_statistics
from sitegen.compute.population import summarise_results
from sitegen.model.campaign import CampaignRecord
from sitegen.model.result_tables import DIE_COLUMNS, RESULT_COLUMNS
from sitegen.model.wafer import Thermal, WaferRecord
from tests.compute.sample_data import PITCH_MM, grid
from tests.compute.settings import parameter, setting

WAFERS, DIES, PARAMETERS = 24, 300, 30
MOST_DESCRIPTIONS = 10.0
START = datetime(2026, 4, 20, 8, 0, tzinfo=UTC)


def wafer_record(number: int) -> WaferRecord:
    return WaferRecord(
        id=f"W{number + 1}",
        identity_read=f"W{number + 1}",
        lot=f"L{number // 4}",
        station="A",
        by="a",
        started=START + timedelta(hours=12 * number),
        finished=START + timedelta(hours=12 * number + 10),
        ambient_c=22.0,
        thermal=(
            Thermal(
                set_point_c=25.0,
                chuck_reading_c=25.0,
                surface_correction_c=0.0,
                surface_correction_u_c=0.1,
                soak_s=60.0,
            ),
        ),
    )


def campaign() -> CampaignRecord:
    names = [f"P{number}" for number in range(PARAMETERS)]
    found = setting(
        *(parameter(name, lower=-3.0, upper=3.0, equivalence_margin=0.2) for name in names),
        rule="guarded",
    ).campaign
    assert found.layout is not None
    layout = found.layout.model_copy(
        update={"diameter_mm": 220.0, "die_pitch_x_mm": PITCH_MM, "die_pitch_y_mm": PITCH_MM}
    )
    return found.model_copy(update={"layout": layout})


def values() -> pd.DataFrame:
    """One row a wafer, die and parameter: a bowl, a shift of each wafer, and each die's own."""
    rng = np.random.default_rng(11)
    dies = grid(10.0)[:DIES]
    n = WAFERS * DIES * PARAMETERS
    wafer = np.repeat(np.arange(WAFERS), DIES * PARAMETERS)
    die = np.tile(np.repeat(np.arange(DIES), PARAMETERS), WAFERS)
    which = np.tile(np.arange(PARAMETERS), WAFERS * DIES)
    x, y = dies[die].T
    radius = np.hypot(x, y)
    shift = rng.normal(0.0, 0.2, (WAFERS, PARAMETERS))
    value = shift[wafer, which] + 0.02 * (radius - 5.0) + rng.normal(size=n)
    rows = pd.DataFrame({name: pd.Series([None] * n, dtype=object) for name, *_ in RESULT_COLUMNS})
    limited = np.select(
        [np.abs(value) <= 2.8, np.abs(value) <= 3.0], ["within", "not proven"], "outside"
    )
    numbers = {"u": 0.1, "u_own": 0.06, "u_common": 0.08, "expanded_uncertainty": 0.2}
    empty = ["u_calibration", "u_definitions", "u_dummies", "u_touchdowns", "u_instrument",
             "u_temperature", "u_misfit", "u_extraction", "u_declared", "floor"]  # fmt: skip
    return rows.assign(
        wafer=np.char.add("W", (wafer + 1).astype(str)).astype(object),
        die_x=x, die_y=y, x_mm=x * PITCH_MM, y_mm=y * PITCH_MM,
        zone=np.select([radius < 5.6, radius < 8.0], ["centre", "middle"], "edge"),
        site="", device="D", condition="RT",
        parameter=np.char.add("P", which.astype(str)).astype(object),
        touchdown=1, touchdowns=1, counts=True, value=value, unit="V", lower=-3.0, upper=3.0,
        below_floor=False, not_reached=False, outcome=limited, standing="stands",
        calibration=np.char.add("CAL-", (wafer // 2).astype(str)).astype(object),
        measured_at=pd.Timestamp(START) + pd.to_timedelta(wafer * 43200 + die * 100, unit="s"),
        **numbers, **dict.fromkeys(empty, np.nan),
    )  # fmt: skip


def dies_of(rows: pd.DataFrame) -> pd.DataFrame:
    """Each die with its verdict."""
    worst = rows.assign(outside=rows["outcome"] == "outside", open=rows["outcome"] == "not proven")
    found = worst.groupby(["wafer", "die_y", "die_x"], as_index=False)[["outside", "open"]].any()
    outcome = np.select([found["outside"], found["open"]], ["outside", "not proven"], "within")
    frame = found.assign(outcome=outcome, judged=True, planned=True, measured=PARAMETERS)
    frame = frame.assign(
        conforming=frame["outcome"] == "within", verdict_depends_on_touchdown=False
    )
    return frame.reindex(columns=[name for name, *_ in DIE_COLUMNS])


def best_s(work: Callable[[], object], times: int) -> float:
    """Processor seconds, the least of some runs."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def test_all_statistics_against_a_description() -> None:
    rows, record = values(), campaign()
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
