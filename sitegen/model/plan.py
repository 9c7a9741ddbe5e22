"""What was to be measured."""

from typing import Literal

from pydantic import Field

from sitegen.model.base import Identifier, Record
from sitegen.model.device import Die


class PlannedWafer(Record):
    """A wafer of the plan."""

    id: Identifier
    dies: Literal["all"] | tuple[Die, ...] = Field(
        default="all", description="'all' full dies of the layout, or a list of [die_x, die_y]"
    )


class Plan(Record):
    """What was to be measured."""

    wafers: tuple[PlannedWafer, ...] = Field(default=(), description="planned wafers")
