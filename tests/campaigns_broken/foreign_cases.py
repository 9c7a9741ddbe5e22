"""Campaigns of foreign files with one fault each, as they come out of laboratories."""

import shutil
from collections.abc import Callable
from dataclasses import replace as with_other
from pathlib import Path

from tests.campaigns_broken.cases import Case, Left, both
from tests.foreign_campaign import write_list

MAPPING = "mapping.toml"
TABLE = "gathered/dc/W1 parametric.csv"
SWEEPS = "gathered/rf/W1"
FIRST = f"{SWEEPS}/spiral_D1_20260302-093500.s2p"
CONTACTS = "contacts/all.tsv"
PART = "chains/wafer=W1/part-0.parquet"

Change = Callable[[str], str]

WHOLE_FOREIGN = Left(values=27, sweeps=9, curves=27, touchdowns=18, earlier=9)
NO_TABLE = with_other(WHOLE_FOREIGN, values=0)
NO_SWEEPS = with_other(WHOLE_FOREIGN, sweeps=0)
ONE_SWEEP_LESS = with_other(WHOLE_FOREIGN, sweeps=8)


def text(file: str, change: Change, encoding: str = "utf-8") -> Callable[[Path], object]:
    """Change the text of a file, line ends and byte order mark included."""

    def broken(folder: Path) -> None:
        path = folder / file
        before = path.read_bytes().decode(encoding)
        after = change(before)
        assert after != before
        path.write_bytes(after.encode(encoding))

    return broken


def swap(old: str, new: str) -> Change:
    """Replace the first place of a text."""

    def changed(before: str) -> str:
        assert old in before, old
        return before.replace(old, new, 1)

    return changed


def rows(change: Callable[[list[str]], list[str]]) -> Callable[[Path], object]:
    """Change the lines of the wide table; the first four stand above its rows."""
    return text(TABLE, lambda before: "\r\n".join(change(before.split("\r\n"))), "utf-8-sig")


def cells(change: Callable[[list[str]], list[str]], at: slice) -> Callable[[Path], object]:
    """Change the cells of some rows of the wide table, counted from 0 below the names."""

    def changed(lines: list[str]) -> list[str]:
        below = lines[4:-1]
        below[at] = [";".join(change(line.split(";"))) for line in below[at]]
        return [*lines[:4], *below, lines[-1]]

    return rows(changed)


def cell(number: int, new: str) -> Callable[[list[str]], list[str]]:
    """Another text in one cell of a row."""
    return lambda row: [*row[:number], new, *row[number + 1 :]]


def renamed(old: str, new: str) -> Callable[[Path], object]:
    """Another name for the first sweep's file."""

    def broken(folder: Path) -> None:
        path = folder / FIRST
        path.rename(path.with_name(path.name.replace(old, new)))

    return broken


def listed(case: Case) -> Case:
    """The same case, with the list of gathered files written anew: the files came broken."""
    return with_other(case, broken_by=both(case.broken_by, write_list))


_ALL = slice(0, None)
_FIRST = slice(0, 1)

