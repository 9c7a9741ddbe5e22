"""What the simulated campaigns measure: conditions, devices, and parameters with their budgets."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.model.figures import FigureName
from sitegen.simulate.process import Truth

FIGURE_HZ = 9.9091e9
LINE_HZ = 55.005e9
GAIN_HZ = 27.5075e9

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
    truth: Callable[[Truth], FloatArray] | None
    """From the process; None for a figure of a sweep, whose truth is its device model's."""
    sources: tuple[Source, ...]
    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    plausible: tuple[float, float] | None = None
    some_dies: bool = False
    figure: FigureName | None = None
    frequency_hz: float = 0.0
    range_path: tuple[str, str] | None = None
    """Measuring range and path, for currents that have a floor."""

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
        if self.figure is not None:
            entry["from_sweep"] = {"figure": self.figure, "frequency_hz": self.frequency_hz}
        if self.sources:
            entry["uncertainty"] = [
                {"source": one.name}
                | ({"absolute": one.absolute} if one.absolute is not None else {})
                | ({"relative": one.relative} if one.relative is not None else {})
                for one in self.sources
            ]
        return entry


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


HOT_C = 85.0
BIAS_SWEEP = ("rf-b1", "rf-b2", "rf-b3", "rf-b4")

SET_POINTS: tuple[SetPoint, ...] = (
    SetPoint("lin", "linear region, 25 °C", bias={"vds_v": 0.1, "vgs_v": 1.0}),
    SetPoint("sat", "saturation, 25 °C", bias={"vds_v": 10.0, "vgs_v": 0.0}),
    SetPoint("off", "channel closed, 25 °C", bias={"vds_v": 28.0, "vgs_v": -6.0}),
    SetPoint(
        "bv",
        "drain voltage raised until 0.1 mA flows, at most 120 V, 25 °C",
        bias={"id_a": 1e-4, "vgs_v": -6.0, "vds_limit_v": 120.0},
    ),
    SetPoint("sheet", "four-terminal current, 25 °C", bias={"force_a": 1e-3}),
    SetPoint("cap10", "10 V across the capacitor, 25 °C", bias={"vcap_v": 10.0}),
    SetPoint("sat85", "saturation, 85 °C", HOT_C, {"vds_v": 10.0, "vgs_v": 0.0}),
    SetPoint("off85", "channel closed, 85 °C", HOT_C, {"vds_v": 28.0, "vgs_v": -6.0}),
    SetPoint("rf", "RF bias, 25 °C", bias={"vds_v": 10.0, "vgs_v": -1.8}),
    SetPoint("rf-b1", "RF bias, lower drain voltage, 25 °C", bias={"vds_v": 5.0, "vgs_v": -1.8}),
    SetPoint("rf-b2", "RF bias, higher drain voltage, 25 °C", bias={"vds_v": 15.0, "vgs_v": -1.8}),
    SetPoint("rf-b3", "RF bias, lower current, 25 °C", bias={"vds_v": 10.0, "vgs_v": -2.2}),
    SetPoint("rf-b4", "RF bias, higher current, 25 °C", bias={"vds_v": 10.0, "vgs_v": -1.4}),
    SetPoint("unbiased", "passive, 25 °C"),
)

BIAS_GAIN: dict[str, float] = {
    "rf": 1.0,
    "rf-b1": 0.93,
    "rf-b2": 1.03,
    "rf-b3": 0.78,
    "rf-b4": 1.08,
}
"""Transconductance of each RF bias as a share of that at the nominal one."""

DEVICES: tuple[dict[str, object], ...] = (
    {
        "id": "hemt",
        "name": "transistor, two fingers of 25 µm",
        "kind": "transistor",
        "traces": ["s11_db", "s21_db", "s22_db"],
    },
    {"id": "contacts", "name": "contact resistance ladder", "kind": "resistor"},
    {
        "id": "cap",
        "name": "series capacitor",
        "kind": "capacitor",
        "may_look_like": "open",
    },
    {"id": "spiral", "name": "series spiral inductor", "kind": "inductor"},
    {
        "id": "spiral-gnd",
        "name": "spiral inductor to ground",
        "kind": "inductor",
        "ports": 1,
        "traces": ["s11_db", "s11_deg"],
        "may_look_like": "short",
    },
    {
        "id": "line",
        "name": "coplanar line, 0.7 mm",
        "kind": "line",
        "traces": ["s11_db", "s21_db", "s21_deg"],
    },
)


