"""What goes wrong in laboratories: data in other units, places, columns or names than stated."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tests.campaigns import FREQUENCY_HZ
from tests.campaigns_broken.cases import (
    CAMPAIGN,
    NO_SWEEPS,
    NO_VALUES,
    SHORT,
    SWEEPS,
    VALUES,
    VERIFICATION,
    WAFER,
    Case,
    Left,
    both,
    cell,
    column,
    lines,
    replace,
    table,
)

POINTS = len(FREQUENCY_HZ)
LIN = '\n[[conditions]]\nid = "lin"\ndescription = "linear"\ntemperature_c = 25.0\n'
LIN += "bias = { vgs_v = 0.6, vds_v = 0.05 }\n"
SPREADSHEET_ORIGIN = datetime(1899, 12, 30, tzinfo=UTC)
CURVES = "wafers/W1/curves.parquet"
TOUCHDOWNS = "wafers/W1/touchdowns.parquet"
PLANNED_RIGHT = "dies = [[0, -1], [0, 0], [0, 1], [1, -1], [1, 0], [1, 1]]"
NO_ROOM = Left(wafers=0, values=0, sweeps=0)


def changed(
    name: str, change: Callable[[np.ndarray], np.ndarray], file: str = VALUES
) -> Callable[[Path], object]:
    """All entries of a column of numbers changed; its type stays."""
    return column(
        file,
        name,
        lambda given: pa.array(change(np.asarray(given.to_numpy())), given.type),
    )


def of_parameter(parameter: str, factor: float) -> Callable[[Path], object]:
    """One parameter's values written in another unit."""

    def broken(given: pa.Table) -> pa.Table:
        values = np.asarray(given.column("value").to_numpy()).copy()
        chosen = np.array([one == parameter for one in given.column("parameter").to_pylist()])
        values[chosen] *= factor
        return given.set_column(given.column_names.index("value"), "value", pa.array(values))

    return table(VALUES, broken)


def exchanged(one: str, other: str, file: str = VALUES) -> Callable[[Path], object]:
    """Two columns of numbers under each other's names."""

    def broken(given: pa.Table) -> pa.Table:
        names = [{one: other, other: one}.get(name, name) for name in given.column_names]
        return given.rename_columns(names).select(given.column_names)

    return table(file, broken)


def as_text(given: pa.ChunkedArray) -> pa.Array:
    """A column as text."""
    return pa.array([None if one is None else str(one) for one in given.to_pylist()])


def all_as_text(given: pa.Table) -> pa.Table:
    """Every column but the times as text, as a reader of text files leaves them."""
    for index, name in enumerate(given.column_names):
        if name != "measured_at":
            given = given.set_column(index, name, as_text(given.column(name)))
    return given


def with_header_again(given: pa.Table) -> pa.Table:
    """Two files written one after the other, the second with its header."""
    given = all_as_text(given)
    header = pa.table(
        {
            name: pa.array(
                [given.column(name)[0].as_py() if name == "measured_at" else name],
                given.schema.field(name).type,
            )
            for name in given.column_names
        }
    )
    return pa.concat_tables([given.slice(0, 12), header, given.slice(12)])


def times_as(number: Callable[[datetime], object]) -> Callable[[Path], object]:
    """The times as something else."""
    return column(
        VALUES,
        "measured_at",
        lambda given: pa.array([number(moment) for moment in given.to_pylist()]),
    )


def in_days(moment: datetime) -> float:
    """A time as a spreadsheet stores it."""
    return (moment - SPREADSHEET_ORIGIN).total_seconds() / 86400.0


def added(file: str, name: str, value: float) -> Callable[[Path], object]:
    """A column with the same number in each row."""
    return table(
        file, lambda given: given.append_column(name, pa.array(np.full(given.num_rows, value)))
    )


def one_way(given: pa.Table) -> pa.Table:
    """Sweeps of a device that passes from port 1 to port 2 only."""
    for part in ("re", "im"):
        name = f"s12_{part}"
        numbers = np.asarray(given.column(name).to_numpy()) * 0.05
        given = given.set_column(given.column_names.index(name), name, pa.array(numbers))
    return given


