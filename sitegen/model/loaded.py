"""A campaign as it was read: records with their sweeps and notes, tables still on disk."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from sitegen.model.acceptance import AcceptanceRecord
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.calibration import CalibrationRecord, RawSweep
from sitegen.model.campaign import CampaignRecord
from sitegen.model.mapping import MappingRecord, Source
from sitegen.model.verification import Structure, VerificationRecord
from sitegen.model.wafer import WaferRecord


@dataclass(frozen=True)
class SourceFile:
    """A file of the campaign, as it was when it was read."""

    path: str
    """Relative to the campaign's folder, with forward slashes."""
    sha256: str
    size_bytes: int


@dataclass(frozen=True)
class Note:
    """A Markdown note and the record it stands beside."""

    file: str
    subject: str
    """'campaign', 'wafer W1', 'calibration CAL-1', 'verification VER-1'."""
    markdown: str


@dataclass(frozen=True)
class Sweep:
    """S-parameters over frequency from one Touchstone file."""

    file: str
    """Relative to the campaign's folder."""
    frequency_hz: FloatArray
    """Shape (n_freq,), strictly increasing."""
    s: ComplexArray
    """Shape (n_freq, n_port, n_port); s[:, i, j] has the receiving port i first."""
    z_ref_ohm: float


@dataclass(frozen=True)
class LoadedStandard:
    """One raw sweep of standards with its repeats."""

    contact: RawSweep
    sweep: Sweep
    repeats: tuple[Sweep, ...]


@dataclass(frozen=True)
class LoadedCalibration:
    """A calibration record with its raw sweeps; `missing` says why it cannot be solved."""

    record: CalibrationRecord
    standards: tuple[LoadedStandard, ...]
    switch_forward: ComplexArray | None
    switch_reverse: ComplexArray | None
    reported_terms: Mapping[str, ComplexArray] | None
    """Error terms that the instrument reported, by the term's name, on the record's frequencies."""
    missing: tuple[str, ...]
    """Phrases for each part that could not be read; empty when the record is whole."""
    note: Note | None
    sources: tuple[SourceFile, ...]

    @property
    def frequency_hz(self) -> FloatArray:
        """The frequency list that every sweep of the record shares; empty without sweeps."""
        return self.standards[0].sweep.frequency_hz if self.standards else np.empty(0)


@dataclass(frozen=True)
class LoadedStructure:
    """A structure of a verification; None where its file could not be read."""

    structure: Structure
    sweep: Sweep | None
    reference: Sweep | None
    """The measured reference; None for a modelled one or an unreadable file."""
    repeats: tuple[Sweep, ...] = ()
    """Further contacts, on the sweep's frequencies."""


@dataclass(frozen=True)
class LoadedVerification:
    """A verification record with its sweeps."""

    record: VerificationRecord
    structures: tuple[LoadedStructure, ...]
    missing: tuple[str, ...]
    note: Note | None
    sources: tuple[SourceFile, ...]


@dataclass(frozen=True)
class LoadedAcceptance:
    """An acceptance record."""

    record: AcceptanceRecord
    note: Note | None
    sources: tuple[SourceFile, ...]


@dataclass(frozen=True)
class Transform:
    """From a frame's die numbers to the layout's: (x, y) -> matrix @ (x, y) + shift."""

    matrix: tuple[tuple[int, int], tuple[int, int]]
    shift: tuple[int, int]


@dataclass(frozen=True)
class MappedFile:
    """Files of a source that are read together for a wafer: one file, or parts that are joined."""

    files: tuple[str, ...]
    """Relative to the campaign's folder."""
    says: tuple[tuple[tuple[str, str], ...], ...]
    """For each file: what its path and its lines say, as (field, text), in the files' own words."""
    modified_at: tuple[datetime | None, ...] = ()
    """For each file: when it was last written, as the list of gathered files has it."""


@dataclass(frozen=True)
class MappedSource:
    """What a source of mapping.toml holds of one wafer."""

    source: Source
    files: tuple[MappedFile, ...]


