"""From a seed to the program's regions and intervals: simulated calibrations with a device each.

Every calibration draws its standards, contacts, moved paths and noise from the distributions
that its record declares, and so does the device's own sweep (`simulated_calibration`, `forward`:
no code of the program's). The program solves, corrects and states its uncertainty.
"""

from dataclasses import dataclass, replace

import numpy as np

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.solution import SolvedLine
from sitegen.compute.rf.sweep_covariance import sweep_covariance
from tests.compute import simulated_calibration as sc
from tests.compute.events import instrument
from tests.compute.rf import forward as fw

FREQUENCY_HZ = np.linspace(10e9, 110e9, 21)
AT = {"20 GHz": 2, "60 GHz": 10, "110 GHz": 20}
"""Where regions and intervals are looked at; the load's fit has all frequencies."""
K_REGION, K_INTERVAL = 2.45, 1.96
"""95 % of two Gaussian components, and of one."""
SMALL = replace(sc.USUAL, contact=2e-4, linearity=1e-4, cable=1e-4)
"""For a fit of inductance and capacitance. With the contacts of `USUAL`, 1e-3, 53 of 300 such
calibrations say that they are not determined, and the intervals of the others' inductance and
capacitance hold 91 and 92 % of truths: two minima of the fit come near to one another."""
KINDS: dict[str, tuple[str, str, sc.Sizes]] = {
    "one-port": ("one-port", "none", sc.USUAL),
    "SOLT": ("SOLT", "none", sc.USUAL),
    "SOLR": ("SOLR", "none", sc.USUAL),
    "LRM": ("LRM", "none", sc.USUAL),
    "LRRM": ("LRRM", "inductance", replace(sc.USUAL, load_ph=0.0)),
    "LRRM, load known": ("LRRM", "none", sc.USUAL),
    "LRRM with capacitance": (
        "LRRM",
        "inductance and capacitance",
        replace(SMALL, load_ph=0.0),
    ),
    "TRL": ("TRL", "none", sc.USUAL),
    "multiline TRL": ("multiline TRL", "none", sc.USUAL),
}


@dataclass(frozen=True, eq=False)
class Covered:
    """Distances from the truth in units of what should hold 95 % of them, one a calibration."""

    kind: str
    quantity: str
    distance: fw.Floats
    """(n_solved,): at most 1 where the truth is held."""
    unsolved: int
    """Calibrations that said of themselves that they are not determined."""

    def share(self, scale: float = 1.0) -> float:
        """Share of truths held, with the program's u scaled."""
        return float(np.mean(self.distance <= scale))


def covered(kind: str, seeds: range) -> list[Covered]:
    """Regions of corrected S-parameters, intervals of the fitted load and of line constants."""
    found = [one for seed in seeds if (one := _one(kind, seed)) is not None]
    unsolved = len(seeds) - len(found)
    return [
        Covered(kind, quantity, np.array([one[quantity] for one in found]), unsolved)
        for quantity in found[0]
    ]


def _one(kind: str, seed: int) -> dict[str, float] | None:
    method, load_fit, sizes = KINDS[kind]
    rng = np.random.default_rng([seed, list(KINDS).index(kind)])
    at = fw.station(seed % 50, FREQUENCY_HZ)
    loaded = sc.calibration(method, at, FREQUENCY_HZ, sizes, rng, load_fit=load_fit)
    solved = with_uncertainty(solve(loaded, instrument()))
    if solved.solution is None:
        return None
    distances = _regions(solved, at, sizes, rng, method == "one-port")
    fitted, line = solved.solution.fitted_load, solved.solution.solved_line
    if fitted is not None:
        miss = abs(fitted.inductance_h - sc.LOAD_PH * 1e-12)
        distances["inductance of the load"] = miss / (K_INTERVAL * fitted.u_inductance_h)
        if fitted.capacitance_f is not None and fitted.u_capacitance_f is not None:
            distances["capacitance of the load"] = abs(fitted.capacitance_f) / (
                K_INTERVAL * fitted.u_capacitance_f
            )
    if line is not None:
        distances |= _line_constants(line)
    return distances


def _regions(
    solved: SolvedCalibration,
    at: fw.Station,
    sizes: sc.Sizes,
    rng: np.random.Generator,
    one_port: bool,
) -> dict[str, float]:
    """A mismatched attenuator: its S11 and S21 in units of the 95 % region."""
    device = fw.passive_devices(7, 1, len(FREQUENCY_HZ))[0]
    if one_port:
        device[:, 0, 1] = device[:, 1, 0] = 0.0
    raw = sc.measured(at, device, sizes, rng)
    if one_port:
        raw, device = raw[:, 0, 0], device[:, 0, 0]
    assert solved.terms is not None and solved.uncertainty is not None
    stated = solved.uncertainty
    total = sweep_covariance(solved.terms, stated.perturbations, stated.own, raw)
    miss = correct(solved.terms, raw) - device
    entries = {"S11": ()} if one_port else {"S11": (0, 0), "S21": (1, 0)}
    return {
        f"{name} at {where}": _normalised(miss[place, *entry], total[place, *entry])
        for name, entry in entries.items()
        for where, place in AT.items()
    }


def _normalised(miss: complex, total: fw.Floats) -> float:
    v = np.array([[total[0], total[2]], [total[2], total[1]]])
    d = np.array([miss.real, miss.imag])
    return float(np.sqrt(d @ np.linalg.solve(v, d)) / K_REGION)


def _line_constants(line: SolvedLine) -> dict[str, float]:
    gamma_per_m = sc.propagation_per_m(FREQUENCY_HZ)
    omega = 2.0 * np.pi * FREQUENCY_HZ
    permittivity = -((fw.SPEED_OF_LIGHT_M_PER_S * gamma_per_m / omega) ** 2)
    loss = 20.0 / np.log(10.0) * gamma_per_m.real
    u_permittivity, u_loss = line.u_effective_permittivity, line.u_attenuation_db_per_m
    assert u_permittivity is not None and u_loss is not None
    found = {}
    for where, place in AT.items():
        miss = abs(line.effective_permittivity[place].real - permittivity[place].real)
        found[f"permittivity at {where}"] = miss / (K_INTERVAL * u_permittivity[place])
        miss = abs(line.attenuation_db_per_m[place] - loss[place])
        found[f"attenuation at {where}"] = miss / (K_INTERVAL * u_loss[place])
    return found
