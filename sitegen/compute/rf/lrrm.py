"""Line-reflect-reflect-match calibration in closed form, seen from the middle of the thru.

A thru that looks the same from both ends has an even and an odd mode: its middle carries an
open for the one and a short for the other. Their reflections at the probe tips, S11 + S21 and
S11 - S21, are the two that port 2 shows to port 1 unchanged. In the coordinate

    h(G) = (G - (S11 - S21)) / ((S11 + S21) - G)

(the impedance seen from the middle, scaled) a reflection at port 2 shows at port 1 as -h. A
reflect equal at both ports is therefore a pair h, -h, and two reflects fix, with no more than
a quadratic equation, where 0 and infinity show in the raw data. The match then gives the
scale: the reflects' h over the match's h is a ratio of raw quantities. No thru is special,
neither flush nor of half a wavelength; match at port 2 only changes a sign.

The method: Purroy and Pradell, IEEE Trans. Instrum. Meas. 50 (2001) 1307; the load's
capacitance: Liu et al. 2017 (both quoted from memory). This form of it is our own.
"""

from dataclasses import dataclass, replace

import numpy as np

from sitegen.compute.rf.definitions import Load, Open, Short, Thru, reflection, transmission
from sitegen.compute.rf.eight_term import (
    Receivers,
    SwitchTerms,
    as_vector,
    condition_at_tips,
    other_box,
    require_shapes,
    row_at_port_1,
    row_at_port_2,
    row_of_unknown,
    seen_through_thru,
    terms_of_boxes,
    transfer,
)
from sitegen.compute.rf.linear import LARGEST_CONDITION
from sitegen.compute.rf.load_fit import MatchFit, OpenEquation, fit_load
from sitegen.compute.rf.one_port import undetermined_note
from sitegen.compute.rf.solution import (
    CalibrationNotSolvable,
    CalibrationSolution,
    FittedLoad,
    Port,
    SolvedReflects,
)
from sitegen.model.arrays import ComplexArray, FloatArray


@dataclass(frozen=True, eq=False)
class LrrmSweeps:
    """Raw sweeps, (n_freq, 2, 2) complex each; the reflects are at both ports at once.

    Of the match only the reflection at its port counts, with the two transmissions where
    switch terms are given.
    """

    thru: ComplexArray
    short: ComplexArray
    open: ComplexArray
    match: ComplexArray


@dataclass(frozen=True)
class LrrmDefinitions:
    """The thru is wholly known, of the open the magnitude, of the match what is not fitted.

    The short's definition only tells the two reflects apart. Each standard may lie behind an
    offset. Reflects are taken as equal at both ports.
    """

    thru: Thru
    short: Short
    open: Open
    match: Load


@dataclass(frozen=True, eq=False)
class _MiddleView:
    """What the raw data say without the match, (n_freq,) each."""

    even: ComplexArray
    """True reflection of the open in the thru's middle, S11 + S21."""
    odd: ComplexArray
    """True reflection of the short in the thru's middle, S11 - S21."""
    raw_even: ComplexArray
    raw_odd: ComplexArray
    raw_match: ComplexArray
    """The match's h up to the scale that is common to all three raw h."""
    short_over_match: ComplexArray
    open_over_match: ComplexArray

    def h(self, gamma: ComplexArray) -> ComplexArray:
        """The coordinate of a true reflection."""
        return (gamma - self.odd) / (self.even - gamma)

    def gamma(self, h: ComplexArray) -> ComplexArray:
        """The true reflection of a coordinate."""
        return (self.odd + h * self.even) / (1.0 + h)

    def reflects(self, gamma_match: ComplexArray) -> SolvedReflects:
        """Both reflects for a given match."""
        h = self.h(gamma_match)
        return SolvedReflects(
            short=self.gamma(self.short_over_match * h), open=self.gamma(self.open_over_match * h)
        )

    def box(self, gamma_match: ComplexArray) -> ComplexArray:
        """Port 1's transfer matrix: raw h = scale * true h, in vectors."""
        scale = self.raw_match / self.h(gamma_match)
        x = np.empty((len(scale), 2, 2), np.complex128)
        x[:, 0, 0] = scale * self.raw_even - self.raw_odd
        x[:, 0, 1] = self.raw_odd * self.even - scale * self.raw_even * self.odd
        x[:, 1, 0], x[:, 1, 1] = scale - 1.0, self.even - scale * self.odd
        return x


