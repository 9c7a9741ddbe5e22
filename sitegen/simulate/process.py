"""The wafer process: how each quantity varies over a wafer and from wafer to wafer.

A quantity's deviation is a sum of independent parts, in units of its spread: a plane over the
wafer and a radial bowl that all wafers share, an offset for each wafer, and chance from die to
die. Their variances add up to one.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.simulate.layout import Grid

_PLANE, _BOWL, _WAFER = 0.45, 0.45, 0.30
_CHANCE = float(np.sqrt(1.0 - _PLANE**2 - _BOWL**2 - _WAFER**2))
_LARGEST_CHANCE = 2.5
"""Chance beyond this many of its own spreads is folded back to it: no wild dies but planted."""


@dataclass(frozen=True)
class Quantity:
    """What the process makes: a nominal value and a spread."""

    nominal: float
    spread: float
    """Standard deviation; of the natural logarithm where `logarithmic`."""
    logarithmic: bool = False


QUANTITIES: dict[str, Quantity] = {
    "threshold_v": Quantity(-2.60, 0.040),
    "transconductance_s": Quantity(0.0420, 0.0008),
    "on_current_a": Quantity(0.0600, 0.0012),
    "on_resistance_ohm": Quantity(28.0, 0.55),
    "gate_leakage_a": Quantity(1.6e-9, 0.35, logarithmic=True),
    "breakdown_v": Quantity(98.0, 2.6),
    "sheet_resistance_ohm": Quantity(320.0, 4.5),
    "contact_resistance_ohm": Quantity(4.20, 0.22),
    "capacitor_leakage_a": Quantity(9.0e-14, 0.6, logarithmic=True),
    "cgs_f": Quantity(70e-15, 1.0e-15),
    "cgd_f": Quantity(10e-15, 0.2e-15),
    "gate_resistance_ohm": Quantity(4.0, 0.1),
    "inductance_h": Quantity(0.500e-9, 0.0025e-9),
    "inductor_resistance_ohm": Quantity(2.0, 0.05),
    "capacitance_f": Quantity(200e-15, 2.4e-15),
    "line_loss_db": Quantity(0.90, 0.03),
    "line_delay_ps": Quantity(6.0, 0.03),
    "gate_ideality": Quantity(1.35, 0.02),
}

Truth = dict[str, FloatArray]
"""Each quantity's true values on the dies of a wafer, (n_die,), by its name."""


def wafer_truth(grid: Grid, seed: int, wafer: int) -> Truth:
    """What the process made of wafer number `wafer`."""
    lot = np.random.default_rng([seed, 10])
    own = np.random.default_rng([seed, 11, wafer])
    position = grid.positions_mm() / grid.usable_mm
    rho_2 = (position**2).sum(axis=1)
    truth = {}
    for name, quantity in QUANTITIES.items():
        angle, bowl_sign = lot.uniform(0, 2 * np.pi), lot.choice([-1.0, 1.0])
        plane = 2.0 * (position @ np.array([np.cos(angle), np.sin(angle)]))
        bowl = bowl_sign * np.sqrt(12.0) * (rho_2 - 0.5)
        chance = np.clip(own.standard_normal(len(rho_2)), -_LARGEST_CHANCE, _LARGEST_CHANCE)
        offset = np.clip(own.standard_normal(), -_LARGEST_CHANCE, _LARGEST_CHANCE)
        deviation = _PLANE * plane + _BOWL * bowl + _WAFER * offset + _CHANCE * chance
        truth[name] = np.asarray(
            quantity.nominal * np.exp(quantity.spread * deviation)
            if quantity.logarithmic
            else quantity.nominal + quantity.spread * deviation
        )
    return truth
