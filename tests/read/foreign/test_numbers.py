"""Cells of text as numbers: decimal marks, what can be read in two ways, what is no number."""

import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.model.mapping import Dialect
from sitegen.read.foreign.numbers import decimal_of, has_two_readings, numbers_of

laws = settings(derandomize=True, deadline=None, max_examples=100)
POINT, COMMA, NONE = Dialect(decimal="point"), Dialect(decimal="comma"), Dialect()


def column(*cells: str | None) -> npt.NDArray[np.object_]:
    made = np.empty(len(cells), dtype=object)
    made[:] = cells
    return made


def read(dialect: Dialect, *cells: str | None) -> list[float | str]:
    """Numbers, 'bad', or 'empty'."""
    numbers, bad = numbers_of(column(*cells), dialect)
    assert numbers.dtype == np.float64 and bad.dtype == np.bool_
    assert np.isnan(numbers[bad]).all()
    told: list[float | str] = []
    for number, is_bad in zip(numbers.tolist(), bad.tolist(), strict=True):
        told.append("bad" if is_bad else "empty" if math.isnan(number) else number)
    return told


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("0.412", 0.412),
        (" 412 ", 412.0),
        ("\t4.12\u00a0", 4.12),
        ("+1.5", 1.5),
        ("-.5", -0.5),
        ("5.", 5.0),
        ("1.5e-12", 1.5e-12),
        ("1.5E-12", 1.5e-12),
        ("1.5D-12", 1.5e-12),
        ("2d3", 2000.0),
        ("\u22121.5", -1.5),
        ("1,234.5", 1234.5),
        ("12,345,678", 12345678.0),
        ("1'234.5", 1234.5),
        ("1’234’567", 1234567.0),
        ("1\u202f234.5", 1234.5),
        ("1.234", 1.234),
        ("9.9e37", 9.9e37),
        ("9.91E+37", 9.91e37),
    ],
)
def test_what_is_a_number_with_a_point(cell: str, number: float) -> None:
    assert read(POINT, cell) == [number]
    assert read(POINT, cell, "n/a") == [number, "bad"]
    assert read(POINT, "", cell, None) == ["empty", number, "empty"]


@pytest.mark.parametrize(
    "cell",
    [
        *("nan", "NaN", "inf", "-Infinity", "---", "overflow", "1e999", "1_000", "0x1F", "1.2.3"),
        *("1e", "1 234", "12 V", "٣", "1,23,456", "0,123,456", "1'23", "e5", "-", "+", ".", "TRUE"),
    ],
)
def test_what_is_none(cell: str) -> None:
    for dialect in (POINT, COMMA, NONE):
        assert read(dialect, cell) == ["bad"]
        assert read(dialect, cell, "3") == ["bad", 3.0]


def test_what_is_listed_as_missing_is_empty_and_not_bad() -> None:
    listed = Dialect(decimal="point", missing=("nan", "---", "9.9e37", "-999"))
    cells = ("nan", " --- ", "9.9e37", "-999", "9.9e36", "NaN", "")
    expected = ["empty", "empty", "empty", "empty", 9.9e36, "bad", "empty"]
    assert read(listed, *cells) == expected
    assert read(listed, "1.5", "-999") == [1.5, "empty"]
    assert read(POINT, "1.5", "-999") == [1.5, -999.0]


def test_decimal_commas() -> None:
    assert read(COMMA, "0,412", "1,234", "1.234,5", "-5,", "1,5E-3") == [
        0.412,
        1.234,
        1234.5,
        -5.0,
        0.0015,
    ]
    assert read(COMMA, "1.5", "1,2,3") == ["bad", "bad"]
    assert read(COMMA, "1.5") == ["bad"]
    assert read(NONE, "0,4123") == [0.4123]
    assert read(NONE, "0,412", "1,234") == [0.412, 1.234]
    assert read(NONE, "1,234") == ["bad"]
    assert read(NONE, "1,234", "5") == ["bad", 5.0]
    assert read(NONE, "1,234E-3", "1,234") == [0.001234, 1.234]
    assert read(NONE, "0,5", "0.5", "1,234", "1.234") == [0.5, 0.5, "bad", "bad"]


