"""The match's inductance, or inductance and capacitance, from what LRRM says of the open."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.optimize import OptimizeResult, least_squares

from sitegen.compute.rf.definitions import Load, Open, reflection
from sitegen.compute.rf.solution import FittedLoad
from sitegen.model.arrays import ComplexArray, FloatArray

MatchFit = Literal["none", "l", "lc"]
Remainder = Callable[[FloatArray], FloatArray]
_STARTS = 41
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
    largest_condition: float,
) -> FittedLoad:
    """Least squares over all used frequencies.

    "l": the inductance, so that |open| is the defined magnitude (Purroy and Pradell 2001).
    "lc": inductance and shunt capacitance with the open's own constant capacitance, so that
    the open is, as a complex number, a capacitor behind its defined offset (after Liu et al.
    2017, quoted from memory): its magnitude alone cannot tell the two of the match apart.

    Standard uncertainties come from the scatter of the remainders and the Jacobian, robust
    to scatter that changes over frequency (White, Econometrica 48 (1980) 817, with the
    correction n/(n - p); quoted from memory). They hold what differs from point to point,
    not what all points share, such as the resistance.

    Returns:
        NaN values where the remainders cannot tell the parameters: no redundancy, two minima
        that fit alike, or a
        Jacobian, for parameters as reactance over reference impedance at the highest
        frequency, whose smallest singular value is below 1/largest_condition.
    """
    used = equation.at_used()
    top_rad_per_s = 2.0 * np.pi * float(used.frequency_hz[-1])
    unit_h, unit_f = used.z_ref_ohm / top_rad_per_s, 1.0 / (used.z_ref_ohm * top_rad_per_s)
    units = np.array([unit_h] if fit == "l" else [unit_h, unit_f, unit_f])
    defined = reflection(open_, used.frequency_hz, used.z_ref_ohm)

    def remainder(parameters: FloatArray) -> FloatArray:
        found = used.open_for(_load(match, parameters * units))
        if fit == "l":
            return used.weight * (np.abs(found) - np.abs(defined))
        shifted = replace(open_, capacitance_f=_with_constant(open_, parameters[2] * units[2]))
        expected = reflection(shifted, used.frequency_hz, used.z_ref_ohm)
        difference = used.weight * (found - expected)
        return np.concatenate([difference.real, difference.imag])

    starts = _starts(remainder, match, open_, units)
    if not top_rad_per_s > 0 or len(remainder(starts[0])) <= len(units):
        return _not_determined(equation, fit)
    found, *others = sorted((_least(remainder, start) for start in starts), key=_cost)
    if any(_as_good(found, other) for other in others):
        return _not_determined(equation, fit)
    jacobian = np.asarray(found.jac)
    condition = 1.0 / max(float(np.linalg.svd(jacobian, compute_uv=False)[-1]), 1e-300)
    if not condition <= largest_condition:
        return _not_determined(equation, fit)
    values = found.x * units
    u = _standard_uncertainty(jacobian, found.fun) * units
    with_capacitance = fit == "lc"
    all_points = equation.open_for(_load(match, values))
    magnitude = np.abs(reflection(open_, equation.frequency_hz, equation.z_ref_ohm))
    return FittedLoad(
        inductance_h=float(values[0]),
        u_inductance_h=float(u[0]),
        capacitance_f=float(values[1]) if with_capacitance else None,
        u_capacitance_f=float(u[1]) if with_capacitance else None,
        open_capacitance_f=float(values[2]) if with_capacitance else None,
        u_open_capacitance_f=float(u[2]) if with_capacitance else None,
        condition=condition,
        remainder=np.where(equation.weight > 0, np.abs(all_points) - magnitude, np.nan),
    )


def _load(match: Load, values: FloatArray) -> Load:
    if len(values) == 1:
        return replace(match, inductance_h=float(values[0]))
    return replace(match, inductance_h=float(values[0]), capacitance_f=float(values[1]))


def _with_constant(open_: Open, constant_f: float) -> tuple[float, ...]:
    """The open's polynomial with another constant term."""
    defined = open_.capacitance_f
    return (constant_f, *(defined[1:] if isinstance(defined, tuple) else ()))


def _starts(
    remainder: Remainder, match: Load, open_: Open, units: FloatArray
) -> list[FloatArray]:
    """Where to begin: near the best of some inductances, and with several capacitances.

    At low frequencies only L - C R^2 shows, and there is more than one minimum along that
    line: it is begun in several places, from the best inductance without capacitance.
    """
    inductances = [match.inductance_h / units[0], *np.linspace(-1.0, 1.0, _STARTS)]
    if len(units) == 1:
        return [_best(remainder, [np.array([value]) for value in inductances])]
    defined_f = open_.capacitance_f
    constant_f = defined_f[0] if isinstance(defined_f, tuple) else defined_f
    without = _best(
        remainder, [np.array([value, 0.0, constant_f / units[2]]) for value in inductances]
    )
    inductance, _, open_c = _least(
        lambda two: remainder(np.array([two[0], 0.0, two[1]])), without[[0, 2]]
    ).x[[0, 0, 1]]
    along = match.resistance_ohm**2 * units[1] / units[0]
    return [np.array([inductance + c * along, c, open_c]) for c in _CAPACITANCE_STARTS]


def _best(remainder: Remainder, candidates: list[FloatArray]) -> FloatArray:
    return min(candidates, key=lambda parameters: float(np.sum(remainder(parameters) ** 2)))


def _least(remainder: Remainder, start: FloatArray) -> OptimizeResult:
    return least_squares(remainder, start, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)


def _cost(found: OptimizeResult) -> float:
    return float(found.cost)


def _as_good(best: OptimizeResult, other: OptimizeResult) -> bool:
    """Whether another minimum, elsewhere, fits within three standard deviations as well."""
    n, p = best.jac.shape
    elsewhere = float(np.abs(other.x - best.x).max()) > 1e-3
    return elsewhere and other.cost <= best.cost * (1.0 + 9.0 / (n - p))


def _standard_uncertainty(jacobian: FloatArray, remainder: FloatArray) -> FloatArray:
    n, p = jacobian.shape
    inverse = np.linalg.inv(jacobian.T @ jacobian)
    scatter = (jacobian * remainder[:, np.newaxis] ** 2).T @ jacobian
    return np.sqrt(np.diag(inverse @ scatter @ inverse) * n / (n - p))


def _not_determined(equation: OpenEquation, fit: Literal["l", "lc"]) -> FittedLoad:
    nan = float("nan")
    other = nan if fit == "lc" else None
    return FittedLoad(
        nan, nan, other, other, other, other, float("inf"), np.full(len(equation.weight), nan)
    )
