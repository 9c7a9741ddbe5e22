"""Tables of text in any dialect: what is read, and what is told and left out."""

import io
import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.model.mapping import SEPARATORS, Dialect, Separator, Source
from sitegen.problems import Fault
from sitegen.read.files import Intake
from sitegen.read.foreign.model import ForeignTable
from sitegen.read.foreign.numbers import decimal_of, numbers_of
from sitegen.read.foreign.text_table import read_text_table

laws = settings(derandomize=True, deadline=None, max_examples=100)
FILE = "gathered/a.csv"
THREE = {"Die": "die", "Vth [mV]": ("VTH", "mV"), "Id": ("ION", "A")}
"""A label, and two columns of numbers."""


def source(columns: dict[str, Any], leave: Sequence[str] = (), **dialect: Any) -> Source:
    """A source with these columns: a field, or a parameter and its unit."""
    mapped = [
        {"theirs": theirs, "ours": ours}
        if isinstance(ours, str)
        else {"theirs": theirs, "parameter": ours[0], "unit": ours[1]}
        for theirs, ours in columns.items()
    ]
    return Source.model_validate(
        {
            "id": "tables",
            "files": "*.csv",
            "holds": "values",
            "rows": "one a die",
            "columns": tuple(mapped),
            "leave": tuple(leave),
            "dialect": Dialect.model_validate(dialect),
        }
    )


def read(
    content: str | bytes, of: Source | dict[str, Any] = THREE, **dialect: Any
) -> tuple[ForeignTable | None, list[Fault]]:
    asked = of if isinstance(of, Source) else source(of, **dialect)
    intake = Intake(Path())
    raw = content.encode() if isinstance(content, str) else content
    return read_text_table(intake, FILE, raw, asked), intake.faults


def whole(
    content: str | bytes, of: Source | dict[str, Any] = THREE, **dialect: Any
) -> ForeignTable:
    """A table that is read without a fault."""
    table, faults = read(content, of, **dialect)
    assert faults == [] and table is not None
    return table


def with_one(
    content: str | bytes, of: Source | dict[str, Any] = THREE, **dialect: Any
) -> tuple[ForeignTable, Fault]:
    """A table that is read with one fault."""
    table, faults = read(content, of, **dialect)
    assert table is not None and len(faults) == 1, faults
    return table, faults[0]


def refused(content: str | bytes, of: Source | dict[str, Any] = THREE, **dialect: Any) -> Fault:
    """The one fault of a table that cannot be read."""
    table, faults = read(content, of, **dialect)
    assert table is None and len(faults) == 1, faults
    assert faults[0].file == FILE
    return faults[0]


def cells(table: ForeignTable) -> list[list[str]]:
    """Row by row."""
    return [list(row) for row in zip(*(list(column) for column in table.columns), strict=True)]


PLAIN = "Die,Vth [mV],Id\nA1,412,1e-3\nA2,398,2e-3\n"
ROWS = [["A1", "412", "1e-3"], ["A2", "398", "2e-3"]]


def test_a_plain_table() -> None:
    table = whole(PLAIN)
    assert table.names == ("Die", "Vth [mV]", "Id")
    assert table.units == (None, "mV", None)
    assert cells(table) == ROWS
    assert all(column.dtype == np.object_ for column in table.columns)
    assert table.lines.tolist() == [2, 3] and table.lines.dtype == np.int64
    assert table.word == "line" and table.head == () and table.is_time == (False,) * 3
    assert table.dialect == Dialect(separator="comma", encoding="utf-8", names_line=1)


