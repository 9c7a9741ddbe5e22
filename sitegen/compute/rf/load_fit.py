"""The match's inductance, or inductance and capacitance, from what LRRM says of the open."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from sitegen.compute.rf.definitions import Load, Open, reflection
from sitegen.compute.rf.solution import FittedLoad
from sitegen.model.arrays import ComplexArray, FloatArray

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

MatchFit = Literal["none", "l", "lc"]
Remainder = Callable[[FloatArray], FloatArray]
_STARTS = np.linspace(-0.5, 0.5, 21)
_LARGEST = 1.0
"""A match whose reactance or susceptance exceeds its reference would be none: a load that is
nearly an open satisfies the equations of a flush thru whatever was measured."""
LARGEST_FIT_CONDITION = 1e3
"""Above this an error of |open| is enlarged to a match that no one can use: a reactance wrong by
the reference impedance for an error of 0.001. Our own choice."""
_MOST_STEPS = 200
_CAPACITANCE_STARTS = (-0.4, -0.1, 0.1, 0.4)


@dataclass(frozen=True, eq=False)
class OpenEquation:
    """The open that the raw data give for a supposed match, (n_freq,) each.

    `even` and `odd` are the reflections of an open and a short in the thru's middle, and
    `open_over_match` the ratio of the two impedances seen from there. The remainders are
    multiplied by `weight`, from 0 for a frequency left out to 1.
    """

    frequency_hz: FloatArray
    z_ref_ohm: float
    even: ComplexArray
    odd: ComplexArray
    open_over_match: ComplexArray
    weight: FloatArray

    def at_used(self) -> "OpenEquation":
        """The same at the frequencies that enter the fit."""
        keep = self.weight > 0
        return OpenEquation(
            self.frequency_hz[keep],
            self.z_ref_ohm,
            self.even[keep],
            self.odd[keep],
            self.open_over_match[keep],
            self.weight[keep],
        )

    def open_for(self, match: Load) -> ComplexArray:
        """Reflection of the open if this were the match."""
        gamma = reflection(match, self.frequency_hz, self.z_ref_ohm)
        h = self.open_over_match * (gamma - self.odd)
        below = self.even - gamma
        return (self.odd * below + h * self.even) / (below + h)


def fit_load(
    equation: OpenEquation,
    open_: Open,
    match: Load,
    fit: Literal["l", "lc"],
) -> FittedLoad:
    """Least squares over all used frequencies.

    "l": the inductance, so that |open| is the defined magnitude (Purroy and Pradell 2001).
    "lc": inductance and shunt capacitance with the open's own constant capacitance, so that
    the open is, as a complex number, a capacitor behind its defined offset (after Liu et al.
    2017, quoted from memory): its magnitude alone cannot tell the two of the match apart.

    Standard uncertainties come from the scatter of the remainders and the Jacobian, robust
    to scatter that changes over frequency (MacKinnon and White, J. Econometrics 29 (1985)
    305, form HC3; quoted from memory): the top of the band weighs most and scatters most.
    They hold what differs from point to point, not what all points share, such as the
    resistance.

    Returns:
        NaN values where the remainders cannot tell the parameters: no redundancy, two minima
        that fit alike, no minimum within reason, or a Jacobian, for parameters as reactance
        over reference impedance at the highest frequency, whose smallest singular value is
        below 1/LARGEST_FIT_CONDITION.
    """
    used = equation.at_used()
    top_rad_per_s = 2.0 * np.pi * float(used.frequency_hz[-1])
    n_parameter, n_remainder = (1, 1) if fit == "l" else (3, 2)
    if not top_rad_per_s > 0 or n_remainder * len(used.weight) <= n_parameter:
        return _not_determined(equation, fit)
    susceptance_f = 1.0 / (used.z_ref_ohm * top_rad_per_s)
    units = np.array([used.z_ref_ohm / top_rad_per_s, susceptance_f, susceptance_f])
    found = _best_minimum(used, open_, match, fit, units)
    if found is None:
        return _not_determined(equation, fit)
    jacobian = np.asarray(found.jac)
    smallest = float(np.linalg.svd(jacobian, compute_uv=False)[-1])
    if not smallest * LARGEST_FIT_CONDITION >= 1.0:
        return _not_determined(equation, fit)
    values = found.x * units[:n_parameter]
    scale = units[:n_parameter]
    covariance = _covariance(jacobian, found.fun, len(used.weight)) * np.outer(scale, scale)
    u = np.sqrt(np.diag(covariance))
    solved = np.abs(equation.open_for(_load(match, values)))
    defined = np.abs(reflection(open_, equation.frequency_hz, equation.z_ref_ohm))
    with_capacitance = fit == "lc"
    return FittedLoad(
        inductance_h=float(values[0]),
        u_inductance_h=float(u[0]),
        capacitance_f=float(values[1]) if with_capacitance else None,
        u_capacitance_f=float(u[1]) if with_capacitance else None,
        open_capacitance_f=float(values[2]) if with_capacitance else None,
        u_open_capacitance_f=float(u[2]) if with_capacitance else None,
        condition=1.0 / smallest,
        remainder=np.where(equation.weight > 0, solved - defined, np.nan),
        covariance=covariance,
        gain=_gain(jacobian, equation.weight) * scale[:, np.newaxis, np.newaxis],
    )


def _best_minimum(
    used: OpenEquation, open_: Open, match: Load, fit: Literal["l", "lc"], units: FloatArray
) -> "OptimizeResult | None":
    """The minimum, None where there is none within reason or another one fits as well.

    With a capacitance there are two that noise soon makes alike, one of them with negative
    values: then the one is taken that a resistor with leads and pads can have, whose negative
    values are none or by far the smaller.
    """
    of_magnitude = _of_magnitude(used, open_, match, units)
    inductances = [match.inductance_h / units[0], *_STARTS]
    minima = [_least(of_magnitude, _best(of_magnitude, [np.array([x]) for x in inductances]))]
    if fit == "lc":
        inductance = minima[0].x[0] if abs(minima[0].x[0]) <= _LARGEST else 0.0
        of_capacitor = _of_capacitor(used, open_, match, units)
        starts = _starts(of_capacitor, inductance, match, units)
        minima = [_least(of_capacitor, start) for start in starts]
    minima = sorted((one for one in minima if np.abs(one.x[:2]).max() <= _LARGEST), key=_cost)
    alike = [one for one in minima if _as_good(minima[0], one)]
    if fit == "lc":
        least = min(_negative_part(one) for one in alike) if alike else 0.0
        alike = [one for one in alike if _negative_part(one) <= 4.0 * least]
    return alike[0] if alike and not _several(alike) else None


def _of_magnitude(used: OpenEquation, open_: Open, match: Load, units: FloatArray) -> Remainder:
    """|open| less its defined magnitude, for the match's inductance."""
    defined = np.abs(reflection(open_, used.frequency_hz, used.z_ref_ohm))

    def remainder(parameters: FloatArray) -> FloatArray:
        found = used.open_for(_load(match, parameters * units[:1]))
        less: FloatArray = used.weight * (np.abs(found) - defined)
        return less

    return remainder