def _smu(absolute: float | None = None, relative: float | None = None) -> Source:
    return Source("source-measure unit's calibration", "campaign", absolute, relative)


def _contact(absolute: float | None = None, relative: float | None = None) -> Source:
    return Source("repeatability of the contact", "value", absolute, relative)


def _tips(absolute: float | None = None, relative: float | None = None) -> Source:
    return Source("calibration at the probe tips", "wafer", absolute, relative)


def _pads(absolute: float | None = None, relative: float | None = None) -> Source:
    """Beside what a calibration makes of a raw sweep, which its own record states."""
    return Source("place of the probes on the pads", "value", absolute, relative)


def _path(absolute: float | None = None, relative: float | None = None) -> Source:
    """Of sweeps that the analyser corrected: no calibration's uncertainty is propagated to them."""
    return Source("contact, drift and noise of the RF path", "path", absolute, relative)


def _made(name: str) -> Callable[[Truth], FloatArray]:
    return lambda truth: truth[name]


def _hot_threshold(truth: Truth) -> FloatArray:
    return np.asarray(truth["threshold_v"] - 0.060)


def _hot_leakage(truth: Truth) -> FloatArray:
    return np.asarray(truth["gate_leakage_a"] * 7.0)


def transition_frequency_hz(truth: Truth) -> FloatArray:
    """gm / (2 pi (Cgs + Cgd)) at the nominal RF bias, in Hz."""
    return np.asarray(truth["transconductance_s"] / (2 * np.pi * (truth["cgs_f"] + truth["cgd_f"])))


LARGE, NANO, PICO = ("100 mA", "coaxial"), ("100 nA", "triaxial"), ("100 pA", "triaxial")
FLOORS_A: dict[tuple[str, str], float] = {LARGE: 3.0e-6, NANO: 6.0e-12, PICO: 6.0e-14}
"""Decision limit of each range and path, three times the spread of its open-circuit readings."""