@pytest.mark.parametrize("there", ["NFC", "NFD"])
@pytest.mark.parametrize("asked", ["NFC", "NFD"])
def test_names_whose_signs_look_alike_are_one_name(there: str, asked: str) -> None:
    """Accents as one sign or two, both micro signs and both ohm signs (Unicode Standard: canonical
    mappings, and U+00B5 to U+03BC by compatibility; quoted from memory)."""
    pairs = [("\xb5", "\u2126"), ("\u03bc", "\u03a9")]
    for micro, ohm in pairs:
        for other, another in pairs:
            named = f"Prüfling,I [{micro}A],R/{ohm},nötig\nA1,1,2,3\n"
            wanted = {
                "Prüfling": "die",
                f"I [{other}A]": ("ION", "uA"),
                f"R/{another}": ("R", "ohm"),
            }
            asks = {unicodedata.normalize(asked, name): ours for name, ours in wanted.items()}  # type: ignore[arg-type]
            text = unicodedata.normalize(there, named)  # type: ignore[arg-type]
            table = whole(text, source(asks, leave=[unicodedata.normalize(asked, "nötig")]))  # type: ignore[arg-type]
            assert table.names == tuple(asks)
            assert cells(table) == [["A1", "1", "2"]]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize(
    ("encoding", "found"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8"),
        ("utf-16", "utf-16"),
        ("utf-16-be-mark", "utf-16"),
    ],
)
def test_line_ends_and_byte_order_marks(end: str, encoding: str, found: str) -> None:
    text = ("title µ\n" + PLAIN).replace("\n", end)
    if encoding == "utf-16-be-mark":
        content = b"\xfe\xff" + text.encode("utf-16-be")
    else:
        content = text.encode(encoding)
    table = whole(content)
    assert cells(table) == ROWS and table.lines.tolist() == [3, 4]
    assert table.head == ("title µ",) and table.dialect.encoding == found


@pytest.mark.parametrize("separator", ["comma", "semicolon", "tab", "bar"])
def test_the_names_decide_the_separator_and_the_start(separator: Separator) -> None:
    head = "Station 4, prober; day | shift\tone\nVth,Id\n\n"
    text = head + PLAIN.replace(",", SEPARATORS[separator])
    table = whole(text)
    assert cells(table) == ROWS and table.lines.tolist() == [5, 6]
    assert table.dialect.separator == separator and table.dialect.names_line == 4
    assert table.head == ("Station 4, prober; day | shift\tone", "Vth,Id", "")


def test_blanks_between_columns() -> None:
    of = {"Die": "die", "Vth": ("VTH", "V")}
    for text in ("Die   Vth\n A1  0.4  \nA2\t0.5\n", "# Die Vth\nA1 0.4\nA2 0.5\n"):
        table = whole(text, of)
        assert cells(table) == [["A1", "0.4"], ["A2", "0.5"]]
        assert table.dialect.separator == "blanks"
    table = whole('Die Vth\n"A 1" 0.4\n', of)
    assert cells(table) == [["A 1", "0.4"]]
    assert cells(whole("# Die Vth\n1 A1 0.4\n", {**of, "#": "touchdown"})) == [["A1", "0.4", "1"]]


def test_other_order_further_columns_and_names_with_blanks_and_quotes() -> None:
    of = source(THREE, leave=["Remark", "Time"])
    text = ' "Id" ,Remark,\'Vth [mV]\',"Time", Die \n1e-3,"good, clean",412,"12:00",A1\n'
    table = whole(text, of)
    assert table.names == ("Die", "Vth [mV]", "Id")
    assert cells(table) == [["A1", "412", "1e-3"]]


def test_quotes_hold_separators_quotes_and_line_ends() -> None:
    text = 'Die,Vth [mV],Id\n"A ""1"", left\nside",412,1e-3\r\n\n"A2",398,"2e-3"\n'
    table = whole(text)
    assert cells(table) == [['A "1", left\nside', "412", "1e-3"], ["A2", "398", "2e-3"]]
    assert table.lines.tolist() == [2, 5]
    assert cells(whole('Die,Vth [mV],Id\nA1, "412", "1e-3"\n')) == ROWS[:1]


def test_a_name_over_two_lines() -> None:
    table = whole('"Die","Vth\n[mV]"\nA1,412\n', {"Die": "die", "Vth\n[mV]": ("VTH", "mV")})
    assert cells(table) == [["A1", "412"]] and table.lines.tolist() == [3]


def test_blanks_at_the_ends_of_cells_stay() -> None:
    assert cells(whole("Die,Vth [mV],Id\nA1 , 412,1e-3 \n")) == [["A1 ", " 412", "1e-3 "]]


