"""wafers/ID/wafer.toml: one wafer on the chuck, and the tables that were measured on it."""

from typing import Literal

from pydantic import Field

from sitegen.model.base import (
    FileName,
    Identifier,
    Instant,
    NotNegative,
    Positive,
    Record,
    SizeOrZero,
    Text,
)
from sitegen.model.device import Die
from sitegen.model.station_state import StationState


class ReferenceDie(Record):
    """One die, named in every frame in use."""

    die: Die = Field(description="[die_x, die_y] in the layout of campaign.toml")
    frames: dict[str, Die] = Field(description="the same die in each other frame in use")


class Thermal(Record):
    """How warm the wafer was, and how that is known; needed as soon as there are values."""

    set_point_c: float
    chuck_reading_c: float
    surface_correction_c: float = Field(description="wafer's surface minus chuck reading")
    surface_correction_u_c: SizeOrZero = Field(description="its standard uncertainty")
    soak_s: NotNegative | None = Field(
        default=None,
        description="waiting time before the first touchdown, in seconds; none: not stated",
    )


class WaferState(StationState):
    """A state of the RF path under a name that the tables can use."""

    id: Identifier


class ValueTable(Record):
    """A Parquet table of scalar values, one row a value."""

    file: FileName
    frame: Text = Field(default="layout", description="frame of die_x and die_y")
    units: dict[str, str] = Field(
        default_factory=dict, description="unit of each parameter's values in this table"
    )


class SweepTable(Record):
    """A Parquet table of S-parameter sweeps, one row a frequency."""

    file: FileName
    sweep: Literal["raw", "corrected"]
    reference_impedance_ohm: Positive = Field(
        default=50.0,
        description="of corrected sweeps; raw ones take it from the calibration in force",
    )
    frame: Text = Field(default="layout", description="frame of die_x and die_y")


class CurveTable(Record):
    """A Parquet table of measured curves, one row a point."""

    file: FileName
    frame: Text = Field(default="layout", description="frame of die_x and die_y")


class TouchdownTable(Record):
    """A Parquet table of touchdowns with their contact checks, one row a touchdown."""

    file: FileName
    frame: Text = Field(default="layout", description="frame of die_x and die_y")


class EarlierMap(ValueTable):
    """A table of values of this wafer from an earlier measurement: shows which wafer it is."""

    origin: Text = Field(description="where and when it was measured")


class WaferRecord(Record):
    """wafer.toml as a whole."""

    id: Identifier
    campaign: Identifier | None = Field(
        default=None, description="id of the campaign it belongs to; another one is a fault"
    )
    identity_read: Text = Field(description="identity as read on the wafer")
    lot: Text
    slot: int | None = Field(default=None, ge=1)
    station: Identifier
    by: Text
    started: Instant | None = Field(
        default=None, description="first measurement, as stamped; none: the first in the tables"
    )
    finished: Instant | None = Field(
        default=None, description="last measurement, as stamped; none: the last in the tables"
    )
    only_for_study: bool = Field(
        default=False,
        description="true: measured for a study of campaign.toml only; it takes no part in yields"
        " and in the statistics of the campaign",
    )
    ambient_c: float | None = Field(
        default=None,
        description="ambient temperature where a row states none, in °C; RF values without any have"
        " no standing",
    )
    substrate_c: float | None = Field(
        default=None, description="contact substrate's temperature where a row states none, in °C"
    )
    rf_instrument: Identifier | None = Field(
        default=None, description="analyser that took the RF values; they need it"
    )
    dc_instrument: Identifier | None = Field(
        default=None, description="instrument that took the DC values; they need it"
    )
    thermal: tuple[Thermal, ...] = Field(
        default=(), description="one for each set point; needed as soon as there are values"
    )
    states: tuple[WaferState, ...] = ()
    reference_dies: tuple[ReferenceDie, ...] = Field(
        default=(), description="at least three, placed asymmetrically, where frames are in use"
    )
    values: tuple[ValueTable, ...] = ()
    sweeps: tuple[SweepTable, ...] = ()
    curves: tuple[CurveTable, ...] = Field(
        default=(), description="tables of measured curves, one entry a file"
    )
    touchdowns: tuple[TouchdownTable, ...] = Field(
        default=(), description="tables of touchdowns and their contact checks, one entry a file"
    )
    earlier_maps: tuple[EarlierMap, ...] = Field(
        default=(), description="tables of earlier values of this wafer, one entry a file"
    )