def with_ports_exchanged(sweep: int) -> Callable[[pa.Table], pa.Table]:
    """One sweep, counted from 1, with its ports exchanged."""

    def broken(given: pa.Table) -> pa.Table:
        rows = slice((sweep - 1) * POINTS, sweep * POINTS)
        columns = {name: np.asarray(given.column(name).to_numpy()).copy() for name in S_COLUMNS}
        mine = {name: numbers[rows].copy() for name, numbers in columns.items()}
        for name in S_COLUMNS:
            other = name.translate(str.maketrans("12", "21"))
            columns[name][rows] = mine[other]
            given = given.set_column(given.column_names.index(name), name, pa.array(columns[name]))
        return given

    return broken


S_COLUMNS = [f"s{i}{j}_{part}" for i in "12" for j in "12" for part in ("re", "im")]


def one_sweep_under_two_dies(given: pa.Table) -> pa.Table:
    """The second die's sweep is the first one's."""
    for name in S_COLUMNS:
        numbers = np.asarray(given.column(name).to_numpy()).copy()
        numbers[POINTS : 2 * POINTS] = numbers[:POINTS]
        given = given.set_column(given.column_names.index(name), name, pa.array(numbers))
    return given


def with_noise(given: np.ndarray) -> np.ndarray:
    """Values with digits as an instrument gives them."""
    return np.asarray(given * (1.0 + 1e-4 * np.sin(np.arange(len(given)) + 1.0)))


def values_of_first_die_again(given: np.ndarray) -> np.ndarray:
    """The second die's three values are the first one's."""
    again = given.copy()
    again[3:6] = given[:3]
    return again


def cut(file: str) -> Callable[[Path], object]:
    """The last bytes of a file lost on the way."""
    return lambda folder: (folder / file).write_bytes((folder / file).read_bytes()[:-200])


def values_as_csv(folder: Path) -> None:
    """Text under the name of a Parquet file."""
    frame = pq.read_table(folder / VALUES).to_pandas()
    (folder / VALUES).write_text(frame.to_csv(index=False), encoding="utf-8")


def in_other_format(file: str, wanted: str, option: str) -> Callable[[Path], object]:
    """A file's numbers written as `wanted` under an option line that says `option`."""

    def change(given: list[str]) -> list[str]:
        written = [*given[:1], f"# Hz S {option} R 50"]
        for line in given[2:]:
            words = [float(word) for word in line.split()]
            parts = [words[0]]
            for re, im in zip(words[1::2], words[2::2], strict=True):
                size, angle = float(np.hypot(re, im)), float(np.degrees(np.arctan2(im, re)))
                level = 20 * np.log10(max(size, 1e-6))
                parts += {"RI": (re, im), "MA": (size, angle), "DB": (level, angle)}[wanted]
            written.append(" ".join(f"{part:.12g}" for part in parts))
        return written

    return lines(file, change)


def renamed_wafer(folder: Path) -> None:
    """A wafer's folder in other capitals than its id."""
    (folder / "wafers/W1").rename(folder / "wafers/w1")


def copied_wafer(folder: Path) -> None:
    """A wafer's folder copied, with its id in other capitals and without tables."""
    (folder / "wafers/w1").mkdir()
    text = (folder / WAFER).read_text(encoding="utf-8").partition("[[values]]")[0]
    text = text.replace('id = "W1"', 'id = "w1"', 1)
    (folder / "wafers/w1/wafer.toml").write_text(text, encoding="utf-8")


def of_campaign(file: str, told: str) -> Callable[[Path], object]:
    """A record that says which campaign it belongs to."""
    return lines(file, lambda given: [f'campaign = "{told}"', *given])


LOPSIDED = ((1, -1), (1, 0), (1, 1), (0, 1), (0, 0))
"""Dies that no turn and no other mirroring maps onto themselves."""


def mirrored(given: pa.Table) -> pa.Table:
    """The sweeps of the lopsided plan, counted from the other side."""
    dies = zip(given.column("die_x").to_pylist(), given.column("die_y").to_pylist(), strict=True)
    kept = given.filter(pa.array([die in LOPSIDED for die in dies]))
    turned = pa.array(-np.asarray(kept.column("die_x").to_numpy()))
    return kept.set_column(kept.column_names.index("die_x"), "die_x", turned)


def right_half_moved(given: pa.Table) -> pa.Table:
    """The sweeps of the two right columns, numbered two dies further left."""
    die_x = np.asarray(given.column("die_x").to_numpy())
    kept = given.filter(pa.array(die_x >= 0))
    moved = pa.array(np.asarray(kept.column("die_x").to_numpy()) - 2)
    return kept.set_column(kept.column_names.index("die_x"), "die_x", moved)


