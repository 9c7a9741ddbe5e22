"""A wafer's Touchstone files of one source, put together into one table of sweeps."""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from sitegen.model.loaded import MappedFile, MappedSource, Sweep
from sitegen.model.tables import Column as OurColumn
from sitegen.read.columns import Origin, Table
from sitegen.read.files import Intake
from sitegen.read.foreign.entries import Entries, places_of, refuse, table_of
from sitegen.read.foreign.fields import resolve
from sitegen.read.foreign.model import Column
from sitegen.read.foreign.touchstone_tree import mapped_sweep
from sitegen.read.words import quoted

_NAMES = (("s11", "s12"), ("s21", "s22"))
_OF_FILE = frozenset({"wafer", "part", "port"})
"""Fields that are used up once a file's wafer and its place in a sweep are known."""


def table_of_sweeps(
    intake: Intake, mapped: MappedSource, wanted: Sequence[OurColumn]
) -> Table | None:
    """All sweeps, one row a frequency; None where none can be read. What is not is told."""
    whole = _with_all_parts(intake, mapped)
    read = [(one, mapped_sweep(intake, mapped.source, one)) for one in whole]
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
        words=("line",) * len(files),
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


def _with_all_parts(intake: Intake, mapped: MappedSource) -> tuple[MappedFile, ...]:
    """The sweeps without those that lack a part of the frequency range which most others have."""
    parts = [frozenset(dict(says).get("part", "") for says in one.says) for one in mapped.files]
    usual, number = Counter(parts).most_common(1)[0]
    if len(usual) < 2 or 2 * number <= len(parts):
        return mapped.files
    lacking = {place for place, mine in enumerate(parts) if mine < usual}
    for place in sorted(lacking):
        absent = " and ".join(quoted(part) for part in sorted(usual - parts[place]))
        intake.tell(
            mapped.files[place].files[0],
            "",
            found=f"no file of its sweep for the part {absent}",
            expected=f"all parts, as {number} others have them",
            remedy="Find the file, or take the sweep again; it was left out.",
        )
    return tuple(one for place, one in enumerate(mapped.files) if place not in lacking)


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
