"""Devices on the dies, the dummy structures beside them, and how pads are taken off."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import Identifier, Positive, Record, Text

LARGEST_DIE_NUMBER = 1_000_000
DieNumber = Annotated[int, Field(ge=-LARGEST_DIE_NUMBER, le=LARGEST_DIE_NUMBER)]
Die = tuple[DieNumber, DieNumber]

DeembeddingMethod = Literal[
    "open", "short", "open-short", "short-open", "pad-open-short", "thru", "thru-line"
]
DUMMIES_OF: dict[DeembeddingMethod, tuple[str, ...]] = {
    "open": ("open",),
    "short": ("short",),
    "open-short": ("open", "short"),
    "short-open": ("open", "short"),
    "pad-open-short": ("pad", "open", "short"),
    "thru": ("thru",),
    "thru-line": ("thru", "line"),
}
"""The dummy structures that each method needs."""
LUMPED: frozenset[DeembeddingMethod] = frozenset(
    {"open", "short", "open-short", "short-open", "pad-open-short"}
)
"""Methods that take the pads and leads as lumped elements: they hold up to some frequency only."""


class Deembedding(Record):
    """How what lies between the probe tips and the device is taken off."""

    method: DeembeddingMethod = Field(description="which dummies are taken off, in which order")
    open: Identifier | None = Field(default=None, description="device id of the open dummy")
    short: Identifier | None = Field(default=None, description="device id of the short dummy")
    pad: Identifier | None = Field(
        default=None, description="device id of the pads alone, for pad-open-short"
    )
    thru: Identifier | None = Field(default=None, description="device id of the thru dummy")
    line: Identifier | None = Field(
        default=None, description="device id of the longer line, for thru-line"
    )
    taken_from: Literal["each die", "one die of the wafer", "one die of the campaign"] = Field(
        description="which dummies serve a die: its own, those of one die of each wafer, or those"
        " of one die of one wafer"
    )
    die: Die | None = Field(
        default=None, description="that die; without it the first on which all dummies stand"
    )
    wafer: Identifier | None = Field(
        default=None, description="the wafer of 'one die of the campaign'"
    )
    condition: Identifier = Field(description="condition under which the dummies were measured")
    upper_hz: Positive | None = Field(
        default=None,
        description="a lumped method is held to hold up to this frequency; figures above say so",
    )
    compare_thru: Identifier | None = Field(
        default=None, description="thru dummy of the distributed comparison"
    )
    compare_line: Identifier | None = Field(
        default=None, description="line dummy of the distributed comparison"
    )

    @model_validator(mode="after")
    def _complete(self) -> Self:
        for name in DUMMIES_OF[self.method]:
            if getattr(self, name) is None:
                raise ValueError(f"the method '{self.method}' needs '{name}'")
        if (self.taken_from == "one die of the campaign") != (self.wafer is not None):
            raise ValueError("'wafer' belongs to 'one die of the campaign', and to it alone")
        if self.compare_line is not None and self.compare_thru is None:
            raise ValueError("'compare_line' needs 'compare_thru'")
        if self.taken_from == "each die" and self.die is not None:
            raise ValueError("'die' does not belong to 'each die'")
        return self

    def dummies(self) -> dict[str, str]:
        """The device that plays each part of the method: {'open': 'OPEN', 'short': 'SHORT'}."""
        return {name: getattr(self, name) for name in DUMMIES_OF[self.method]}


class Device(Record):
    """A kind of device that stands on the dies."""

    id: Identifier
    name: Text
    kind: Literal[
        "transistor", "diode", "inductor", "capacitor", "resistor", "line", "dummy", "other"
    ]
    ports: Literal[1, 2] = Field(default=2, description="ports of its sweeps")
    port: Literal[1, 2] = Field(
        default=1, description="port of the analyser at which a one-port device is probed"
    )
    width_um: Positive | None = Field(
        default=None,
        description="total width; the floor of a current per width is the current's divided by it",
    )
    length_um: Positive | None = Field(
        default=None,
        description="length of a line, or gate length of a transistor; of a line what is left"
        " between the planes once its pads are taken off",
    )
    links: int | None = Field(
        default=None, ge=1, description="contacts in series in a chain of contacts"
    )
    passive: bool = Field(
        default=False,
        description="declared passive and reciprocal: its sweeps are judged for both",
    )
    deembedding: Deembedding | None = Field(
        default=None, description="how pads and leads are taken off; none: values at the probe tips"
    )
    traces: tuple[Literal["s11_db", "s21_db", "s12_db", "s22_db", "s11_deg", "s21_deg"], ...] = (
        Field(default=("s11_db", "s21_db"), description="which curves its pages draw")
    )
    may_look_like: Literal["neither", "open", "short"] = Field(
        default="neither",
        description="'open' or 'short': a sweep that looks so is not suspicious on this device",
    )