PLACES = (
    Case(
        "die_x and die_y exchanged",
        exchanged("die_x", "die_y"),
        VALUES,
        'columns "die_x" and "die_y", row 1',
        "dies that fit the wafer with die_x and die_y exchanged",
        "within 50 mm",
        "Exchange the two columns",
        NO_VALUES,
        count=27,
    ),
    Case(
        "die numbers counted from a corner",
        both(
            changed("die_x", lambda x: x + 2, SWEEPS),
            changed("die_y", lambda y: y + 2, SWEEPS),
        ),
        SWEEPS,
        'columns "die_x" and "die_y", row 1',
        "dies that fit the wafer if shifted by (-2, -2): numbers from another origin",
        "within 50 mm",
        "Name three reference dies",
        NO_SWEEPS,
        count=9,
    ),
    Case(
        "die numbers of a far origin in a frame",
        both(changed("die_x", lambda x: x + 40), changed("die_y", lambda y: y - 7)),
        VALUES,
        'columns "die_x" and "die_y", row 1',
        "if shifted by (-40, 7)",
        "the frame of the table",
        "that frame",
        NO_VALUES,
        count=27,
    ),
    Case(
        "die numbers beside the plan",
        both(
            replace(
                CAMPAIGN,
                '[[plan.wafers]]\nid = "W1"',
                f'[[plan.wafers]]\nid = "W1"\n{PLANNED_RIGHT}',
            ),
            table(SWEEPS, right_half_moved),
        ),
        SWEEPS,
        'columns "die_x" and "die_y", row 1',
        "dies that fit the plan if shifted by (2, 0)",
        "in the plan",
        "reference dies",
        NO_SWEEPS,
        count=6,
    ),
    Case(
        "a wafer map mirrored",
        both(
            replace(
                CAMPAIGN,
                '[[plan.wafers]]\nid = "W1"',
                f'[[plan.wafers]]\nid = "W1"\ndies = {[list(die) for die in LOPSIDED]}',
            ),
            table(SWEEPS, mirrored),
        ),
        SWEEPS,
        'columns "die_x" and "die_y", row 1',
        "dies that fit the plan if mirrored left to right",
        "in the plan",
        "reference dies",
        NO_SWEEPS,
        count=5,
    ),
    Case(
        "die numbers exchanged and counted from a corner",
        both(
            exchanged("die_x", "die_y", SWEEPS),
            changed("die_x", lambda x: x + 30, SWEEPS),
        ),
        SWEEPS,
        'columns "die_x" and "die_y", row 1',
        "if shifted by (-30, 0)",
        "within 50 mm",
        "left out",
        NO_SWEEPS,
        count=9,
    ),
)

