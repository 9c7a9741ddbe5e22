"""Faults of the input that only computing shows, and nothing that no fault depends on.

They are all that `solve_events` and `compute_wafer` tell: calibrations that cannot be solved, and
rows that name another calibration than the one in force. Neither asks for uncertainty, for checks,
or for what verifications found.
"""

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from sitegen.compute.in_force import CalibrationFacts, Rows, in_force, needed_ports
from sitegen.compute.solvable import solved_alone
from sitegen.model.campaign import CampaignRecord
from sitegen.model.loaded import Campaign, WaferTables
from sitegen.model.wafer import WaferRecord
from sitegen.problems import Fault


def made_calibrations(
    campaign: Campaign,
) -> tuple[tuple[CalibrationFacts, ...], tuple[Fault, ...]]:
    """Every calibration by time, its verifications left aside, and the faults of those that cannot
    be solved."""
    instruments = {
        (station.id, one.id): one
        for station in campaign.record.stations
        for one in station.instruments
    }
    solved = [
        solved_alone(one, instruments[one.record.station, one.record.instrument])
        for one in campaign.calibrations
    ]
    results = sorted(
        (result for result, _, _ in solved), key=lambda one: (one.made_at, one.record.id)
    )
    faults = tuple(fault for _, _, told in solved for fault in told)
    return tuple(CalibrationFacts(one, None, None, "", "") for one in results), faults


def naming_faults(
    record: WaferRecord,
    tables: WaferTables,
    campaign: CampaignRecord,
    calibrations: Sequence[CalibrationFacts],
) -> tuple[Fault, ...]:
    """Where a wafer's tables name another calibration than the one in force."""
    station = next(one for one in campaign.stations if one.id == record.station)
    instruments = {one.id: one for one in station.instruments}
    instrument = None if record.rf_instrument is None else instruments.get(record.rf_instrument)
    file = f"wafers/{record.id}/wafer.toml"
    needed = {one.id: needed_ports(one) for one in campaign.devices}
    of_rf = pa.array([one.id for one in campaign.parameters if one.kind == "rf"], pa.string())
    values = tables.values.filter(pc.is_in(tables.values.column("parameter"), of_rf))
    faults = set[Fault]()
    for keys in (values, *(group.keys for group in tables.sweeps)):
        if keys.num_rows and keys.column("calibration").null_count < keys.num_rows:
            rows = _rows(keys, [needed[name] for name in keys.column("device").to_pylist()])
            faults.update(in_force(rows, calibrations, station, instrument, file).faults)
    return tuple(sorted(faults))


def _rows(keys: pa.Table, ports: Iterable[int]) -> Rows:
    """When rows were taken and what they name; all else, which no fault hangs on, is not stated."""
    n = keys.num_rows
    stamped = keys.column("measured_at").cast(pa.timestamp("us")).to_numpy()
    unstated: npt.NDArray[np.float64] = np.full(n, np.nan)
    return Rows(
        measured_at=stamped.astype("datetime64[us]"),
        named=np.array([*keys.column("calibration").to_pylist(), None], dtype=object)[:-1],
        state=np.full(n, None, dtype=object),
        ambient_c=unstated,
        substrate_c=unstated,
        contact_resistance_ohm=unstated,
        ports=np.fromiter(ports, np.int64, n),
    )