@dataclass(frozen=True)
class Gathered:
    """A row of the list of gathered files: a file that a station left, copied byte for byte."""

    file: str
    """Relative to the campaign's folder, with forward slashes."""
    taken_from: str
    """Relative to the tree that it was taken from, with forward slashes."""
    sha256: str
    """In hexadecimal."""
    bytes: int
    modified_at: datetime | None
    """When the tree's file was last written, in UTC; None where its stamp lies off the calendar."""
    gathered_at: datetime
    """In UTC."""
    source: str
    """Id of the source of mapping.toml that understood it."""


GATHERED_COLUMNS = (
    "file",
    "taken_from",
    "sha256",
    "bytes",
    "modified_at",
    "gathered_at",
    "source",
)
"""The columns of the list of gathered files, in their order."""


@dataclass(frozen=True)
class LoadedWafer:
    """A wafer's record; its tables stay on disk until its own job reads them."""

    record: WaferRecord
    frames: Mapping[str, Transform]
    """Each frame named by the reference dies; 'layout' is always there."""
    note: Note | None
    sources: tuple[SourceFile, ...]
    mapped: tuple[MappedSource, ...] = ()
    """What mapping.toml finds of it, read by the wafer's own job."""


@dataclass(frozen=True)
class Campaign:
    """Everything that was read, in the order of the ids."""

    folder: Path
    """Where it was read from; never shown on a page."""
    record: CampaignRecord
    calibrations: tuple[LoadedCalibration, ...]
    verifications: tuple[LoadedVerification, ...]
    wafers: tuple[LoadedWafer, ...]
    notes: tuple[Note, ...]
    """Notes about the campaign as a whole."""
    sources: tuple[SourceFile, ...]
    """Every file of the folder that was read."""
    acceptances: tuple[LoadedAcceptance, ...] = ()
    waiting: tuple[LoadedWafer, ...] = ()
    """Wafers of which nothing was measured yet, in a campaign without a layout: without pages."""
    mapping: MappingRecord | None = None
    """How files that a station left are to be understood; None without mapping.toml."""
    gathered: tuple[Gathered, ...] = ()
    """The list of gathered files, by file."""


VALUE_SCHEMA = pa.schema(
    [
        pa.field("die_x", pa.int32(), nullable=False),
        pa.field("die_y", pa.int32(), nullable=False),
        pa.field("site", pa.string(), nullable=False),  # "" where a die has no sites
        pa.field("device", pa.string(), nullable=False),
        pa.field("parameter", pa.string(), nullable=False),
        pa.field("condition", pa.string(), nullable=False),
        pa.field("touchdown", pa.int32(), nullable=False),  # from 1
        pa.field("value", pa.float64(), nullable=False),  # in the parameter's unit
        pa.field("measured_at", pa.timestamp("us", tz="UTC"), nullable=False),  # as stamped
        pa.field("calibration", pa.string()),  # the id it names, null: by time and station
        pa.field("state", pa.string()),  # id of one of the wafer record's states
        pa.field("temperature_c", pa.float64()),
        pa.field("ambient_c", pa.float64(), nullable=False),  # else the record's; NaN: in neither
        pa.field("substrate_c", pa.float64()),
        pa.field("contact_resistance_ohm", pa.float64()),
        pa.field("range", pa.string()),
        pa.field("path", pa.string()),
        pa.field("bias", pa.string()),  # measured bias as text, "vgs_v=0.6012 vds_v=1.2"
        pa.field("file", pa.string(), nullable=False),
        pa.field("beyond", pa.bool_(), nullable=False),  # the value lies beyond the number
    ]
)
"""A wafer's values after reading: the layout's die numbers, the parameters' units, one row a value.
Key: die_x, die_y, site, device, parameter, condition, touchdown; sorted by it."""