UNITS = (
    Case(
        "millivolts for volts",
        of_parameter("VTH", 1e3),
        VALUES,
        'column "value", row 1',
        'values of "VTH" that look like millivolts (mV): median 410',
        "between 126.7 and 1320 mV",
        "Correct the unit stated",
        Left(values=18),
        count=9,
    ),
    Case(
        "volts for millivolts",
        replace(WAFER, 'VTH = "V"', 'VTH = "mV"'),
        VALUES,
        'column "value", row 1',
        'values of "VTH" that look like volts (V): median 0.41',
        "mV",
        "Correct the unit stated",
        Left(values=18),
        count=9,
    ),
    Case(
        "hertz for gigahertz",
        both(
            replace(CAMPAIGN, "lower = 90.0", "lower = 90.0\nupper = 150.0"),
            of_parameter("FT", 1e9),
        ),
        VALUES,
        'column "value", row 3',
        'values of "FT" that look like hertz (Hz): median 1e+11',
        "GHz",
        "Correct the unit stated",
        Left(values=18),
        count=9,
    ),
    Case(
        "nanoamperes for amperes",
        both(
            replace(
                CAMPAIGN,
                "upper = 1e-8",
                "upper = 1e-8\nplausible_lower = 0.0\nplausible_upper = 1e-7",
            ),
            of_parameter("IOFF", 1e9),
        ),
        VALUES,
        'column "value", row 2',
        'values of "IOFF" that look like nanoamperes (nA): median 2',
        "between 0 and 1e-07 A",
        "Correct the unit stated",
        Left(values=18),
        count=9,
    ),
    Case(
        "percent for a share",
        both(
            replace(CAMPAIGN, 'unit = "GHz"', 'unit = "1"'),
            replace(CAMPAIGN, "lower = 90.0", "lower = 0.5\nupper = 1.0"),
            replace(WAFER, 'FT = "GHz"', 'FT = "1"'),
        ),
        VALUES,
        'column "value", row 3',
        'values of "FT" that look like percent (%): median 100',
        "between 0.1667 and 3",
        "Correct the unit stated",
        Left(values=18),
        count=9,
    ),
    Case(
        "kelvin for degrees Celsius",
        changed("temperature_c", lambda t: t + 273.15),
        VALUES,
        'column "temperature_c", row 1',
        "temperatures that look like kelvin (K): median 298.2",
        "degrees Celsius, near 25",
        "Convert the column",
        NO_VALUES,
        count=27,
    ),
    Case(
        "degrees Fahrenheit for degrees Celsius",
        changed("temperature_c", lambda t: 1.8 * t + 32.0),
        VALUES,
        'column "temperature_c", row 1',
        "temperatures that look like degrees Fahrenheit (°F): median 77.07",
        "degrees Celsius",
        "Convert the column",
        NO_VALUES,
        count=27,
    ),
    Case(
        "ambient temperature in kelvin",
        added(VALUES, "ambient_c", 296.1),
        VALUES,
        'column "ambient_c", row 1',
        "temperatures that look like kelvin (K): median 296.1",
        "near 23",
        "Convert the column",
        NO_VALUES,
        count=27,
    ),
    Case(
        "kelvin in a table of sweeps",
        added(SWEEPS, "temperature_c", 298.1),
        SWEEPS,
        'column "temperature_c", row 1',
        "temperatures that look like kelvin (K): median 298.1",
        "degrees Celsius",
        "Convert the column",
        NO_SWEEPS,
        count=9,
    ),
    Case(
        "values and temperatures exchanged",
        exchanged("value", "temperature_c"),
        VALUES,
        'columns "value" and "temperature_c", row 1',
        "values that look like temperatures (25) and temperatures that look like values (0.405)",
        "the set point of 25 °C",
        "Exchange the two columns",
        NO_VALUES,
        count=27,
    ),
    Case(
        "gigahertz for hertz in a table of sweeps",
        changed("frequency_hz", lambda f: f / 1e9, SWEEPS),
        SWEEPS,
        'column "frequency_hz", row 1',
        "frequencies that look like gigahertz (GHz): the largest is 11",
        "frequencies in Hz",
        "Convert the column",
        NO_SWEEPS,
        count=9,
    ),
    Case(
        "option line with another unit than its frequencies",
        replace(SHORT, "# Hz", "# GHz"),
        SHORT,
        "",
        "1000000000 times too large: the unit of the frequencies is likely wrong",
        "1 GHz",
        "Correct the unit in the option line",
        missing="short.s2p has other frequencies",
    ),
    Case(
        "dB and angle marked as real and imaginary parts",
        in_other_format(SHORT, "DB", "RI"),
        SHORT,
        "line 2",
        "numbers that look like dB and angle under the option RI",
        "real and imaginary parts",
        "Correct the option line",
        missing="short.s2p could not be read",
    ),
    Case(
        "real and imaginary parts marked as magnitude and angle",
        in_other_format(SHORT, "RI", "MA"),
        SHORT,
        "line 2",
        "numbers that look like real and imaginary parts under the option MA",
        "magnitude and angle",
        "Correct the option line",
        missing="short.s2p could not be read",
    ),
)

