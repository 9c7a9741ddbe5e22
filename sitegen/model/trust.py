"""What shows that a touchdown, a station and a wafer can be relied on, as campaign.toml says."""

from typing import Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import Identifier, NotNegative, Positive, Record
from sitegen.model.device import Die

ContactQuantity = Literal[
    "contact resistance", "pad-to-pad leakage", "open capacitance", "overtravel"
]
CONTACT_COLUMNS: dict[ContactQuantity, str] = {
    "contact resistance": "contact_resistance_ohm",
    "pad-to-pad leakage": "pad_leakage_a",
    "open capacitance": "open_capacitance_f",
    "overtravel": "overtravel_um",
}
"""The column of a table of touchdowns that holds each quantity."""
CONTACT_UNITS: dict[ContactQuantity, str] = {
    "contact resistance": "ohm",
    "pad-to-pad leakage": "A",
    "open capacitance": "F",
    "overtravel": "µm",
}


class ContactCheck(Record):
    """A bound on what a touchdown's own measurement shows."""

    quantity: ContactQuantity = Field(description="what is bounded")
    lower: float | None = Field(default=None, description="in ohm, A, F or µm")
    upper: float | None = Field(default=None, description="in ohm, A, F or µm")
    mandatory: bool = Field(default=False, description="true: without it a value has no standing")
    devices: tuple[Identifier, ...] = Field(
        default=(), description="devices it is about; none: all"
    )

    @model_validator(mode="after")
    def _bounded(self) -> Self:
        if self.lower is None and self.upper is None:
            raise ValueError("at least one of 'lower' and 'upper' must be given")
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError("'lower' must lie below 'upper'")
        return self


class Control(Record):
    """A die that is measured again at the start, at intervals and at the end."""

    id: Identifier
    wafer: Identifier = Field(
        description="the wafer with the control die; its touchdowns there are the measurements"
    )
    die: Die = Field(description="[die_x, die_y] in the layout")
    site: str | None = Field(
        default=None, description="place inside the die; without it the first where it has several"
    )
    parameter: Identifier = Field(description="parameter, by its identity")
    condition: Identifier = Field(description="one of the parameter's conditions")
    reference: float | None = Field(
        default=None,
        description="what it should give, in the parameter's unit; without it its first reading",
    )
    bound: Positive = Field(
        description="greatest accepted difference from the reference, in the parameter's unit"
    )


class ValueOf(Record):
    """A parameter under a condition."""

    parameter: Identifier = Field(description="parameter, by its identity")
    condition: Identifier = Field(description="one of the parameter's conditions")


class Agreement(Record):
    """Two values of one die that physics says must agree."""

    id: Identifier
    physics: Literal[
        "low-frequency resistance",
        "transconductance at the low end",
        "operating current",
        "two power levels",
        "other",
    ] = Field(description="why the two must agree")
    first: ValueOf = Field(description="one of the two values")
    second: ValueOf = Field(description="the other, in a unit that converts to the first's")
    allowance: NotNegative = Field(
        default=0.0,
        description="difference that physics allows besides the uncertainties, in the unit of the"
        " first",
    )
