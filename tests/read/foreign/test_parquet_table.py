"""Foreign Parquet tables: types, units in the metadata, times with and without a zone."""

import datetime as dt
import decimal
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.model.mapping import Source
from sitegen.problems import Fault
from sitegen.read.files import Intake
from sitegen.read.foreign.model import ForeignTable
from sitegen.read.foreign.numbers import numbers_of
from sitegen.read.foreign.parquet_table import EMPTY_TIME_US, read_parquet_table

laws = settings(derandomize=True, deadline=None, max_examples=60)
FILE = "dataset/a.parquet"
BERLIN = dt.timezone(dt.timedelta(hours=2))


def source(*columns: tuple[str, str] | tuple[str, str, str], leave: Sequence[str] = ()) -> Source:
    """A source with columns (theirs, ours) or (theirs, parameter, unit)."""
    mapped = [
        {"theirs": one[0], "ours": one[1]}
        if len(one) == 2
        else {"theirs": one[0], "parameter": one[1], "unit": one[2]}
        for one in columns
    ]
    return Source.model_validate(
        {
            "id": "tables",
            "files": "*.parquet",
            "folder": "dataset",
            "holds": "values",
            "columns": tuple(mapped),
            "leave": tuple(leave),
        }
    )


@pytest.mark.parametrize(("there", "asked"), [("\xb5", "\u03bc"), ("\u03bc", "\xb5")])
def test_both_micro_signs_name_one_column(there: str, asked: str) -> None:
    table, faults = read(pa.table({f"I [{there}A]": [1.0]}), source((f"I [{asked}A]", "ION", "uA")))
    assert faults == [] and table is not None and table.names == (f"I [{asked}A]",)


def written(table: pa.Table) -> bytes:
    stream = io.BytesIO()
    pq.write_table(table, stream)
    return stream.getvalue()


def read(content: bytes | pa.Table, of: Source) -> tuple[ForeignTable | None, list[Fault]]:
    intake = Intake(Path())
    raw = content if isinstance(content, bytes) else written(content)
    return read_parquet_table(intake, FILE, raw, of), intake.faults


def one_column(array: pa.Array, ours: str = "value", metadata: str | None = None) -> Any:
    """A column after reading, and whether it holds times."""
    field = pa.field("x", array.type, metadata=None if metadata is None else {"unit": metadata})
    table, faults = read(pa.table([array], pa.schema([field])), source(("x", ours)))
    assert faults == [] and table is not None
    return table.columns[0], table.is_time[0]


def refused(content: bytes | pa.Table, of: Source) -> Fault:
    table, faults = read(content, of)
    assert table is None and len(faults) == 1, faults
    return faults[0]


def test_a_plain_table() -> None:
    made = pa.table({"Rest": [1, 2], "Vth": [0.4, None], " Die ": ["A", None]})
    table, faults = read(made, source(("Die", "die"), ("Vth", "VTH", "V"), leave=["Rest"]))
    assert faults == [] and table is not None
    assert table.names == ("Die", "Vth") and table.units == (None, None)
    assert table.columns[0].tolist() == ["A", None] and table.columns[0].dtype == np.object_
    np.testing.assert_array_equal(table.columns[1], [0.4, np.nan])
    assert table.columns[1].dtype == np.float64
    assert table.lines.tolist() == [1, 2] and table.word == "row" and table.head == ()


@pytest.mark.parametrize(
    "array",
    [
        pa.array([1, None, 3], pa.int8()),
        pa.array([1, None, 3], pa.uint64()),
        pa.array([1, None, 3], pa.float32()),
        pa.array([1, None, 3], pa.float64()),
        pa.array(np.array([1, np.nan, 3], np.float16)),
        pa.array([decimal.Decimal("1.00"), None, decimal.Decimal(3)], pa.decimal128(9, 2)),
        pa.array([1.0, None, 3.0]).dictionary_encode(),
    ],
    ids=lambda array: str(array.type),
)
def test_numbers_of_every_type(array: pa.Array) -> None:
    column, is_time = one_column(array)
    assert column.dtype == np.float64 and not is_time
    np.testing.assert_array_equal(column, [1, np.nan, 3])


def test_truth_values_where_numbers_are_wanted() -> None:
    column, _ = one_column(pa.array([True, False, None]), "in_compliance")
    np.testing.assert_array_equal(column, [1, 0, np.nan])
    assert one_column(pa.array([True, None]), "device")[0].tolist() == ["true", None]


@pytest.mark.parametrize(
    "array",
    [
        pa.array(["a", None, "µ"]),
        pa.array(["a", None, "µ"], pa.large_string()),
        pa.array(["a", None, "µ"], pa.string_view()),
        pa.array(["a", None, "µ"]).dictionary_encode(),
        pa.array([b"a", None, "µ".encode()], pa.binary()),
    ],
    ids=lambda array: str(array.type),
)
def test_texts_of_every_type(array: pa.Array) -> None:
    column, _ = one_column(array, "device")
    assert column.dtype == np.object_ and column.tolist() == ["a", None, "µ"]


