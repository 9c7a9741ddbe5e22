"""The contact substrate: what its standards and verification structures truly are.

Each standard stands here twice: as the numbers of its definition, and as the S-parameters that
those numbers mean. The RF probes touch every standard without an offset.
"""

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.simulate import networks
from sitegen.simulate.networks import Z_REF_OHM

SHORT_PH = 3.3
OPEN_FF = -6.2
"""Negative: lifted probes have less capacitance than touching ones."""
LOAD_OHM = 50.0
LOAD_PH = 4.6
THRU_PS = 1.0
OFFSET_PS = 3.0
LINE_PS = 7.0
LINE_OHM = 50.6
LINE_DB = 0.42
"""Loss of the verification line at 110 GHz."""
ATTENUATION_DB = 10.0

DEFINITIONS: dict[str, dict[str, object]] = {
    "short": {"kind": "short", "inductance_ph": [SHORT_PH]},
    "open": {"kind": "open", "capacitance_ff": [OPEN_FF]},
    "load": {"kind": "load", "resistance_ohm": LOAD_OHM, "inductance_ph": LOAD_PH},
    "thru": {"kind": "thru", "delay_ps": THRU_PS, "z0_ohm": Z_REF_OHM},
}
"""Definitions of the standards as a calibration's record has them."""


def reflection(name: str, frequency_hz: FloatArray, load_ohm: float = LOAD_OHM) -> ComplexArray:
    """Reflection of 'short', 'open', 'load' or 'offset-short', (n_freq,)."""
    omega = 2 * np.pi * frequency_hz
    if name == "open":
        ratio = 1j * omega * OPEN_FF * 1e-15 * Z_REF_OHM
        return np.asarray((1 - ratio) / (1 + ratio))
    impedance = {
        "short": 1j * omega * SHORT_PH * 1e-12,
        "offset-short": 1j * omega * SHORT_PH * 1e-12,
        "load": load_ohm + 1j * omega * LOAD_PH * 1e-12,
    }[name]
    gamma = (impedance - Z_REF_OHM) / (impedance + Z_REF_OHM)
    if name == "offset-short":
        gamma = gamma * np.exp(-2j * omega * OFFSET_PS * 1e-12)
    return np.asarray(gamma)


def two_port(
    name: str, frequency_hz: FloatArray, loads_ohm: tuple[float, float] = (LOAD_OHM, LOAD_OHM)
) -> ComplexArray:
    """S-parameters of 'thru', 'line', 'attenuator', or of one reflect on each port.

    Shape (n_freq, 2, 2). `loads_ohm` are the resistances of the loads at ports 1 and 2.
    """
    omega = 2 * np.pi * frequency_hz
    if name == "thru":
        return networks.to_scattering(networks.line(1j * omega * THRU_PS * 1e-12, Z_REF_OHM))
    if name == "line":
        loss = LINE_DB * np.log(10) / 20 * np.sqrt(frequency_hz / 110e9)
        return networks.to_scattering(
            networks.line(loss + 1j * (omega * LINE_PS * 1e-12 + loss), LINE_OHM)
        )
    s = np.zeros((len(frequency_hz), 2, 2), dtype=np.complex128)
    if name == "attenuator":
        s[:, 0, 1] = s[:, 1, 0] = 10 ** (-ATTENUATION_DB / 20)
    else:
        s[:, 0, 0], s[:, 1, 1] = (reflection(name, frequency_hz, ohm) for ohm in loads_ohm)
    return s
