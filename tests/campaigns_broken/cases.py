"""Broken campaigns: the tiny one with one fault each, and what must be said of it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

CAMPAIGN = "campaign.toml"
CALIBRATION = "calibrations/CAL1/record.toml"
SHORT = "calibrations/CAL1/short.s2p"
VERIFICATION = "verifications/VER1/record.toml"
WAFER = "wafers/W1/wafer.toml"
VALUES = "wafers/W1/values.parquet"
SWEEPS = "wafers/W1/sweeps.parquet"


@dataclass(frozen=True)
class Left:
    """How much of the campaign is still read: records, value rows, device sweeps, and what the
    campaign with device results has besides."""

    calibrations: int = 1
    verifications: int = 1
    wafers: int = 1
    values: int = 27
    sweeps: int = 9
    curves: int = 0
    touchdowns: int = 0
    earlier: int = 0


WHOLE = Left()


@dataclass(frozen=True)
class Case:
    """One way to break the campaign, and words that each part of the sentence must have."""

    name: str
    broken_by: Callable[[Path], object]
    file: str
    place: str
    found: str
    expected: str
    remedy: str
    left: Left | None = WHOLE
    """None: nothing at all can be read as a campaign."""
    count: int = 1
    missing: str = ""
    """Words of the phrase that says why the calibration or verification is not whole."""


def replace(file: str, old: str, new: str) -> Callable[[Path], object]:
    """Replace a text that stands once in a file."""

    def broken(folder: Path) -> None:
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {file}"
        path.write_text(text.replace(old, new), encoding="utf-8")

    return broken


def append(file: str, text: str) -> Callable[[Path], object]:
    """Append lines to a file."""
    return lambda folder: (folder / file).write_text(
        (folder / file).read_text(encoding="utf-8") + text, encoding="utf-8"
    )


def write(file: str, content: bytes) -> Callable[[Path], object]:
    """Put other bytes in a file's place."""
    return lambda folder: (folder / file).write_bytes(content)


def remove(file: str) -> Callable[[Path], object]:
    """Take a file away."""
    return lambda folder: (folder / file).unlink()


def directory(file: str) -> Callable[[Path], object]:
    """Put a folder in a file's place."""

    def broken(folder: Path) -> None:
        (folder / file).unlink()
        (folder / file).mkdir()

    return broken


def both(*steps: Callable[[Path], object]) -> Callable[[Path], object]:
    """Several changes that make up one fault."""

    def broken(folder: Path) -> None:
        for step in steps:
            step(folder)

    return broken


def lines(file: str, change: Callable[[list[str]], list[str]]) -> Callable[[Path], object]:
    """Change the lines of a text file."""

    def broken(folder: Path) -> None:
        path = folder / file
        path.write_text("\n".join(change(path.read_text().splitlines())) + "\n")

    return broken


def column(
    file: str, name: str, change: Callable[[pa.ChunkedArray], object], rename: str | None = None
) -> Callable[[Path], object]:
    """Change one column of a Parquet file."""

    def broken(folder: Path) -> None:
        table = pq.read_table(folder / file)
        index = table.column_names.index(name)
        new = change(table.column(name))
        pq.write_table(table.set_column(index, rename or name, new), folder / file)

    return broken


def cell(file: str, name: str, row: int, value: object) -> Callable[[Path], object]:
    """Change one entry of a Parquet file; rows are counted from 1."""

    def change(given: pa.ChunkedArray) -> pa.Array:
        entries = given.to_pylist()
        entries[row - 1] = value
        return pa.array(entries, given.type)

    return column(file, name, change)


def table(file: str, change: Callable[[pa.Table], pa.Table]) -> Callable[[Path], object]:
    """Change a Parquet file as a whole."""
    return lambda folder: pq.write_table(change(pq.read_table(folder / file)), folder / file)


def with_unit(name: str, unit: str) -> Callable[[pa.Table], pa.Table]:
    """State a unit in a column's field metadata."""

    def change(given: pa.Table) -> pa.Table:
        index = given.schema.get_field_index(name)
        field = given.schema.field(index).with_metadata({"unit": unit})
        return given.cast(given.schema.set(index, field))

    return change


