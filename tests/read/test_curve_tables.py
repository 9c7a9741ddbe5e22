"""A wafer's curves, touchdowns and earlier maps: what is accepted, converted and grouped."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest

from sitegen.model.loaded import (
    CURVE_KEY_SCHEMA,
    TOUCHDOWN_SCHEMA,
    VALUE_SCHEMA,
    CurveGroup,
    WaferTables,
)
from sitegen.problems import Fault
from sitegen.read import read_campaign, read_wafer_tables
from tests.campaigns import DIES, STARTED
from tests.campaigns_broken.cases import WAFER, append, cell, replace, table, with_unit
from tests.campaigns_broken.device_cases import CURVES, EARLIER, TOUCHDOWNS
from tests.device_campaign import DRAIN_V, GATE_V, device_campaign, drain_a, threshold_v


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return device_campaign(tmp_path)


def tables_of(folder: Path) -> tuple[WaferTables, tuple[Fault, ...]]:
    campaign, faults = read_campaign(folder)
    assert faults == (), [fault.sentence() for fault in faults]
    return read_wafer_tables(folder, campaign.wafers[0], campaign.record, frozenset({"CAL1"}))


def whole(folder: Path) -> WaferTables:
    tables, faults = tables_of(folder)
    assert faults == (), [fault.sentence() for fault in faults]
    return tables


def assert_equal(one: CurveGroup, other: CurveGroup) -> None:
    """The same curves, point by point."""
    assert one.curve == other.curve and one.keys.equals(other.keys)
    for name in ("swept", "measured", "again", "range", "in_compliance"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    assert list(one.others) == list(other.others)
    for name, numbers in one.others.items():
        np.testing.assert_array_equal(numbers, other.others[name])


def test_curves_hold_what_the_file_holds(folder: Path) -> None:
    forced, transfer = whole(folder).curves
    assert (forced.curve, transfer.curve) == ("FORCED", "TRANSFER")
    assert forced.keys.schema.equals(CURVE_KEY_SCHEMA)
    assert forced.again is None and forced.others == {}
    assert forced.keys.column("stepped").null_count == 9
    np.testing.assert_array_equal(forced.swept, [[-1e-3, 0.0, 1e-3]] * 9)
    np.testing.assert_array_equal(forced.measured, 50.0 * forced.swept)
    keys = transfer.keys.to_pylist()
    order = [(key["die_y"], key["die_x"], key["stepped"]) for key in keys]
    assert order == [(y, x, drain_v) for x, y in DIES for drain_v in DRAIN_V]
    for row, key in enumerate(keys):
        threshold = threshold_v(key["die_x"], key["die_y"])
        np.testing.assert_array_equal(transfer.swept[row], GATE_V)
        expected = [drain_a(gate_v, threshold) for gate_v in GATE_V]
        np.testing.assert_array_equal(transfer.measured[row], expected)
        assert key["path"] == "triaxial" and key["file"] == CURVES
    assert transfer.again is not None
    np.testing.assert_array_equal(transfer.again, transfer.measured)
    np.testing.assert_array_equal(transfer.others["ig_a"], np.full((18, 6), 1e-12))
    assert (transfer.range == "100 nA").all() and not transfer.in_compliance.any()
    assert keys[0]["measured_at"] == STARTED + timedelta(seconds=1)


def test_curves_of_unequal_length_are_filled_at_their_end(folder: Path) -> None:
    table(CURVES, lambda given: pa.concat_tables([given.slice(0, 4), given.slice(6)]))(folder)
    cell(CURVES, "in_compliance", 4, 1)(folder)
    transfer = whole(folder).curves[1]
    assert transfer.swept.shape == (18, 6)
    np.testing.assert_array_equal(transfer.swept[0], [*GATE_V[:4], np.nan, np.nan])
    np.testing.assert_array_equal(np.isnan(transfer.measured[0]), [False] * 4 + [True] * 2)
    np.testing.assert_array_equal(np.isnan(transfer.others["ig_a"][0]), np.isnan(transfer.swept[0]))
    assert transfer.range[0].tolist() == ["100 nA"] * 4 + [None] * 2
    assert transfer.in_compliance[0].tolist() == [False] * 3 + [True] + [False] * 2
    assert not np.isnan(transfer.swept[1:]).any()


def test_a_double_sweep_keeps_its_order_of_measurement(folder: Path) -> None:
    """Up and down again under one stepped value is one curve."""

    def and_down(given: pa.Table) -> pa.Table:
        return pa.concat_tables([given, given.take(pa.array([4, 3, 2, 1, 0]))])

    table(CURVES, and_down)(folder)
    transfer = whole(folder).curves[1]
    np.testing.assert_array_equal(transfer.swept[0], [*GATE_V, *GATE_V[-2::-1]])


def test_rows_in_any_order_of_the_curves(folder: Path) -> None:
    """One point of each curve after the other gives the same curves as one after the other."""
    before = whole(folder).curves
    rows = pq.read_table(folder / CURVES)
    by_point = np.argsort([row["vg_v"] or 0.0 for row in rows.to_pylist()], kind="stable")
    pq.write_table(rows.take(pa.array(by_point)), folder / CURVES)
    for one, other in zip(before, whole(folder).curves, strict=True):
        assert_equal(one, other)


def test_units_of_curves_are_converted_to_volts_and_amperes(folder: Path) -> None:
    before = whole(folder).curves[1]

    def scaled(given: pa.Table) -> pa.Table:
        for name, factor, unit in (
            ("vg_v", 1e3, "mV"),
            ("vd_v", 1e3, "mV"),
            ("id_a", 1e6, "µA"),
            ("id_a_again", 1e6, "uA"),
        ):
            index = given.column_names.index(name)
            numbers = pc.multiply(given.column(index), factor)
            given = with_unit(name, unit)(given.set_column(index, name, numbers))
        return given

    table(CURVES, scaled)(folder)
    after = whole(folder).curves[1]
    np.testing.assert_allclose(after.swept, before.swept, rtol=1e-15)
    np.testing.assert_allclose(after.measured, before.measured, rtol=1e-15)
    assert after.again is not None and before.again is not None
    np.testing.assert_allclose(after.again, before.again, rtol=1e-15)
    np.testing.assert_allclose(
        after.keys.column("stepped").to_numpy(), before.keys.column("stepped").to_numpy()
    )


def test_curves_in_another_frame(folder: Path) -> None:
    """The prober's numbers are (10 - y, 5 + x), as the reference dies say."""
    before = whole(folder).curves

    def in_prober(given: pa.Table) -> pa.Table:
        x, y = given.column("die_x"), given.column("die_y")
        turned = given.set_column(0, "die_x", pc.subtract(10, y))
        return turned.set_column(1, "die_y", pc.add(5, x))

    table(CURVES, in_prober)(folder)
    replace(WAFER, '"curves.parquet"', '"curves.parquet"\nframe = "prober"')(folder)
    for one, other in zip(before, whole(folder).curves, strict=True):
        assert_equal(one, other)


