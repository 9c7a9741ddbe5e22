"""mapping.toml: how files that a station left are to be understood. Nothing in it is guessed.

A source is a family of files that are alike: where they lie, what their names say, what is the same
in all of them, and what the columns of its tables mean. What a name, a line or a column says is
said of a *field*; the fields that there are stand in `FIELDS`.
"""

from collections.abc import Mapping
from typing import Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import FileName, Identifier, Positive, Record, Signed, Text
from sitegen.model.device import Die

MAPPING_FILE = "mapping.toml"
GATHERED = "gathered"
"""The folder of a campaign that gathered files are copied into."""
GATHERED_LIST = "gathered.csv"
"""The list of what was gathered: from where, when, with which digest."""

FieldContent = Literal["text", "whole number", "number", "time"]

FIELDS: Mapping[str, tuple[FieldContent, str]] = {
    "wafer": ("text", "id of the wafer"),
    "die": ("text", "a die's label, looked up under 'dies'"),
    "die_x": ("whole number", "column of the die"),
    "die_y": ("whole number", "row of the die"),
    "site": ("text", "place inside the die"),
    "device": ("text", "id of the device in campaign.toml"),
    "condition": ("text", "id of the condition in campaign.toml"),
    "bias": ("text", "bias as the station names it; only 'conditions' reads it"),
    "set_point_c": ("number", "nominal temperature in °C; only 'conditions' reads it"),
    "temperature_c": ("number", "measured temperature in °C"),
    "ambient_c": ("number", "ambient temperature in °C"),
    "substrate_c": ("number", "contact substrate's temperature in °C"),
    "contact_resistance_ohm": ("number", "contact resistance in Ω"),
    "parameter": ("text", "id of the parameter in campaign.toml"),
    "curve": ("text", "id of the curve in campaign.toml"),
    "touchdown": ("whole number", "number of the touchdown, from 1"),
    "time": ("time", "when it was measured, as 'time_format' has it"),
    "date": ("time", "the day alone; joined with 'clock' by a blank it is the time"),
    "clock": ("time", "the time of day alone"),
    "state": ("text", "id of a state in wafer.toml"),
    "calibration": ("text", "id of the calibration"),
    "verification": ("text", "id of the verification"),
    "range": ("text", "measuring range, as named by a floor"),
    "path": ("text", "measuring path to the pads, as named by a floor"),
    "part": ("text", "which part of the frequency range; files alike in all else are joined"),
    "port": ("whole number", "port at which a one-port file was taken"),
}
"""What a name, a line or a column can say, as (content, meaning)."""

Said = str | int | float
Separator = Literal["comma", "semicolon", "tab", "blanks", "bar"]
SEPARATORS: Mapping[Separator, str] = {
    "comma": ",",
    "semicolon": ";",
    "tab": "\t",
    "blanks": " ",
    "bar": "|",
}


class Dialect(Record):
    """How a table of text is written. What is not declared is found from the columns' names."""

    separator: Separator | None = Field(
        default=None,
        description="between the columns; none: the one that shows all mapped columns by name",
    )
    decimal: Literal["point", "comma"] | None = Field(
        default=None, description="mark before decimals; none: found where only one reading fits"
    )
    encoding: Literal["utf-8", "utf-16", "windows-1252"] | None = Field(
        default=None, description="none: by its byte order mark, else UTF-8"
    )
    names_line: int | None = Field(
        default=None,
        ge=1,
        description="number of the line with the columns' names; none: the first that has them all",
    )
    units_line: int | None = Field(
        default=None, ge=1, description="number of the line with the columns' units, where there is"
    )
    missing: tuple[str, ...] = Field(
        default=(), description="what stands for no value besides an empty cell, such as 'n/a'"
    )


class MappedColumn(Record):
    """What one column of a table means."""

    theirs: Text = Field(description="name of the column, as its file has it")
    ours: str | None = Field(
        default=None, description="a field, or a column of this program's tables, such as 'value'"
    )
    parameter: Identifier | None = Field(
        default=None, description="the parameter whose values it holds, one row a die"
    )
    condition: Identifier | None = Field(
        default=None, description="condition of these values, where 'constants' and names say none"
    )
    unit: str | None = Field(
        default=None,
        description="unit of its numbers; needed where what they become has one other than °C and"
        " the files state none: in brackets behind the column's name, on dialect.units_line or in"
        " Parquet metadata",
    )
    range: Text | None = Field(
        default=None, description="measuring range of these values, as named by a floor"
    )
    path: Text | None = Field(
        default=None, description="path of these values to the pads, as named by a floor"
    )
    beyond: dict[str, Signed] = Field(
        default_factory=dict,
        description="what stands for a value beyond the instrument's range, and where that range"
        " ended, in the column's unit: { OVL = 10.5 }",
    )

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.ours is None) == (self.parameter is None):
            raise ValueError("exactly one of 'ours' and 'parameter' must be given")
        if self.parameter is not None and self.unit is None:
            raise ValueError("'unit' must be given for a column with the values of a parameter")
        for key in ("condition", "range", "path"):
            if getattr(self, key) is not None and self.parameter is None:
                raise ValueError(f"'{key}' goes with 'parameter'")
        if self.beyond and self.parameter is None and self.ours != "value":
            raise ValueError("'beyond' goes with 'parameter' or with ours = 'value'")
        return self