def repeat_row(row: int) -> Callable[[pa.Table], pa.Table]:
    """Append a row once more."""
    return lambda given: pa.concat_tables([given, given.slice(row - 1, 1)])


def swap_rows(one: int, other: int) -> Callable[[pa.Table], pa.Table]:
    """Exchange two rows."""

    def change(given: pa.Table) -> pa.Table:
        order = list(range(given.num_rows))
        order[one - 1], order[other - 1] = order[other - 1], order[one - 1]
        return given.take(order)

    return change


def renamed_calibration(folder: Path) -> None:
    """A calibration's folder under another name than its id."""
    (folder / "calibrations/CAL1").rename(folder / "calibrations/CAL-1")


NO_VALUES = Left(values=0)
NO_SWEEPS = Left(sweeps=0)

CASES = (
    # files
    Case(
        "missing file",
        remove(SHORT),
        CALIBRATION,
        "sweeps[1].file",
        "calibrations/CAL1/short.s2p",
        "Touchstone",
        "Put the file there",
        missing="short.s2p could not be read",
    ),
    Case(
        "missing reference of a verification",
        remove("verifications/VER1/line-reference.s2p"),
        VERIFICATION,
        'structures[1].reference.file (id "line")',
        "line-reference.s2p",
        "Touchstone",
        "Put the file there",
        missing="line-reference.s2p could not be read",
    ),
    Case(
        "name in other capitals",
        lambda folder: (folder / SHORT).rename(folder / "calibrations/CAL1/Short.s2p"),
        CALIBRATION,
        "sweeps[1].file",
        "no file",
        "Touchstone",
        'Beside it lies "calibrations/CAL1/Short.s2p"',
        missing="short.s2p could not be read",
    ),
    Case(
        "unreadable file: a folder in its place",
        directory(SHORT),
        CALIBRATION,
        "sweeps[1].file",
        "a folder in place of the file",
        "Touchstone",
        "readable file",
        missing="short.s2p could not be read",
    ),
    Case(
        "unreadable file: a link that leads nowhere",
        both(remove(VALUES), lambda folder: (folder / VALUES).symlink_to("gone.parquet")),
        WAFER,
        "values[1].file",
        "a link that leads nowhere",
        "Parquet",
        "readable file",
        left=NO_VALUES,
    ),
    Case(
        "link out of the campaign",
        both(
            lambda folder: (folder / SHORT).rename(folder.parent / "short.s2p"),
            lambda folder: (folder / SHORT).symlink_to(folder.parent / "short.s2p"),
        ),
        CALIBRATION,
        "sweeps[1].file",
        "a link that leaves the campaign",
        "Touchstone",
        "readable file",
        missing="short.s2p could not be read",
    ),
    Case(
        "path out of the campaign",
        both(
            lambda folder: (folder / SHORT).rename(folder.parent / "short.s2p"),
            replace(CALIBRATION, 'file = "short.s2p"', 'file = "../../../short.s2p"'),
        ),
        CALIBRATION,
        "sweeps[1].file",
        '".."',
        "Touchstone",
        "below the record's own folder",
        missing="short.s2p could not be read",
    ),
    Case(
        "stray file",
        lambda folder: (folder / "wafers/W1/old.parquet").write_bytes(b"PAR1"),
        "wafers/W1/old.parquet",
        "",
        "no record refers to",
        "a record names",
        "Name it in the record",
    ),
    Case(
        "folder without its record",
        lambda folder: (folder / "wafers/W2").mkdir(),
        "wafers/W2/wafer.toml",
        "",
        "no file",
        "the record of a wafer",
        "move the folder out",
    ),
    Case(
        "note that is not UTF-8",
        write("notes/purpose.md", b"# Zweck\n\nf\xfcr alle\n"),
        "notes/purpose.md",
        "line 3",
        "not UTF-8",
        "Markdown",
        "as UTF-8",
    ),
    # TOML records
    Case(
        "TOML syntax",
        replace(WAFER, 'lot = "TINY"', "lot = TINY"),
        WAFER,
        "line 4, column 7",
        "not TOML",
        "key = value",
        "Correct the line",
        left=Left(wafers=0, values=0, sweeps=0),
    ),
    Case(
        "unknown key",
        replace(WAFER, 'lot = "TINY"', 'lots = "TINY"'),
        WAFER,
        "lots",
        'the unknown key "lots"',
        '"lot"',
        'Rename it to "lot"',
        left=Left(wafers=0, values=0, sweeps=0),
    ),
    Case(
        "missing key",
        replace(CALIBRATION, 'reference_plane = "probe tips"\n', ""),
        CALIBRATION,
        "reference_plane",
        'no key "reference_plane"',
        "where the corrected sweeps refer to",
        "Add it",
        left=Left(calibrations=0),
    ),
    Case(
        "number in quotes",
        replace(WAFER, "ambient_c = 23.0", 'ambient_c = "23.0"'),
        WAFER,
        "ambient_c",
        '"23.0"',
        "a number",
        "without quotes",
        left=Left(wafers=0, values=0, sweeps=0),
    ),
    Case(
        "time without zone",
        replace(VERIFICATION, "10:05:00Z", "10:05:00"),
        VERIFICATION,
        "at",
        "2026-03-02T10:05:00",
        "zone",
        "+01:00",
        left=Left(verifications=0),
    ),
    Case(
        "limits reversed",
        replace(CAMPAIGN, "lower = 380.0\nupper = 440.0", "lower = 440.0\nupper = 380.0"),
        CAMPAIGN,
        'parameters[1] (id "VTH")',
        "do not go together",
        "the lower limit 440 must lie below the upper limit 380",
        "Correct",
        left=None,
    ),
    Case(
        "unknown unit",
        replace(CAMPAIGN, 'unit = "mV"', 'unit = "MILLIVOLT"'),
        CAMPAIGN,
        'parameters[1].unit (id "VTH")',
        '"MILLIVOLT"',
        "list of the reference",
        "capitals",
        left=None,
    ),
    Case(
        "unknown device",
        replace(CAMPAIGN, 'device = "IND"', 'device = "INDD"'),
        CAMPAIGN,
        'parameters[4].device (id "L")',
        'the unknown device "INDD"',
        '"FET" or "IND"',
        'Write "IND"',
        left=None,
    ),
    Case(
        "wafers without a layout",
        lines(CAMPAIGN, lambda all_lines: all_lines[:20] + all_lines[33:]),
        CAMPAIGN,
        "layout",
        'no key "layout"',
        "where the dies lie",
        "Add [layout]",
        left=None,
    ),
    Case(
        "the same id twice",
        append(CAMPAIGN, '\n[[devices]]\nid = "ind"\nname = "twin"\nkind = "inductor"\n'),
        CAMPAIGN,
        "devices[3].id",
        'the id "ind", which entry 1 has',
        "capitals",
        "another id",
        left=None,
    ),
    Case(
        "id that differs from its folder",
        renamed_calibration,
        "calibrations/CAL-1/record.toml",
        "id",
        '"CAL1"',
        '"CAL-1"',
        "Correct the id",
    ),
    Case(
        "unknown station",
        replace(WAFER, 'station = "ST1"', 'station = "ST2"'),
        WAFER,
        "station",
        'the unknown station "ST2"',
        '"ST1"',
        "until then this record is left out",
        left=Left(wafers=0, values=0, sweeps=0),
    ),
    Case(
        "unknown probe",
        replace(VERIFICATION, '["P1", "P2"]', '["P1", "Q7"]'),
        VERIFICATION,
        "state.probes",
        'the unknown probe "Q7"',
        '"P1" or "P2"',
        "Declare it",
    ),
    Case(
        "unknown definition",
        replace(CALIBRATION, 'between = "thru"', 'between = "line"'),
        CALIBRATION,
        "sweeps[4].between",
        'the unknown definition of a thru "line"',
        '"thru"',
        "[definitions.line]",
        missing="which is no definition of a thru",
    ),
    Case(
        "overload reading",
        cell(VALUES, "value", 5, 9.91e37),
        VALUES,
        'column "value", row 5',
        "9.91e+37",
        "instruments write one so large for an overload",
        "Measure it again",
        Left(values=26),
    ),
    Case(
        "verification before its calibration",
        replace(VERIFICATION, "at = 2026-03-02T10:05", "at = 2026-03-02T06:05"),
        VERIFICATION,
        "at",
        "2026-03-02T06",
        "a time after its calibration CAL1",
        "Correct the time",
    ),
    Case(
        "decimal comma in a record",
        replace(WAFER, "ambient_c = 23.0", "ambient_c = 23,0"),
        WAFER,
        "line ",
        "a number with a decimal comma",
        "a decimal point",
        "Correct the line",
        Left(wafers=0, values=0, sweeps=0),
    ),
    Case(
        "planned wafer in other letters",
        replace(CAMPAIGN, 'id = "W1"', 'id = "w1"'),
        CAMPAIGN,
        "plan.wafers[1].id",
        '"w1"',
        '"W1", as the wafer\'s own record has it',
        "the same letters",
    ),
    Case(
        "hot condition without a thermal entry",
        replace(WAFER, "set_point_c = 25.0", "set_point_c = 85.0"),
        WAFER,
        "thermal",
        "no entry near 25 °C",
        "one [[thermal]] entry for each set point",
        "Add set point",
    ),
    Case(
        "wafer without its instrument",
        replace(WAFER, 'dc_instrument = "SMU1"\n', ""),
        WAFER,
        "dc_instrument",
        "the tables hold DC values",
        "the id of the station's instrument",
        "Add dc_instrument",
    ),
    Case(
        "unknown calibration of a verification",
        replace(VERIFICATION, 'calibration = "CAL1"', 'calibration = "CAL9"'),
        VERIFICATION,
        "calibration",
        'the unknown calibration "CAL9"',
        '"CAL1"',
        'Write "CAL1"',
    ),
    Case(
        "reference dies that no transform fits",
        replace(WAFER, "prober = [10, 6]", "prober = [10, 7]"),
        WAFER,
        "reference_dies",
        "die (1, 0) as (10, 7)",
        "one turn or mirroring with one shift",
        "Correct the numbers",
        left=NO_VALUES,
    ),
    Case(
        "reference dies that a mirroring maps onto themselves",
        both(
            replace(WAFER, "die = [1, 0]", "die = [0, 0]"),
            replace(WAFER, "prober = [10, 6]", "prober = [10, 5]"),
        ),
        WAFER,
        "reference_dies",
        "a turn or mirroring maps onto themselves",
        "at least three",
        "Name another die",
        left=NO_VALUES,
    ),
    Case(
        "too few reference dies",
        replace(WAFER, "frames = { prober = [10, 6] }", "frames = {}"),
        WAFER,
        "reference_dies",
        "only 2 reference dies",
        "at least three",
        "Name another die",
        left=NO_VALUES,
    ),
    Case(
        "frame that is not known",
        replace(WAFER, 'frame = "prober"', 'frame = "proper"'),
        WAFER,
        "values[1].frame",
        'the unknown frame "proper"',
        '"layout" or "prober"',
        'Write "prober"',
        left=NO_VALUES,
    ),
    Case(
        "finished before it started",
        replace(WAFER, "finished = 2026-03-02T10:00:00Z", "finished = 2026-03-02T10:00:00+03:00"),
        WAFER,
        "finished",
        "before it started",
        "a time after 2026-03-02T08:30:00",
        "zone",
    ),
    # Touchstone
    Case(
        "truncated Touchstone",
        lines(SHORT, lambda given: [*given[:-1], given[-1][:60]]),
        SHORT,
        "line 13",
        "8 numbers in the last record",
        "9 numbers on each line",
        "cut off",
        missing="short.s2p could not be read",
    ),
    Case(
        "decreasing frequencies",
        lines(SHORT, lambda given: [*given[:2], *given[:1:-1]]),
        SHORT,
        "line 4",
        "10 GHz after 11 GHz",
        "increasing",
        "Sort",
        count=10,
        missing="short.s2p could not be read",
    ),
    Case(
        "mismatching frequencies",
        lines(SHORT, lambda given: given[:-1]),
        SHORT,
        "",
        "10 points from 1 GHz to 10 GHz",
        "11 points",
        "again with that frequency list",
        missing="short.s2p has other frequencies",
    ),
    Case(
        "decimal comma",
        lines(SHORT, lambda given: [*given[:2], *(one.replace(".", ",") for one in given[2:])]),
        SHORT,
        "line 3",
        '"1000000000,0"',
        "decimal point",
        "decimal points",
        count=55,
        missing="short.s2p could not be read",
    ),
    Case(
        "NaN in Touchstone",
        lines(SHORT, lambda given: [*given[:4], "3e9 nan 0 0 0 0 0 0 0", *given[5:]]),
        SHORT,
        "line 5",
        '"nan"',
        "finite",
        "again",
        missing="short.s2p could not be read",
    ),
    Case(
        "wrong port count",
        both(
            lambda folder: (folder / SHORT).unlink(),
            write("calibrations/CAL1/short.s1p", b"# GHz S RI R 50\n1 -1 0\n2 -1 0\n"),
            replace(CALIBRATION, 'file = "short.s2p"', 'file = "short.s1p"'),
        ),
        "calibrations/CAL1/short.s1p",
        "",
        "1 port",
        "2 ports",
        "Export the sweep",
        missing="short.s1p could not be read",
    ),
    Case(
        "other reference resistance",
        replace(SHORT, "R 50", "R 75"),
        SHORT,
        "line 2",
        "75 Ω",
        "50 Ω",
        "again at that impedance",
        missing="short.s2p could not be read",
    ),
    # tables
    Case(
        "wrong column",
        column(VALUES, "value", lambda given: given, rename="vlaue"),
        VALUES,
        'column "vlaue"',
        "not known",
        '"value"',
        "Rename",
        left=NO_VALUES,
    ),
    Case(
        "missing column",
        table(VALUES, lambda given: given.drop_columns(["condition"])),
        VALUES,
        "columns",
        'no column "condition"',
        "id of the condition",
        "Add the column",
        left=NO_VALUES,
    ),
    Case(
        "column that is not known",
        table(VALUES, lambda given: given.append_column("operator", pa.array(["x"] * 27))),
        VALUES,
        'column "operator"',
        "not known",
        "columns of the reference",
        "Leave the column out",
    ),
    Case(
        "wrong type",
        column(VALUES, "die_x", lambda given: given.cast(pa.float64())),
        VALUES,
        'column "die_x"',
        "the type double",
        "whole numbers",
        "integers",
        left=NO_VALUES,
    ),
    Case(
        "numbers as text",
        column(VALUES, "value", lambda given: given.cast(pa.string())),
        VALUES,
        'column "value"',
        "text",
        "numbers",
        "float64",
        left=NO_VALUES,
    ),
    Case(
        "times without zone in a table",
        column(VALUES, "measured_at", lambda given: given.cast(pa.timestamp("us"))),
        VALUES,
        'column "measured_at"',
        "times without a zone",
        "times with a zone",
        "in UTC",
        left=NO_VALUES,
    ),
    Case(
        "wrong unit",
        replace(WAFER, 'VTH = "V"', 'VTH = "A"'),
        VALUES,
        'column "value", row 1 (die (11, 4), device "FET")',
        '"A" in wafers/W1/wafer.toml',
        '"mV"',
        "Correct the unit",
        left=Left(values=18),
        count=9,
    ),
    Case(
        "units that disagree",
        both(
            table(VALUES, with_unit("value", "A")),
            replace(WAFER, '{ VTH = "V", IOFF = "A", FT = "GHz" }', '{ IOFF = "mA" }'),
            table(VALUES, lambda given: given.filter(pa.array([n % 3 == 1 for n in range(27)]))),
        ),
        VALUES,
        'column "value", row 1',
        '"A" in the column\'s metadata and "mA" in wafers/W1/wafer.toml',
        "one and the same unit",
        "Correct the one",
        left=NO_VALUES,
        count=9,
    ),
    Case(
        "no unit",
        replace(WAFER, ', FT = "GHz"', ""),
        VALUES,
        'column "value", row 3',
        'no unit for the parameter "FT"',
        "wafer.toml",
        "units.FT",
        left=Left(values=18),
        count=9,
    ),
    Case(
        "NaN",
        cell(VALUES, "value", 5, float("nan")),
        VALUES,
        'column "value", row 5 (die (11, 5), device "FET")',
        "nan",
        "a finite number",
        "leave the row out",
        left=Left(values=26),
    ),
    Case(
        "empty entry",
        cell(VALUES, "device", 5, None),
        VALUES,
        'column "device", row 5',
        "an empty entry",
        "id of the device",
        "Fill it",
        left=Left(values=26),
    ),
    Case(
        "duplicate key",
        table(VALUES, repeat_row(4)),
        VALUES,
        "row 28",
        "row 4 (die_x 0, die_y -1, device FET, parameter VTH, condition sat, touchdown 1)",
        "each key once",
        "touchdown",
    ),
    Case(
        "unknown parameter",
        cell(VALUES, "parameter", 7, "VTHX"),
        VALUES,
        'column "parameter", row 7',
        'the unknown parameter "VTHX"',
        '"VTH"',
        'Write "VTH"',
        left=Left(values=26),
    ),
    Case(
        "another device than the parameter's",
        cell(VALUES, "device", 7, "IND"),
        VALUES,
        'column "device", row 7',
        '"IND" with the parameter "VTH"',
        '"FET"',
        "Correct the device",
        left=Left(values=26),
    ),
    Case(
        "die off the wafer",
        cell(VALUES, "die_x", 1, 40),
        VALUES,
        'columns "die_x" and "die_y", row 1 (die (40, 4), device "FET")',
        "die (-1, -30) of the layout",
        "within 50 mm",
        "Correct the die",
        left=Left(values=26),
    ),
    Case(
        "negative touchdown",
        cell(VALUES, "touchdown", 2, -1),
        VALUES,
        'column "touchdown", row 2',
        "-1",
        "from 1",
        "Count",
        left=Left(values=26),
    ),
    Case(
        "unknown calibration of a value",
        cell(VALUES, "calibration", 3, "CAL7"),
        VALUES,
        'column "calibration", row 3',
        'the unknown calibration "CAL7"',
        '"CAL1"',
        'Write "CAL1"',
    ),
    Case(
        "measured on another day",
        column(
            VALUES,
            "measured_at",
            lambda given: pa.array([moment.replace(day=5) for moment in given.to_pylist()]),
        ),
        VALUES,
        'column "measured_at", row 1',
        "2026-03-05T08:30:00",
        "from 2026-03-02T08:30:00",
        "Correct the times",
        count=27,
    ),
    Case(
        "empty table",
        table(SWEEPS, lambda given: given.slice(0, 0)),
        SWEEPS,
        "",
        "no rows",
        "at least one",
        "Write the table again",
        left=NO_SWEEPS,
    ),
    Case(
        "zero bytes",
        write(SWEEPS, b""),
        SWEEPS,
        "",
        "not a whole Parquet file",
        "a Parquet file",
        "again",
        left=NO_SWEEPS,
    ),
    Case(
        "decreasing frequencies in a sweep",
        table(SWEEPS, swap_rows(14, 15)),
        SWEEPS,
        'column "frequency_hz", row 15 (die (0, -1), device "IND")',
        "3 GHz after 4 GHz",
        "increase",
        "Sort",
        left=Left(sweeps=8),
    ),
    Case(
        "incomplete sweep",
        table(SWEEPS, lambda given: given.slice(0, 97)),
        SWEEPS,
        'row 89 (die (1, 1), device "IND")',
        "9 frequencies",
        "11, as in most sweeps",
        "again",
        left=Left(sweeps=8),
    ),
    Case(
        "NaN in a sweep",
        cell(SWEEPS, "s21_im", 40, float("nan")),
        SWEEPS,
        'column "s21_im", row 40 (die (-1, 0), device "IND")',
        "nan",
        "finite",
        "left out",
        left=Left(sweeps=8),
    ),
    Case(
        "sweeps of one port for a device of two",
        table(SWEEPS, lambda given: given.drop_columns(["s22_re", "s22_im"])),
        SWEEPS,
        'row 1 (die (-1, -1), device "IND")',
        'no column "s22_re"',
        "2 ports",
        "ports in campaign.toml",
        left=NO_SWEEPS,
        count=9,
    ),
)


def ten_at_once(folder: Path) -> tuple[Case, ...]:
    """Break the campaign in ten ways that do not hide each other."""
    names = (
        "missing file",
        "missing reference of a verification",
        "stray file",
        "folder without its record",
        "note that is not UTF-8",
        "finished before it started",
        "column that is not known",
        "NaN",
        "unknown parameter",
        "NaN in a sweep",
    )
    chosen = tuple(case for case in CASES if case.name in names)
    for case in chosen:
        case.broken_by(folder)
    return chosen