def test_texts_of_numbers_stay_texts() -> None:
    column, _ = one_column(pa.array(["412", " 3,98 ", "n/a", None]))
    assert column.tolist() == ["412", " 3,98 ", "n/a", None]
    source_of = source(("x", "value"))
    numbers, bad = numbers_of(column, source_of.dialect)
    np.testing.assert_array_equal(numbers, [412, 3.98, np.nan, np.nan])
    assert bad.tolist() == [False, False, True, False]


def test_numbers_mapped_to_a_text_keep_their_digits() -> None:
    ids = [9007199254740993, None]
    assert one_column(pa.array(ids), "wafer")[0].tolist() == ["9007199254740993", None]
    assert one_column(pa.array([3.0, np.nan]), "wafer")[0].tolist() == ["3", None]


def test_columns_that_are_empty_throughout() -> None:
    assert one_column(pa.nulls(2))[0].tolist() == [None, None]


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("ours", ["time", "measured_at"])
def test_times_with_a_zone(unit: str, ours: str) -> None:
    at = dt.datetime(2026, 7, 1, 12, 0, 5, tzinfo=BERLIN)
    column, is_time = one_column(pa.array([at, None], pa.timestamp(unit, "Europe/Berlin")), ours)
    assert is_time and column.dtype == np.int64
    assert column.tolist() == [int(at.timestamp()) * 1_000_000, EMPTY_TIME_US]


def test_times_without_a_zone_are_text() -> None:
    at = [dt.datetime(2026, 7, 1, 12, 0, 5, 250_000), None, dt.datetime(1969, 12, 31, 23, 59, 59)]
    for unit in ("ms", "us", "ns"):
        column, is_time = one_column(pa.array(at, pa.timestamp(unit)), "time")
        assert not is_time
        told = [None if text is None else dt.datetime.fromisoformat(text) for text in column]
        assert told == at
    assert one_column(pa.array([dt.date(2026, 7, 1), None]), "date")[0].tolist() == [
        "2026-07-01",
        None,
    ]
    clock = one_column(pa.array([dt.time(12, 30, 5)], pa.time32("s")), "clock")[0]
    assert [dt.time.fromisoformat(text) for text in clock] == [dt.time(12, 30, 5)]


def test_a_time_with_a_zone_that_is_mapped_to_a_text() -> None:
    at = dt.datetime(2026, 7, 1, 12, tzinfo=BERLIN)
    column, is_time = one_column(pa.array([at], pa.timestamp("us", "UTC")), "date")
    assert not is_time and dt.datetime.fromisoformat(column[0]) == at


def test_units_of_the_metadata() -> None:
    field = pa.field("Vth", pa.float64(), metadata={"unit": "mV"})
    made = pa.table([pa.array([412.0])], pa.schema([field]))
    for of in (source(("Vth", "value")), source(("Vth", "VTH", "mV"))):
        table, faults = read(made, of)
        assert faults == [] and table is not None and table.units == ("mV",)
    fault = refused(made, source(("Vth", "VTH", "V")))
    assert fault.place == 'column "Vth"'
    assert fault.found == 'the unit "mV" in its metadata and "V" in mapping.toml'


def test_an_unknown_unit_of_the_metadata() -> None:
    field = pa.field("Vth", pa.float64(), metadata={"unit": "volts"})
    made = pa.table([pa.array([412.0])], pa.schema([field]))
    table, faults = read(made, source(("Vth", "value")))
    assert table is not None and table.units == (None,)
    assert len(faults) == 1 and '"volts"' in faults[0].found
    assert read(made, source(("Vth", "VTH", "V")))[1] == []


def test_missing_names_are_told_with_the_nearest() -> None:
    made = pa.table({"VTH": [1.0], "die": ["A"], "x": [1]})
    fault = refused(made, source(("Vth", "VTH", "V"), ("die", "die"), ("Ron", "RON", "Ω")))
    assert fault.place == "columns" and fault.found == 'no columns "Vth" and "Ron"'
    assert '"VTH" for "Vth"' in fault.remedy


def test_columns_that_nobody_knows() -> None:
    made = pa.table({"Vth": [1.0], "b": [1], "a": [2], "__index_level_0__": [7]})
    table, faults = read(made, source(("Vth", "value")))
    assert table is not None and len(faults) == 1
    assert faults[0].place == "columns" and '"b" and "a"' in faults[0].found
    assert "index" not in faults[0].found
    assert read(made, source(("Vth", "value"), leave=["*"]))[1] == []
    assert read(made, source(("Vth", "value"), leave=["a", "b"]))[1] == []