def test_comments_empty_lines_and_trailing_separators() -> None:
    text = (
        "Die,Vth [mV],Id,,\n\n# after lunch\n! contact cleaned, twice\nA1,412,1e-3,,\n,,,,\n"
        "  \nA2,398,2e-3\n\x1a"
    )
    table = whole(text)
    assert cells(table) == ROWS and table.lines.tolist() == [5, 8]


def test_a_names_line_behind_a_comment_sign() -> None:
    table = whole("! made by hand\n# Die,Vth [mV],Id\nA1,412,1e-3\n")
    assert cells(table) == ROWS[:1] and table.head == ("! made by hand",)


def test_labels_that_begin_with_a_comment_sign_are_rows() -> None:
    assert cells(whole("Die,Vth [mV],Id\n#1,412,1e-3\n#2,398,2e-3\n")) == [
        ["#1", "412", "1e-3"],
        ["#2", "398", "2e-3"],
    ]
    of = {"Vth": ("VTH", "V"), "Id": ("ION", "A")}
    rows = whole("Label,Vth,Id\n#1,4,5\n#2,6,7\n", source(of, leave=["*"]))
    assert cells(rows) == [["4", "5"], ["6", "7"]]


def test_a_row_behind_a_comment_sign_is_told() -> None:
    of = {"Vth": ("VTH", "V"), "Id": ("ION", "A")}
    table, fault = with_one("Vth,Id\n1,2\n#3,4\n# so far, all well\n5,6\n#7,8\n", of)
    assert cells(table) == [["1", "2"], ["5", "6"]]
    assert fault.place == "line 3" and fault.count == 2 and "comment sign" in fault.found


def test_one_column() -> None:
    of = {"Vth": ("VTH", "V")}
    table = whole("Vth\n0,412\n0,5;1\n", of)
    assert cells(table) == [["0,412"], ["0,5;1"]] and table.dialect.separator is None


def test_one_mapped_column_of_several() -> None:
    of = source({"Vth": ("VTH", "V")}, leave=["*"])
    assert cells(whole("Id;Vth\n1;2\n", of)) == [["2"]]
    assert cells(whole("Id , Vth\n1 , 2\n", of)) == [[" 2"]]


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "an empty file"),
        (b"\n \r\n", "an empty file"),
        (b"PK\x03\x04\x14\x00\x06", "Excel workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old Excel workbook"),
        (b"PAR1...", "Parquet"),
        (b"\x1f\x8b\x08", "compressed"),
    ],
)
def test_what_is_no_text(content: bytes, found: str) -> None:
    fault = refused(content)
    assert found in fault.found and fault.place == ""
    assert "workbook" not in fault.found or "Save the table as CSV" in fault.remedy


def test_bytes_of_windows_1252() -> None:
    """0xB5 and 0xB0 are the micro sign and the degree sign of windows-1252 (Unicode's mapping
    CP1252.TXT, quoted from memory)."""
    content = b"Die,Id [\xb5A]\r\nA1,4\r\nA2 at 25 \xb0C,5\r\n"
    of = {"Die": "die", "Id [µA]": ("ION", "µA")}
    fault = refused(content, of)
    assert fault.place == "line 1"
    assert "0xB5" in fault.found and '"µ"' in fault.found and "windows-1252" in fault.found
    assert 'dialect.encoding = "windows-1252"' in fault.remedy
    assert refused(content.replace(b"\xb5", "µ".encode()), of).place == "line 3"
    table = whole(content, of, encoding="windows-1252")
    assert cells(table) == [["A1", "4"], ["A2 at 25 °C", "5"]]
    assert table.units == (None, "µA") and table.dialect.encoding == "windows-1252"


def test_two_encodings_in_one_file() -> None:
    content = "Die,Vth [mV],Id\nA1 µ,1,2\n".encode() + b"A2 \xb5,3,4\n"
    fault = refused(content)
    assert fault.place == "line 3" and "among lines in UTF-8" in fault.found
    assert "one encoding" in fault.remedy


