"""Writing a simulated campaign's folder, and the folder of its truth beside it."""

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from sitegen.model.simulated import Portion, SimulatedCampaign
from sitegen.problems import SitegenError
from sitegen.publish.toml_text import toml_text
from sitegen.publish.touchstone import touchstone_text

_Z_REF_OHM = 50.0


class FolderInUse(SitegenError):
    """The folder to write into already holds something."""


def truth_folder(folder: Path) -> Path:
    """Where the truth of the campaign in `folder` lies: beside it, never inside."""
    return folder.with_name(folder.name + "-truth")


def write_campaign(simulated: SimulatedCampaign, folder: Path) -> Path:
    """Write every file of a campaign below `folder`, and its truth into `truth_folder(folder)`.

    The truth's `truth.parquet` has one row a value, with its key and its true value; the true
    error boxes of a calibration lie under the calibration's own folder name. Returns `folder`.

    Raises FolderInUse when either folder exists and is not empty, OSError when writing fails.
    """
    for place in (folder, truth_folder(folder)):
        if place.exists() and (not place.is_dir() or any(place.iterdir())):
            raise FolderInUse(
                f"{place} exists and is not empty. Choose another folder, or empty this one."
            )
        place.mkdir(parents=True, exist_ok=True)
    writer: pq.ParquetWriter | None = None
    try:
        for portion in simulated.portions():
            _write_portion(portion, folder)
            _write_true_tables(portion, truth_folder(folder))
            if portion.true_values is not None:
                if writer is None:
                    file = truth_folder(folder) / "truth.parquet"
                    writer = pq.ParquetWriter(file, portion.true_values.schema, compression="zstd")
                writer.write_table(portion.true_values)
    finally:
        if writer is not None:
            writer.close()
    return folder


def _write_portion(portion: Portion, folder: Path) -> None:
    place = folder / portion.folder
    place.mkdir(parents=True, exist_ok=True)
    _write_text(place / portion.record_file, toml_text(portion.record))
    for name, sweep in portion.sweeps.items():
        says = f"Simulated: no measurement.\n{sweep.says}"
        _write_text(place / name, touchstone_text(sweep.frequency_hz, sweep.s, says, _Z_REF_OHM))
    for name, table in portion.tables.items():
        _write_table(place / name, table)
    for name, text in portion.notes.items():
        _write_text(place / name, text)


def _write_true_tables(portion: Portion, folder: Path) -> None:
    for name, table in portion.true_tables.items():
        _write_table(folder / portion.folder / name, table)


def _write_table(file: Path, table: pa.Table) -> None:
    """Strings and repeated numbers by dictionary; S-parameters by bytes of equal weight."""
    file.parent.mkdir(parents=True, exist_ok=True)
    parts = [field.name for field in table.schema if pa.types.is_float32(field.type)]
    pq.write_table(
        table,
        file,
        compression="zstd",
        compression_level=9,
        use_dictionary=[name for name in table.column_names if name not in parts],
        column_encoding=dict.fromkeys(parts, "BYTE_STREAM_SPLIT"),
    )


def _write_text(file: Path, text: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8", newline="\n")