TYPES = (
    Case(
        "die numbers as text",
        column(VALUES, "die_x", as_text),
        VALUES,
        'column "die_x"',
        'numbers as text, such as "11"',
        "numbers",
        "without quotes",
        NO_VALUES,
    ),
    Case(
        "whole table as text",
        table(VALUES, all_as_text),
        VALUES,
        'columns "die_x", "die_y", ',
        'numbers as text, such as "11"',
        "numbers",
        "without quotes",
        NO_VALUES,
    ),
    Case(
        "decimal commas in a column of text",
        column(
            VALUES,
            "value",
            lambda given: pa.array([f"{one:.4g}".replace(".", ",") for one in given.to_pylist()]),
        ),
        VALUES,
        'column "value"',
        'numbers with decimal commas as text, such as "0,405"',
        "numbers",
        "decimal points",
        NO_VALUES,
    ),
    Case(
        "header row twice",
        table(VALUES, with_header_again),
        VALUES,
        "row 13",
        "the columns' own names: a header row",
        "measured values in every row",
        "Remove the row",
        NO_VALUES,
    ),
    Case(
        "a spreadsheet's dates",
        times_as(in_days),
        VALUES,
        'column "measured_at"',
        "numbers that look like a spreadsheet's dates, such as 46083.35417 (2026-03-02 08:30)",
        "times with a zone",
        "timestamps in UTC",
        NO_VALUES,
    ),
    Case(
        "seconds since 1970",
        times_as(lambda moment: moment.timestamp()),
        VALUES,
        'column "measured_at"',
        "numbers that look like seconds since 1970, such as 1772440200 (2026-03-02 08:30 UTC)",
        "times with a zone",
        "timestamps in UTC",
        NO_VALUES,
    ),
    Case(
        "milliseconds since 1970 as integers",
        times_as(lambda moment: int(moment.timestamp() * 1000)),
        VALUES,
        'column "measured_at"',
        "numbers that look like milliseconds since 1970",
        "times with a zone",
        "timestamps in UTC",
        NO_VALUES,
    ),
    Case(
        "times as text",
        times_as(lambda moment: moment.isoformat()),
        VALUES,
        'column "measured_at"',
        'times as text, such as "2026-03-02T08:30:00+00:00"',
        "times with a zone",
        "timestamps in UTC",
        NO_VALUES,
    ),
    Case(
        "Parquet file cut off",
        cut(VALUES),
        VALUES,
        "",
        "the beginning of a Parquet file whose end is missing",
        "a Parquet file",
        "Copy or write the file again",
        NO_VALUES,
    ),
    Case(
        "text under the name of a Parquet file",
        values_as_csv,
        VALUES,
        "",
        "text, as a table written with commas or tabs",
        "a Parquet file",
        "again",
        NO_VALUES,
    ),
    Case(
        "spreadsheet under the name of a Parquet file",
        lambda folder: (folder / SWEEPS).write_bytes(b"PK\x03\x04" + bytes(range(256))),
        SWEEPS,
        "",
        "the bytes of a spreadsheet or of an archive",
        "a Parquet file",
        "again",
        NO_SWEEPS,
    ),
)

NAMES = (
    Case(
        "device with a blank at its end",
        cell(VALUES, "device", 5, "FET "),
        VALUES,
        'column "device", row 5',
        'the unknown device "FET ", which is "FET" with a blank at its end',
        '"FET"',
        'Write "FET"',
        Left(values=26),
    ),
    Case(
        "parameter in other capitals",
        cell(VALUES, "parameter", 1, "Vth"),
        VALUES,
        'column "parameter", row 1',
        'the unknown parameter "Vth", which is "VTH" in other capitals',
        '"VTH"',
        'Write "VTH"',
        Left(values=26),
    ),
    Case(
        "condition with a blank before it",
        cell(VALUES, "condition", 9, " sat"),
        VALUES,
        'column "condition", row 9',
        'the unknown condition " sat", which is "sat" with a blank at its beginning',
        '"sat"',
        'Write "sat"',
        Left(values=26),
    ),
    Case(
        "parameter with a zero for a letter",
        cell(VALUES, "parameter", 2, "I0FF"),
        VALUES,
        'column "parameter", row 2',
        'which is "IOFF" with another letter or digit that looks alike',
        '"IOFF"',
        'Write "IOFF"',
        Left(values=26),
    ),
    Case(
        "device of the sweeps in other capitals",
        column(SWEEPS, "device", lambda given: pa.array(["Ind"] * len(given))),
        SWEEPS,
        'column "device", row 1',
        'the unknown device "Ind", which is "IND" in other capitals',
        '"IND"',
        'Write "IND"',
        NO_SWEEPS,
        count=9,
    ),
    Case(
        "calibration of a value with another dash",
        both(
            lines("calibrations/CAL1/record.toml", lambda given: given),
            cell(VALUES, "calibration", 3, "CAL1 "),
        ),
        VALUES,
        'column "calibration", row 3',
        'the unknown calibration "CAL1 ", which is "CAL1" with a blank at its end',
        '"CAL1"',
        'Write "CAL1"',
    ),
    Case(
        "calibration of a verification in other capitals",
        replace(VERIFICATION, 'calibration = "CAL1"', 'calibration = "Cal1"'),
        VERIFICATION,
        "calibration",
        'the unknown calibration "Cal1", which is "CAL1" in other capitals',
        '"CAL1"',
        'Write "CAL1"',
    ),
    Case(
        "id with a blank at its end",
        replace(WAFER, 'station = "ST1"', 'station = "ST1 "'),
        WAFER,
        "station",
        '"ST1 ", with a blank at its end',
        "letters, digits",
        "Choose such an id",
        NO_ROOM,
    ),
    Case(
        "wafer's folder in other capitals",
        renamed_wafer,
        "wafers/w1/wafer.toml",
        "id",
        '"W1", which is "w1" in other capitals',
        '"w1", the name of its folder',
        "Correct the id",
    ),
    Case(
        "wafer of another campaign",
        of_campaign(WAFER, "TINY-2"),
        WAFER,
        "campaign",
        '"TINY-2"',
        '"TINY", the campaign that it lies in',
        "into its own campaign",
        NO_ROOM,
    ),
    Case(
        "verification of another campaign",
        of_campaign(VERIFICATION, "OTHER"),
        VERIFICATION,
        "campaign",
        '"OTHER"',
        '"TINY"',
        "left out",
        Left(verifications=0),
    ),
    Case(
        "campaign of a record in other capitals",
        of_campaign(WAFER, "tiny"),
        WAFER,
        "campaign",
        '"tiny", which is "TINY" in other capitals',
        '"TINY"',
        "correct the id",
        NO_ROOM,
    ),
)