SWEEP_KEY_SCHEMA = pa.schema(
    [
        VALUE_SCHEMA.field(name)
        for name in (
            "die_x",
            "die_y",
            "site",
            "device",
            "condition",
            "touchdown",
            "measured_at",
            "calibration",
            "state",
            "temperature_c",
            "ambient_c",
            "substrate_c",
            "contact_resistance_ohm",
            "bias",
            "file",
        )
    ]
)
"""What is known of each sweep besides its S-parameters; sorted by die_y, die_x, site, condition,
touchdown."""


@dataclass(frozen=True)
class SweepGroup:
    """All sweeps of one device of a wafer that share a frequency list."""

    device: str
    corrected: bool
    """False: raw, still to be corrected with the calibration in force."""
    z_ref_ohm: float
    """Reference impedance that the table states; of raw sweeps the calibration's holds instead."""
    frequency_hz: FloatArray
    """Shape (n_freq,)."""
    keys: pa.Table
    """`SWEEP_KEY_SCHEMA`, n_sweep rows."""
    s: ComplexArray
    """Shape (n_sweep, n_freq, n_port, n_port)."""


CURVE_KEY_SCHEMA = pa.schema(
    [
        *(
            VALUE_SCHEMA.field(name)
            for name in ("die_x", "die_y", "site", "device", "condition", "touchdown")
        ),
        pa.field("stepped", pa.float64()),  # value of the stepped axis; null without one
        VALUE_SCHEMA.field("measured_at"),  # of the first point
        VALUE_SCHEMA.field("temperature_c"),
        VALUE_SCHEMA.field("path"),
        pa.field("integration_s", pa.float64()),
        VALUE_SCHEMA.field("file"),
    ]
)
"""What is known of each curve besides its points; sorted by die_y, die_x, site, condition,
touchdown, stepped."""


@dataclass(frozen=True, eq=False)
class CurveGroup:
    """All curves of one declared kind on a wafer, in the order in which they were measured.

    Curves shorter than the longest are filled with NaN at their end (texts: None).
    """

    curve: str
    keys: pa.Table
    """`CURVE_KEY_SCHEMA`, n_curve rows: one for each value of the stepped axis."""
    swept: FloatArray
    """(n_curve, n_point), V or A."""
    measured: FloatArray
    """(n_curve, n_point), A or V."""
    again: FloatArray | None
    """Second reading at the same points, (n_curve, n_point); None: not taken."""
    others: Mapping[str, FloatArray]
    """Further readings by column."""
    range: NDArray[np.object_]
    """Measuring range of each point, (n_curve, n_point); None: not stated."""
    in_compliance: BoolArray
    """(n_curve, n_point)."""


TOUCHDOWN_SCHEMA = pa.schema(
    [
        VALUE_SCHEMA.field("die_x"),
        VALUE_SCHEMA.field("die_y"),
        VALUE_SCHEMA.field("site"),
        pa.field("device", pa.string()),  # null: all devices of the die
        VALUE_SCHEMA.field("touchdown"),
        VALUE_SCHEMA.field("measured_at"),
        VALUE_SCHEMA.field("contact_resistance_ohm"),
        pa.field("pad_leakage_a", pa.float64()),
        pa.field("open_capacitance_f", pa.float64()),
        pa.field("overtravel_um", pa.float64()),
        pa.field("probe_contacts", pa.int64()),
        pa.field("pad_touchdowns", pa.int64()),
        VALUE_SCHEMA.field("file"),
    ]
)
"""A wafer's touchdowns after reading, sorted by die_y, die_x, site, device, touchdown."""


@dataclass(frozen=True)
class WaferTables:
    """A wafer's tables, read and checked."""

    values: pa.Table
    """`VALUE_SCHEMA`."""
    sweeps: tuple[SweepGroup, ...]
    curves: tuple[CurveGroup, ...] = ()
    touchdowns: pa.Table = field(default_factory=TOUCHDOWN_SCHEMA.empty_table)
    """`TOUCHDOWN_SCHEMA`."""
    earlier: pa.Table = field(default_factory=VALUE_SCHEMA.empty_table)
    """Values of earlier maps, `VALUE_SCHEMA`."""