def test_a_file_that_breaks_off_inside_a_sign() -> None:
    text = PLAIN + "A3 µ,1,2\nA4 µ"
    for content in (text.encode()[:-1], text.encode("utf-16")[:-1]):
        fault = refused(content)
        assert fault.place == "its end" and "breaks off inside a sign" in fault.found


def test_utf_8_declared_as_windows_1252() -> None:
    fault = refused(PLAIN + "A3 µ,1,2\n", THREE, encoding="windows-1252")
    assert fault.place == "line 4" and "UTF-8" in fault.found
    assert cells(whole(PLAIN, THREE, encoding="windows-1252")) == ROWS


def test_bytes_of_no_encoding() -> None:
    fault = refused(b"Die,Vth [mV],Id\nA1,\x81\x8d,\x02\n")
    assert fault.place == "line 2" and "0x81" in fault.found and "1252" not in fault.found
    assert "0x81" in refused(b"Die\n\x81", THREE, encoding="windows-1252").found


def test_nul_bytes() -> None:
    fault = refused(PLAIN.encode() + b"\x00" * 40)
    assert fault.place == "line 4" and fault.found == "NUL bytes"


@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark(codec: str) -> None:
    content = PLAIN.encode(codec)
    assert 'dialect.encoding = "utf-16"' in refused(content).remedy
    assert cells(whole(content, THREE, encoding="utf-16")) == ROWS


def test_missing_names_are_told_with_the_nearest() -> None:
    text = "Vth [mV] and Id of a lot\nDIE;Vth[mV];Id \nA1;412;1e-3\n"
    fault = refused(text)
    assert fault.place == "line 2"
    assert fault.found == 'no columns "Die" and "Vth [mV]"'
    assert '"DIE" for "Die"' in fault.remedy and '"Vth[mV]" for "Vth [mV]"' in fault.remedy


def test_a_missing_name_without_a_near_one() -> None:
    fault = refused("Die,Vth [mV],Rsh\n1,2,3\n")
    assert fault.found == 'no column "Id"' and fault.remedy.startswith('There are "Rsh"')
    fault = refused("Die,Vth [mV]\n1,2\n")
    assert fault.found == 'no column "Id"' and "theirs" in fault.remedy


@pytest.mark.parametrize("there", ["Vth [V]", "VTH(V)", "Vth/mV", "vth", "Vth_[mV]"])
def test_a_name_that_differs_by_its_unit_capitals_or_signs(there: str) -> None:
    fault = refused(f"Die,{there},Id\nA1,1,2\n")
    assert f'"{there}" for "Vth [mV]"' in fault.remedy


def test_no_line_has_any_name() -> None:
    fault = refused("x,y\n1,2\n")
    assert fault.place == "" and fault.found == "no line with the names of the mapped columns"
    assert '"Vth [mV]"' in fault.expected


def test_another_separator_than_declared() -> None:
    fault = refused(PLAIN.replace(",", ";"), THREE, separator="comma")
    assert fault.place == "line 1" and "semicolons" in fault.found and "commas" in fault.expected
    assert cells(whole(PLAIN, THREE, separator="comma")) == ROWS


def test_a_declared_names_line() -> None:
    twice = "Die,Vth [mV],Id\nplan,0,0\nDie,Vth [mV],Id\nA1,412,1e-3\n"
    assert cells(whole(twice, THREE, names_line=3)) == ROWS[:1]
    fault = refused(twice, THREE, names_line=2)
    assert fault.place == "line 2" and "no columns" in fault.found
    assert "dialect.names_line" in refused(PLAIN, THREE, names_line=9).expected


def test_a_name_twice() -> None:
    fault = refused("Die,Id,Vth [mV],Id\nA1,1,2,3\n")
    assert fault.place == 'line 1, column "Id"' and "2 times" in fault.found
    left = source(THREE, leave=["Note"])
    assert cells(whole("Die,Note,Vth [mV],Id,Note\nA1,a,2,3,b\n", left)) == [["A1", "2", "3"]]


def test_a_table_without_mapped_columns() -> None:
    assert "columns" in refused(PLAIN, {}).expected