_CAME_BROKEN: tuple[Case, ...] = (
    Case(
        name="decimal commas between commas",
        broken_by=text(TABLE, lambda before: before.replace(";", ","), "utf-8-sig"),
        file=TABLE,
        place="line 5",
        found="decimal commas between cells divided by commas",
        expected="11, one for each name",
        remedy="Export it with semicolons",
        left=NO_TABLE,
        count=9,
    ),
    Case(
        name="a decimal comma that could be a thousands mark",
        broken_by=cells(
            lambda row: [
                "1,234" if n == 2 else each.partition(",")[0] for n, each in enumerate(row)
            ],
            _ALL,
        ),
        file=TABLE,
        place='column "Vth [mV]", line 5',
        found='"1,234"',
        expected="one way to read it",
        remedy="dialect.decimal = 'comma' or 'point'",
        left=with_other(WHOLE_FOREIGN, values=18),
        count=9,
    ),
    Case(
        name="a header row twice",
        broken_by=rows(lambda lines: [*lines[:8], lines[3], *lines[8:]]),
        file=TABLE,
        place="line 9",
        found="the columns' names again",
        expected="once, above the rows",
        remedy="Remove the line",
        left=WHOLE_FOREIGN,
    ),
    Case(
        name="units in the wrong row",
        broken_by=rows(lambda lines: [*lines[:4], ";;mV;nA;GHz;°C;;;V;V;", *lines[4:]]),
        file=TABLE,
        place="line 5",
        found="units in place of numbers",
        expected="rows of numbers",
        remedy="dialect.units_line = 5",
        left=WHOLE_FOREIGN,
    ),
    Case(
        name="a table that was cut off",
        broken_by=text(TABLE, lambda before: before[:-40], "utf-8-sig"),
        file=TABLE,
        place="line 13",
        found="a last line that breaks off",
        expected="a whole row",
        remedy="Copy the file again",
        left=with_other(WHOLE_FOREIGN, values=24),
    ),
    Case(
        name="dates as a spreadsheet keeps them",
        broken_by=cells(cell(6, "46083"), _ALL),
        file=TABLE,
        place='column "Datum" and column "Uhrzeit", line 5',
        found="looks like Excel's serial date of 2026-03-02",
        expected="a time in text",
        remedy="Format the column as text",
        left=NO_TABLE,
        count=9,
    ),
    Case(
        name="a last number that may be cut off",
        broken_by=text("gathered/iv/W1/x0y0/transfer.txt", lambda before: before.rstrip("\n")),
        file="gathered/iv/W1/x0y0/transfer.txt",
        place="line 15",
        found="a last line without its end, while 8 files of this source have one",
        expected="a line end behind the last row",
        remedy="it was read as it stands",
        left=WHOLE_FOREIGN,
    ),
    Case(
        name="a word where a number belongs",
        broken_by=cells(cell(2, "n/a"), _FIRST),
        file=TABLE,
        place='column "Vth [mV]", line 5',
        found='"n/a"',
        expected="a number",
        remedy="dialect.missing",
        left=with_other(WHOLE_FOREIGN, values=26),
    ),
    Case(
        name="a column that was named anew",
        broken_by=text(TABLE, swap("Vth [mV]", "VTH (mV)"), "utf-8-sig"),
        file=TABLE,
        place="line 4",
        found='no column "Vth [mV]"',
        expected="every column that the source maps",
        remedy='"VTH (mV)" for "Vth [mV]"',
        left=NO_TABLE,
    ),
    Case(
        name="a column twice",
        broken_by=text(TABLE, swap("Bediener", "Zeile"), "utf-8-sig"),
        file=TABLE,
        place='line 4, column "Zeile"',
        found="the column 2 times",
        expected="it once",
        remedy="another name",
        left=NO_TABLE,
    ),
    Case(
        name="bytes of another encoding",
        broken_by=lambda folder: (folder / TABLE).write_bytes(
            (folder / TABLE).read_bytes().decode("utf-8-sig").encode("cp1252")
        ),
        file=TABLE,
        place="line 4",
        found="look like windows-1252",
        expected="text in UTF-8",
        remedy='dialect.encoding = "windows-1252"',
        left=NO_TABLE,
    ),
    Case(
        name="a workbook under the name of a table",
        broken_by=lambda folder: (folder / TABLE).write_bytes(b"PK\x03\x04" + b"\x00" * 200),
        file=TABLE,
        place="",
        found="an Excel workbook",
        expected="a table of text",
        remedy="Save the table as CSV",
        left=NO_TABLE,
    ),
    Case(
        name="an empty table",
        broken_by=lambda folder: (folder / TABLE).write_bytes(b""),
        file=TABLE,
        place="",
        found="an empty file",
        expected="a table of text",
        remedy="Copy the file again",
        left=NO_TABLE,
    ),
    Case(
        name="a line above the table that is not there",
        broken_by=text(TABLE, swap("Bias:", "Vorspannung:"), "utf-8-sig"),
        file=TABLE,
        place="the first 200 lines",
        found='no line like "Bias: {bias}"',
        expected="one such line",
        remedy="Correct 'lines' of source \"parametric\"",
        left=NO_TABLE,
    ),
    Case(
        name="a bias that no condition has",
        broken_by=text(TABLE, swap("VD 1.2", "VD 0.05"), "utf-8-sig"),
        file=TABLE,
        place='the line "Bias: {bias}"',
        found='bias "VG 0.6 VD 0.05", which no rule',
        expected="one rule that fits",
        remedy='"VG 0.6 VD 1.2"',
        left=NO_TABLE,
        count=9,
    ),
    Case(
        name="a die's label that is not listed",
        broken_by=renamed("D1", "D10"),
        file=FIRST.replace("D1", "D10"),
        place="its name, {die}",
        found='the unknown die "D10"',
        expected='"D1"',
        remedy='Write "D1"',
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="a device with a blank behind it",
        broken_by=renamed("spiral", "spiral "),
        file=FIRST.replace("spiral", "spiral "),
        place="its name, {device}",
        found='which is "spiral" with a blank at its end',
        expected="a name as 'rename'",
        remedy="Correct the name",
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="a device in other capitals",
        broken_by=renamed("spiral", "Spiral"),
        file=FIRST.replace("spiral", "Spiral"),
        place="its name, {device}",
        found='which is "spiral" in other capitals',
        expected="a name as 'rename'",
        remedy="Correct the name",
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="a year of two digits",
        broken_by=renamed("2026", "26"),
        file=FIRST.replace("2026", "26"),
        place="its name, {time}",
        found="does not fit",
        expected="a time in this format",
        remedy="Correct time_format",
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="an hour that comes twice",
        broken_by=renamed("20260302-0935", "20261025-0230"),
        file=FIRST.replace("20260302-0935", "20261025-0230"),
        place="its name, {time}",
        found="which comes twice that day in Europe/Berlin",
        expected="a time that comes once",
        remedy="repeated_hour",
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="an hour that does not exist",
        broken_by=renamed("20260302-0935", "20260329-0230"),
        file=FIRST.replace("20260302-0935", "20260329-0230"),
        place="its name, {time}",
        found="which does not exist in Europe/Berlin",
        expected="a time that exists",
        remedy="time_zone = '+01:00'",
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="a sweep that was cut off",
        broken_by=text(FIRST, lambda before: before[:-30]),
        file=FIRST,
        place="line 13",
        found="8 numbers in the last record",
        expected="9 numbers on each line",
        remedy="the file was probably cut off",
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="real and imaginary parts marked as dB and angle",
        broken_by=text(FIRST, swap(" RI ", " DB ")),
        file=FIRST,
        place="line 2",
        found="look like real and imaginary parts under the option DB",
        expected="dB and angle",
        remedy="Correct the option line",
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="a sweep with fewer frequencies",
        broken_by=text(FIRST, lambda before: "\n".join(before.splitlines()[:-3]) + "\n"),
        file=FIRST,
        place='die (-1, -1), device "IND"',
        found="a sweep of 8 frequencies",
        expected="11, as in most sweeps",
        remedy="Take the sweep again",
        left=ONE_SWEEP_LESS,
    ),
    Case(
        name="one sweep under two dies",
        broken_by=lambda folder: shutil.copy(
            folder / FIRST, folder / SWEEPS / "spiral_D2_20260302-094500.s2p"
        ),
        file=FIRST,
        place='die (-1, -1), device "IND"',
        found="the same sweep to the last digit as on die (0, -1)",
        expected="sweeps that differ by noise",
        remedy="both were left out",
        left=with_other(WHOLE_FOREIGN, sweeps=7),
        count=2,
    ),
    Case(
        name="a copy beside the original",
        broken_by=lambda folder: shutil.copy(
            folder / FIRST, folder / SWEEPS / "spiral_D1_20260302-093500 (1).s2p"
        ),
        file=FIRST.replace(".s2p", " (1).s2p"),
        place="",
        found=f"the same bytes as in {FIRST}, of which it is a copy by its name",
        expected="each measurement in one file",
        remedy="Remove the copy",
        left=WHOLE_FOREIGN,
    ),
    Case(
        name="two files of one touchdown",
        broken_by=lambda folder: (folder / SWEEPS / "spiral_D1_20260302-094000.s2p").write_text(
            (folder / FIRST).read_text().replace("0.0", "0.00001")
        ),
        file=f"{SWEEPS}/spiral_D1_20260302-094000.s2p",
        place="",
        found=f"the same key as in {FIRST}",
        expected="each key once",
        remedy="Number repeated measurements by touchdown",
        left=WHOLE_FOREIGN,
    ),
    Case(
        name="a wafer in other capitals",
        broken_by=lambda folder: (folder / SWEEPS).rename(folder / "gathered/rf/w1"),
        file=FIRST.replace("W1", "w1"),
        place="",
        found='the wafer "w1", which is "W1" in other capitals, in 9 files',
        expected="wafers/w1/wafer.toml",
        remedy='If "W1" is meant',
        left=NO_SWEEPS,
    ),
    Case(
        name="a wafer without a record",
        broken_by=lambda folder: (folder / SWEEPS).rename(folder / "gathered/rf/B77"),
        file=FIRST.replace("W1", "B77"),
        place="",
        found='the wafer "B77" in 9 files, which has no record',
        expected="wafers/B77/wafer.toml",
        remedy="sitegen new FOLDER --wafer B77",
        left=NO_SWEEPS,
    ),
    Case(
        name="a file that nobody expects",
        broken_by=lambda folder: (folder / "gathered/rf/W1/operator notes.s2p").write_text("x"),
        file="gathered/rf/W1/operator notes.s2p",
        place="",
        found="a file that no source understands",
        expected="a pattern of mapping.toml",
        remedy="Correct the pattern or the file's name",
        left=WHOLE_FOREIGN,
    ),
)

