"""Measured bias: which columns of a table hold it, and what they say as text."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from sitegen.model.campaign import CampaignRecord
from sitegen.model.tables import BIAS_PREFIX, Column
from sitegen.read.columns import Table

FURTHER = f"{BIAS_PREFIX} and the name of a declared bias, or of the current at its terminal"
"""What further columns a table with bias may have, in words."""


def bias_columns(campaign: CampaignRecord) -> tuple[Column, ...]:
    """A column for each set point of bias that a condition declares, and for what flows there.

    Beside vds_v also ids_a and id_a can be measured: the drop on the way to the device needs them.
    """
    declared = [name for one in campaign.conditions for name in one.bias]
    currents = [
        f"i{stem}_a"
        for name in declared
        if name.startswith("v") and name.endswith("_v")
        for stem in (name[1:-2], name[1:2])
        if stem
    ]
    names = dict.fromkeys([*declared, *currents])
    return tuple(
        Column(
            BIAS_PREFIX + name,
            "number",
            False,
            "measured bias",
            "V" if name.endswith("_v") else "A",
            may_be_empty=True,
        )
        for name in names
    )


def bias_texts(table: Table, columns: Sequence[Column]) -> npt.NDArray[np.object_]:
    """Measured bias as text, "vgs_v=0.6012 vds_v=1.2"; None where a row has none."""
    present = [column.name for column in columns if column.name in table.columns]
    parts = [table.numbers(name) for name in present]
    texts = np.full(table.rows, None, dtype=object)
    for row in np.flatnonzero(np.isfinite(parts).any(axis=0)) if parts else ():
        texts[row] = " ".join(
            f"{name.removeprefix(BIAS_PREFIX)}={part[row]:.6g}"
            for name, part in zip(present, parts, strict=True)
            if np.isfinite(part[row])
        )
    return texts