def solve_lrrm(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    sweeps: LrrmSweeps,
    definitions: LrrmDefinitions,
    *,
    fit: MatchFit = "l",
    match_port: Port = 1,
    switch_terms: SwitchTerms | None = None,
    raw_isolation: ComplexArray | None = None,
    largest_condition: float = LARGEST_CONDITION,
) -> CalibrationSolution:
    """Twelve error terms from thru, short, open and a match at one port.

    Args:
        fit: what is found of the match from the open, see `load_fit.fit_load`; its
            resistance and offset are always the defined ones. "none" takes it all as defined.

    Returns:
        NaN terms and `determined` False where a sweep is NaN, where the thru lets nothing
        through or where the equations' condition number exceeds `largest_condition` (the two
        reflects an odd number of eighths of a wavelength from the thru's middle, for example,
        look alike), and everywhere when the open cannot tell the match's fitted values.

    Raises:
        CalibrationNotSolvable: shapes that disagree, or no determined frequency.
    """
    require_shapes(frequency_hz, {**vars(sweeps), "isolation": raw_isolation})
    receivers = Receivers(switch_terms, raw_isolation)
    thru = transmission(definitions.thru, frequency_hz, z_ref_ohm)
    free = {name: receivers.without(raw) for name, raw in vars(sweeps).items()}
    with np.errstate(all="ignore"):
        defined = SolvedReflects(
            short=reflection(definitions.short, frequency_hz, z_ref_ohm),
            open=reflection(definitions.open, frequency_hz, z_ref_ohm),
        )
        load = definitions.match
        gamma_match = reflection(load, frequency_hz, z_ref_ohm)
        view = _middle_view(free, thru, defined, gamma_match, match_port)
        # where the reflects look alike noise moves the solution anywhere: ask the definitions too
        usable = np.maximum(
            _condition(defined, gamma_match, thru, match_port),
            _condition(view.reflects(gamma_match), gamma_match, thru, match_port),
        )
        well = usable <= largest_condition
        if not well.any():
            raise CalibrationNotSolvable("no frequency has the sweeps that LRRM needs")
        fitted: FittedLoad | None = None
        if fit != "none":
            weight = np.where(well, np.min(usable) / usable, 0.0)
            equation = OpenEquation(
                frequency_hz, z_ref_ohm, view.even, view.odd, view.open_over_match, weight
            )
            fitted = fit_load(equation, definitions.open, load, fit)
            load = replace(
                load,
                inductance_h=fitted.inductance_h,
                capacitance_f=load.capacitance_f
                if fitted.capacitance_f is None
                else fitted.capacitance_f,
            )
        gamma_match = reflection(load, frequency_hz, z_ref_ohm)
        reflects = view.reflects(gamma_match)
        condition = np.maximum(usable, _condition(reflects, gamma_match, thru, match_port))
        determined = condition <= largest_condition
        boxes = other_box(view.box(gamma_match), transfer(thru), transfer(free["thru"]))
        terms = terms_of_boxes(frequency_hz, z_ref_ohm, boxes, receivers, determined)
    nan = complex(np.nan, np.nan)
    return CalibrationSolution(
        method="LRRM",
        terms=terms,
        determined=determined,
        condition=condition,
        redundancy=_redundancy(int(determined.sum()), fit),
        redundancy_of="real equations for the match, from the open at each frequency",
        residuals=(),
        notes=receivers.notes + _load_notes(fitted) + undetermined_note(frequency_hz, determined),
        fitted_load_inductance_h=None if fitted is None else fitted.inductance_h,
        fitted_load_inductance_port=None if fitted is None else match_port,
        fitted_load=fitted,
        solved_reflects=SolvedReflects(
            short=np.where(determined, reflects.short, nan),
            open=np.where(determined, reflects.open, nan),
        ),
    )


