"""A small campaign of each kind, made from the tiny one: each writes a folder without a fault."""

import shutil
import tomllib
from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from sitegen.publish.toml_text import toml_text
from tests.campaigns import (
    DIES,
    FREQUENCY_HZ,
    OMEGA,
    STARTED,
    inductance_h,
    series,
    tiny_campaign,
    values_table,
)

Toml = dict[str, Any]
SET_POINTS_C = (-40.0, 25.0, 125.0)


def changed(path: Path, change: Callable[[Toml], None]) -> None:
    """Read a record, let it be changed, and write it again."""
    record = tomllib.loads(path.read_text("utf-8"))
    change(record)
    path.write_text(toml_text(record), encoding="utf-8")


def dc_only(folder: Path) -> Path:
    """No analyser, no RF probe, no calibration: two parameters of a transistor on nine dies."""
    campaign = tiny_campaign(folder)
    shutil.rmtree(campaign / "calibrations")
    shutil.rmtree(campaign / "verifications")

    def without_rf(record: Toml) -> None:
        station = record["stations"][0]
        del station["cables"]
        station["instruments"] = [one for one in station["instruments"] if one["kind"] == "smu"]
        station["probes"] = [{"id": "N1", "kind": "dc", "serial_number": "2001"}]
        record["campaign"]["title"] = "Threshold and leakage on one wafer (simulated)"
        record["conditions"] = [one for one in record["conditions"] if one["id"] == "sat"]
        record["devices"] = [one for one in record["devices"] if one["id"] == "FET"]
        record["parameters"] = [one for one in record["parameters"] if one["kind"] == "dc"]

    def wafer(record: Toml) -> None:
        for name in ("rf_instrument", "substrate_c", "states", "sweeps"):
            del record[name]
        record["values"][0]["units"] = {"VTH": "V", "IOFF": "A"}

    changed(campaign / "campaign.toml", without_rf)
    changed(campaign / "wafers/W1/wafer.toml", wafer)
    table = values_table().drop_columns(["calibration"])
    dc = table.filter(pc.not_equal(table["parameter"], "FT"))
    pq.write_table(dc, campaign / "wafers/W1/values.parquet")
    (campaign / "wafers/W1/sweeps.parquet").unlink()
    return campaign


def corrected_sweeps(folder: Path) -> Path:
    """Sweeps that came corrected, and no record of the calibration that corrected them."""
    campaign = tiny_campaign(folder)
    shutil.rmtree(campaign / "calibrations")
    shutil.rmtree(campaign / "verifications")

    def only_sweeps(record: Toml) -> None:
        record["campaign"]["title"] = "Inductors on two wafers (simulated)"
        record["parameters"] = [one for one in record["parameters"] if one["id"] == "L"]
        record["devices"] = [one for one in record["devices"] if one["id"] == "IND"]
        record["conditions"] = [one for one in record["conditions"] if one["id"] == "rf"]
        record["plan"]["wafers"] = [{"id": "W1"}, {"id": "W2"}]

    changed(campaign / "campaign.toml", only_sweeps)
    shutil.copytree(campaign / "wafers/W1", campaign / "wafers/W2")
    for name in ("W1", "W2"):
        home = campaign / "wafers" / name

        def corrected(record: Toml, name: str = name) -> None:
            record["id"] = record["identity_read"] = name
            record["sweeps"][0]["sweep"] = "corrected"
            for key in ("states", "values", "reference_dies", "dc_instrument"):
                del record[key]

        changed(home / "wafer.toml", corrected)
        (home / "values.parquet").unlink()
        pq.write_table(corrected_table(), home / "sweeps.parquet")
    return campaign


def one_die(folder: Path) -> Path:
    """One wafer, of which one die is planned and measured."""
    campaign = tiny_campaign(folder)

    def planned(record: Toml) -> None:
        record["plan"]["wafers"][0]["dies"] = [[0, 0]]

    changed(campaign / "campaign.toml", planned)
    home = campaign / "wafers/W1"
    for name, x, y in (("values.parquet", 10, 5), ("sweeps.parquet", 0, 0)):
        table = pq.read_table(home / name)
        here = pc.and_(pc.equal(table["die_x"], x), pc.equal(table["die_y"], y))
        pq.write_table(table.filter(here), home / name)
    return campaign


def several_stations(folder: Path) -> Path:
    """The same inductor on two stations, each with its own analyser, calibration and wafer."""
    campaign = tiny_campaign(folder)

    def second(record: Toml) -> None:
        again = _renamed(record["stations"][0], {"ST1": "ST2", "VNA1": "VNA2", "SMU1": "SMU2"})
        again["name"] = "probe station 2 (simulated)"
        for one, serial in zip(again["instruments"], ("N-2", "S-2"), strict=True):
            one["serial_number"] = serial
        record["stations"].append(again)
        record["plan"]["wafers"].append({"id": "W2"})

    changed(campaign / "campaign.toml", second)
    names = {"ST1": "ST2", "VNA1": "VNA2", "SMU1": "SMU2", "CAL1": "CAL2", "VER1": "VER2"}
    for kind in ("calibrations", "verifications"):
        first = {"calibrations": "CAL1", "verifications": "VER1"}[kind]
        home = campaign / kind / names[first]
        shutil.copytree(campaign / kind / first, home)
        changed(home / "record.toml", lambda record: _rename(record, names))
    add_wafer(campaign, "W2", names)
    table = values_table()
    named = ["CAL2" if one == "CAL1" else one for one in table["calibration"].to_pylist()]
    place = table.schema.get_field_index("calibration")
    pq.write_table(
        table.set_column(place, "calibration", pa.array(named)),
        campaign / "wafers/W2/values.parquet",
    )
    return campaign