@pytest.mark.parametrize(
    ("columns", "mark"),
    [
        ([], "point"),
        ([["1", "2"]], "point"),
        ([["n/a", "", None]], "point"),
        ([["0.5"]], "point"),
        ([["1.234"]], "point"),
        ([["0,5"]], "comma"),
        ([["1,234"]], "open"),
        ([["1,234"], ["0,412"]], "comma"),
        ([["1,234"], ["0.412"]], "open"),
        ([["1,234,567"]], "point"),
        ([["1,234.5"], ["0.5"]], "point"),
        ([["1.234,5"]], "comma"),
        ([["0,5"], ["0.5"]], "open"),
        ([["0,5"], ["1.234"]], "open"),
        ([["1,234"], ["1.234"]], "open"),
        ([["12,34,56", "0,5"]], "comma"),
    ],
)
def test_one_decimal_mark_for_a_table(columns: list[list[str | None]], mark: str) -> None:
    made = [column(*cells) for cells in columns]
    assert decimal_of(made, NONE) == mark
    assert decimal_of(made[::-1], NONE) == mark
    assert decimal_of(made, COMMA) == "comma"
    assert decimal_of(made, POINT) == "point"


def test_what_stands_for_no_value_says_nothing_of_the_mark() -> None:
    assert decimal_of([column("0,0", "0.5")], Dialect(missing=("0,0",))) == "point"


def test_an_open_mark_reads_only_what_has_one_reading() -> None:
    opened = NONE.model_copy(update={"decimal": "open"})
    assert read(opened, "1.234") == ["bad"] and read(opened, "1,234") == ["bad"]
    assert read(opened, "1.234", "1,234", "0,5", "12") == ["bad", "bad", 0.5, 12.0]


def test_which_cells_have_two_readings() -> None:
    told = {"1,234": True, "-12.345": True, "0,412": False, "1234,567": False, "12,34": False}
    told |= {"1,234,567": False, "1,234.5": False, "412": False, "": False, "n/a": False}
    assert {cell: has_two_readings(cell) for cell in told} == told


def test_columns_of_numbers_stay() -> None:
    numbers, bad = numbers_of(np.array([1.5, np.nan]), NONE)
    assert numbers[0] == 1.5 and np.isnan(numbers[1]) and not bad.any()
    whole, _ = numbers_of(np.array([3, 4], np.int64), NONE)
    assert whole.tolist() == [3.0, 4.0] and whole.dtype == np.float64
    assert decimal_of([np.array([1.5])], NONE) == "point"


def test_no_cells_and_empty_cells() -> None:
    assert read(NONE) == []
    assert read(NONE, "", " ", None) == ["empty"] * 3


def test_negative_zero_stays_negative() -> None:
    numbers, _ = numbers_of(column("-0.0", "-0"), POINT)
    assert np.signbit(numbers).all()


@laws
@given(
    st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=20),
    st.sampled_from(["point", "comma"]),
    st.sampled_from(["{!r}", "{:.17g}", "{:+.17e}", " {:.17G} "]),
    st.booleans(),
)
def test_every_number_comes_back(
    values: list[float], mark: str, form: str, with_a_bad_one: bool
) -> None:
    """With and without a bad cell: both ways of reading agree."""
    cells = [form.format(value) for value in values]
    if mark == "comma":
        cells = [cell.replace(".", ",") for cell in cells]
    dialect = COMMA if mark == "comma" else POINT
    further = ["n/a"] if with_a_bad_one else []
    assert read(dialect, *cells, *further) == [*values, *["bad"] * len(further)]


@laws
@given(st.integers(1000, 10**12), st.sampled_from(["point", "comma"]))
def test_thousands_marks_of_the_other_kind(number: int, mark: str) -> None:
    """Python's own grouping, in both notations."""
    text = f"{number:,}.5"
    if mark == "comma":
        text = text.translate(str.maketrans(",.", ".,"))
    assert read(NONE, text) == [number + 0.5]


@laws
@given(st.lists(st.text(max_size=8), max_size=8), st.sampled_from([None, "point", "comma"]))
def test_any_text_is_read_or_bad(cells: list[str], mark: str | None) -> None:
    dialect = NONE.model_copy(update={"decimal": mark})
    numbers, bad = numbers_of(column(*cells), dialect)
    empty = np.array([not cell.strip() for cell in cells], np.bool_)
    assert (np.isfinite(numbers) | bad | empty).all() and not (bad & empty).any()
