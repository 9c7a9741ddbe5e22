"""Ideal laws of transistors, diodes and resistors, and curves made of them."""

from typing import Any

import numpy as np

from sitegen.compute.dc.curves import Curves
from sitegen.model.arrays import FloatArray

BOLTZMANN_OVER_CHARGE = 8.617333262e-5
"""k/q in V/K (CODATA 2018)."""


def triode(v_gs: FloatArray, v_t: float, v_ds: float, gain: float = 2e-3) -> FloatArray:
    """Square law in the triode region: b ((V_GS - V_T) V_DS - V_DS^2/2), 0 where that ends."""
    found: FloatArray = np.maximum(gain * ((v_gs - v_t) * v_ds - v_ds**2 / 2), 0.0)
    return found


def saturated(v_gs: FloatArray, v_t: float, gain: float = 2e-3) -> FloatArray:
    """Square law in saturation: b/2 (V_GS - V_T)^2."""
    found: FloatArray = gain / 2 * np.maximum(v_gs - v_t, 0.0) ** 2
    return found


def degraded(v_gs: FloatArray, v_t: float, v_ds: float, theta: float, gain: float) -> FloatArray:
    """Triode region with mobility falling: b V_DS x/(1 + theta x), x = V_GS - V_T - V_DS/2."""
    x = np.maximum(v_gs - v_t - v_ds / 2, 0.0)
    found: FloatArray = gain * v_ds * x / (1 + theta * x)
    return found


def soft(v_gs: FloatArray, v_t: float, v_ds: float, swing_v: float = 0.09) -> FloatArray:
    """A transistor from subthreshold to degraded triode, smooth: x is the softened overdrive."""
    n_kt = swing_v / np.log(10)
    x = n_kt * np.logaddexp(0.0, (v_gs - v_t) / n_kt)
    found: FloatArray = 2e-3 * v_ds * x / (1 + 0.4 * x)
    return found


def exponential(v: FloatArray, i_0: float, decade_v: float) -> FloatArray:
    """I = I0 10^(V/decade)."""
    return np.asarray(i_0 * 10 ** (v / decade_v))


def curves(swept: FloatArray, measured: FloatArray, **changes: Any) -> Curves:
    """Curves without floor and compliance; one row of the swept axis may serve all."""
    y = np.atleast_2d(measured)
    x = np.broadcast_to(np.atleast_2d(swept), y.shape).astype(float)
    none = np.zeros(y.shape, dtype=bool)
    known: dict[str, Any] = {
        "swept": x,
        "measured": y,
        "usable": np.isfinite(y),
        "in_compliance": none,
        "below_floor": none,
        "drain_v": np.full(len(y), np.nan),
        "temperature_k": np.full(len(y), 300.0),
    }
    return Curves(**{**known, **changes})
