"""What campaign.toml declares for the statistics: fields of exposure, pairs, splits, studies."""

from typing import Literal

from pydantic import Field

from sitegen.model.base import Identifier, Record, Text
from sitegen.model.device import Die


class Reticle(Record):
    """The field of one exposure, repeated over the wafer."""

    columns: int = Field(ge=1, description="dies along x in one field")
    rows: int = Field(ge=1, description="dies along y in one field")
    origin_die: Die = Field(description="any die in column 0 and row 0 of its field")


class Pair(Record):
    """Two parameters whose dies are drawn against each other."""

    x: Identifier = Field(description="parameter along the horizontal axis")
    x_condition: Identifier
    y: Identifier = Field(description="parameter along the vertical axis")
    y_condition: Identifier


class Split(Record):
    """Wafers that were processed alike, to be compared with those of other splits."""

    id: Identifier
    name: Text = Field(description="what was done to them")
    wafers: tuple[Identifier, ...] = Field(min_length=1)


class Study(Record):
    """One wafer measured several times, its dies as parts: repeatability and reproducibility.

    Each entry of `wafers` is a wafer record of its own of the same physical wafer; what changed
    between them is named. Repeated touchdowns of a die in one record are the repeats.
    """

    id: Identifier
    between: Literal["operators", "stations"] = Field(
        description="what changes from record to record: 'by' or 'station' of wafer.toml"
    )
    wafers: tuple[Identifier, ...] = Field(min_length=2)
