"""Simulated calibrations solved by a general-purpose reference library, and sweeps corrected.

scikit-rf's SOLT, OnePort and LRRM are given the raw sweeps and the declared definitions, as the
program is; nothing here comes from `sitegen.compute`. Correction by twelve terms follows
A. Rumiantsev and N. Ridler, "VNA calibration", IEEE Microwave Magazine 9 (2008) 86 (quoted from
memory).
"""

from collections.abc import Mapping

import numpy as np
import skrf

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.simulated import Portion
from sitegen.simulate.events import DEFINITIONS
from sitegen.simulate.standards import Kit, both_ports

LOWEST_HZ = 1e9
"""Below, a thru of 1 ps is too short for LRRM; no figure is taken there."""
Coefficients = Mapping[str, ComplexArray]
_ORDER = {
    "one-port": ("short", "open", "load"),
    "SOLT": ("short", "open", "load", "thru"),
    "LRRM": ("thru", "short", "open", "load"),
}
"""As scikit-rf asks for."""


def solved(portion: Portion) -> tuple[FloatArray, Coefficients]:
    """Frequencies from `LOWEST_HZ` on, and the error coefficients there by scikit-rf's names."""
    frequency_hz = next(iter(portion.sweeps.values())).frequency_hz
    kept = frequency_hz >= LOWEST_HZ
    used_hz = frequency_hz[kept]

    def network(s: ComplexArray) -> skrf.Network:
        return skrf.Network(f=used_hz, f_unit="hz", s=s)

    method, substrate = str(portion.record["method"]), portion.record["substrate"]
    assert isinstance(substrate, dict)
    one_port = method == "one-port"
    names = _ORDER[method]
    ending = "s1p" if one_port else "s2p"
    measured = [network(portion.sweeps[f"{name}.{ending}"].s[kept]) for name in names]
    ports = (1,) if one_port else (1, 2)
    loads_ohm = tuple(float(substrate[f"load_resistance_port_{port}_ohm"]) for port in ports)
    ideals = [network(_ideal(name, used_hz, loads_ohm, method == "LRRM")) for name in names]
    if one_port:
        cal = skrf.calibration.OnePort(measured, ideals)
        cal.run()
        return used_hz, cal.coefs
    if method == "SOLT":
        cal = skrf.calibration.SOLT(measured, ideals, n_thrus=1)
    else:
        switch = tuple(
            network(portion.sweeps[f"switch-{way}.s1p"].s[kept]) for way in ("forward", "reverse")
        )
        cal = skrf.calibration.LRRM(measured, ideals, switch_terms=switch, match_fit="l")
    cal.run()
    return used_hz, cal.coefs_12term


def corrected(coefficients: Coefficients, raw: ComplexArray) -> ComplexArray:
    """Raw sweeps (..., n_freq, n, n) by three or twelve terms."""
    if raw.shape[-1] == 1:
        ed, es, er = (
            coefficients[name] for name in ("directivity", "source match", "reflection tracking")
        )
        excess = raw[..., 0, 0] - ed
        return np.asarray(excess / (er + es * excess))[..., None, None]
    (edf, esf, erf, elf, etf), (edr, esr, err, elr, etr) = (
        [
            coefficients[f"{way} {name}"]
            for name in (
                "directivity",
                "source match",
                "reflection tracking",
                "load match",
                "transmission tracking",
            )
        ]
        for way in ("forward", "reverse")
    )
    m11, m12, m21, m22 = (raw[..., i, j] for i in (0, 1) for j in (0, 1))
    a, b, c, d = (m11 - edf) / erf, (m22 - edr) / err, m21 / etf, m12 / etr
    below = (1 + a * esf) * (1 + b * esr) - c * d * elf * elr
    s = np.empty(raw.shape, dtype=np.complex128)
    s[..., 0, 0] = (a * (1 + b * esr) - elf * c * d) / below
    s[..., 1, 1] = (b * (1 + a * esf) - elr * c * d) / below
    s[..., 1, 0] = c * (1 + b * (esr - elf)) / below
    s[..., 0, 1] = d * (1 + a * (esf - elr)) / below
    return s


def _ideal(
    name: str, frequency_hz: FloatArray, loads_ohm: tuple[float, ...], bare: bool
) -> ComplexArray:
    """What a definition promises, (n_freq, n, n); a `bare` load has no inductance.

    LRRM finds that for itself, and its start takes the load as a resistor.
    """
    definitions = dict(DEFINITIONS)
    if bare:
        definitions["load"] = definitions["load"].model_copy(update={"inductance_ph": 0.0})
    as_declared = Kit("as declared", definitions, definitions)
    if name == "thru":
        return as_declared.presented(name, frequency_hz)
    days = loads_ohm if name == "load" else (None,) * len(loads_ohm)
    reflections = [as_declared.presented(name, frequency_hz, day) for day in days]
    if len(reflections) == 1:
        return reflections[0].reshape(-1, 1, 1)
    return both_ports(*reflections)
