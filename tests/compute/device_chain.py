"""From drawn errors of a calibration, a sweep and its dummies to figures and their intervals.

A solved calibration states what each of its sources does to its error terms. Here the terms that
the station really had differ from the solved ones by a draw of these sources; device, open and
short are measured with them, each with its own touchdown, paths, linearity and noise; the program
corrects, takes the pads off, takes the figure and states its uncertainty. Measuring is done here by
solving the waves between the ports, with no code of the program's. A draw is a row of an array.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.compute.rf.propagated import Propagated, Swept, propagate
from sitegen.compute.rf.propagation import SweepErrors
from sitegen.compute.rf.sensitivity import Sources
from sitegen.compute.rf.taken import DEVICE, Corrected, Taken, Wanted, take
from sitegen.compute.rf.terms import term_rows
from sitegen.compute.sweep_uncertainty import sources_for
from sitegen.compute.sweep_values import extraction_beyond
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray
from sitegen.model.figures import Place
from tests.compute import simulated_calibration as sc
from tests.compute.events import instrument
from tests.compute.rf import forward as fw
from tests.compute.rf.transistors import HybridPi

FREQUENCY_HZ = np.linspace(2e9, 50e9, 25)
Z_REF_OHM = 50.0
LINE_UM = 700.0
K_95 = 1.96


@dataclass(frozen=True)
class Case:
    """A figure of a device, taken somewhere."""

    device: str
    figure: str
    at_hz: float | None = None
    window_hz: tuple[float, float] | None = None

    @property
    def place(self) -> Place:
        """Where it is taken."""
        return "frequency" if self.at_hz else "window" if self.window_hz else "whole"

    @property
    def text(self) -> str:
        """Where it is taken, in words."""
        if self.at_hz:
            return f"{self.at_hz / 1e9:g} GHz"
        if self.window_hz:
            return f"{self.window_hz[0] / 1e9:g} to {self.window_hz[1] / 1e9:g} GHz"
        return "whole sweep"


WINDOW = (8e9, 24e9)
CASES = (
    *(Case("transistor", name, 10e9) for name in ("h21 magnitude", "unilateral gain")),
    Case("transistor", "stability factor K", 10e9),
    Case("transistor", "stability factor mu", 10e9),
    Case("transistor", "maximum stable gain", 10e9),
    Case("lossy transistor", "maximum available gain", 30e9),
    Case("transistor", "transit frequency by Im(1/h21)", 21e9),
    Case("transistor", "transit frequency by Im(1/h21)", window_hz=WINDOW),
    Case("transistor", "transit frequency by extrapolation", window_hz=WINDOW),
    Case("transistor", "maximum frequency of oscillation from U", window_hz=WINDOW),
    Case("lossy transistor", "maximum frequency of oscillation from MAG", window_hz=(30e9, 50e9)),
    Case("transistor", "transconductance", 10e9),
    Case("transistor", "transconductance", window_hz=WINDOW),
    Case("transistor", "output conductance", window_hz=WINDOW),
    Case("transistor", "gate-source capacitance", 10e9),
    Case("transistor", "gate-source capacitance", window_hz=WINDOW),
    Case("transistor", "gate-drain capacitance", window_hz=WINDOW),
    Case("transistor", "drain-source capacitance", window_hz=WINDOW),
    Case("transistor", "gate resistance", window_hz=WINDOW),
    Case("inductor", "inductance", 10e9),
    Case("inductor", "inductor quality", 10e9),
    Case("inductor", "series inductance", 10e9),
    Case("inductor", "series inductor quality", 10e9),
    Case("inductor", "self-resonance"),
    Case("capacitor", "capacitance", 10e9),
    Case("capacitor", "shunt capacitance", 10e9),
    Case("capacitor", "capacitor quality", 30e9),
    Case("lossy shunt", "shunt capacitor quality", 30e9),
    Case("capacitor", "equivalent series resistance", 30e9),
    Case("resistor", "series resistance", 10e9),
    Case("resistor", "series resistance", window_hz=WINDOW),
    Case("resistor", "shunt resistance", window_hz=WINDOW),
    Case("line", "attenuation per length", 30e9),
    Case("line", "effective permittivity", 30e9),
    Case("line", "characteristic impedance", 30e9),
    *(Case("transistor", f"s{port} magnitude", 11e9) for port in ("11", "21", "12", "22")),
    *(Case("transistor", f"s{port} phase", 11e9) for port in ("11", "21", "12", "22")),
)


@dataclass(frozen=True, eq=False)
class Covered:
    """How far values lie from the truth, one a draw."""

    case: Case
    distance: FloatArray
    """In units of 1.96 u, u what is propagated; NaN where no u is stated."""
    with_extraction: FloatArray
    """In units of 1.96 u of everything."""
    miss: FloatArray
    """From the truth, in the figure's unit."""
    u: FloatArray
    """Standard uncertainty of everything; NaN where none is stated."""
    u_propagated: FloatArray

    @property
    def stated(self) -> BoolArray:
        """Draws whose uncertainty is stated."""
        return np.isfinite(self.distance)

    def share(self, scale: float = 1.0) -> float:
        """Share of truths held by what is propagated, with u scaled, of those stated."""
        return float(np.mean(self.distance[self.stated] <= scale))


