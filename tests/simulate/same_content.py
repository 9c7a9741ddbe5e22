"""Whether two folders hold the same, up to what mathematical libraries differ in."""

from pathlib import Path

import numpy as np
import numpy.testing as npt
import pyarrow.parquet as pq


def assert_same_folders(stored: Path, made: Path) -> None:
    """Text of records and notes to the byte; numbers of sweeps and tables to 1e-6 of their size,
    since mathematical libraries differ in the last digits from machine to machine.
    """
    names = [
        sorted(str(one.relative_to(place)) for one in place.rglob("*") if one.is_file())
        for place in (stored, made)
    ]
    assert names[0] == names[1]
    for name in names[0]:
        _assert_same_content(stored / name, made / name)


def _assert_same_content(stored: Path, made: Path) -> None:
    if stored.suffix == ".parquet":
        old, new = pq.read_table(stored), pq.read_table(made)
        assert old.schema == new.schema, stored.name
        for name in old.column_names:
            ours, theirs = (one[name].to_numpy() for one in (old, new))
            if np.issubdtype(ours.dtype, np.floating):
                npt.assert_allclose(theirs, ours, rtol=1e-6, atol=2e-6 if ours.itemsize == 4 else 0)
            else:
                assert old[name].equals(new[name]), f"{stored.name}: {name}"
    elif stored.suffix in {".s1p", ".s2p"}:
        npt.assert_allclose(
            np.loadtxt(made, comments=["!", "#"]),
            np.loadtxt(stored, comments=["!", "#"]),
            rtol=1e-6,
            atol=1e-8,
        )
    else:
        assert made.read_bytes() == stored.read_bytes(), stored.name
