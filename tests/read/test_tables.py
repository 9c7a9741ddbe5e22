"""A wafer's tables: what is accepted, converted and grouped."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest

from sitegen.model.loaded import (
    CURVE_KEY_SCHEMA,
    SWEEP_KEY_SCHEMA,
    TOUCHDOWN_SCHEMA,
    VALUE_SCHEMA,
    WaferTables,
)
from sitegen.model.tables import CURVE_COLUMNS, SWEEP_COLUMNS, TOUCHDOWN_COLUMNS, VALUE_COLUMNS
from sitegen.problems import Fault
from sitegen.read import read_campaign, read_wafer_tables
from tests.campaigns import FREQUENCY_HZ, OMEGA, inductance_h, raw, series, tiny_campaign
from tests.campaigns_broken.cases import SWEEPS, VALUES, WAFER, replace, table, with_unit


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tiny_campaign(tmp_path)


def tables_of(folder: Path) -> tuple[WaferTables, tuple[Fault, ...]]:
    campaign, faults = read_campaign(folder)
    assert faults == (), [fault.sentence() for fault in faults]
    return read_wafer_tables(folder, campaign.wafers[0], campaign.record, frozenset({"CAL1"}))


def whole(folder: Path) -> WaferTables:
    tables, faults = tables_of(folder)
    assert faults == (), [fault.sentence() for fault in faults]
    return tables


def test_columns_and_schemas_agree() -> None:
    documented = {column.name for column in VALUE_COLUMNS}
    assert set(VALUE_SCHEMA.names) - documented == {"bias", "file"}
    assert documented - set(VALUE_SCHEMA.names) == {"unit"}
    documented = {column.name for column in SWEEP_COLUMNS}
    assert set(SWEEP_KEY_SCHEMA.names) - documented == {"bias", "file"}
    documented = {column.name for column in CURVE_COLUMNS}
    assert set(CURVE_KEY_SCHEMA.names) - documented == {"stepped", "file"}
    assert documented - set(CURVE_KEY_SCHEMA.names) == {"curve", "range", "in_compliance"}
    documented = {column.name for column in TOUCHDOWN_COLUMNS}
    assert set(TOUCHDOWN_SCHEMA.names) - documented == {"file"}
    assert documented <= set(TOUCHDOWN_SCHEMA.names)


def test_values_in_the_layout_and_in_the_parameters_units(folder: Path) -> None:
    values = whole(folder).values
    assert values.schema.equals(VALUE_SCHEMA)
    rows = values.to_pylist()
    keys = [(r["die_x"], r["die_y"], r["parameter"]) for r in rows]
    assert keys == sorted(keys) and len(set(keys)) == 27
    for row in rows:
        assert row["state"] == "rf-path" and row["ambient_c"] == 23.0
        assert row["bias"] == "vgs_v=0.6012 vds_v=1.2"
        if row["parameter"] == "VTH":
            assert row["value"] == pytest.approx(410 + 5 * row["die_x"], rel=1e-12)
        if row["parameter"] == "FT":
            assert row["value"] == pytest.approx(100 + row["die_x"] + row["die_y"], rel=1e-12)
            assert row["calibration"] == "CAL1" and row["range"] is None


def test_sweeps_hold_what_the_file_holds(folder: Path) -> None:
    (group,) = whole(folder).sweeps
    assert (group.device, group.corrected, group.s.shape) == ("IND", False, (9, 11, 2, 2))
    np.testing.assert_array_equal(group.frequency_hz, FREQUENCY_HZ)
    assert group.keys.schema.equals(SWEEP_KEY_SCHEMA)
    keys = group.keys.to_pylist()
    assert [(k["die_y"], k["die_x"]) for k in keys] == sorted(
        (k["die_y"], k["die_x"]) for k in keys
    )
    for key, s in zip(keys, group.s, strict=True):
        impedance = np.asarray(2.0 + 1j * OMEGA * inductance_h(key["die_x"], key["die_y"]))
        np.testing.assert_array_equal(s, raw(series(impedance)))


def narrow(given: pa.Table) -> pa.Table:
    """The same numbers in other widths, and texts in a dictionary."""
    kinds = {pa.int64(): pa.int8(), pa.float64(): pa.float32()}
    columns = {
        name: pc.dictionary_encode(column)
        if column.type == pa.string()
        else column
        if name == "frequency_hz"
        else column.cast(kinds.get(column.type, column.type), safe=False)
        for name, column in zip(given.column_names, given.columns, strict=True)
    }
    return pa.table(columns)


def test_any_width_and_dictionaries(folder: Path) -> None:
    before = whole(folder)
    for file in (VALUES, SWEEPS):
        table(file, narrow)(folder)
    after = whole(folder)
    assert after.values.drop_columns(["value", "temperature_c", "bias"]).equals(
        before.values.drop_columns(["value", "temperature_c", "bias"])
    )
    assert after.values.schema.field("value").type == pa.float64()
    np.testing.assert_allclose(after.sweeps[0].s, before.sweeps[0].s, rtol=1e-6, atol=1e-7)


def test_unit_in_the_metadata_of_any_column_of_numbers(folder: Path) -> None:
    before = whole(folder)

    def in_ghz(given: pa.Table) -> pa.Table:
        index = given.column_names.index("frequency_hz")
        scaled = pc.divide(given.column(index), 1e9)
        return with_unit("frequency_hz", "GHz")(given.set_column(index, "frequency_hz", scaled))

    table(SWEEPS, in_ghz)(folder)
    np.testing.assert_allclose(
        whole(folder).sweeps[0].frequency_hz, before.sweeps[0].frequency_hz, rtol=1e-15
    )


def test_unit_in_a_column_of_its_own(folder: Path) -> None:
    before = whole(folder).values
    replace(WAFER, 'units = { VTH = "V", IOFF = "A", FT = "GHz" }', "")(folder)
    units = ["V", "A", "GHz"] * 9
    table(VALUES, lambda given: given.append_column("unit", pa.array(units)))(folder)
    assert whole(folder).values.equals(before)


def test_optional_columns_and_their_defaults(folder: Path) -> None:
    kept = ["die_x", "die_y", "device", "parameter", "condition", "value", "measured_at"]
    table(VALUES, lambda given: given.select(kept))(folder)
    row = whole(folder).values.to_pylist()[0]
    assert (row["site"], row["touchdown"], row["state"]) == ("", 1, "rf-path")
    assert (row["ambient_c"], row["calibration"], row["bias"]) == (23.0, None, None)


def test_times_are_turned_to_utc(folder: Path) -> None:
    before = whole(folder).values
    zoned = pa.timestamp("ns", tz="Asia/Tokyo")
    table(
        VALUES,
        lambda given: given.set_column(
            given.column_names.index("measured_at"),
            "measured_at",
            given.column("measured_at").cast(zoned),
        ),
    )(folder)
    assert whole(folder).values.equals(before)


def test_the_same_key_in_two_tables(folder: Path) -> None:
    pq.write_table(pq.read_table(folder / VALUES).slice(0, 2), folder / "wafers/W1/more.parquet")
    text = (folder / WAFER).read_text(encoding="utf-8")
    entry = (
        '\n[[values]]\nfile = "more.parquet"\nframe = "prober"\nunits = { VTH = "V", IOFF = "A" }\n'
    )
    (folder / WAFER).write_text(text + entry, encoding="utf-8")
    tables, faults = tables_of(folder)
    assert tables.values.num_rows == 27
    assert len(faults) == 1 and faults[0].count == 2
    assert f"row 1 of {VALUES}" in faults[0].found


def test_rows_in_any_order_make_the_same_sweeps(folder: Path) -> None:
    """Sweeps written side by side, one frequency of each die after the other."""
    before = whole(folder).sweeps[0]
    side_by_side = np.arange(99).reshape(9, 11).T.ravel()
    table(SWEEPS, lambda given: given.take(pa.array(side_by_side)))(folder)
    after = whole(folder).sweeps[0]
    np.testing.assert_array_equal(after.s, before.s)
    assert after.keys.equals(before.keys)


def test_another_frequency_list_is_another_group(folder: Path) -> None:
    def shifted(given: pa.Table) -> pa.Table:
        frequency_hz = given.column("frequency_hz").to_numpy().copy()
        frequency_hz[:11] += 1e6
        return given.set_column(
            given.column_names.index("frequency_hz"), "frequency_hz", pa.array(frequency_hz)
        )

    table(SWEEPS, shifted)(folder)
    assert [group.s.shape[0] for group in whole(folder).sweeps] == [8, 1]


def test_a_device_of_one_port(folder: Path) -> None:
    replace("campaign.toml", 'kind = "inductor"', 'kind = "inductor"\nports = 1')(folder)
    drop = [f"{name}_{part}" for name in ("s21", "s12", "s22") for part in ("re", "im")]
    table(SWEEPS, lambda given: given.drop_columns(drop))(folder)
    assert whole(folder).sweeps[0].s.shape == (9, 11, 1, 1)


def test_two_ports_for_a_device_of_one(folder: Path) -> None:
    replace("campaign.toml", 'kind = "inductor"', 'kind = "inductor"\nports = 1')(folder)
    tables, faults = tables_of(folder)
    assert tables.sweeps == ()
    assert len(faults) == 1 and faults[0].count == 9
    assert "only s11" in faults[0].expected


@pytest.mark.parametrize(
    ("change", "found"),
    [
        (lambda t: with_unit("temperature_c", "K")(t), '"K"'),
        (lambda t: with_unit("temperature_c", "warm")(t), '"warm"'),
        (lambda t: with_unit("value", "loud")(t), '"loud"'),
    ],
)
def test_columns_and_units_that_are_refused(
    folder: Path, change: Callable[[pa.Table], pa.Table], found: str
) -> None:
    table(VALUES, change)(folder)
    tables, faults = tables_of(folder)
    assert tables.values.num_rows == 0
    assert len(faults) == 1 and found in faults[0].found


def test_a_bias_that_no_condition_declares(folder: Path) -> None:
    table(VALUES, lambda given: given.append_column("bias_vbb", pa.array([1.0] * 27)))(folder)
    tables, faults = tables_of(folder)
    assert tables.values.num_rows == 27
    assert len(faults) == 1 and "name of a declared bias" in faults[0].expected


def test_measured_bias_of_sweeps_in_the_unit_of_its_name(folder: Path) -> None:
    """Each sweep has the bias of its first row; one in mV is converted, an empty one left out."""

    def biased(given: pa.Table) -> pa.Table:
        gate_mv = np.repeat(np.arange(9) * 100.0, 11)
        with_gate = given.append_column("bias_vgs_v", pa.array(gate_mv))
        drain_v = pa.array([None] * 11 + [1.2] * 88, pa.float64())
        return with_unit("bias_vgs_v", "mV")(with_gate.append_column("bias_vds_v", drain_v))

    assert whole(folder).sweeps[0].keys.column("bias").null_count == 9
    table(SWEEPS, biased)(folder)
    bias = whole(folder).sweeps[0].keys.column("bias").to_pylist()
    assert bias[:3] == ["vgs_v=0", "vgs_v=0.1 vds_v=1.2", "vgs_v=0.2 vds_v=1.2"]
