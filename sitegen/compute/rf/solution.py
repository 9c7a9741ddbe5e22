"""What solving a calibration gives back."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.compute.rf.terms import ErrorTerms
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

Method = Literal["one-port", "SOLT", "SOLR", "LRM", "LRRM", "TRL", "multiline TRL"]
Port = Literal[1, 2]
_DB = 20.0 * float(np.log10(np.e))


class CalibrationNotSolvable(Exception):
    """The sweeps and definitions cannot give error terms; the text is one clear sentence."""


@dataclass(frozen=True, eq=False)
class PortResidual:
    """Corrected minus defined reflection of every standard measured at one port."""

    port: Port
    values: ComplexArray
    """(n_standard, n_freq) complex, in the order in which the standards were given."""


@dataclass(frozen=True, eq=False)
class SolvedReflects:
    """Reflections that LRRM found for its two reflects, not assumed to be lossless.

    At port 1, where their definitions differ between the ports.
    The short may have any loss; the open's magnitude enters as known, and what is left of
    |open| minus its defined magnitude is the remainder of the load inductance's fit.
    """

    short: ComplexArray
    open: ComplexArray


@dataclass(frozen=True, eq=False)
class FittedLoad:
    """What LRRM found of its match, with standard uncertainties; NaN is "not determined"."""

    inductance_h: float
    """Negative when the load looks capacitive."""
    u_inductance_h: float
    capacitance_f: float | None
    """In parallel with resistance and inductance; None where it was not fitted."""
    u_capacitance_f: float | None
    open_capacitance_f: float | None
    """The open's constant capacitance, found together with the match's."""
    u_open_capacitance_f: float | None
    condition: float
    """What the fit makes of an error of |open|, in reactance over reference impedance."""
    remainder: FloatArray
    """(n_freq,) magnitude of the solved open minus its defined one."""
    covariance: FloatArray
    """(n_parameter, n_parameter) of the fitted ones, L (and C, C of the open), in SI units."""
    gain: FloatArray
    """(n_parameter, n_part, n_freq) what a change of the fit's remainders, of |open| or of real
    and imaginary part of the open, does to the parameters, to first order."""


@dataclass(frozen=True, eq=False)
class SolvedLine:
    """What TRL found of its lines, arrays (n_freq,)."""

    propagation_per_m: ComplexArray
    """gamma = alpha + j beta, in 1/m."""
    effective_permittivity: ComplexArray
    """-(c0 gamma / omega)^2; a negative imaginary part is loss."""
    phase_difference_deg: FloatArray
    """Line against thru, modulo 180 degrees; in multiline TRL the pair nearest to 90 degrees."""
    characteristic_impedance_ohm: ComplexArray | None = None
    """Zc, in which the result stood until it was moved; None: it stands there still."""

    covariance: FloatArray | None = None
    """(n_freq, 3) of gamma: variances of alpha and beta, and their covariance; None: not stated."""

    @property
    def attenuation_db_per_m(self) -> FloatArray:
        """20 log10(e) alpha."""
        loss: FloatArray = _DB * self.propagation_per_m.real
        return loss

    @property
    def u_attenuation_db_per_m(self) -> FloatArray | None:
        """Its standard uncertainty; None where none is stated."""
        return None if self.covariance is None else _DB * np.sqrt(self.covariance[:, 0])

    @property
    def u_effective_permittivity(self) -> FloatArray | None:
        """Standard uncertainty of its real part, from d eps = 2 eps d gamma/gamma."""
        if self.covariance is None:
            return None
        var_re, var_im, cov = np.moveaxis(self.covariance, -1, 0)
        with np.errstate(all="ignore"):
            slope = 2.0 * self.effective_permittivity / self.propagation_per_m
        square = slope.real**2 * var_re + slope.imag**2 * var_im - 2 * slope.real * slope.imag * cov
        u: FloatArray = np.sqrt(np.maximum(square, 0.0))
        return u


@dataclass(frozen=True, eq=False)
class CalibrationSolution:
    """A solved calibration."""

    method: Method
    terms: ErrorTerms
    determined: BoolArray
    """(n_freq,); where False every error term is NaN."""
    condition: FloatArray
    """(n_freq,) largest condition number of the equations of the reflection standards."""
    redundancy: int
    """Count of `redundancy_of` beyond what the error terms need."""
    redundancy_of: str
    residuals: tuple[PortResidual, ...]
    """One for each port with more standards than unknowns; empty without redundancy, where
    residuals would be zero by construction and prove nothing."""
    notes: tuple[str, ...]
    """Sentences that a reader of the calibration must see, warnings of the solver included."""
    fitted_load_inductance_h: float | None = None
    """LRRM only; negative when the load looks capacitive."""
    fitted_load_inductance_port: Port | None = None
    solved_reflects: SolvedReflects | None = None
    fitted_load: FittedLoad | None = None
    solved_reflect: ComplexArray | None = None
    """(n_freq,) the unknown reflect of LRM and TRL, in the reference impedance of the terms."""
    solved_thru: ComplexArray | None = None
    """(n_freq, 2, 2) the unknown thru of SOLR."""
    solved_line: SolvedLine | None = None
