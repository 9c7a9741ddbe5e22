"""A wafer's Touchstone files of one source, put together into one table of sweeps."""

from collections.abc import Sequence

import numpy as np

from sitegen.model.loaded import MappedSource, Sweep
from sitegen.model.tables import Column as OurColumn
from sitegen.read.columns import Origin, Table
from sitegen.read.files import Intake
from sitegen.read.foreign.entries import Entries, places_of, refuse, table_of
from sitegen.read.foreign.fields import resolve
from sitegen.read.foreign.model import Column
from sitegen.read.foreign.touchstone_tree import mapped_sweep

_NAMES = (("s11", "s12"), ("s21", "s22"))
_OF_FILE = frozenset({"wafer", "part", "port"})
"""Fields that are used up once a file's wafer and its place in a sweep are known."""


def table_of_sweeps(
    intake: Intake, mapped: MappedSource, wanted: Sequence[OurColumn]
) -> Table | None:
    """All sweeps, one row a frequency; None where none can be read. What is not is told."""
    read = [(one, mapped_sweep(intake, mapped.source, one)) for one in mapped.files]
    sweeps = [(one, sweep) for one, sweep in read if sweep is not None]
    if not sweeps:
        return None
    files = [one for one, _ in sweeps]
    fields = dict.fromkeys(field for one in files for field, _ in one.says[0])
    texts = {
        field: np.array([*(dict(one.says[0]).get(field) for one in files), None], dtype=object)[:-1]
        for field in fields
        if field not in _OF_FILE
    }
    modified = [(*one.modified_at, None)[0] for one in files]
    resolved = resolve(mapped.source, texts, len(files), modified)
    origin = Origin(
        files=tuple(one.files[0] for one in files),
        file_of=np.arange(len(files)),
        line_of=np.zeros(len(files), np.int64),
        word="line",
        places=places_of(mapped.source),
    )
    keep = np.ones(len(files), np.bool_)
    for refusal in resolved.refusals:
        refuse(intake, origin, keep, refusal)
    entries = Entries(resolved.columns, origin, keep)
    lengths = [len(sweep.frequency_hz) for _, sweep in sweeps]
    by_point = entries.take(np.repeat(np.arange(len(files)), lengths))
    columns = {**by_point.columns, **_points([sweep for _, sweep in sweeps])}
    return table_of(Entries(columns, by_point.origin, by_point.keep), wanted)


def _points(sweeps: Sequence[Sweep]) -> dict[str, Column]:
    """Frequency and S-parameters of all sweeps, one row a point; NaN where a sweep has one port."""
    columns: dict[str, Column] = {
        "frequency_hz": np.concatenate([sweep.frequency_hz for sweep in sweeps])
    }
    for row, names in enumerate(_NAMES):
        for column, name in enumerate(names):
            parts = [
                sweep.s[:, row, column]
                if max(row, column) < sweep.s.shape[1]
                else np.full(len(sweep.s), np.nan + 0j)
                for sweep in sweeps
            ]
            s = np.concatenate(parts)
            if not np.isnan(s.real).all():
                columns[f"{name}_re"], columns[f"{name}_im"] = s.real.copy(), s.imag.copy()
    return columns