def test_columns_that_nobody_knows() -> None:
    text = "Die,Vth [mV],Id,Rsh,,Operator\nA1,412,1e-3,5,,x\n"
    table, fault = with_one(text)
    assert cells(table) == ROWS[:1]
    assert fault.place == "line 1" and '"Rsh" and "Operator"' in fault.found
    assert "leave" in fault.remedy
    _, fault = with_one(text, source(THREE, leave=["Rsh"]))
    assert "Rsh" not in fault.found and "1 column that is not mapped" in fault.found
    whole(text, source(THREE, leave=[" Operator", "Rsh"]))
    whole(text, source(THREE, leave=["*"]))


def test_the_names_again() -> None:
    block = "Lot 7\nDie,Vth [mV],Id\nA1,412,1e-3\n"
    table, fault = with_one(block + block.replace("A1", "A2") + "\n" + block)
    assert [row[0] for row in cells(table)] == ["A1", "A2", "A1"]
    assert table.lines.tolist() == [3, 6, 10]
    assert fault.found == "the columns' names again" and fault.count == 2
    assert fault.place == "line 5"


def test_a_first_table_that_breaks_off_before_the_second() -> None:
    table, faults = read(PLAIN + "A3,4\n" + PLAIN)
    assert table is not None and cells(table) == [*ROWS, *ROWS]
    assert [(fault.place, fault.count) for fault in faults] == [("line 5", 1), ("line 4", 1)]
    table, fault = with_one(PLAIN + "Wafer: W2\n" + PLAIN)
    assert cells(table) == ROWS and "Wafer: W2" in fault.found


def test_a_second_table_with_another_head_is_left_out() -> None:
    text = "Wafer: W1\n" + PLAIN + "Wafer: W2\n" + PLAIN
    table, fault = with_one(text)
    assert cells(table) == ROWS
    assert fault.place == "line 5" and "Wafer: W2" in fault.found and "4 lines" in fault.found


@pytest.mark.parametrize(
    "names", ["Die,Vth [mV],Rsh", "Die,Id,Vth [mV]", "Die,Vth [mV],Id,Rsh", "# Die,Rsh,Id"]
)
def test_a_second_table_with_other_columns_is_left_out(names: str) -> None:
    table, fault = with_one(f"{PLAIN}{names}\nA1,5,6\n")
    if names.endswith("Id,Rsh"):  # the names again, with one more; the row has too few cells
        assert cells(table) == [*ROWS, ["A1", "5", "6"]]
        return
    assert cells(table) == ROWS
    assert fault.place == "line 4" and "other columns" in fault.found


def test_names_that_are_numbers() -> None:
    """A value that equals a column's name is no second line of names."""
    of = {"Die": "die", "0.1": ("P", "V"), "1": ("Q", "V")}
    assert cells(whole("Die,0.1,1\nA1,1,0.1\nA2,0.1,1\n", of))[1] == ["A2", "0.1", "1"]
    table, fault = with_one("Die,0.1,1\nA1,4,5\nDie,0.1,1\nA2,6,7\n", of)
    assert table.lines.tolist() == [2, 4] and fault.found == "the columns' names again"
    whole("0.1,1\n4,5\n0.1,1\n", {"0.1": ("P", "V"), "1": ("Q", "V")})


def test_texts_that_equal_a_name_are_rows() -> None:
    of = {"Die": "die", "Device": "device", "Vth": ("P", "V")}
    assert len(whole("Die,Device,Vth\nDie,Vth,5\nA,Device,6\n", of).lines) == 2