@dataclass(frozen=True, eq=False)
class Measured:
    """What `propagate` is given, of so many draws."""

    wanted: Wanted
    taken: Taken
    swept: Swept
    calibrations: dict[str, Sources]

    def propagated(self) -> Propagated:
        """By the program."""
        return propagate(self.wanted, self.taken, self.swept, self.calibrations, shared=False)


def measured(case: Case, draws: int, seed: int) -> Measured:
    """Draw everything anew so many times, correct, take the pads off and take the figure."""
    solved = calibration()
    assert solved.uncertainty is not None and solved.terms is not None
    rng = np.random.default_rng([seed, *case.figure.encode(), *case.text.encode()])
    at = _drawn_terms(solved, draws, rng)
    errors = solved.uncertainty.own
    parts = {
        name: correct(solved.terms, _measured(at, s, errors, rng))
        for name, s in through_pads(device_s(case.device)).items()
    }
    wanted = Wanted(
        FIGURES[case.figure],
        case.place,
        Surroundings(Z_REF_OHM, LINE_UM * 1e-6),
        case.at_hz,
        case.window_hz,
    )
    dummies = {one: parts[one] for one in ("open", "short")}
    device = Corrected(parts["device"], "open-short", dummies)
    taken = take(wanted, FREQUENCY_HZ, device.stripped(Z_REF_OHM))
    assert taken is not None
    swept = Swept(FREQUENCY_HZ, device, dict.fromkeys((DEVICE, "open", "short"), "CAL"))
    sources = sources_for(solved.terms, solved.uncertainty, 2, 1)
    return Measured(wanted, taken, swept, {"CAL": sources})


def covered(case: Case, draws: int, seed: int, truth: float | None = None) -> Covered:
    """How far so many draws lie from the truth.

    That is what the estimator takes from the device's own S-parameters, if no other is given.
    """
    one = measured(case, draws, seed)
    found = one.propagated()
    assert found.dummies is not None
    if truth is None:
        exact = take(one.wanted, FREQUENCY_HZ, device_s(case.device)[np.newaxis])
        assert exact is not None
        truth = exact.estimate.value[0]
    miss = one.taken.estimate.value - truth
    if FIGURES[case.figure].unit == "deg":
        miss = (miss + 180.0) % 360.0 - 180.0
    u_propagated = np.sqrt(found.calibration + found.own + found.dummies)
    u = np.hypot(u_propagated, extraction_beyond(one.taken, found))
    distance = np.abs(miss) / K_95
    return Covered(case, distance / u_propagated, distance / u, miss, u, u_propagated)


@cache
def calibration() -> SolvedCalibration:
    """A SOLT calibration of a simulated station, with its sources."""
    rng = np.random.default_rng(1)
    at = fw.station(3, FREQUENCY_HZ)
    solved = with_uncertainty(
        solve(sc.calibration("SOLT", at, FREQUENCY_HZ, sc.USUAL, rng), instrument())
    )
    assert solved.uncertainty is not None
    return solved


def device_s(name: str) -> ComplexArray:
    """S of a device itself, (n_freq, 2, 2)."""
    w = 2.0 * np.pi * FREQUENCY_HZ
    if name == "transistor":
        return HybridPi().s(FREQUENCY_HZ)
    if name == "lossy transistor":
        return HybridPi(gm=0.03, gds=2e-3, cgd=4e-15, rg=40.0).s(FREQUENCY_HZ)
    if name == "transistor off the law":
        return off_the_law(FREQUENCY_HZ)
    if name == "line":
        gamma_l = (20.0 * np.sqrt(FREQUENCY_HZ / 30e9) + 1j * w * np.sqrt(5.2) / 2.998e8) * 1e-6
        return np.asarray(fw.line_s(FREQUENCY_HZ, gamma_l * LINE_UM, 56.0))
    between, shunt_1, shunt_2 = {
        "inductor": (1.0 / (2.0 + 1j * w * 0.7e-9), 20e-15j * w, 20e-15j * w),
        "capacitor": (1.0 / (4.0 + 1.0 / (1j * w * 100e-15)), 40e-15j * w, 40e-15j * w),
        "lossy shunt": (0.01 + 0.0 * w, 150e-15j * w + 4e-3, 20e-15j * w),
        "resistor": (0.02 + 1e-15j * w, 3e-15j * w, 3e-15j * w),
    }[name]
    return _scattering(_symmetric(shunt_1 + between, -between, shunt_2 + between))


