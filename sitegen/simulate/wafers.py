"""One wafer's portion of a campaign: its record, its tables, and the truth behind them."""

import pyarrow as pa

from sitegen.model.simulated import Portion
from sitegen.simulate.curve_tables import curve_table
from sitegen.simulate.earlier_map import EARLIER, earlier_map, earlier_record
from sitegen.simulate.parameters import PARAMETERS
from sitegen.simulate.set_points import HOT_C
from sitegen.simulate.smu import SMU
from sitegen.simulate.station_records import ONE_PORT_STATE, STATION, TWO_PORT_STATE, VNA
from sitegen.simulate.sweep_tables import ONE_PORT_PERIOD_H, SweepTable, sweep_tables
from sitegen.simulate.touchdown_table import touchdown_table
from sitegen.simulate.touched_wafer import TouchedWafer, in_frame
from sitegen.simulate.value_table import HOT_PERIOD_H, value_table

VALUES, CURVES, TOUCHDOWNS = "values.parquet", "curves.parquet", "touchdowns.parquet"
_BEFORE_H = 0.05
"""The wafer lies on the chuck before its first measurement."""
_REFERENCE_DIES = ((0, 0), (3, 1), (-1, 4))


def wafer_portion(wafer: TouchedWafer) -> Portion:
    """Everything of a wafer that is written."""
    values, true_values = value_table(wafer)
    sweeps = sweep_tables(wafer)
    curves, true_figures = curve_table(wafer)
    return Portion(
        folder=f"wafers/{wafer.plan.id}",
        record_file="wafer.toml",
        record=_record(wafer, sweeps),
        tables={
            VALUES: values,
            **{one.file: one.table for one in sweeps},
            CURVES: curves,
            TOUCHDOWNS: touchdown_table(wafer),
            EARLIER: earlier_map(wafer),
        },
        notes={"note.md": wafer.plan.note} if wafer.plan.note else {},
        true_values=pa.concat_tables([true_values, true_figures, *(one.truth for one in sweeps)]),
    )


def _record(wafer: TouchedWafer, sweeps: tuple[SweepTable, ...]) -> dict[str, object]:
    scenario, plan = wafer.scenario, wafer.plan
    start = plan.blocks[0].start
    record: dict[str, object] = {
        "id": plan.id,
        "identity_read": f"{plan.id} (scribed beside the notch)",
        "lot": str(scenario.identity["id"]),
        "slot": plan.slot,
        "station": STATION,
        "by": "measurement engineer on duty",
        "started": scenario.time(_started(wafer)),
        "finished": scenario.time(_finished(wafer)),
        "ambient_c": scenario.ambient_c(start),
        "substrate_c": scenario.substrate_c(start),
        "rf_instrument": VNA,
        "dc_instrument": SMU,
        "thermal": [_thermal(25.0, 25.0, 0.0, 0.1, 300.0)],
        "states": [{"id": "two-port", **TWO_PORT_STATE}],
        "values": [
            {
                "file": VALUES,
                "frame": plan.frame,
                "units": {one.id: one.unit for one in PARAMETERS if one.tabled},
            }
        ],
        "sweeps": [{"file": one.file, "sweep": one.sweep, "frame": plan.frame} for one in sweeps],
        "curves": [{"file": CURVES, "frame": plan.frame}],
        "touchdowns": [{"file": TOUCHDOWNS, "frame": plan.frame}],
        "earlier_maps": [earlier_record(wafer)],
    }
    if plan.hot is not None:
        record["thermal"] = [
            _thermal(25.0, 25.0, 0.0, 0.1, 300.0),
            _thermal(HOT_C, HOT_C + 1.1, -1.1, 0.3, 900.0),
        ]
    if plan.one_port is not None:
        record["states"] = [
            {"id": "two-port", **TWO_PORT_STATE},
            {"id": "one-port", **ONE_PORT_STATE},
        ]
    if plan.frame != "layout":
        record["reference_dies"] = [
            {"die": list(die), "frames": {plan.frame: list(in_frame(plan, die))}}
            for die in _REFERENCE_DIES
        ]
    return record


def _started(wafer: TouchedWafer) -> float:
    """The hour at which the wafer lay on the chuck."""
    controls = [one.start for one in wafer.scenario.controls if one.wafer == wafer.number]
    return min([wafer.plan.blocks[0].start, *(one - _BEFORE_H for one in controls)])


def _finished(wafer: TouchedWafer) -> float:
    """The hour at which the last session on the wafer ends."""
    plan = wafer.plan
    ends = [float(wafer.hours[-1]) + wafer.die_hours]
    if plan.hot is not None:
        ends.append(plan.hot.start + len(plan.hot.dies) * HOT_PERIOD_H)
    if plan.one_port is not None:
        ends.append(plan.one_port.start + len(plan.one_port.dies) * ONE_PORT_PERIOD_H)
    ends += [one.end + _BEFORE_H for one in wafer.scenario.controls if one.wafer == wafer.number]
    return max(ends)


def _thermal(
    set_c: float, reading_c: float, correction_c: float, u_c: float, soak_s: float
) -> dict[str, object]:
    return {
        "set_point_c": set_c,
        "chuck_reading_c": reading_c,
        "surface_correction_c": correction_c,
        "surface_correction_u_c": u_c,
        "soak_s": soak_s,
    }