def test_a_line_of_units() -> None:
    of = {"Die": "die", "Vth": ("VTH", "mV"), "Id": ("ION", "A"), "Gain": ("GAIN", "1")}
    text = "Die,Vth,Id,Gain\n-,[mV],(A),-\nA1,412,1e-3,7\n"
    table = whole(text, of, units_line=2)
    assert table.units == (None, "mV", "A", None)
    assert cells(table) == [["A1", "412", "1e-3", "7"]] and table.lines.tolist() == [3]
    above = "x\n,mV,A,\nDie,Vth,Id,Gain\nA1,412,1e-3,7\n"
    assert whole(above, of, units_line=2).units == (None, "mV", "A", None)
    table, fault = with_one(text, of)
    assert cells(table) == [["A1", "412", "1e-3", "7"]] and table.units[1] == "mV"
    assert fault.place == "line 2" and "dialect.units_line = 2" in fault.remedy
    again, faults = read(text + text, of, units_line=2)
    assert again is not None and len(again.lines) == 2
    assert [fault.found for fault in faults] == [
        "the columns' names again",
        "the columns' units again",
    ]


def test_a_wrong_line_of_units() -> None:
    table, fault = with_one(PLAIN, THREE, units_line=2)
    assert cells(table) == ROWS and "read as a row" in fault.remedy and fault.place == "line 2"
    table, fault = with_one(PLAIN, THREE, units_line=9)
    assert cells(table) == ROWS and fault.place == "line 9"


def test_an_unknown_unit_is_told_where_none_is_declared() -> None:
    text = "Die,Vth\n,Volts\nA1,0.4\n"
    assert whole(text, {"Die": "die", "Vth": ("VTH", "V")}, units_line=2).units == (None, None)
    table, fault = with_one(text, {"Die": "die", "Vth": "value"}, units_line=2)
    assert table.units == (None, None)
    assert '"Volts"' in fault.found and fault.place == 'line 2, column "Vth"'


@pytest.mark.parametrize(
    ("name", "declared"),
    [("Vth [mV]", "V"), ("Id (A)", "V"), ("Vth/mV", "V"), ("T [K]", "°C"), ("Vth (V)", "mV")],
)
def test_units_that_disagree_with_the_mapping(name: str, declared: str) -> None:
    fault = refused(f"Die,{name}\nA1,4\n", {"Die": "die", name: ("P", declared)})
    assert fault.place == f'column "{name}"' and f'"{declared}" in mapping.toml' in fault.found
    assert "its name" in fault.found and "mapping.toml" in fault.remedy


def test_units_on_a_line_that_disagree() -> None:
    of = {"Die": "die", "Vth": ("VTH", "V")}
    text = "Die,Vth\n,mV\nA1,412\n"
    fault = refused(text, of, units_line=2)
    assert '"mV" in line 2 and "V" in mapping.toml' in fault.found
    table, faults = read(text, of)
    assert table is None and [one.place for one in faults] == ["line 2", 'column "Vth"']
    table, faults = read("Die,Vth [mV]\n,V\nA1,4\n", {"Die": "die", "Vth [mV]": "value"})
    assert table is None and "contradicts itself" in faults[-1].remedy


@pytest.mark.parametrize(
    ("name", "declared"),
    [
        ("Id [uA]", "µA"),
        ("R (Ohm)", "Ω"),
        ("Id [lin]", "A"),
        ("gm [A/V]", "mS"),
        ("I/V", "S"),
        ("W/L", "1"),
        ("Vth/mV", "mV"),
    ],
)
def test_units_that_agree_or_are_none(name: str, declared: str) -> None:
    of = {"Die": "die", name: ("P", declared)}
    text = f"Die,{name}\nA1,4\n"
    if declared == "mS":
        assert '"A/V"' in refused(text, of).found
        of[name] = ("P", "S")
    whole(text, of)


def test_rows_with_fewer_cells() -> None:
    table, fault = with_one("Die,Vth [mV],Id\nA1,412\nA2,398,2e-3\nA3\nA4,1,2\n")
    assert table.lines.tolist() == [3, 5]
    assert fault.place == "line 2" and fault.count == 2 and fault.found.startswith("2 cells")


def test_a_last_line_that_breaks_off() -> None:
    table, fault = with_one(PLAIN + "A3,41")
    assert cells(table) == ROWS and fault.place == "line 4"
    assert fault.found == "a last line that breaks off after 2 of 3 cells"
    table, fault = with_one(PLAIN + '"A3')
    assert cells(table) == ROWS and "breaks off inside a quoted cell" in fault.found
    assert cells(whole(PLAIN.rstrip("\n"))) == ROWS