def _of_capacitor(used: OpenEquation, open_: Open, match: Load, units: FloatArray) -> Remainder:
    """The open less a capacitor, for the match's inductance and capacitance and that capacitor."""

    def remainder(parameters: FloatArray) -> FloatArray:
        values = parameters * units
        shifted = replace(open_, capacitance_f=_with_constant(open_, float(values[2])))
        expected = reflection(shifted, used.frequency_hz, used.z_ref_ohm)
        difference = used.weight * (used.open_for(_load(match, values)) - expected)
        return np.concatenate([difference.real, difference.imag])

    return remainder


def _starts(
    of_capacitor: Remainder, inductance: float, match: Load, units: FloatArray
) -> list[FloatArray]:
    """Where to begin: near the inductance from |open| alone, with several capacitances.

    At low frequencies only L - C R^2 shows, and there is more than one minimum along that
    line: it is begun in several places.
    """
    along = match.resistance_ohm**2 * units[1] / units[0]
    line = [np.array([inductance + c * along, c, 0.0]) for c in _CAPACITANCE_STARTS]
    last = np.array([0.0, 0.0, 1.0])
    return [_best(of_capacitor, [start + open_c * last for open_c in _STARTS]) for start in line]


def _best(remainder: Remainder, candidates: list[FloatArray]) -> FloatArray:
    return min(candidates, key=lambda parameters: float(np.sum(remainder(parameters) ** 2)))


