"""A map of each wafer's threshold from the in-line test, two weeks before."""

import numpy as np
import pyarrow as pa

from sitegen.simulate.parameters import BY_ID
from sitegen.simulate.touched_wafer import TouchedWafer, as_table, key_columns

EARLIER = "in-line-map.parquet"
_BEFORE_H = 14 * 24.0
_PARAMETER = "VTH"
_NOISE_V = 0.008
_DIE_H = 5 / 3600


def earlier_map(wafer: TouchedWafer) -> pa.Table:
    """One row a die of the whole wafer, in the layout's frame."""
    n = len(wafer.scenario.grid.dies)
    every = np.arange(n)
    rng = np.random.default_rng([wafer.scenario.seed, 27, wafer.number])
    value = wafer.truth["threshold_v"] + _NOISE_V * rng.standard_normal(n)
    parameter = BY_ID[_PARAMETER]
    keys = key_columns(
        wafer.numbers(every), [parameter.device] * n, [parameter.conditions[0]] * n, np.ones(n)
    )
    return as_table(
        {
            **keys,
            "parameter": pa.array([_PARAMETER] * n, pa.string()),
            "value": pa.array(np.round(value, 4)),
            "measured_at": wafer.stamps(wafer.plan.blocks[0].start - _BEFORE_H + _DIE_H * every),
        }
    )


def earlier_record(wafer: TouchedWafer) -> dict[str, object]:
    """Its entry in the wafer's record."""
    day = wafer.scenario.time(wafer.plan.blocks[0].start - _BEFORE_H).date()
    return {
        "file": EARLIER,
        "units": {_PARAMETER: BY_ID[_PARAMETER].unit},
        "origin": f"in-line test of the process line, {day.isoformat()} (simulated)",
    }