_ALTERED: tuple[Case, ...] = (
    Case(
        name="a gathered file that was altered",
        broken_by=text(FIRST, lambda before: before + "! looked at\n"),
        file=FIRST,
        place="",
        found="it was altered since then",
        expected="the digest that gathered.csv has",
        remedy="run 'sitegen gather' again",
        left=WHOLE_FOREIGN,
    ),
    Case(
        name="a gathered file that is gone",
        broken_by=lambda folder: (folder / FIRST).unlink(),
        file="gathered.csv",
        place=f'file "{FIRST}"',
        found="a gathered file that is not there",
        expected="every file of the list",
        remedy="Run 'sitegen gather' again",
        left=ONE_SWEEP_LESS,
    ),
)

_IN_PLACE: tuple[Case, ...] = (
    Case(
        name="merged cells of the wafer",
        broken_by=text(CONTACTS, lambda before: before.replace("\nW1\t", "\n\t")),
        file=CONTACTS,
        place='column "wafer", line 2',
        found="an empty entry",
        expected="the id of the wafer",
        remedy="of merged cells only the first keeps its text",
        left=with_other(WHOLE_FOREIGN, touchdowns=0),
        count=18,
    ),
    Case(
        name="a mapping that was taken away",
        broken_by=both(
            lambda folder: (folder / MAPPING).unlink(),
            lambda folder: shutil.rmtree(folder / "chains"),
        ),
        file=MAPPING,
        place="",
        found="no file, though 19 files in gathered/ were gathered",
        expected="the mapping that says how they are to be understood",
        remedy="Put it back",
        left=Left(values=0, sweeps=0, curves=0, touchdowns=0, earlier=9),
    ),
    Case(
        name="a dataset that is not there",
        broken_by=lambda folder: shutil.rmtree(folder / "chains"),
        file=MAPPING,
        place='sources.folder (id "chain")',
        found='"chains", where there is no such folder',
        expected="at least one file",
        remedy="Correct the pattern",
        left=with_other(WHOLE_FOREIGN, curves=18),
    ),
    Case(
        name="a source taken out of the mapping",
        broken_by=text(
            MAPPING,
            lambda before: (
                before[: before.index('[[sources]]\nid = "transfer"')]
                + before[before.index('[[sources]]\nid = "chain"') :]
            ),
        ),
        file="gathered/iv/W1/x0y0/transfer.txt",
        place="",
        found="a file that no source understands",
        expected="a pattern of mapping.toml",
        remedy="Correct the pattern",
        left=with_other(WHOLE_FOREIGN, curves=9),
        count=9,
    ),
    Case(
        name="a part of a Parquet dataset that was cut off",
        broken_by=lambda folder: (folder / PART).write_bytes((folder / PART).read_bytes()[:-50]),
        file=PART,
        place="",
        found="a Parquet file that breaks off",
        expected="a Parquet file",
        remedy="Copy or write the file again",
        left=with_other(WHOLE_FOREIGN, curves=23),
    ),
    Case(
        name="touchdowns counted in words",
        broken_by=text(CONTACTS, lambda before: before.replace("\tFET\t1\t", "\tFET\tone\t")),
        file=CONTACTS,
        place='column "n", line 2',
        found='"one"',
        expected="a whole number",
        remedy="Correct what is said",
        left=with_other(WHOLE_FOREIGN, touchdowns=9),
        count=9,
    ),
)


