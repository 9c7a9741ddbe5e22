"""The tables of corrected sweeps in data/, with the uncertainty of each S-parameter."""

from collections.abc import Iterable
from typing import Any

import numpy as np
import pyarrow as pa

from sitegen.model.results import TraceGroup
from sitegen.model.schemas import schema_of
from sitegen.publish.record_tables import REAL, TEXT, Columns

SWEEP_KEYS = [
    "die_x",
    "die_y",
    "site",
    "device",
    "condition",
    "touchdown",
    "calibration",
    "standing",
]
SWEEP_UNCERTAINTY = (
    ("u_re", "standard uncertainty of the real part"),
    ("u_im", "standard uncertainty of the imaginary part"),
    ("r", "correlation coefficient of both parts"),
)
SWEEP_COLUMNS: Columns = (
    ("die_x", pa.int32(), "column of the die"),
    ("die_y", pa.int32(), "row of the die"),
    ("site", TEXT, "place inside the die"),
    ("device", TEXT, "device"),
    ("condition", TEXT, "declared set point of bias and temperature"),
    ("touchdown", pa.int32(), "number of the touchdown"),
    ("calibration", TEXT, "calibration in force"),
    ("standing", TEXT, "stands, not closed, without standing"),
    ("frequency_hz", REAL, "frequency, Hz"),
    *(
        (f"s{to}{source}_{part}", pa.float32(), f"{word} part of corrected S{to}{source}")
        for to, source in ((1, 1), (2, 1), (1, 2), (2, 2))
        for part, word in (("re", "real"), ("im", "imaginary"))
    ),
    *(
        (f"s{to}{source}_{part}", pa.float32(), f"{text} of S{to}{source}; null: not stated")
        for to, source in ((1, 1), (2, 1), (1, 2), (2, 2))
        for part, text in SWEEP_UNCERTAINTY
    ),
)

SWEEP_NAMES = [name for name, _, _ in SWEEP_COLUMNS]


def sweeps(groups: Iterable[TraceGroup]) -> Iterable[pa.Table]:
    """Corrected sweeps, one row a frequency, one part a group."""
    for group in groups:
        n_freq, n_port = len(group.frequency_hz), group.s.shape[-1]
        repeat = np.repeat(np.arange(len(group.s)), n_freq)
        keys = group.keys.select(SWEEP_KEYS).take(pa.array(repeat))
        columns: dict[str, Any] = {name: keys.column(name) for name in SWEEP_KEYS}
        columns["frequency_hz"] = np.tile(group.frequency_hz, len(group.s))
        for to, source in ((1, 1), (2, 1), (1, 2), (2, 2)):
            known = max(to, source) <= n_port
            s = group.s[:, :, to - 1, source - 1].ravel() if known else None
            for part in ("re", "im"):
                columns[f"s{to}{source}_{part}"] = (
                    pa.nulls(len(repeat), pa.float32())
                    if s is None
                    else pa.array(
                        (s.real if part == "re" else s.imag).astype(np.float32), from_pandas=True
                    )
                )
            columns |= _uncertainty_columns(group, to, source, len(repeat))
        yield pa.table(
            {name: columns[name] for name in SWEEP_NAMES}, schema=schema_of(SWEEP_COLUMNS)
        )


def _uncertainty_columns(group: TraceGroup, to: int, source: int, rows: int) -> dict[str, Any]:
    """Standard uncertainties of both parts of an S-parameter and their correlation."""
    names = [f"s{to}{source}_{part}" for part, _ in SWEEP_UNCERTAINTY]
    if group.covariance is None or max(to, source) > group.s.shape[-1]:
        return dict.fromkeys(names, pa.nulls(rows, pa.float32()))
    var_re, var_im, both = np.moveaxis(
        group.covariance[:, :, to - 1, source - 1].reshape(-1, 3).astype(np.float64), -1, 0
    )
    with np.errstate(all="ignore"):
        found = (np.sqrt(var_re), np.sqrt(var_im), both / np.sqrt(var_re * var_im))
    return {
        name: pa.array(values.astype(np.float32), from_pandas=True)
        for name, values in zip(names, found, strict=True)
    }