def test_the_same_curve_in_two_tables(folder: Path) -> None:
    rows = pq.read_table(folder / CURVES)
    pq.write_table(rows.slice(0, 12), folder / "wafers/W1/more.parquet")
    append(WAFER, '\n[[curves]]\nfile = "more.parquet"\n')(folder)
    tables, faults = tables_of(folder)
    assert [group.keys.num_rows for group in tables.curves] == [9, 18]
    assert len(faults) == 1 and faults[0].count == 2
    assert f"row 1 of {CURVES}" in faults[0].found and "stepped 0.05" in faults[0].found


def test_curves_of_two_tables_make_one_group(folder: Path) -> None:
    before = whole(folder).curves
    rows = pq.read_table(folder / CURVES)
    pq.write_table(rows.slice(45), folder / CURVES)
    pq.write_table(rows.slice(0, 45), folder / "wafers/W1/more.parquet")
    append(WAFER, '\n[[curves]]\nfile = "more.parquet"\n')(folder)
    cut = next(group for group in whole(folder).curves if group.curve == "TRANSFER")
    assert cut.swept.shape == before[1].swept.shape
    np.testing.assert_array_equal(cut.swept, before[1].swept)
    assert cut.keys.drop_columns(["file"]).equals(before[1].keys.drop_columns(["file"]))


def test_touchdowns_in_the_layout(folder: Path) -> None:
    touchdowns = whole(folder).touchdowns
    assert touchdowns.schema.equals(TOUCHDOWN_SCHEMA)
    rows = touchdowns.to_pylist()
    keys = [(row["die_y"], row["die_x"], row["device"] is None) for row in rows]
    assert keys == sorted(keys) and len(set(keys)) == 18
    for row in rows:
        at = DIES.index((row["die_x"], row["die_y"]))
        assert row["probe_contacts"] == 1000 + at and row["pad_touchdowns"] is None
        ohm = 0.5 + 0.01 * row["die_x"] if row["device"] else None
        assert row["contact_resistance_ohm"] == ohm


def test_counts_of_touchdowns_stay_whole_numbers(folder: Path) -> None:
    counts = pa.array([None, *range(1, 18)], pa.int16())
    table(TOUCHDOWNS, lambda given: given.append_column("pad_touchdowns", counts))(folder)
    touchdowns = whole(folder).touchdowns
    assert touchdowns.schema.equals(TOUCHDOWN_SCHEMA)
    told = touchdowns.column("pad_touchdowns").to_pylist()
    assert sorted(count for count in told if count is not None) == list(range(1, 18))


def test_earlier_maps_hold_values_of_any_parameter_and_time(folder: Path) -> None:
    """VTC is taken from curves, and the map is two days older than the wafer's record."""
    earlier = whole(folder).earlier
    assert earlier.schema.equals(VALUE_SCHEMA)
    for row in earlier.to_pylist():
        expected_mv = 1e3 * threshold_v(row["die_x"], row["die_y"])
        assert row["value"] == pytest.approx(expected_mv, rel=1e-12)
        assert row["measured_at"] == STARTED - timedelta(days=2)


def test_two_earlier_maps_of_the_same_dies(folder: Path) -> None:
    pq.write_table(pq.read_table(folder / EARLIER), folder / "wafers/W1/first.parquet")
    append(
        WAFER,
        '\n[[earlier_maps]]\nfile = "first.parquet"\norigin = "supplier"\nunits = { VTC = "V" }\n',
    )(folder)
    earlier = whole(folder).earlier
    assert earlier.num_rows == 18 and len(set(earlier.column("file").to_pylist())) == 2


def test_an_instrument_is_asked_for_curves(folder: Path) -> None:
    replace(WAFER, '\n[[values]]\nfile = "values.parquet"\nframe = "prober"\n', "")(folder)
    replace(WAFER, 'units = { VTH = "V", IOFF = "A", FT = "GHz" }\n', "")(folder)
    (folder / "wafers/W1/values.parquet").unlink()
    replace(WAFER, 'dc_instrument = "SMU1"\n', "")(folder)
    _, faults = tables_of(folder)
    assert [(fault.file, fault.place) for fault in faults] == [(WAFER, "dc_instrument")]
