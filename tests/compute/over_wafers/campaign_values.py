"""A campaign's values over wafers in memory, as the statistics see them."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd

from sitegen.model.campaign import CampaignRecord
from sitegen.model.result_tables import DIE_COLUMNS, RESULT_COLUMNS
from sitegen.model.wafer import Thermal, WaferRecord
from tests.compute.over_wafers.sample_data import PITCH_MM, grid
from tests.compute.settings import parameter, setting

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


def campaign(parameters: int) -> CampaignRecord:
    names = [f"P{number}" for number in range(parameters)]
    found = setting(
        *(parameter(name, lower=-3.0, upper=3.0, equivalence_margin=0.2) for name in names),
        rule="guarded",
    ).campaign
    assert found.layout is not None
    layout = found.layout.model_copy(
        update={"diameter_mm": 220.0, "die_pitch_x_mm": PITCH_MM, "die_pitch_y_mm": PITCH_MM}
    )
    return found.model_copy(update={"layout": layout})


def values(wafers: int, dies: int, parameters: int) -> pd.DataFrame:
    """One row a wafer, die and parameter: a bowl, a shift of each wafer, and each die's own."""
    rng = np.random.default_rng(11)
    places = grid(10.0)[:dies]
    n = wafers * dies * parameters
    wafer = np.repeat(np.arange(wafers), dies * parameters)
    die = np.tile(np.repeat(np.arange(dies), parameters), wafers)
    which = np.tile(np.arange(parameters), wafers * dies)
    x, y = places[die].T
    radius = np.hypot(x, y)
    shift = rng.normal(0.0, 0.2, (wafers, parameters))
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
    frame = found.assign(outcome=outcome, judged=True, planned=True, measured=1)
    frame = frame.assign(
        conforming=frame["outcome"] == "within", verdict_depends_on_touchdown=False
    )
    return frame.reindex(columns=[name for name, *_ in DIE_COLUMNS])