PARAMETERS: tuple[Measured, ...] = (
    Measured("VTH", "V_th", "threshold voltage, constant current 1 mA/mm", "V", "dc", "hemt",
             ("lin",), _made("threshold_v"), (_smu(0.001), _contact(0.002)),
             -2.70, -2.50, -2.60, (-6.0, 2.0)),
    Measured("GM", "g_m", "peak transconductance", "S", "dc", "hemt", ("sat",),
             _made("transconductance_s"), (_smu(relative=0.002), _contact(relative=0.003)),
             0.0398, 0.0442, 0.0420, (0.0, 0.2)),
    Measured("ION", "I_on", "drain current at zero gate voltage", "A", "dc", "hemt", ("sat",),
             _made("on_current_a"), (_smu(relative=0.002), _contact(relative=0.002)),
             0.0569, None, 0.0600, (0.0, 0.2), range_path=LARGE),
    Measured("RON", "R_on", "on resistance", "ohm", "dc", "hemt", ("lin",),
             _made("on_resistance_ohm"), (_smu(relative=0.002), _contact(0.12)),
             None, 29.6, 28.0, (1.0, 500.0)),
    Measured("IG", "I_g", "gate leakage current", "A", "dc", "hemt", ("off",),
             _made("gate_leakage_a"), (_smu(relative=0.01), _contact(2.0e-12)),
             None, 1.0e-8, None, (0.0, 1e-3), range_path=NANO),
    Measured("BV", "V_br", "drain breakdown voltage", "V", "dc", "hemt", ("bv",),
             _made("breakdown_v"), (_smu(0.2), _contact(0.4)),
             91.0, None, None, (20.0, 125.0)),
    Measured("RSH", "R_sh", "sheet resistance of the channel", "ohm/sq", "dc", "contacts",
             ("sheet",), _made("sheet_resistance_ohm"), (_smu(relative=0.002), _contact(0.8)),
             307.0, 333.0, 320.0, (50.0, 2000.0)),
    Measured("RC", "R_c", "resistance of one contact", "ohm", "dc", "contacts", ("sheet",),
             _made("contact_resistance_ohm"), (_smu(relative=0.002), _contact(0.05)),
             None, 4.80, 4.20, (0.1, 100.0)),
    Measured("ICAP", "I_cap", "leakage current of the capacitor", "A", "dc", "cap", ("cap10",),
             _made("capacitor_leakage_a"), (_smu(relative=0.02), _contact(2.0e-14)),
             None, 1.0e-12, None, (-1e-12, 1e-6), range_path=PICO),
    Measured("VTH85", "V_th,85", "threshold voltage at 85 °C", "V", "dc", "hemt", ("sat85",),
             _hot_threshold, (_smu(0.001), _contact(0.003)),
             -2.85, -2.45, None, (-6.0, 2.0), some_dies=True),
    Measured("IG85", "I_g,85", "gate leakage current at 85 °C", "A", "dc", "hemt", ("off85",),
             _hot_leakage, (_smu(relative=0.01), _contact(2.0e-12)),
             None, 1.0e-7, None, (0.0, 1e-3), some_dies=True, range_path=NANO),
    Measured("FT", "f_T", "transition frequency, as the station's program gave it", "Hz", "rf",
             "hemt", ("rf",), transition_frequency_hz,
             (_tips(relative=0.006), _contact(relative=0.006)),
             7.7e10, None, None, (1e10, 5e11)),
    Measured("H21", "|h_21|", "short-circuit current gain at 9.91 GHz", "dB", "rf", "hemt",
             ("rf",), None, (_pads(0.03),),
             16.0, None, None, (0.0, 40.0), figure="h21 magnitude", frequency_hz=FIGURE_HZ),
    Measured("S21", "|S_21|", "transmission of the transistor at 27.5 GHz", "dB", "rf", "hemt",
             ("rf",), None, (), figure="s21 magnitude", frequency_hz=GAIN_HZ),
    Measured("H21B", "|h_21|,b", "short-circuit current gain at further bias points", "dB", "rf",
             "hemt", BIAS_SWEEP, None, (_pads(0.03),),
             plausible=(0.0, 40.0), some_dies=True, figure="h21 magnitude",
             frequency_hz=FIGURE_HZ),
    Measured("C", "C", "capacitance at 9.91 GHz", "F", "rf", "cap", ("unbiased",), None,
             (_pads(0.3e-15),),
             1.93e-13, 2.07e-13, 2.0e-13, (0.0, 1e-11), figure="capacitance",
             frequency_hz=FIGURE_HZ),
    Measured("L", "L", "inductance at 9.91 GHz", "H", "rf", "spiral", ("unbiased",), None,
             (_pads(0.8e-12),),
             4.98e-10, 5.42e-10, 5.2e-10, (0.0, 1e-7), figure="inductance",
             frequency_hz=FIGURE_HZ),
    Measured("Q", "Q", "quality of the inductor at 9.91 GHz", "1", "rf", "spiral", ("unbiased",),
             None, (_pads(relative=0.01),),
             12.2, None, None, (0.0, 200.0), figure="inductor quality",
             frequency_hz=FIGURE_HZ),
    Measured("LGND", "L_g", "inductance to ground at 9.91 GHz", "H", "rf", "spiral-gnd",
             ("unbiased",), None, (_pads(0.8e-12),),
             plausible=(0.0, 1e-7), some_dies=True, figure="inductance", frequency_hz=FIGURE_HZ),
    Measured("IL", "|S_21|,line", "transmission of the line at 55 GHz", "dB", "rf", "line",
             ("unbiased",), None, (_tips(0.010), _path(0.006)),
             -0.78, None, None, (-20.0, 0.5), figure="s21 magnitude", frequency_hz=LINE_HZ),
    Measured("PH", "φ_21,line", "phase of the line at 55 GHz", "deg", "rf", "line", ("unbiased",),
             None, (_tips(0.15), _path(0.055)),
             plausible=(-180.0, 0.0), figure="s21 phase", frequency_hz=LINE_HZ),
)  # fmt: skip

BY_ID: dict[str, Measured] = {one.id: one for one in PARAMETERS}
