"""What solving a calibration gives back."""

from dataclasses import dataclass
from typing import Literal

from sitegen.compute.rf.terms import ErrorTerms
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

Method = Literal["one-port", "SOLT", "LRRM"]
Port = Literal[1, 2]


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

    The short may have any loss; the open's magnitude enters as known, and what is left of
    |open| minus its defined magnitude is the remainder of the load inductance's fit.
    """

    short: ComplexArray
    open: ComplexArray


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