def off_the_law(frequency_hz: FloatArray) -> ComplexArray:
    """S of a transistor whose |h21| falls by 18 dB per decade, (n_freq, 2, 2).

    |h21| = |gm - j w Cgd| / (w (Cgs + Cgd)), with |gm - j w Cgd| = 0.1 S (f / 10 GHz)^0.1.
    """
    forward = 0.1 * (frequency_hz / 10e9) ** 0.1
    gm = np.sqrt(forward**2 - (2.0 * np.pi * frequency_hz * HybridPi().cgd) ** 2)
    each = zip(gm, frequency_hz, strict=True)
    return np.array([HybridPi(gm=float(g)).s(np.array([f]))[0] for g, f in each])


def through_pads(device: ComplexArray) -> dict[str, ComplexArray]:
    """A device behind leads and pads, and the same without it, open and shorted."""
    w = 2.0 * np.pi * FREQUENCY_HZ
    coupling = 3e-15j * w
    pads = _symmetric(25e-15j * w + coupling, -coupling, 28e-15j * w + coupling)
    common = 0.05 + 0.0 * w
    leads = _symmetric(0.3 + 35e-12j * w + common, common, 0.35 + 30e-12j * w + common)
    unit = np.eye(2)
    inner = np.linalg.solve(unit - device, unit + device) * Z_REF_OHM
    return {
        "device": _scattering(pads + np.linalg.inv(leads + inner)),
        "open": _scattering(pads),
        "short": _scattering(pads + np.linalg.inv(leads)),
    }


def _symmetric(first: npt.ArrayLike, across: npt.ArrayLike, last: npt.ArrayLike) -> ComplexArray:
    return np.moveaxis(np.array([[first, across], [across, last]]), -1, 0)


def _scattering(y: ComplexArray) -> ComplexArray:
    unit = np.eye(2)
    return np.asarray((unit - y * Z_REF_OHM) @ np.linalg.inv(unit + y * Z_REF_OHM))


def _drawn_terms(
    solved: SolvedCalibration, draws: int, rng: np.random.Generator
) -> list[ComplexArray]:
    """Six forward terms, then six reverse ones, (draws, n_freq) each."""
    assert solved.uncertainty is not None and solved.terms is not None
    at = np.array([row.values for row in term_rows(solved.terms)])
    drawn = np.repeat(at[:, np.newaxis], draws, axis=1)
    for one in solved.uncertainty.perturbations:
        change = np.array([row.values for row in term_rows(one.terms)]) - at
        factor = rng.normal(size=draws) + 0j
        if one.kind == "circular":
            factor = factor + 1j * rng.normal(size=draws)
        drawn = drawn + change[:, np.newaxis] * factor[:, np.newaxis]
    return list(drawn)


def _measured(
    at: list[ComplexArray], s: ComplexArray, errors: SweepErrors, rng: np.random.Generator
) -> ComplexArray:
    """Raw sweeps (draws, n_freq, 2, 2), each with its own touchdown, paths and noise."""
    draws = len(at[0])

    def circular(*shape: int) -> ComplexArray:
        drawn: ComplexArray = rng.normal(size=shape) + 1j * rng.normal(size=shape)
        return drawn

    touch = errors.contact * circular(3, draws, 1)
    s11, s22 = s[:, 0, 0] + touch[0], s[:, 1, 1] + touch[1]
    s21, s12 = s[:, 1, 0] * (1.0 + touch[2]), s[:, 0, 1] * (1.0 + touch[2])
    raw = np.empty((draws, len(s), 2, 2), np.complex128)
    raw[..., 0, 0], raw[..., 1, 0] = _driven(at[:6], s11, s12, s21, s22)
    raw[..., 1, 1], raw[..., 0, 1] = _driven(at[6:], s22, s21, s12, s11)
    path = errors.cable * circular(2, draws, 1)
    level = errors.linearity * circular(2, 2, draws, 1)
    for i in (0, 1):
        for j in (0, 1):
            seen = raw[..., i, j] * (1.0 + path[i] + path[j]) * (1.0 + level[i, j])
            noise = np.hypot(errors.noise_floor, errors.trace_noise * np.abs(seen))
            raw[..., i, j] = seen + noise * circular(*seen.shape)
    return raw


def _driven(
    terms: list[ComplexArray],
    near: ComplexArray,
    back: ComplexArray,
    through: ComplexArray,
    far: ComplexArray,
) -> tuple[ComplexArray, ComplexArray]:
    """Readings with one port driven: the waves between source, device and load solved.

    The wave into the near port is 1 + source match times what comes back, the one into the far
    port the load match times what comes through.
    """
    directivity, source, tracking, load, transmission, isolation = terms
    seen = near + back * through * load / (1.0 - far * load)
    into = 1.0 / (1.0 - source * seen)
    onward = through * into / (1.0 - far * load)
    return directivity + tracking * seen * into, isolation + transmission * onward