def test_a_column_twice() -> None:
    made = pa.table([pa.array([1.0]), pa.array([2.0])], names=["Vth", "Vth"])
    assert "2 times" in refused(made, source(("Vth", "value"))).found


@pytest.mark.parametrize(
    ("array", "found"),
    [
        (pa.array([[1.0, 2.0]]), "nested"),
        (pa.array([{"a": 1}]), "nested"),
        (pa.array([dt.timedelta(seconds=1)]), "lengths of time"),
        (pa.array([b"\xff\xfe"]), "no text"),
    ],
)
def test_types_that_are_no_cells(array: pa.Array, found: str) -> None:
    fault = refused(pa.table({"x": array}), source(("x", "device")))
    assert found in fault.found and fault.place == 'column "x"'
    table, faults = read(pa.table({"x": array, "y": [1]}), source(("y", "value"), leave=["x"]))
    assert table is not None and faults == []


def test_no_rows_no_columns_and_broken_files() -> None:
    of = source(("x", "value"))
    assert refused(pa.table({"x": pa.array([], pa.float64())}), of).found == "no rows"
    assert "maps no column" in refused(pa.table({"x": [1.0]}), source()).found
    content = written(pa.table({"x": [1.0]}))
    assert refused(content[:-9], of).found == "a Parquet file that breaks off"
    assert "not a whole" in refused(b"die,x\n", of).found
    assert "not a whole" in refused(b"", of).found


def test_names_with_points_and_several_row_groups() -> None:
    made = pa.table({"a.b": list(range(10)), "a": [0.5] * 10})
    stream = io.BytesIO()
    pq.write_table(made, stream, row_group_size=3)
    table, faults = read(stream.getvalue(), source(("a.b", "value"), ("a", "temperature_c")))
    assert faults == [] and table is not None
    assert table.columns[0].tolist() == list(range(10)) and table.lines.tolist()[-1] == 10


def test_a_column_that_is_mapped_twice() -> None:
    made = pa.table({"T": [25.0]})
    table, faults = read(made, source(("T", "set_point_c"), ("T", "temperature_c")))
    assert faults == [] and table is not None and table.names == ("T",)


@laws
@given(
    st.lists(
        st.tuples(st.floats(allow_nan=False), st.text(max_size=5), st.integers(-(2**40), 2**40)),
        min_size=1,
        max_size=10,
    ),
    st.booleans(),
)
def test_what_is_written_comes_back(rows: list[tuple[float, str, int]], encoded: bool) -> None:
    numbers, texts, times = (list(column) for column in zip(*rows, strict=True))
    text = pa.array(texts)
    made = pa.table(
        {
            "n": pa.array(numbers),
            "t": text.dictionary_encode() if encoded else text,
            "at": pa.array(times, pa.timestamp("us", "UTC")),
        }
    )
    table, faults = read(made, source(("at", "time"), ("n", "value"), ("t", "device")))
    assert faults == [] and table is not None
    assert table.columns[0].tolist() == times and table.is_time == (True, False, False)
    assert table.columns[1].tolist() == numbers and table.columns[2].tolist() == texts


def test_a_frame_of_pandas_against_pandas() -> None:
    frame = pd.DataFrame(
        {
            "die": pd.Categorical(["A", "B", "A"]),
            "value": np.array([1.5, np.nan, -2.0], np.float32),
            "at": pd.to_datetime(["2026-07-01T12:00+02:00"] * 3, utc=True),
            "count": pd.array([1, None, 3], "Int64"),
        },
        index=[3, 5, 9],
    )
    stream = io.BytesIO()
    frame.to_parquet(stream)
    of = source(("die", "die"), ("value", "value"), ("at", "time"), ("count", "touchdown"))
    table, faults = read(stream.getvalue(), of)
    assert faults == [] and table is not None
    again = pd.read_parquet(io.BytesIO(stream.getvalue()))
    assert table.columns[0].tolist() == again["die"].tolist()
    np.testing.assert_array_equal(table.columns[1], again["value"].to_numpy(float))
    np.testing.assert_array_equal(table.columns[3], again["count"].to_numpy(float, na_value=np.nan))
    epoch = pd.Timestamp(0, tz="UTC")
    us = (again["at"] - epoch) // pd.Timedelta(microseconds=1)
    assert table.columns[2].tolist() == us.tolist()


@laws
@given(st.binary(max_size=80), st.integers(0, 2000))
def test_any_bytes_give_a_table_or_a_fault(noise: bytes, at: int) -> None:
    content = bytearray(written(pa.table({"x": [1.0, 2.0], "y": ["a", "b"]})))
    at %= len(content)
    content[at : at + len(noise)] = noise
    for raw in (bytes(content), b"PAR1" + noise, noise):
        table, faults = read(raw, source(("x", "value"), ("y", "device")))
        assert table is not None or faults