class NamedCondition(Record):
    """Which condition is meant where fields say what is listed."""

    condition: Identifier
    when: dict[str, Said] = Field(
        min_length=1, description="fields and what each says, such as { bias = 'VG1' }"
    )


class Source(Record):
    """A family of files that are alike."""

    id: Identifier
    files: Text = Field(
        description="pattern of their paths below 'folder': {field} for what a name says, * for"
        " anything inside a name, **/ for any folders"
    )
    folder: FileName = Field(
        default=GATHERED,
        description="folder of the campaign that they lie in, none that holds its records; tables"
        " in another folder than 'gathered' are read where they are",
    )
    holds: Literal[
        "sweeps", "values", "curves", "touchdowns", "calibration sweeps", "verification sweeps"
    ]
    constants: dict[str, Said] = Field(
        default_factory=dict, description="fields that are the same in all its files"
    )
    lines: tuple[Text, ...] = Field(
        default=(),
        description="patterns of lines before the numbers, such as '! Wafer: {wafer}'; each must be"
        " found once in every file",
    )
    rename: dict[str, dict[str, str]] = Field(
        default_factory=dict,
        description="by field: what the files say, and what it is called in the campaign",
    )
    conditions: tuple[NamedCondition, ...] = Field(
        default=(), description="which condition is meant, by bias, temperature or another field"
    )
    dies: dict[str, Die] = Field(
        default_factory=dict, description="by a die's label: its [die_x, die_y]"
    )
    minus: Text | None = Field(
        default=None, description="what stands for the minus sign in names, such as 'm'"
    )
    point: Text | None = Field(
        default=None,
        description="what stands for the decimal point in names and lines, such as 'p' or ','",
    )
    frame: Text = Field(default="layout", description="frame of die_x and die_y")
    time_format: Text | None = Field(
        default=None,
        description="how times are written, with the directives of C and POSIX, such as"
        " '%d.%m.%Y %H:%M:%S'; none: ISO 8601",
    )
    time_zone: Text | None = Field(
        default=None,
        description="zone of times that state none: a name such as 'Europe/Berlin', or an offset"
        " such as '+01:00'",
    )
    repeated_hour: Literal["first", "second"] | None = Field(
        default=None,
        description="which of the two is meant by a time in the hour that comes twice when summer"
        " time ends; none: such times are faults",
    )
    time_from: Literal["files", "modification"] = Field(
        default="files",
        description="'modification': when the file was last written, as the list of gathered files"
        " has it",
    )
    # sweeps
    sweep: Literal["raw", "corrected"] | None = Field(default=None, description="needed for sweeps")
    reference_impedance_ohm: Positive = Field(
        default=50.0, description="of corrected sweeps; each file must state the same"
    )
    ports: tuple[int, ...] = Field(
        default=(),
        description="of sweeps of devices in Touchstone files: the device's port at each port of"
        " the file; [2, 1] exchanges the two",
    )
    one_port_pairs: Literal["no transmission"] | None = Field(
        default=None,
        description="two one-port files, told apart by 'port', are one device of two ports; its"
        " transmission is taken as zero",
    )
    # tables
    rows: Literal["one a value", "one a die"] = Field(
        default="one a value", description="of tables of values: what a row is"
    )
    columns: tuple[MappedColumn, ...] = Field(
        default=(), description="what each column means; a table needs them"
    )
    leave: tuple[Text, ...] = Field(
        default=(), description="columns that are known and not needed; '*' for all others"
    )
    dialect: Dialect = Dialect()

    @property
    def is_copied(self) -> bool:
        """Whether `sitegen gather` brings its files; others are read where they are."""
        return (
            self.folder == GATHERED or self.folder.startswith(GATHERED + "/") or self.is_of_events
        )

    @property
    def is_of_events(self) -> bool:
        """Whether its files belong beside the record of a calibration or of a verification."""
        return self.holds in ("calibration sweeps", "verification sweeps")


class MappingRecord(Record):
    """mapping.toml as a whole."""

    aside: tuple[Text, ...] = Field(
        default=(),
        description="patterns of files that are known and not needed, such as '**/*.log'; gathering"
        " leaves them where they are",
    )
    sources: tuple[Source, ...] = ()