DECLARED = (
    Case(
        "plausible range reversed",
        replace(
            CAMPAIGN,
            "lower = 380.0",
            "lower = 380.0\nplausible_lower = 900.0\nplausible_upper = 0.0",
        ),
        CAMPAIGN,
        'parameters[1] (id "VTH")',
        "do not go together",
        "the lower plausible bound 900 must lie below the upper one 0",
        "Correct",
        left=None,
    ),
    Case(
        "limit in volts beside a unit of millivolts",
        both(
            replace(CAMPAIGN, "lower = 380.0\nupper = 440.0", "lower = 0.38\nupper = 0.44"),
        ),
        VALUES,
        'column "value", row 1',
        'values of "VTH" that look like millivolts (mV): median 0.41',
        "between 0.1267 and 1.32 mV",
        "Correct the unit stated for the parameter, its limits or the values",
        Left(values=18),
        count=9,
    ),
    Case(
        "wafer's folder copied under other capitals",
        copied_wafer,
        "wafers/w1/wafer.toml",
        "id",
        '"w1", which wafers/W1 has already',
        "ids that differ by more than capitals",
        "another id",
    ),
    Case(
        "time of a record without seconds or zone",
        replace(WAFER, "started = 2026-03-02T08:30:00Z", 'started = "02.03.2026 08:30"'),
        WAFER,
        "started",
        '"02.03.2026 08:30"',
        "a time",
        "quotes",
        NO_ROOM,
    ),
)

OF_DEVICES = (
    Case(
        "touchdowns numbered from another origin",
        both(
            changed("die_x", lambda x: x - 9, TOUCHDOWNS),
            changed("die_y", lambda y: y + 12, TOUCHDOWNS),
        ),
        TOUCHDOWNS,
        'columns "die_x" and "die_y", row 1',
        "dies that fit the wafer if shifted by (9, -12): numbers from another origin",
        "the frame of the table",
        "reference dies",
        Left(curves=27, earlier=9),
        count=18,
    ),
    Case(
        "die_x and die_y of curves counted from a corner",
        both(
            changed("die_x", lambda x: x + 2, CURVES),
            changed("die_y", lambda y: y + 2, CURVES),
        ),
        CURVES,
        'columns "die_x" and "die_y", row 1',
        "if shifted by (-2, -2)",
        "within 50 mm",
        "reference dies",
        Left(touchdowns=18, earlier=9),
        count=27,
    ),
    Case(
        "curve in other capitals",
        cell(CURVES, "curve", 1, "Transfer"),
        CURVES,
        'column "curve", row 1',
        'the unknown curve "Transfer", which is "TRANSFER" in other capitals',
        '"TRANSFER"',
        'Write "TRANSFER"',
        Left(curves=27, touchdowns=18, earlier=9),
    ),
    Case(
        "earlier map in millivolts",
        both(
            replace(
                CAMPAIGN,
                'id = "VTC"\n',
                'id = "VTC"\nplausible_lower = 0.0\nplausible_upper = 2000.0\n',
            ),
            changed("value", lambda value: 1e3 * value, "wafers/W1/earlier.parquet"),
        ),
        "wafers/W1/earlier.parquet",
        'column "value", row 1',
        'values of "VTC" that look like millivolts (mV)',
        "between 0 and 2000 mV",
        "Correct the unit stated",
        Left(curves=27, touchdowns=18),
        count=9,
    ),
)

