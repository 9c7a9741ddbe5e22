"""The values of a wafer's tables, with their floors and with what stands behind each."""

import numpy as np
import pandas as pd

from sitegen.compute.evidence import dc_evidence, rf_evidence
from sitegen.compute.floors import with_floors
from sitegen.compute.in_force import needed_ports
from sitegen.compute.sweeps import WaferSetting, joined_evidence, rows_of
from sitegen.problems import Fault

EVIDENCE = [
    "ev_calibration",
    "ev_basis",
    "ev_reasons",
    "ev_not_closed",
    "ev_never_verified",
    "ev_detail",
]


def with_evidence(
    values: pd.DataFrame, setting: WaferSetting, file: str
) -> tuple[pd.DataFrame, tuple[Fault, ...]]:
    """The table's values with floors and with what stands behind each; RF and DC apart."""
    parameters = {one.id: one for one in setting.campaign.parameters}
    devices = setting.devices()
    kinds = values["parameter"].map({name: one.kind for name, one in parameters.items()})
    values = values.assign(
        floor=np.nan,
        below_floor=False,
        not_reached=values["beyond"].eq(True),
        raw_reading=np.nan,
        u_common=np.nan,
        u_own=np.nan,
        no_value="",
        flags="",
    )
    parts: list[pd.DataFrame] = []
    faults: tuple[Fault, ...] = ()
    rf = values[kinds == "rf"]
    if len(rf):
        ports = rf["device"].map({name: needed_ports(one) for name, one in devices.items()})
        found = rf_evidence(
            rows_of(rf, np.asarray(ports, dtype=np.int64)),
            setting.calibrations,
            setting.station,
            setting.rf_instrument,
            setting.states,
            setting.campaign.touchdowns.contact_resistance_max_ohm,
            file,
        )
        faults = found.faults
        parts.append(joined_evidence(rf, found))
    dc = values[kinds == "dc"]
    if len(dc):
        dc, missing = with_floors(dc, parameters, setting)
        rows = rows_of(dc, 1)
        parts.append(
            joined_evidence(
                dc,
                dc_evidence(
                    rows.measured_at,
                    rows.contact_resistance_ohm,
                    missing,
                    setting.dc_instrument,
                    setting.campaign.touchdowns.contact_resistance_max_ohm,
                ),
            )
        )
    if not parts:
        return values.assign(**dict.fromkeys(EVIDENCE)), faults
    return pd.concat(parts, ignore_index=True), faults
