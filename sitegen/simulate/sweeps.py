"""Sweeps of the devices on a wafer: their elements, as made and as contacted, and what is shown.

A touchdown shows a device whose figures are off the truth by the draws of their declared sources;
the elements are moved so that the model has just those figures. The RF path adds its own. Each
function takes a wafer's truth and gives sweeps on all its dies at `frequency_hz`, (n_freq,).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate import networks
from sitegen.simulate.devices import SeriesBranch, Transistor, WaferLine
from sitegen.simulate.draws import measured
from sitegen.simulate.parameters import BIAS_GAIN, BY_ID, FIGURE_HZ, GAIN_HZ, LINE_HZ
from sitegen.simulate.process import Truth
from sitegen.simulate.scenario import FREQUENCY_HZ

Figures = dict[str, FloatArray]
"""True figures by the parameter's id, (n,)."""


@dataclass(frozen=True, eq=False)
class DeviceSweeps:
    """Sweeps of one device under one condition on n dies."""

    device: str
    condition: str
    true: Figures
    contacted: Figures
    """The figures with the draws of calibration and contact, before the RF path."""
    s: ComplexArray
    """What the touchdowns present to the probe tips: (n, n_freq, 2, 2), or (n, n_freq)."""


Draw = Callable[[str, FloatArray], FloatArray]
"""From a parameter's id and true figures to the contacted ones."""


def drawer(seed: int, wafer: int, stream: int) -> Draw:
    """Draws from the declared sources, for one wafer."""
    return lambda name, true: measured(BY_ID[name], true, seed, wafer, stream)


def transistor_sweeps(
    truth: Truth, condition: str, draw: Draw, frequency_hz: FloatArray = FREQUENCY_HZ
) -> DeviceSweeps:
    """The transistor under one RF bias."""
    name = "H21" if condition == "rf" else "H21B"
    n = len(truth["cgs_f"])
    made = Transistor(
        gm_s=truth["transconductance_s"] * BIAS_GAIN[condition],
        gds_s=np.full(n, 2.5e-3),
        cgs_f=truth["cgs_f"],
        cgd_f=truth["cgd_f"],
        cds_f=np.full(n, 14e-15),
        rg_ohm=truth["gate_resistance_ohm"],
        pad_f=np.full(n, 12e-15),
    )
    true: Figures = {name: made.h21_db(FIGURE_HZ)}
    if condition == "rf":
        true["S21"] = _db(networks.to_scattering(made.chain(np.array([GAIN_HZ])))[:, 0, 1, 0])
    wanted = draw(name, true[name])
    shown = made
    for _ in range(4):
        ratio = 10 ** ((wanted - shown.h21_db(FIGURE_HZ)) / 20)
        shown = replace(shown, gm_s=shown.gm_s * ratio)
    s = networks.to_scattering(shown.chain(frequency_hz))
    return DeviceSweeps("hemt", condition, true, {name: wanted}, s)


def capacitor_sweeps(
    truth: Truth, draw: Draw, frequency_hz: FloatArray = FREQUENCY_HZ
) -> DeviceSweeps:
    """The capacitor between the ports."""
    made = SeriesBranch("capacitor", truth["capacitance_f"], np.full(len(truth["cgs_f"]), 0.8))
    true = {"C": made.figure("capacitance", FIGURE_HZ)}
    wanted = draw("C", true["C"])
    shown = _moved(made, "capacitance", wanted)
    s = networks.to_scattering(shown.chain(frequency_hz))
    return DeviceSweeps("cap", "unbiased", true, {"C": wanted}, s)


def inductor_sweeps(
    truth: Truth, draw: Draw, frequency_hz: FloatArray = FREQUENCY_HZ
) -> DeviceSweeps:
    """The inductor between the ports."""
    made = _spiral(truth)
    true = {
        "L": made.figure("inductance", FIGURE_HZ),
        "Q": made.figure("inductor quality", FIGURE_HZ),
    }
    wanted = {name: draw(name, figure) for name, figure in true.items()}
    shown = made
    for _ in range(6):
        shown = _moved(shown, "inductance", wanted["L"])
        ratio = shown.figure("inductor quality", FIGURE_HZ) / wanted["Q"]
        shown = replace(shown, resistance_ohm=shown.resistance_ohm * ratio)
    shown = _moved(shown, "inductance", wanted["L"])
    s = networks.to_scattering(shown.chain(frequency_hz))
    return DeviceSweeps("spiral", "unbiased", true, wanted, s)


def grounded_inductor_sweeps(
    truth: Truth, draw: Draw, frequency_hz: FloatArray = FREQUENCY_HZ
) -> DeviceSweeps:
    """The inductor from port 1 to ground: a one-port."""
    made = _spiral(truth)
    true = {"LGND": made.figure("inductance", FIGURE_HZ)}
    wanted = draw("LGND", true["LGND"])
    s = _moved(made, "inductance", wanted).to_ground(frequency_hz)
    return DeviceSweeps("spiral-gnd", "unbiased", true, {"LGND": wanted}, s)


def line_sweeps(truth: Truth, draw: Draw, frequency_hz: FloatArray = FREQUENCY_HZ) -> DeviceSweeps:
    """The line between the ports."""
    made = WaferLine(truth["line_delay_ps"], truth["line_loss_db"])
    s21 = made.s21(LINE_HZ)
    true = {"IL": _db(s21), "PH": np.degrees(np.angle(s21))}
    wanted = {name: draw(name, figure) for name, figure in true.items()}
    shown = made
    for _ in range(4):
        s21 = shown.s21(LINE_HZ)
        missing_db = _db(s21) - wanted["IL"]
        missing_deg = np.degrees(np.angle(s21)) - wanted["PH"]
        shown = replace(
            shown,
            loss_db=shown.loss_db + missing_db / np.sqrt(LINE_HZ / 110e9),
            delay_ps=shown.delay_ps + missing_deg / (360e-12 * LINE_HZ),
        )
    s = networks.to_scattering(shown.chain(frequency_hz))
    return DeviceSweeps("line", "unbiased", true, wanted, s)


def _spiral(truth: Truth) -> SeriesBranch:
    return SeriesBranch(
        "inductor", truth["inductance_h"], truth["inductor_resistance_ohm"], parallel_f=20e-15
    )


def _moved(
    branch: SeriesBranch, figure: Literal["inductance", "capacitance"], wanted: FloatArray
) -> SeriesBranch:
    """The branch with its main element scaled until the figure is as wanted."""
    for _ in range(6):
        branch = replace(branch, main=branch.main * wanted / branch.figure(figure, FIGURE_HZ))
    return branch


def _db(s: ComplexArray) -> FloatArray:
    return np.asarray(20 * np.log10(np.abs(s)))