MEASURED = (
    Case(
        "wrong bias table",
        both(
            replace(CAMPAIGN, '\n[[devices]]\nid = "IND"', f'{LIN}\n[[devices]]\nid = "IND"'),
            changed("bias_vds_v", lambda v: np.full(len(v), 0.0502)),
        ),
        VALUES,
        'columns "bias_vgs_v" and "bias_vds_v", row 1',
        'vds_v 0.0502: the bias of the condition "lin", under the condition "sat"',
        "vgs_v near 0.6, vds_v near 1.2",
        "right bias table",
        NO_VALUES,
        count=27,
    ),
    Case(
        "bias of the opposite sign",
        both(changed("bias_vds_v", lambda v: -v), changed("bias_vgs_v", lambda v: -v)),
        VALUES,
        'columns "bias_vgs_v" and "bias_vds_v", row 1',
        "a bias of the opposite sign",
        "vgs_v near 0.6",
        "Correct the condition or the bias",
        NO_VALUES,
        count=27,
    ),
    Case(
        "bias in millivolts",
        both(changed("bias_vds_v", lambda v: 1e3 * v), changed("bias_vgs_v", lambda v: 1e3 * v)),
        VALUES,
        'columns "bias_vgs_v" and "bias_vds_v", row 1',
        "a bias that looks like millivolts (mV)",
        "vds_v near 1.2",
        "Correct the condition or the bias",
        NO_VALUES,
        count=27,
    ),
    Case(
        "ports exchanged in one sweep",
        both(table(SWEEPS, one_way), table(SWEEPS, with_ports_exchanged(3))),
        SWEEPS,
        'row 23 (die (1, -1), device "IND")',
        "a sweep whose ports look exchanged",
        "as in most sweeps of this device and condition",
        "Exchange S11 with S22",
        Left(sweeps=8),
    ),
    Case(
        "one sweep under two dies",
        table(SWEEPS, one_sweep_under_two_dies),
        SWEEPS,
        'row 1 (die (-1, -1), device "IND")',
        "the same sweep to the last digit as on die (0, -1)",
        "differ by noise",
        "both were left out",
        Left(sweeps=7),
        count=2,
    ),
    Case(
        "one die's values under two dies",
        both(changed("value", with_noise), changed("value", values_of_first_die_again)),
        VALUES,
        'row 1 (die (11, 4), device "FET")',
        "the same values to the last digit as on die (0, -1)",
        "differ by noise",
        "both were left out",
        Left(values=21),
        count=6,
    ),
    Case(
        "one file under two names",
        lambda folder: (folder / "calibrations/CAL1/open.s2p").write_bytes(
            (folder / SHORT).read_bytes()
        ),
        "calibrations/CAL1/record.toml",
        "sweeps[2].file",
        '"open.s2p", which has the same bytes as "short.s2p"',
        "two measurements differ by noise",
        "Put the right file",
        missing="short.s2p and open.s2p are one and the same file",
    ),
    Case(
        "repeat that is a copy",
        lambda folder: (folder / "calibrations/CAL1/load-again.s2p").write_bytes(
            (folder / "calibrations/CAL1/load.s2p").read_bytes()
        ),
        "calibrations/CAL1/record.toml",
        "sweeps[3].repeats[1]",
        '"load-again.s2p", which has the same bytes as "load.s2p"',
        "two measurements differ by noise",
        "take the sweep again",
        missing="load.s2p and load-again.s2p are one and the same file",
    ),
)

LABORATORY_CASES = PLACES + UNITS + TYPES + NAMES + DECLARED + MEASURED
LABORATORY_DEVICE_CASES = OF_DEVICES
"""Broken in the campaign with device results."""
