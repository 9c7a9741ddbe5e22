"""The hybrid-pi of known elements through pads and leads, a simulated station and back.

Pads of 25 and 28 fF to ground and 3 fF between them, leads of 35 and 30 pH with 0.3 and 0.35 ohm,
0.05 ohm common to both. The numbers without and with them come from an independent program.
"""

import numpy as np
import pytest

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.deembedding import deembed
from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.model.arrays import ComplexArray, FloatArray
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import lrrm
from tests.compute.rf.transistors import UNIT, HybridPi

BAND_HZ = np.linspace(0.5e9, 110e9, 220)


def dummies_and_device() -> dict[str, ComplexArray]:
    """S at the probe tips of the device, the open and the short."""
    w = 2 * np.pi * BAND_HZ
    pads = np.array([[28e-15, -3e-15], [-3e-15, 31e-15]]) * (1j * w)[:, None, None]
    leads = (
        np.array([[0.35, 0.05], [0.05, 0.40]])
        + np.array([[35e-12, 0], [0, 30e-12]]) * ((1j * w)[:, None, None])
    )
    inner = {
        "device": np.linalg.inv(HybridPi().impedance(BAND_HZ) + leads),
        "open": np.zeros_like(pads),
        "short": np.linalg.inv(leads),
    }
    return {
        name: np.asarray(np.linalg.inv(UNIT + 50 * (y + pads)) @ (UNIT - 50 * (y + pads)))
        for name, y in inner.items()
    }


def measured_and_corrected() -> dict[str, ComplexArray]:
    at = fw.station(2, BAND_HZ)
    terms = lrrm(at, BAND_HZ).terms
    return {name: correct(terms, fw.raw_sweep(at, s)) for name, s in dummies_and_device().items()}


def taken(name: str, s: ComplexArray, first_hz: float, last_hz: float) -> FloatArray:
    inside = (first_hz <= BAND_HZ) & (last_hz >= BAND_HZ)
    f = BAND_HZ[inside]
    quantity = FIGURES[name].quantity(s[None, inside], f, Surroundings(50.0))
    return FIGURES[name].estimate(quantity, f, "window").value


@pytest.mark.parametrize("simulated", [False, True])
def test_each_figure_comes_back_by_its_own_estimator(simulated: bool) -> None:
    seen = measured_and_corrected() if simulated else dummies_and_device()
    raw = taken("transit frequency by extrapolation", seen["device"], 10e9, 10e9)
    assert raw == pytest.approx(124.18e9, abs=5e6)  # 22 % too low with the pads
    parts = {"open": seen["open"], "short": seen["short"]}
    inner = deembed("open-short", seen["device"], parts, 50.0)
    extrapolated = "transit frequency by extrapolation"
    assert taken(extrapolated, inner, 10e9, 10e9) == pytest.approx(159.1675e9, abs=5e4)
    for first, last, printed in ((10, 20, 159.184), (10, 40, 159.243), (20, 110, 159.769)):
        found = taken(extrapolated, inner, first * 1e9, last * 1e9)
        assert found == pytest.approx(printed * 1e9, abs=5e5)
    from_u = taken("maximum frequency of oscillation from U", inner, 10e9, 110e9)
    assert from_u == pytest.approx(225.079079e9, rel=1e-6)
    for name, value in (
        ("transconductance", 0.1),
        ("output conductance", 5e-3),
        ("gate-source capacitance", 80e-15),
        ("gate-drain capacitance", 20e-15),
        ("drain-source capacitance", 30e-15),
        ("gate resistance", 5.0),
    ):
        assert taken(name, inner, 5e9, 110e9) == pytest.approx(value, rel=1e-6)