def _middle_view(
    free: dict[str, ComplexArray],
    thru: ComplexArray,
    defined: SolvedReflects,
    gamma_match: ComplexArray,
    match_port: Port,
) -> _MiddleView:
    """The raw data in the thru's middle, open and short there told apart by the definitions.

    Exchanging the two turns each reflect's h into about 1/h, its opposite: the definitions
    need to be right within 90 degrees.
    """
    raw_thru = transfer(free["thru"])

    def both(name: str) -> tuple[ComplexArray, ComplexArray]:
        s = free[name]
        return as_vector(s[:, 0, 0]), seen_through_thru(raw_thru, s[:, 1, 1])

    short, open_, match = both("short"), both("open"), both("match")
    first, second = _unchanged(short, open_)
    even, odd = thru[:, 0, 0] + thru[:, 1, 0], thru[:, 0, 0] - thru[:, 1, 0]
    views, misses = [], []
    for raw_even, raw_odd in ((first, second), (second, first)):
        h_short, h_open = (_raw_h(one[0], raw_even, raw_odd) for one in (short, open_))
        h_match = _raw_h(match[0], raw_even, raw_odd)
        if match_port == 2:
            h_match = -_raw_h(match[1], raw_even, raw_odd)
        ratios = h_short / h_match, h_open / h_match
        view = _MiddleView(even, odd, raw_even, raw_odd, h_match, *ratios)
        found = view.reflects(gamma_match)
        views.append(view)
        misses.append(np.abs(found.short - defined.short) + np.abs(found.open - defined.open))
    nearer = misses[0] < misses[1]
    one, other = (vars(view) for view in views)
    return _MiddleView(**{name: np.where(nearer, one[name], other[name]) for name in one})


def _unchanged(
    short: tuple[ComplexArray, ComplexArray], open_: tuple[ComplexArray, ComplexArray]
) -> tuple[ComplexArray, ComplexArray]:
    """The two raw reflections that port 2 shows to port 1 unchanged.

    What port 2 shows and what port 1 shows are tied by A m v - B (m + v) + C = 0, the same at
    both reflects; the unchanged ones solve A q^2 - 2 B q + C = 0. Beforehand all four are
    shifted and scaled to be around 1, so that losses in the path do not blur the result.
    """
    raw = np.stack([vector[:, 0] / vector[:, 1] for vector in (*short, *open_)])
    middle = raw.mean(axis=0)
    size = np.sqrt(np.mean(np.abs(raw - middle) ** 2, axis=0))
    m_short, v_short, m_open, v_open = (raw - middle) / size
    rows = [
        np.stack([m * v, -(m + v), np.ones_like(m)], axis=-1)
        for m, v in ((m_short, v_short), (m_open, v_open))
    ]
    a, b, c = np.moveaxis(np.cross(rows[0], rows[1]), -1, 0)
    root = np.sqrt(b**2 - a * c)
    return middle + size * (b + root) / a, middle + size * (b - root) / a


def _raw_h(vector: ComplexArray, raw_even: ComplexArray, raw_odd: ComplexArray) -> ComplexArray:
    m, one = vector[:, 0], vector[:, 1]
    h: ComplexArray = (m - raw_odd * one) / (raw_even * one - m)
    return h


def _condition(
    reflects: SolvedReflects, gamma_match: ComplexArray, thru: ComplexArray, match_port: Port
) -> FloatArray:
    """Condition of the three equations that two unknown reflects and the match give."""
    t = transfer(thru)
    of_match = row_at_port_1(gamma_match) if match_port == 1 else row_at_port_2(gamma_match, t)
    return condition_at_tips(
        [row_of_unknown(reflects.short, t), row_of_unknown(reflects.open, t), of_match]
    )


def _redundancy(n_determined: int, fit: MatchFit) -> int:
    """|open| is one real equation a frequency; with its phase modelled there are two."""
    match fit:
        case "none":
            return n_determined
        case "l":
            return max(n_determined - 1, 0)
        case "lc":
            return max(2 * n_determined - 3, 0)


def _load_notes(fitted: FittedLoad | None) -> tuple[str, ...]:
    if fitted is None:
        return ()
    if not np.isfinite(fitted.inductance_h):
        return (
            "the open does not tell the load inductance at these frequencies: "
            "not determined unless it is declared",
        )
    if fitted.inductance_h < 0:
        return ("the fitted load inductance is negative: the load looks capacitive",)
    return ()
