"""What the simulated campaigns measure: every parameter with its limits and its budget."""

from collections.abc import Callable

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.simulate.measured import Measured, Source
from sitegen.simulate.process import Truth
from sitegen.simulate.set_points import BIAS_OF, BIAS_SWEEP, RF_BIASES
from sitegen.simulate.smu import FULL, LARGE, NANO, OPEN_SPREAD_A, PICO, floor_a
from sitegen.simulate.transfer import transfer_law

FIGURE_HZ = 9.9091e9
LINE_HZ = 55.005e9
GAIN_HZ = 27.5075e9
CUTOFF_WINDOW_HZ = (5.0e9, 40.0e9)
POWER_WINDOW_HZ = (5.0e9, 30.0e9)
ELEMENT_WINDOW_HZ = (2.0e9, 15.0e9)
LOW_WINDOW_HZ = (1.0e9, 4.0e9)


def _smu(absolute: float | None = None, relative: float | None = None) -> Source:
    return Source("source-measure unit's calibration", "campaign", absolute, relative)


def _contact(absolute: float | None = None, relative: float | None = None) -> Source:
    return Source("repeatability of the contact", "value", absolute, relative)


def _tips(absolute: float | None = None, relative: float | None = None) -> Source:
    return Source("calibration at the probe tips", "wafer", absolute, relative)


def _path(absolute: float | None = None, relative: float | None = None) -> Source:
    """Of sweeps that the analyser corrected: no calibration's uncertainty is propagated to them."""
    return Source("contact, drift and noise of the RF path", "path", absolute, relative)


def _made(name: str) -> Callable[[Truth], FloatArray]:
    return lambda truth: truth[name]


def _hot_threshold(truth: Truth) -> FloatArray:
    return np.asarray(truth["threshold_v"] - 0.060)


def _hot_leakage(truth: Truth) -> FloatArray:
    return np.asarray(truth["gate_leakage_a"] * 7.0)


def _operating_current(truth: Truth) -> FloatArray:
    """Drain current at the nominal RF bias."""
    bias = BIAS_OF["rf"]
    at = np.array([bias["vgs_v"]])
    return transfer_law(truth).current_a(at, bias["vds_v"])[:, 0]


_TRANSFER = "transfer"
_LOW_V, _HIGH_V = 0.1, 10.0
THRESHOLD_A = 5.0e-5
"""1 mA/mm of the transistor's width."""

