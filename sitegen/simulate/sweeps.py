"""Sweeps of the devices on a wafer: what they present to the probe tips, and their true figures.

Each function takes a wafer's truth and gives sweeps on all its dies at `frequency_hz`, (n_freq,).
A device that is swept raw is presented as it is: the RF path and the touchdown add their own. The
analyser corrects the line by itself, so that nothing is propagated to it: its figures are off by
the draws of their declared sources, and the line is moved until it has just those.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate import networks
from sitegen.simulate.devices import SeriesBranch, Transistor, WaferLine
from sitegen.simulate.devices_declared import LINE_LENGTH_UM
from sitegen.simulate.draws import measured
from sitegen.simulate.measured import Measured
from sitegen.simulate.pads import PADS
from sitegen.simulate.parameters import BY_ID, LINE_HZ, PARAMETERS
from sitegen.simulate.process import Truth
from sitegen.simulate.scenario import FREQUENCY_HZ
from sitegen.simulate.set_points import BIAS_OF
from sitegen.simulate.transfer import transfer_law
from sitegen.simulate.true_figures import over_window

Figures = dict[str, FloatArray]
"""True figures by the parameter's id, (n,)."""
_OUTPUT_S, _GATE_DRAIN_POWER, _GATE_SOURCE_PER_V = 2.5e-3, -0.2, 0.05
_LINE_OHM = 51.0
_CAPACITOR_OHM = 0.8
_ACROSS_F = 20e-15
"""Capacitance across the inductor."""


@dataclass(frozen=True, eq=False)
class DeviceSweeps:
    """Sweeps of one device under one condition on n dies."""

    device: str
    condition: str
    true: Figures
    s: ComplexArray
    """What the touchdowns present to the probe tips: (n, n_freq, 2, 2), or (n, n_freq)."""


Draw = Callable[[str, FloatArray], FloatArray]
"""From a parameter's id and true figures to the contacted ones."""


def drawer(seed: int, wafer: int, stream: int) -> Draw:
    """Draws from the declared sources, for one wafer."""
    return lambda name, true: measured(BY_ID[name], true, seed, wafer, stream)


def transistor(truth: Truth, condition: str) -> Transistor:
    """Its elements under an RF bias; gm follows from the law of its curves."""
    bias, nominal = BIAS_OF[condition], BIAS_OF["rf"]
    law = transfer_law(truth)

    def current(at: dict[str, float]) -> FloatArray:
        return law.current_a(np.array([at["vgs_v"]]), at["vds_v"])[:, 0]

    return Transistor(
        gm_s=law.transconductance_s(bias["vgs_v"], bias["vds_v"]),
        gds_s=_OUTPUT_S * current(bias) / current(nominal),
        cgs_f=truth["cgs_f"] * (1.0 + _GATE_SOURCE_PER_V * (bias["vgs_v"] - nominal["vgs_v"])),
        cgd_f=truth["cgd_f"] * (bias["vds_v"] / nominal["vds_v"]) ** _GATE_DRAIN_POWER,
        cds_f=np.full(len(truth["cgs_f"]), 14e-15),
        rg_ohm=truth["gate_resistance_ohm"],
    )


def transistor_sweeps(
    truth: Truth, condition: str, frequency_hz: FloatArray = FREQUENCY_HZ
) -> DeviceSweeps:
    """The transistor with its pads under one RF bias."""
    made = transistor(truth, condition)
    true = _true("hemt", condition, made.admittance, frequency_hz)
    for one in _taken("hemt", condition):
        if one.figure == "s21 magnitude":
            true[one.id] = _db(made.at_tips(np.array([one.frequency_hz]), PADS)[:, 0, 1, 0])
    return DeviceSweeps("hemt", condition, true, made.at_tips(frequency_hz, PADS))


def dummy_sweeps(kind: str, frequency_hz: FloatArray = FREQUENCY_HZ) -> ComplexArray:
    """A dummy structure, 'dummy-open' or 'dummy-short', on one die: (1, n_freq, 2, 2)."""
    return PADS.dummy(kind.removeprefix("dummy-"), frequency_hz)[None]