def test_a_last_line_that_breaks_off_inside_a_number() -> None:
    """1.234567E-12 cut to 1.234567E-1 would be a number eleven decades off."""
    rows = "".join(f"A{i:02},412,1.{i:02}E-12\n" for i in range(60))
    text = "Die,Vth [mV],Id\n" + rows
    table, fault = with_one(text + "B1,412,1.23E-1")
    assert len(table.lines) == 60 and fault.place == "line 62"
    assert "1.23E-1" in fault.found and "8 signs" in fault.found
    assert len(whole(text + "B1,412,1.23E-1\n").lines) == 61
    assert len(whole(text + "B1,412,1.23E-12").lines) == 61


def test_rows_with_more_cells() -> None:
    table, fault = with_one(PLAIN + "A3,1,2,,\nA4,1,2,x\n")
    assert table.lines.tolist() == [2, 3, 4]
    assert fault.place == "line 5" and "decimal comma" not in fault.found


def test_decimal_commas_between_cells_divided_by_commas() -> None:
    table, fault = with_one("Die,Vth [mV],Id\nA1,412,5,1\nA2,398,0\nA3,1,5,0,25\n")
    assert table.lines.tolist() == [3]
    assert fault.count == 2 and fault.place == "line 2" and "decimal commas" in fault.found
    assert "semicolons" in fault.remedy
    fault = refused("Die,Vth [mV],Id\nA1,412,5,1\n")
    assert "decimal commas" in fault.found


def test_rows_with_names_of_their_own_are_no_units() -> None:
    """Some programs write a label before each row and no name above it."""
    fault = refused('"Die","Vth [mV]","Id"\n"1","A",1,2\n"2","B",3,4\n')
    assert fault.count == 2 and fault.found.startswith("4 cells")


def test_a_quote_that_is_not_closed_costs_its_line_only() -> None:
    text = 'Die,Vth [mV],Id\n"A1,1,2\n"A2",3,4\nA3,5,6\n"A4,7,8\nA5,9,10\n'
    table, fault = with_one(text)
    assert table.lines.tolist() == [3, 4, 6]
    assert fault.place == "line 2" and fault.count == 2 and "quote" in fault.found


def test_a_quote_that_closes_far_below_takes_no_rows_with_it() -> None:
    rows = "".join(f"A{i},{i},0.5\n" for i in range(30))
    table, fault = with_one(f'Die,Vth [mV],Id\n"B,1,2\n{rows}C",3,4\n')
    assert table.lines.tolist() == list(range(3, 34)) and fault.place == "line 2"


def test_a_first_row_of_ones_is_no_line_of_units() -> None:
    assert cells(whole("Die,Vth [mV],Id\nA1,1,1\nA2,,\n")) == [["A1", "1", "1"], ["A2", "", ""]]


def test_no_rows() -> None:
    assert "no rows" in refused("Die,Vth [mV],Id\n").found
    assert "no rows" in refused("title\nDie,Vth [mV],Id\n\n# end\n").found
    table, faults = read("Die,Vth [mV],Id\nA1,2\nA2,3\n")
    assert table is None and [fault.count for fault in faults] == [2]


def test_different_faults_are_told_at_once() -> None:
    text = "Die,Vth [mV],Id,Rsh\nA1,1,2,3\nA2,1\nDie,Vth [mV],Id,Rsh\nA3,1,2,3,4\nA4,1,2,3\nA5,1"
    table, faults = read(text)
    assert table is not None and table.lines.tolist() == [2, 6]
    assert sorted(fault.place for fault in faults) == [
        "line 1",
        "line 3",
        "line 4",
        "line 5",
        "line 7",
    ]
    for fault in faults:
        assert fault.found and fault.expected and fault.remedy.endswith(".")


CELL = st.text(
    st.characters(codec="cp1252", categories=["L", "N", "P", "S", "Zs"], exclude_characters="\xa0"),
    max_size=6,
).filter(lambda text: not text.lstrip().startswith(("#", "!")))


