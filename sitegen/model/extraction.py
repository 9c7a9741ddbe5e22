"""How a parameter is taken from sweeps or from curves: estimator, place and window."""

from typing import Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import Identifier, Positive, Record, Text
from sitegen.model.curve_figures import CURVE_FIGURE_NEEDS, CurveFigureName
from sitegen.model.figures import FIGURE_PLACES, FigureName

AxisName = Text
"""A column of a table of curves; it ends in _v (volts) or _a (amperes)."""


class FromSweep(Record):
    """How a parameter is taken from corrected sweeps."""

    figure: FigureName = Field(description="one of the figures from sweeps in the reference")
    frequency_hz: Positive | None = Field(
        default=None, description="where a figure at one frequency is taken"
    )
    window_hz: tuple[Positive, Positive] | None = Field(
        default=None, description="from where to where a figure over a window is taken"
    )
    deembedded: bool = Field(
        default=True,
        description="false: at the probe tips, although the device declares a de-embedding",
    )
    access_condition: Identifier | None = Field(
        default=None,
        description="condition of zero drain bias whose sweeps give the access resistances that are"
        " taken off first; only for small-signal elements",
    )

    @model_validator(mode="after")
    def _placed(self) -> Self:
        places = FIGURE_PLACES[self.figure]
        given = {
            "frequency": self.frequency_hz is not None,
            "window": self.window_hz is not None,
        }
        if sum(given.values()) > 1:
            raise ValueError("only one of 'frequency_hz' and 'window_hz' can be given")
        found = next((name for name, there in given.items() if there), "whole")
        if found not in places:
            words = {"frequency": "frequency_hz", "window": "window_hz", "whole": "neither"}
            wanted = " or ".join(f"'{words[name]}'" for name in places)
            raise ValueError(f"the figure '{self.figure}' needs {wanted}")
        if self.window_hz is not None and self.window_hz[0] >= self.window_hz[1]:
            raise ValueError("the first frequency of 'window_hz' must lie below the second")
        return self


class FromCurve(Record):
    """How a parameter is taken from curves; which fields are needed follows from the figure."""

    figure: CurveFigureName = Field(description="one of the figures from curves in the reference")
    curve: Identifier = Field(description="id of the curve in campaign.toml")
    stepped_at: float | None = Field(
        default=None, description="the value of the stepped axis whose curve is taken"
    )
    stepped_pair: tuple[float, float] | None = Field(
        default=None, description="two values of the stepped axis, for a drain-induced shift"
    )
    swept_at: float | None = Field(
        default=None, description="the value of the swept axis at which the figure is taken"
    )
    swept_window: tuple[float, float] | None = Field(
        default=None, description="from where to where on the swept axis a line is fitted"
    )
    current_a: Positive | None = Field(
        default=None, description="the current that defines a threshold or a breakdown, in amperes"
    )
    current_window_a: tuple[Positive, Positive] | None = Field(
        default=None, description="currents between which a line is fitted, in amperes"
    )

    @model_validator(mode="after")
    def _complete(self) -> Self:
        needed = CURVE_FIGURE_NEEDS[self.figure]
        for name in ("swept_at", "swept_window", "current_a", "current_window_a", "stepped_pair"):
            if (name in needed) != (getattr(self, name) is not None):
                verb = "needs" if name in needed else "does not take"
                raise ValueError(f"the figure '{self.figure}' {verb} '{name}'")
        if self.stepped_pair is not None and self.stepped_at is not None:
            raise ValueError("only one of 'stepped_at' and 'stepped_pair' can be given")
        for name in ("swept_window", "current_window_a", "stepped_pair"):
            pair = getattr(self, name)
            if pair is not None and pair[0] >= pair[1]:
                raise ValueError(f"the first number of '{name}' must lie below the second")
        return self


class Curve(Record):
    """A family of measured curves of one device: what was swept, stepped and measured."""

    id: Identifier
    device: Identifier
    description: Text
    swept: AxisName = Field(
        description="column of what was swept; its name ends in _v (volts) or _a (amperes)"
    )
    stepped: AxisName | None = Field(
        default=None, description="column of what was stepped from curve to curve"
    )
    measured: AxisName = Field(
        description="column of the reading that figures are taken from; of a four-terminal"
        " measurement the sensed voltage"
    )
    also_measured: tuple[AxisName, ...] = Field(
        default=(), description="columns of further readings, shown and kept"
    )
    compliance: float | None = Field(
        default=None, description="bound of the source, in the unit of the measured column"
    )
    source_accuracy_range: Text | None = Field(
        default=None, description="range of the source's declared accuracy on the swept axis"
    )
    stepped_accuracy_range: Text | None = Field(
        default=None,
        description="range of the source's declared accuracy on a stepped drain voltage; it counts"
        " for figures with the drain voltage in their formula",
    )
    polarity: Literal["n", "p"] = Field(
        default="n", description="p: currents and voltages of the device are negative in use"
    )

    @model_validator(mode="after")
    def _axes(self) -> Self:
        names = [self.swept, self.measured, *self.also_measured]
        names += [self.stepped] if self.stepped else []
        for name in names:
            if not name.endswith(("_v", "_a")):
                raise ValueError(f"the column '{name}' must end in _v or _a, for volts or amperes")
        if len(set(names)) != len(names):
            raise ValueError("each column can be named once only")
        if self.stepped_accuracy_range is not None and self.stepped is None:
            raise ValueError("'stepped_accuracy_range' needs 'stepped'")
        return self


class Handover(Record):
    """By which parameter the dies are chosen whose sweeps go to the design team."""

    parameter: Identifier = Field(description="parameter, by its identity")
    condition: Identifier = Field(description="one of the parameter's conditions")
    devices: tuple[Identifier, ...] = Field(
        default=(), description="devices whose sweeps are handed over; none: all with two ports"
    )