def capacitor_sweeps(truth: Truth, frequency_hz: FloatArray = FREQUENCY_HZ) -> DeviceSweeps:
    """The capacitor between the ports."""
    ohm = np.full(len(truth["cgs_f"]), _CAPACITOR_OHM)
    made = SeriesBranch("capacitor", truth["capacitance_f"], ohm)
    true = _true("cap", "unbiased", made.matrix, frequency_hz)
    s = networks.to_scattering(made.chain(frequency_hz))
    return DeviceSweeps("cap", "unbiased", true, s)


def inductor_sweeps(
    truth: Truth, frequency_hz: FloatArray = FREQUENCY_HZ, contact_ohm: FloatArray | None = None
) -> DeviceSweeps:
    """The inductor between the ports; `contact_ohm`: of poor contacts in series, (n,)."""
    made = _spiral(truth)
    true = _true("spiral", "unbiased", made.matrix, frequency_hz)
    true["SRF"] = made.resonance_hz()
    chain = made.chain(frequency_hz)
    if contact_ohm is not None:
        chain = networks.series(contact_ohm[:, None] + 0 * frequency_hz) @ chain
    return DeviceSweeps("spiral", "unbiased", true, networks.to_scattering(chain))


def grounded_inductor_sweeps(truth: Truth, frequency_hz: FloatArray = FREQUENCY_HZ) -> DeviceSweeps:
    """The inductor from port 1 to ground: a one-port."""
    made = _spiral(truth)
    true = _true("spiral-gnd", "unbiased", made.matrix, frequency_hz)
    return DeviceSweeps("spiral-gnd", "unbiased", true, made.to_ground(frequency_hz))


def line_sweeps(truth: Truth, draw: Draw, frequency_hz: FloatArray = FREQUENCY_HZ) -> DeviceSweeps:
    """The line between the ports."""
    ohm = np.full(len(truth["cgs_f"]), _LINE_OHM)
    made = WaferLine(truth["line_delay_ps"], truth["line_loss_db"], ohm)
    true = _line_figures(made)
    wanted = {name: draw(name, true[name]) for name in ("IL", "PH", "ZC")}
    shown = made
    for _ in range(6):
        found = _line_figures(shown)
        missing_db, missing_deg = found["IL"] - wanted["IL"], found["PH"] - wanted["PH"]
        shown = replace(
            shown,
            loss_db=shown.loss_db + missing_db / np.sqrt(LINE_HZ / 110e9),
            delay_ps=shown.delay_ps + missing_deg / (360e-12 * LINE_HZ),
            z0_ohm=shown.z0_ohm + wanted["ZC"] - found["ZC"],
        )
    s = networks.to_scattering(shown.chain(frequency_hz))
    return DeviceSweeps("line", "unbiased", true, s)


def _line_figures(line: WaferLine) -> Figures:
    s21, length_m = line.s21(LINE_HZ), LINE_LENGTH_UM * 1e-6
    return {
        "IL": _db(s21),
        "PH": np.degrees(np.angle(s21)),
        "ATT": line.attenuation_db_per_m(length_m, LINE_HZ),
        "EPS": line.permittivity(length_m, LINE_HZ),
        "ZC": line.z0_ohm,
    }


def _taken(device: str, condition: str) -> list[Measured]:
    """The parameters that are taken from sweeps of a device under a condition."""
    return [
        one
        for one in PARAMETERS
        if one.figure is not None and one.device == device and condition in one.conditions
    ]


def _true(
    device: str,
    condition: str,
    admittance: Callable[[FloatArray], ComplexArray],
    frequency_hz: FloatArray,
) -> Figures:
    """Every figure that follows from the device's admittances at the frequencies of its place."""
    found: Figures = {}
    for one in _taken(device, condition):
        if one.figure in ("self-resonance", "s21 magnitude"):
            continue
        at = np.array([one.frequency_hz])
        if one.window_hz is not None:
            low, high = one.window_hz
            at = frequency_hz[(frequency_hz >= low) & (frequency_hz <= high)]
        found[one.id] = over_window(str(one.figure), admittance(at), at)
    return found


def _spiral(truth: Truth) -> SeriesBranch:
    return SeriesBranch(
        "inductor", truth["inductance_h"], truth["inductor_resistance_ohm"], _ACROSS_F
    )


def _db(s: ComplexArray) -> FloatArray:
    return np.asarray(20 * np.log10(np.abs(s)))