@laws
@given(
    rows=st.lists(st.tuples(CELL, st.floats(-1e6, 1e6), CELL), min_size=1, max_size=12),
    separator=st.sampled_from(["comma", "semicolon", "tab", "bar", "blanks"]),
    comma=st.booleans(),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    head=st.lists(st.sampled_from(["", "# made", "Station;4,x", "! a | b"]), max_size=3),
    tail=st.booleans(),
)
def test_a_table_in_any_dialect_comes_back(
    rows: list[tuple[str, float, str]],
    separator: Separator,
    comma: bool,
    end: str,
    encoding: str,
    head: list[str],
    tail: bool,
) -> None:
    """Written here: texts in quotes, quotes doubled; numbers plain where they may be."""
    sign = SEPARATORS[separator]

    def text_of(cell: str) -> str:
        return '"' + cell.replace('"', '""') + '"'

    def number_of(value: float) -> str:
        told = repr(value).replace(".", ",") if comma else repr(value)
        return f'"{told}"' if sign in told else told

    lines = [*head, sign.join(["Die", "Value", "Note"])]
    lines += [sign.join([text_of(a), number_of(b), text_of(c)]) for a, b, c in rows]
    content = (end.join(lines) + (end if tail else "")).encode(encoding)
    of = {"Value": ("P", "V"), "Note": "path", "Die": "die"}
    declared: dict[str, Any] = {"decimal": "comma"} if comma else {}
    if encoding == "cp1252":
        declared["encoding"] = "windows-1252"
    table, faults = read(content, of, **declared)
    if encoding == "cp1252" and faults and "UTF-8" in faults[0].found:
        content.decode("utf-8")  # bytes that are both are refused, and only those
        return
    assert faults == [] and table is not None
    numbers, bad = numbers_of(table.columns[0], table.dialect)
    assert not bad.any() and numbers.tolist() == [value for _, value, _ in rows]
    assert list(table.columns[1]) == [note for _, _, note in rows]
    assert list(table.columns[2]) == [die for die, _, _ in rows]
    first = len(head) + 2
    assert table.lines.tolist() == list(range(first, first + len(rows)))
    assert table.head == tuple(head)


@laws
@given(st.binary(max_size=120))
def test_any_bytes_give_a_table_or_a_fault(content: bytes) -> None:
    for start in (b"", b"Die,Vth [mV],Id\n", b"Die Vth Id\n", b'Die,"Vth [mV]",Id\nA,1,2\n'):
        table, faults = read(start + content)
        assert table is not None or faults
        if table is not None:
            assert len({len(column) for column in (*table.columns, table.lines)}) == 1


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("decimal", [".", ","])
def test_plain_tables_against_pandas(separator: str, decimal: str) -> None:
    """pandas writes and reads the same text; every number must be the same."""
    rng = np.random.default_rng(5)
    frame = pd.DataFrame(
        {
            "Die": [f"D{i}, {i % 7}; x|y" for i in range(300)],
            "Vth": rng.normal(0.4, 0.05, 300),
            "Id": 10 ** rng.uniform(-12, -2, 300),
            "N": rng.integers(0, 5000, 300),
        }
    )
    frame.loc[::17, "Vth"] = np.nan
    text = frame.to_csv(sep=separator, decimal=decimal, index=False)
    reference = pd.read_csv(io.StringIO(text), sep=separator, decimal=decimal)
    of = {"Die": "die", "Vth": ("VTH", "V"), "Id": ("ION", "A"), "N": "touchdown"}
    table = whole(text, of)
    assert list(table.columns[0]) == reference["Die"].tolist()
    mark = decimal_of(table.columns[1:], table.dialect)
    assert mark == ("comma" if decimal == "," else "point")
    dialect = table.dialect.model_copy(update={"decimal": mark})
    for name, column in zip(table.names[1:], table.columns[1:], strict=True):
        numbers, bad = numbers_of(column, dialect)
        assert not bad.any()
        np.testing.assert_allclose(numbers, reference[name].to_numpy(float), rtol=1e-15)
    assert table.lines.tolist() == list(range(2, 302))