def mapped(name: str, old: str, new: str, place: str, **said: object) -> Case:
    """A case of a changed mapping."""
    return Case(
        name=name,
        broken_by=text(MAPPING, swap(old, new)),
        file=MAPPING,
        place=place,
        **said,  # type: ignore[arg-type]
    )


_MAPPINGS: tuple[Case, ...] = (
    mapped(
        "times without a zone",
        'time_format = "%d.%m.%Y %H:%M"\ntime_zone = "Europe/Berlin"',
        'time_format = "%d.%m.%Y %H:%M"',
        'sources[2].time_format (id "parametric")',
        found="without a zone",
        expected="a zone",
        remedy="State time_zone",
        left=NO_TABLE,
    ),
    mapped(
        "a zone that is none",
        'time_zone = "Europe/Berlin"',
        'time_zone = "Europe/Berln"',
        'sources[1].time_zone (id "rf")',
        found="which is no zone",
        expected="a time zone",
        remedy='Write "Europe/Berlin"',
        left=NO_SWEEPS,
    ),
    mapped(
        "a field that is none",
        "rf/{wafer}/",
        "rf/{wafr}/",
        'sources[1].files (id "rf")',
        found="near {wafer}",
        expected="a pattern",
        remedy="Write one of wafer, die,",
        left=NO_SWEEPS,
    ),
    mapped(
        "a condition that is not declared",
        'constants = { condition = "rf" }\nrename',
        'constants = { condition = "RF" }\nrename',
        "sources[1].constants.condition",
        found='the unknown condition "RF"',
        expected='"rf" or "sat"',
        remedy='Write "rf"',
        left=NO_SWEEPS,
    ),
    mapped(
        "a unit that is none",
        'unit = "nA" },\n  { theirs = "fT',
        'unit = "nAmp" },\n  { theirs = "fT',
        "sources[2].columns[4].unit",
        found='the unknown unit "nAmp"',
        expected="a unit from the list",
        remedy="Write the unit as the list has it",
        left=NO_TABLE,
    ),
    mapped(
        "a column of readings without a unit",
        'ours = "id_a", unit = "nA"',
        'ours = "id_a"',
        "sources[3].columns[3]",
        found='no unit for the column "ID"',
        expected="its unit, as nothing is guessed",
        remedy="State unit = 'A' or whatever its numbers are in",
        left=with_other(WHOLE_FOREIGN, curves=9),
    ),
    mapped(
        "a folder of the campaign's own records",
        'folder = "contacts"',
        'folder = "wafers"',
        'sources[5].folder (id "contacts")',
        found='"wafers", where records of the campaign lie',
        expected="a folder of the campaign for such files",
        remedy="a folder of their own",
        left=with_other(WHOLE_FOREIGN, touchdowns=0),
    ),
    mapped(
        "ports of the sweeps of standards",
        '[[sources]]\nid = "parametric"',
        '[[sources]]\nid = "standards"\nfiles = "cal/{calibration}/*.s2p"\n'
        'holds = "calibration sweeps"\nports = [2, 1]\n\n[[sources]]\nid = "parametric"',
        'sources[2].ports (id "standards")',
        found="[2, 1]",
        expected="it is of sweeps of devices only",
        remedy="Leave it out",
        left=WHOLE_FOREIGN,
    ),
    mapped(
        "a unit of something else",
        'parameter = "VTH", unit = "mV"',
        'parameter = "VTH", unit = "mA"',
        "sources[2].columns[3].unit",
        found='"mA"',
        expected='"mV" or a unit that converts',
        remedy="Correct the unit",
        left=NO_TABLE,
    ),
    with_other(
        mapped(
            "a unit that the column's name contradicts",
            'parameter = "VTH", unit = "mV"',
            'parameter = "VTH", unit = "V"',
            'column "Vth [mV]"',
            found='the unit "mV" in its name and "V" in mapping.toml',
            expected="one and the same unit",
            remedy="Correct 'unit'",
            left=NO_TABLE,
        ),
        file=TABLE,
    ),
    with_other(
        mapped(
            "a frame that no reference die fixes",
            'rows = "one a die"\nframe = "prober"',
            'rows = "one a die"\nframe = "chuck"',
            "reference_dies",
            found='no frame "chuck"',
            expected="reference dies that fix this frame",
            remedy="Name at least three dies",
            left=NO_TABLE,
        ),
        file="wafers/W1/wafer.toml",
    ),
    with_other(
        mapped(
            "a column that nobody mapped",
            'leave = ["Bediener"]\n',
            "",
            "line 4",
            found='1 column that is not mapped: "Bediener"',
            expected="each column under 'columns' or 'leave'",
            remedy="name the rest under 'leave'",
            left=WHOLE_FOREIGN,
        ),
        file=TABLE,
    ),
    with_other(
        mapped(
            "minus signs written as letters",
            'minus = "m"\n',
            "",
            "",
            found='"m1" where {die_y} should be a whole number',
            expected="a pattern of mapping.toml",
            remedy="Correct the pattern",
            left=with_other(WHOLE_FOREIGN, curves=17),
            count=5,
        ),
        file="gathered/iv/W1/x0ym1/transfer.txt",
    ),
    with_other(
        mapped(
            "two sources for the same files",
            '[[sources]]\nid = "parametric"',
            '[[sources]]\nid = "again"\nfiles = "rf/{wafer}/*_{die}_{time}.s2p"\nholds = "sweeps"\n'
            'sweep = "raw"\nconstants = { condition = "rf", device = "IND" }\n'
            'dies = { D1 = [-1, -1] }\ntime_format = "%Y%m%d-%H%M%S"\ntime_zone = "UTC"\n'
            '[[sources]]\nid = "parametric"',
            "",
            found='the sources "rf" and "again" both understand',
            expected="one source for each file",
            remedy="exclude each other",
            left=NO_SWEEPS,
            count=9,
        ),
        file=FIRST,
    ),
)

FOREIGN_CASES: tuple[Case, ...] = (
    *(listed(case) for case in _CAME_BROKEN),
    *_ALTERED,
    *_IN_PLACE,
    *_MAPPINGS,
)