def several_temperatures(folder: Path) -> Path:
    """Threshold and leakage at three set points of temperature."""
    campaign = dc_only(folder)
    names = tuple(f"sat-{index}" for index in range(len(SET_POINTS_C)))

    def conditions(record: Toml) -> None:
        old = record["conditions"][0]
        record["conditions"] = [
            {
                **old,
                "id": name,
                "description": f"saturation, {celsius:g} °C",
                "temperature_c": celsius,
            }
            for name, celsius in zip(names, SET_POINTS_C, strict=True)
        ]
        for parameter in record["parameters"]:
            parameter["conditions"] = list(names)

    def thermal(record: Toml) -> None:
        record["thermal"] = [
            {
                "set_point_c": celsius,
                "chuck_reading_c": celsius + 0.1,
                "surface_correction_c": -0.1,
                "surface_correction_u_c": 0.1,
                "soak_s": 300.0,
            }
            for celsius in SET_POINTS_C
        ]

    changed(campaign / "campaign.toml", conditions)
    changed(campaign / "wafers/W1/wafer.toml", thermal)
    path = campaign / "wafers/W1/values.parquet"
    rows = pq.read_table(path).to_pylist()
    hot = [
        {
            **row,
            "condition": name,
            "temperature_c": celsius,
            "value": row["value"] * (1 - 2e-4 * (celsius - 25.0)),
            "measured_at": row["measured_at"] + timedelta(seconds=20 * order),
        }
        for row in rows
        for order, (name, celsius) in enumerate(zip(names, SET_POINTS_C, strict=True))
    ]
    pq.write_table(pa.Table.from_pylist(hot), path)
    return campaign


def lots_with_splits(folder: Path) -> Path:
    """Six wafers of two lots, three of each, the second lot processed otherwise."""
    campaign = dc_only(folder)
    wafers = [f"A{number}" for number in (1, 2, 3)], [f"B{number}" for number in (1, 2, 3)]

    def declared(record: Toml) -> None:
        record["plan"]["wafers"] = [{"id": one} for lot in wafers for one in lot]
        record["splits"] = [
            {"id": "usual", "name": "annealed for 30 s", "wafers": wafers[0]},
            {"id": "long", "name": "annealed for 60 s", "wafers": wafers[1]},
        ]

    changed(campaign / "campaign.toml", declared)
    rng = np.random.default_rng(20260302)
    for lot, names in zip(("LOT-A", "LOT-B"), wafers, strict=True):
        for name in names:
            add_wafer(campaign, name, {}, lot)
            path = campaign / "wafers" / name / "values.parquet"
            table = pq.read_table(path)
            factor = 1 + (0.01 if lot == "LOT-B" else 0.0) + 0.002 * rng.standard_normal()
            value = table["value"].to_numpy() * (factor + 0.004 * rng.standard_normal(len(table)))
            place = table.schema.get_field_index("value")
            pq.write_table(table.set_column(place, "value", pa.array(value)), path)
    shutil.rmtree(campaign / "wafers/W1")
    return campaign


def nothing_measured(folder: Path) -> Path:
    """A wafer is planned, the station is there, and nothing has happened yet."""
    campaign = dc_only(folder)
    shutil.rmtree(campaign / "wafers")
    return campaign


def add_wafer(campaign: Path, name: str, names: dict[str, str], lot: str = "TINY") -> None:
    """A copy of wafer W1 under another name; names: what else is called otherwise in its record."""
    home = campaign / "wafers" / name
    shutil.copytree(campaign / "wafers/W1", home)

    def renamed(record: Toml) -> None:
        _rename(record, names)
        record["id"] = record["identity_read"] = name
        record["lot"] = lot

    changed(home / "wafer.toml", renamed)


def corrected_table(dies: Sequence[tuple[int, int]] = DIES) -> pa.Table:
    """What the inductor of each die truly shows, as corrected sweeps."""
    points = len(FREQUENCY_HZ)
    parts = []
    for number, (x, y) in enumerate(dies):
        s = series(np.asarray(2.0 + 1j * OMEGA * inductance_h(x, y)))
        columns: dict[str, object] = {
            "die_x": np.full(points, x),
            "die_y": np.full(points, y),
            "device": ["IND"] * points,
            "condition": ["rf"] * points,
            "frequency_hz": FREQUENCY_HZ,
            "measured_at": [STARTED + timedelta(minutes=10 * number + 5)] * points,
        }
        for i, j in ((0, 0), (1, 0), (0, 1), (1, 1)):
            columns[f"s{i + 1}{j + 1}_re"] = s[:, i, j].real
            columns[f"s{i + 1}{j + 1}_im"] = s[:, i, j].imag
        parts.append(pa.table(columns))
    return pa.concat_tables(parts)


def _rename(record: Toml, names: dict[str, str]) -> None:
    renamed = _renamed(record, names)
    record.clear()
    record.update(renamed)


def _renamed(value: Any, names: dict[str, str]) -> Any:
    """The value with every text that is one of the names replaced."""
    if isinstance(value, dict):
        return {key: _renamed(each, names) for key, each in value.items()}
    if isinstance(value, list):
        return [_renamed(each, names) for each in value]
    return names.get(value, value) if isinstance(value, str) else value
