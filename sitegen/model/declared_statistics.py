"""What campaign.toml declares for the statistics: fields, pairs, splits, studies, stresses."""

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


class Remeasured(Record):
    """A wafer measured twice, each measurement a wafer record of its own."""

    before: Identifier = Field(description="wafer record of the measurement before")
    after: Identifier = Field(
        description="wafer record of the measurement after; it takes part in the comparison with"
        " the one before, and in no yield and no statistics of the campaign"
    )


class Stress(Record):
    """What was done to wafers between two measurements: burn-in, bias, storage, radiation.

    Several read-outs of one wafer are stresses of their own, each named by what the wafer had seen
    between its two records.
    """

    id: Identifier
    name: Text = Field(description="what was done to them, for example '168 h at 125 °C'")
    pairs: tuple[Remeasured, ...] = Field(min_length=1, description="wafers that were stressed")
    controls: tuple[Remeasured, ...] = Field(
        default=(),
        description="wafers measured twice without the stress: by what these shift is taken off",
    )

    @property
    def records(self) -> tuple[str, ...]:
        """Every wafer record that it names, once for each mention."""
        return tuple(
            name for one in (*self.pairs, *self.controls) for name in (one.before, one.after)
        )