PARAMETERS: tuple[Measured, ...] = (
    Measured("VTH", "V_th", "threshold voltage, constant current 1 mA/mm", "V", "dc", "hemt",
             ("transfer",), None, (_contact(0.002),),
             -2.70, -2.50, -2.60, (-6.0, 2.0), per_c=-0.001,
             curve={"figure": "threshold by constant current", "curve": _TRANSFER,
                    "stepped_at": _LOW_V, "current_a": THRESHOLD_A}),
    Measured("GM", "g_m", "peak transconductance", "S", "dc", "hemt", ("transfer",),
             None, (_contact(relative=0.003),), 0.03975, 0.0443, 0.0420, (0.0, 0.2),
             curve={"figure": "greatest transconductance", "curve": _TRANSFER,
                    "stepped_at": _HIGH_V}),
    Measured("ION", "I_on", "drain current at zero gate voltage", "A", "dc", "hemt", ("transfer",),
             None, (_contact(relative=0.002),), 0.0569, None, 0.0600, (0.0, 0.2),
             range_path=FULL,
             curve={"figure": "current", "curve": _TRANSFER, "stepped_at": _HIGH_V,
                    "swept_at": 0.0}),
    Measured("RON", "R_on", "on resistance", "ohm", "dc", "hemt", ("lin",),
             _made("on_resistance_ohm"), (_smu(relative=0.002), _contact(0.12)),
             None, 29.6, 28.0, (1.0, 500.0)),
    Measured("IG", "I_g", "gate leakage current", "A", "dc", "hemt", ("off",),
             _made("gate_leakage_a"), (_smu(relative=0.01), _contact(2.0e-12)),
             None, 1.0e-8, None, (0.0, 1e-3), range_path=NANO),
    Measured("BV", "V_br", "drain breakdown voltage", "V", "dc", "hemt", ("bv",),
             None, (_contact(0.4),), 91.0, None, None, (20.0, 125.0),
             curve={"figure": "breakdown voltage", "curve": "breakdown", "current_a": 1e-4}),
    Measured("RSH", "R_sh", "sheet resistance of the channel", "ohm/sq", "dc", "contacts",
             ("sheet",), _made("sheet_resistance_ohm"), (_smu(relative=0.002), _contact(0.8)),
             307.0, 333.0, 320.0, (50.0, 2000.0), per_c=0.9),
    Measured("RC", "R_c", "resistance of one contact", "ohm", "dc", "chain", ("sheet",),
             None, (_contact(0.05),), None, 4.78, 4.20, (0.1, 100.0),
             curve={"figure": "resistance of one contact", "curve": "chain-line",
                    "swept_window": [-1.1e-3, 1.1e-3]}),
    Measured("ICAP", "I_cap", "leakage current of the capacitor", "A", "dc", "cap", ("cap10",),
             _made("capacitor_leakage_a"), (_smu(relative=0.02), _contact(2.0e-14)),
             None, 1.0e-12, None, (-1e-12, 1e-6), range_path=PICO, log_normal=True),
    Measured("VTH85", "V_th,85", "threshold voltage at 85 °C", "V", "dc", "hemt", ("sat85",),
             _hot_threshold, (_smu(0.001), _contact(0.003)),
             -2.85, -2.45, None, (-6.0, 2.0), some_dies=True),
    Measured("IG85", "I_g,85", "gate leakage current at 85 °C", "A", "dc", "hemt", ("off85",),
             _hot_leakage, (_smu(relative=0.01), _contact(2.0e-12)),
             None, 1.0e-7, None, (0.0, 1e-3), some_dies=True, range_path=NANO),
    Measured("FT", "f_T", "transit frequency", "Hz", "rf", "hemt", ("rf",), None, (),
             7.5e10, None, None, (1e10, 5e11),
             figure="transit frequency by extrapolation", window_hz=CUTOFF_WINDOW_HZ),
    Measured("H21", "|h_21|", "short-circuit current gain at 9.91 GHz", "dB", "rf", "hemt",
             ("rf",), None, (), 17.5, None, None, (0.0, 40.0), figure="h21 magnitude",
             frequency_hz=FIGURE_HZ),
    Measured("S21", "|S_21|", "transmission of the transistor with its pads at 27.5 GHz", "dB",
             "rf", "hemt", ("rf",), None, (), figure="s21 magnitude", frequency_hz=GAIN_HZ,
             deembedded=False),
    Measured("H21B", "|h_21|,b", "short-circuit current gain at further bias points", "dB", "rf",
             "hemt", BIAS_SWEEP, None, (), plausible=(0.0, 40.0), some_dies=True,
             figure="h21 magnitude", frequency_hz=FIGURE_HZ),
    Measured("C", "C", "capacitance at 9.91 GHz", "F", "rf", "cap", ("unbiased",), None, (),
             1.93e-13, 2.07e-13, 2.0e-13, (0.0, 1e-11), figure="capacitance",
             frequency_hz=FIGURE_HZ),
    Measured("L", "L", "inductance at 9.91 GHz", "H", "rf", "spiral", ("unbiased",), None, (),
             4.98e-10, 5.42e-10, 5.2e-10, (0.0, 1e-7), figure="inductance",
             frequency_hz=FIGURE_HZ),
    Measured("Q", "Q", "quality of the inductor at 9.91 GHz", "1", "rf", "spiral", ("unbiased",),
             None, (), 12.2, None, None, (0.0, 200.0), figure="inductor quality",
             frequency_hz=FIGURE_HZ),
    Measured("LGND", "L_g", "inductance to ground at 9.91 GHz", "H", "rf", "spiral-gnd",
             ("unbiased",), None, (), plausible=(0.0, 1e-7), some_dies=True, figure="inductance",
             frequency_hz=FIGURE_HZ),
    Measured("IL", "|S_21|,line", "transmission of the line at 55 GHz", "dB", "rf", "line",
             ("unbiased",), None, (_tips(0.010), _path(0.006)),
             -0.78, None, None, (-20.0, 0.5), figure="s21 magnitude", frequency_hz=LINE_HZ),
    Measured("PH", "φ_21,line", "phase of the line at 55 GHz", "deg", "rf", "line", ("unbiased",),
             None, (_tips(0.15), _path(0.055)),
             plausible=(-180.0, 0.0), figure="s21 phase", frequency_hz=LINE_HZ),
    Measured("SS", "S", "subthreshold slope", "V/dec", "dc", "hemt", ("transfer",),
             None, (), None, 0.095, None, (0.0, 1.0),
             curve={"figure": "subthreshold slope", "curve": _TRANSFER, "stepped_at": _LOW_V,
                    "current_window_a": [1e-8, 3e-6]}),
    Measured("DIBL", "σ", "drain-induced shift of the threshold", "V/V", "dc", "hemt",
             ("transfer",), None, (), None, 0.012, None, (-0.1, 0.5),
             curve={"figure": "drain-induced shift", "curve": _TRANSFER, "current_a": THRESHOLD_A,
                    "stepped_pair": [_LOW_V, _HIGH_V]}),
    Measured("GMQ", "g_m,q", "transconductance at the RF bias, from the curve", "S", "dc", "hemt",
             ("transfer",), None, (_contact(relative=0.003),), plausible=(0.0, 0.2),
             curve={"figure": "transconductance", "curve": _TRANSFER, "stepped_at": _HIGH_V,
                    "swept_at": -1.8}),
    Measured("IQ", "I_q", "drain current at the RF bias, from the curve", "A", "dc", "hemt",
             ("transfer",), None, (_contact(relative=0.006),), plausible=(0.0, 0.2),
             range_path=FULL,
             curve={"figure": "current", "curve": _TRANSFER, "stepped_at": _HIGH_V,
                    "swept_at": -1.8}),
    Measured("IDRF", "I_d,rf", "drain current while the sweep was taken", "A", "dc", "hemt",
             ("rf",), _operating_current, (_smu(relative=0.001), _contact(relative=0.0045)),
             plausible=(0.0, 0.2),
             range_path=LARGE),
    Measured("NID", "n", "ideality of the gate diode", "1", "dc", "hemt", ("diode",), None, (),
             1.0, 1.6, None, (0.5, 10.0),
             curve={"figure": "ideality factor", "curve": "gate-diode",
                    "current_window_a": [1e-8, 1e-5]}),
    Measured("GDS", "g_ds", "output conductance at the RF bias, from the curve", "S", "dc",
             "hemt", ("output",), None, (_contact(relative=0.006),), plausible=(-0.1, 0.1),
             some_dies=True,
             curve={"figure": "output conductance", "curve": "output", "stepped_at": -1.8,
                    "swept_at": 10.0}),
    Measured("RDC", "R_dc", "direct-current resistance of the inductor", "ohm", "dc", "spiral",
             ("sheet",), None, (_contact(0.004),), None, 2.4, 2.0, (0.0, 100.0), per_c=0.0078,
             curve={"figure": "four-terminal resistance", "curve": "spiral-line",
                    "swept_window": [-1.1e-3, 1.1e-3]}),
    Measured("FMAX", "f_max", "maximum frequency of oscillation", "Hz", "rf", "hemt", ("rf",),
             None, (), plausible=(1e10, 2e12),
             figure="maximum frequency of oscillation from U", window_hz=POWER_WINDOW_HZ),
    Measured("GMRF", "g_m,rf", "transconductance from sweeps", "S", "rf", "hemt", RF_BIASES,
             None, (), plausible=(0.0, 0.5), some_dies=True, figure="transconductance",
             window_hz=LOW_WINDOW_HZ),
    Measured("GDSRF", "g_ds,rf", "output conductance from sweeps", "S", "rf", "hemt", RF_BIASES,
             None, (), plausible=(-0.1, 0.1), some_dies=True, figure="output conductance",
             window_hz=ELEMENT_WINDOW_HZ),
    Measured("CGS", "C_gs", "gate-source capacitance", "F", "rf", "hemt", RF_BIASES, None, (),
             plausible=(0.0, 1e-12), some_dies=True, figure="gate-source capacitance",
             window_hz=ELEMENT_WINDOW_HZ),
    Measured("CGD", "C_gd", "gate-drain capacitance", "F", "rf", "hemt", RF_BIASES, None, (),
             plausible=(0.0, 1e-12), some_dies=True, figure="gate-drain capacitance",
             window_hz=ELEMENT_WINDOW_HZ),
    Measured("SRF", "f_0", "self-resonance of the inductor", "Hz", "rf", "spiral", ("unbiased",),
             None, (), 4.7e10, None, None, (1e9, 1e12), figure="self-resonance"),
    Measured("RLF", "R_lf", "resistance of the inductor at low frequencies", "ohm", "rf", "spiral",
             ("unbiased",), None, (), plausible=(-5.0, 100.0), figure="series resistance",
             window_hz=LOW_WINDOW_HZ),
    Measured("QC", "Q_C", "quality of the capacitor at 9.91 GHz", "1", "rf", "cap",
             ("unbiased",), None, (), plausible=(0.0, 1e5), figure="capacitor quality",
             frequency_hz=FIGURE_HZ),
    Measured("ESR", "R_s", "equivalent series resistance at 9.91 GHz", "ohm", "rf", "cap",
             ("unbiased",), None, (), plausible=(-10.0, 100.0),
             figure="equivalent series resistance", frequency_hz=FIGURE_HZ),
    Measured("ATT", "α", "attenuation of the line at 55 GHz", "dB/m", "rf", "line", ("unbiased",),
             None, (_tips(14.3), _path(8.6)),
             plausible=(-1e3, 1e4), figure="attenuation per length", frequency_hz=LINE_HZ),
    Measured("EPS", "ε_eff", "effective permittivity of the line at 55 GHz", "1", "rf", "line",
             ("unbiased",), None,
             (_tips(0.0185), _path(0.0085)),
             6.5, 7.7, None, (1.0, 20.0), figure="effective permittivity", frequency_hz=LINE_HZ),
    Measured("ZC", "Z_c", "characteristic impedance of the line at 55 GHz", "ohm", "rf", "line",
             ("unbiased",), None, (_tips(0.10), _path(0.03)), 48.0, 54.0, None, (5.0, 500.0),
             figure="characteristic impedance", frequency_hz=LINE_HZ),
)  # fmt: skip

BY_ID: dict[str, Measured] = {one.id: one for one in PARAMETERS}
FLOORS_A: dict[tuple[str, str], float] = {place: floor_a(place) for place in OPEN_SPREAD_A}
"""Decision limit of each range and path."""
