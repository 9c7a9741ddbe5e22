"""One wafer measured again by several operators: records of a study, each with its repeats."""

import numpy as np
import pyarrow as pa

from sitegen.model.arrays import FloatArray
from sitegen.model.simulated import Portion
from sitegen.simulate.draws import measured
from sitegen.simulate.measured import Measured
from sitegen.simulate.parameters import BY_ID
from sitegen.simulate.process import wafer_truth
from sitegen.simulate.scenario import Scenario, StudyPlan
from sitegen.simulate.set_points import SET_POINTS
from sitegen.simulate.smu import SMU
from sitegen.simulate.station_records import STATION
from sitegen.simulate.touched_wafer import as_table, key_columns, true_table
from sitegen.simulate.value_table import BIAS_NAMES

VALUES = "values.parquet"
PERIOD_H = 40 / 3600
"""From one touchdown to the next."""
_STREAM = 50
"""Apart from the touchdowns of the campaign's own wafers."""


def study_record(study: StudyPlan) -> dict[str, object]:
    """The study's entry in campaign.toml."""
    return {"id": study.id, "between": "operators", "wafers": [name for name, _, _ in study.turns]}


def study_portion(scenario: Scenario, study: StudyPlan, turn: int) -> Portion:
    """What one operator left: each die touched `repeats` times, one round after the other."""
    name, operator, start_h = study.turns[turn]
    hours = start_h + PERIOD_H * np.arange(len(study.dies) * study.repeats)
    tables = [_values(scenario, study, turn, BY_ID[one], hours) for one in study.parameters]
    wafer = scenario.wafers[study.wafer]
    return Portion(
        folder=f"wafers/{name}",
        record_file="wafer.toml",
        record={
            "id": name,
            "identity_read": f"{wafer.id} (scribed beside the notch)",
            "lot": str(scenario.identity["id"]),
            "slot": wafer.slot,
            "station": STATION,
            "by": operator,
            "started": scenario.time(start_h),
            "finished": scenario.time(float(hours[-1]) + PERIOD_H),
            "only_for_study": True,
            "ambient_c": scenario.ambient_c(start_h),
            "dc_instrument": SMU,
            "thermal": [
                {
                    "set_point_c": 25.0,
                    "chuck_reading_c": 25.0,
                    "surface_correction_c": 0.0,
                    "surface_correction_u_c": 0.1,
                    "soak_s": 300.0,
                }
            ],
            "values": [
                {"file": VALUES, "units": {one: BY_ID[one].unit for one in study.parameters}}
            ],
        },
        tables={VALUES: pa.concat_tables([table for table, _ in tables])},
        true_values=pa.concat_tables([truth for _, truth in tables]),
    )


def _values(
    scenario: Scenario, study: StudyPlan, turn: int, parameter: Measured, hours: FloatArray
) -> tuple[pa.Table, pa.Table]:
    """One operator's values of one parameter in the order of time, and the truth of each row."""
    assert parameter.truth is not None, "a study is of values that come as numbers"
    order = {die: place for place, die in enumerate(scenario.grid.dies)}
    dies = np.array([order[die] for die in study.dies])
    places, count = np.tile(dies, study.repeats), len(hours)
    true = parameter.truth(wafer_truth(scenario.grid, scenario.seed, study.wafer))
    drawn = [
        measured(parameter, true, scenario.seed, study.wafer, _STREAM + 10 * turn + number)[dies]
        for number in range(study.repeats)
    ]
    condition = parameter.conditions[0]
    at = next(one for one in SET_POINTS if one.id == condition)
    keys = key_columns(
        np.array(scenario.grid.dies, dtype=np.int32)[places],
        [parameter.device] * count,
        [condition] * count,
        np.repeat(np.arange(1, study.repeats + 1), len(dies)),
    )
    names = pa.array([parameter.id] * count, pa.string())
    rng = np.random.default_rng([scenario.seed, 25, study.wafer, turn])
    zone = scenario.start.strftime("%z")
    table = as_table(
        {
            **keys,
            "parameter": names,
            "value": pa.array(np.concatenate(drawn) + study.shift[turn] * float(np.median(true))),
            "measured_at": pa.array(
                [scenario.time(float(hour)) for hour in hours],
                pa.timestamp("us", tz=f"{zone[:3]}:{zone[3:]}"),
            ),
            "temperature_c": pa.array([at.temperature_c] * count, pa.float64()),
            "ambient_c": pa.array([scenario.ambient_c(float(hour)) for hour in hours]),
            "contact_resistance_ohm": pa.array(np.round(rng.uniform(0.3, 0.7, count), 3)),
            **{
                f"bias_{name}": pa.array([at.bias.get(name)] * count, pa.float64())
                for name in BIAS_NAMES
            },
        }
    )
    return table, true_table(
        study.turns[turn][0], keys, names.to_pylist(), np.asarray(true[places])
    )
