"""What a parameter and a condition of a simulated campaign are: record, budget, and truth."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.model.figures import FigureName
from sitegen.simulate.process import Truth

Drawn = Literal["campaign", "wafer", "value", "path"]
"""How often a source is drawn; 'path': the RF path's own drift and noise are the draw."""


@dataclass(frozen=True)
class Source:
    """A source of uncertainty: what the record declares and the forward model draws."""

    name: str
    drawn: Drawn
    absolute: float | None = None
    relative: float | None = None

    def standard_uncertainty(self, value: FloatArray) -> FloatArray:
        """In the parameter's unit, (n,)."""
        if self.absolute is not None:
            return np.full(value.shape, self.absolute)
        assert self.relative is not None
        return np.asarray(np.abs(value) * self.relative)


@dataclass(frozen=True)
class Measured:
    """A parameter: its entry in campaign.toml, and where its truth comes from."""

    id: str
    symbol: str
    name: str
    unit: str
    kind: Literal["dc", "rf"]
    device: str
    conditions: tuple[str, ...]
    truth: Callable[[Truth], FloatArray] | None = None
    """From the process; None for a figure of a sweep or a curve, whose truth is its model's."""
    sources: tuple[Source, ...] = ()
    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    plausible: tuple[float, float] | None = None
    some_dies: bool = False
    figure: FigureName | None = None
    """Taken from sweeps: the figure, and its place."""
    frequency_hz: float = 0.0
    window_hz: tuple[float, float] | None = None
    deembedded: bool = True
    curve: Mapping[str, object] | None = None
    """Taken from a curve: `from_curve` as the record has it."""
    range_path: tuple[str, str] | None = None
    """Measuring range and path, for currents that have a floor."""
    per_c: float = 0.0
    """Temperature coefficient, in the parameter's unit per °C."""
    log_normal: bool = False

    @property
    def tabled(self) -> bool:
        """Whether its values stand in the table of values."""
        return self.figure is None and self.curve is None

    def record(self) -> dict[str, object]:
        """Its entry in campaign.toml."""
        entry: dict[str, object] = {
            "id": self.id,
            "symbol": self.symbol,
            "name": self.name,
            "unit": self.unit,
            "kind": self.kind,
            "device": self.device,
            "conditions": list(self.conditions),
        }
        for key, number in (("lower", self.lower), ("upper", self.upper), ("target", self.target)):
            if number is not None:
                entry[key] = number
        if self.plausible is not None:
            entry["plausible_lower"], entry["plausible_upper"] = self.plausible
        if self.some_dies:
            entry["coverage"] = "some dies"
        if self.per_c:
            entry["temperature_coefficient_per_c"] = self.per_c
        if self.log_normal:
            entry["distribution"] = "log-normal"
        if self.figure is not None:
            entry["from_sweep"] = self._from_sweep()
        if self.curve is not None:
            entry["from_curve"] = dict(self.curve)
        if self.sources:
            entry["uncertainty"] = [
                {"source": one.name}
                | ({"absolute": one.absolute} if one.absolute is not None else {})
                | ({"relative": one.relative} if one.relative is not None else {})
                | ({"common": True} if one.drawn in ("campaign", "wafer") else {})
                for one in self.sources
            ]
        return entry

    def _from_sweep(self) -> dict[str, object]:
        taken: dict[str, object] = {"figure": self.figure}
        if self.frequency_hz:
            taken["frequency_hz"] = self.frequency_hz
        if self.window_hz is not None:
            taken["window_hz"] = list(self.window_hz)
        if not self.deembedded:
            taken["deembedded"] = False
        return taken


@dataclass(frozen=True)
class SetPoint:
    """A condition of campaign.toml."""

    id: str
    description: str
    temperature_c: float = 25.0
    bias: dict[str, float] = field(default_factory=dict)

    def record(self) -> dict[str, object]:
        """Its entry in campaign.toml."""
        return {
            "id": self.id,
            "description": self.description,
            "temperature_c": self.temperature_c,
            "temperature_tolerance_c": 1.0,
            "bias": dict(self.bias),
        }