def _least(remainder: Remainder, start: FloatArray) -> "OptimizeResult":
    """scipy is imported here, since most calibrations fit no load."""
    from scipy.optimize import least_squares

    return least_squares(
        remainder, start, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=_MOST_STEPS
    )


def _cost(found: "OptimizeResult") -> float:
    return float(found.cost)


def _as_good(best: "OptimizeResult", other: "OptimizeResult") -> bool:
    """Whether another minimum fits within three standard deviations as well as the best."""
    n, p = best.jac.shape
    return bool(other.cost <= best.cost * (1.0 + 9.0 / (n - p)))


def _negative_part(found: "OptimizeResult") -> float:
    return float(np.sum(np.maximum(-found.x[:2], 0.0)))


def _several(minima: "list[OptimizeResult]") -> bool:
    """Whether they are different places, not one found several times."""
    return any(float(np.abs(one.x - minima[0].x).max()) > 1e-3 for one in minima)


def _covariance(jacobian: FloatArray, remainder: FloatArray, n_frequency: int) -> FloatArray:
    """HC3, with real and imaginary part of one frequency taken as dependent."""
    inverse = np.linalg.inv(jacobian.T @ jacobian)
    leverage = np.einsum("ij,jk,ik->i", jacobian, inverse, jacobian)
    enlarged = remainder / np.maximum(1.0 - leverage, 1e-3)
    pull = (jacobian * enlarged[:, np.newaxis]).reshape(-1, n_frequency, jacobian.shape[1])
    together = pull.sum(axis=0)
    covariance: FloatArray = inverse @ together.T @ together @ inverse
    return covariance


def _gain(jacobian: FloatArray, weight: FloatArray) -> FloatArray:
    """-(J' J)^-1 J' W on all frequencies, (n_parameter, n_part, n_freq)."""
    used = weight > 0
    n_parameter = jacobian.shape[1]
    inverse = np.linalg.pinv(jacobian).reshape(n_parameter, -1, int(used.sum()))
    gain: FloatArray = np.zeros((n_parameter, inverse.shape[1], len(weight)))
    gain[..., used] = -inverse * weight[used]
    return gain


def _load(match: Load, values: FloatArray) -> Load:
    if len(values) == 1:
        return replace(match, inductance_h=float(values[0]))
    return replace(match, inductance_h=float(values[0]), capacitance_f=float(values[1]))


def _with_constant(open_: Open, constant_f: float) -> tuple[float, ...]:
    """The open's polynomial with another constant term."""
    defined = open_.capacitance_f
    return (constant_f, *(defined[1:] if isinstance(defined, tuple) else ()))


def _not_determined(equation: OpenEquation, fit: Literal["l", "lc"]) -> FittedLoad:
    nan = float("nan")
    other = nan if fit == "lc" else None
    n_freq, n_parameter, n_part = len(equation.weight), *((3, 2) if fit == "lc" else (1, 1))
    return FittedLoad(
        inductance_h=nan,
        u_inductance_h=nan,
        capacitance_f=other,
        u_capacitance_f=other,
        open_capacitance_f=other,
        u_open_capacitance_f=other,
        condition=float("inf"),
        remainder=np.full(n_freq, nan),
        covariance=np.full((n_parameter, n_parameter), nan),
        gain=np.full((n_parameter, n_part, n_freq), nan),
    )
