"""Thru-reflect-line calibration, with one pair of lines at each frequency.

The result stands in the lines' own characteristic impedance, which TRL does not find: the
terms' `z_ref_ohm` is NaN until `reference_impedance.at_real_impedance` moves them.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from sitegen.compute.rf.definitions import ReflectStandard, reflection
from sitegen.compute.rf.eight_term import (
    Receivers,
    SwitchTerms,
    as_vector,
    condition_at_tips,
    determinant,
    inverse,
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
from sitegen.compute.rf.lrm import Seen, box_from_reflect
from sitegen.compute.rf.one_port import undetermined_note
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution, SolvedLine
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
LEAST_PHASE_DEG, LARGEST_PHASE_DEG = 20.0, 160.0
"""Phase difference of two lines, modulo 180 degrees, within which TRL is used: common practice."""
IMPEDANCE_NOTE = (
    "the reference impedance is the lines' characteristic impedance, which TRL does not find"
)
_NAN = complex(np.nan, np.nan)


@dataclass(frozen=True, eq=False)
class TrlSweeps:
    """Raw sweeps: lines (n_line, n_freq, 2, 2), the thru first; reflect (n_freq, 2, 2)."""

    lines: ComplexArray
    reflect: ComplexArray


@dataclass(frozen=True)
class TrlDefinitions:
    """Lengths are known; permittivity and reflect only choose between two roots.

    The reference planes are where the lengths are counted from: with the thru's length 0 they
    meet in its middle. The reflect is taken as equal at both ports.
    """

    lengths_m: tuple[float, ...]
    """Of every line between the reference planes, the thru first."""
    effective_permittivity: float
    """Approximate: good enough to count the half wavelengths of the smallest difference."""
    reflect: ReflectStandard


def solve_trl(
    frequency_hz: FloatArray,
    sweeps: TrlSweeps,
    definitions: TrlDefinitions,
    *,
    switch_terms: SwitchTerms | None = None,
    raw_isolation: ComplexArray | None = None,
    least_phase_deg: float = LEAST_PHASE_DEG,
    largest_phase_deg: float = LARGEST_PHASE_DEG,
    largest_condition: float = LARGEST_CONDITION,
) -> CalibrationSolution:
    """Twelve error terms from thru, reflect and line, in the lines' own impedance.

    Engen and Hoer, IEEE Trans. Microwave Theory Tech. 27 (1979) 987 (quoted from memory). At
    each frequency the pair of lines, the thru among them, whose phases differ most nearly by
    90 degrees is taken. M_i M_j^-1 = X diag(exp(-g d), exp(g d)) X^-1 gives as eigenvectors
    what X shows of infinite and of no reflection, and the propagation; the rest is LRM.

    Returns:
        NaN terms and `determined` False where a sweep is NaN, where no pair's phase
        difference modulo 180 degrees lies from `least_phase_deg` to `largest_phase_deg`, or
        where the condition number exceeds `largest_condition`.

    Raises:
        CalibrationNotSolvable: shapes that disagree, fewer than two lengths.
    """
    require_lines(frequency_hz, sweeps, definitions, raw_isolation)
    receivers = Receivers(switch_terms, raw_isolation)
    raw_t = transfer(receivers.without(sweeps.lines))
    with np.errstate(all="ignore"):
        pair = best_pair(frequency_hz, raw_t, definitions)
        told = (pair.phase_deg >= least_phase_deg) & (pair.phase_deg <= largest_phase_deg)
    outside = f"no two lines differ by {least_phase_deg:g} to {largest_phase_deg:g} degrees"
    view = LineView(
        raw_thru=raw_t[0],
        propagation_per_m=pair.propagation_per_m,
        phase_deg=pair.phase_deg,
        turns=np.abs(np.sinh(pair.propagation_per_m * pair.difference_m)),
        of_no_reflection=pair.of_no_reflection,
        of_infinite_reflection=pair.of_infinite_reflection,
        told=told,
        note=f"{outside} at {np.sum(~told)} frequencies" if not told.all() else "",
    )
    solution = solve_from_lines(
        frequency_hz, view, receivers, sweeps.reflect, definitions, largest_condition
    )
    return replace(
        solution,
        redundancy=int(solution.determined.sum()),
        redundancy_of="complex equations, one a frequency: the line's reciprocity",
    )


@dataclass(frozen=True, eq=False)
class LineView:
    """What the lines say without the reflect, (n_freq, ...)."""

    raw_thru: ComplexArray
    """(n_freq, 2, 2) raw transfer matrix of the thru."""
    propagation_per_m: ComplexArray
    phase_deg: FloatArray
    turns: FloatArray
    """|sinh(g d)| of the lines: how well they tell what they tell."""
    of_no_reflection: ComplexArray
    """(n_freq, 2) what port 1 shows of no reflection, a vector as in `eight_term`."""
    of_infinite_reflection: ComplexArray
    told: BoolArray
    """Where they may be used."""
    note: str = ""
    """A sentence about where they may not."""


def solve_from_lines(
    frequency_hz: FloatArray,
    view: LineView,
    receivers: Receivers,
    raw_reflect: ComplexArray,
    definitions: TrlDefinitions,
    largest_condition: float,
) -> CalibrationSolution:
    """The rest of TRL once the lines have spoken: LRM with what they show as its matches."""
    reflect = receivers.without(raw_reflect)
    expected = reflection(definitions.reflect, frequency_hz, 50.0)
    with np.errstate(all="ignore"):
        t = line_transfer(view.propagation_per_m, definitions.lengths_m[0])
        zero, unit = np.zeros(len(frequency_hz)), np.ones(len(frequency_hz))
        seen = Seen(
            true_first=np.stack([zero, unit], axis=-1),
            raw_first=view.of_no_reflection,
            true_second=np.stack([unit, zero], axis=-1),
            raw_second=view.of_infinite_reflection,
            raw_reflect_1=as_vector(reflect[:, 0, 0]),
            raw_reflect_2=seen_through_thru(view.raw_thru, reflect[:, 1, 1]),
        )
        box, solved = box_from_reflect(seen, t, expected)
        boxes = other_box(box, t, view.raw_thru)
        condition = condition_of_lines(solved, t, view.turns)
        finite = np.isfinite(boxes.port_1).all((1, 2)) & np.isfinite(boxes.port_2).all((1, 2))
        determined = finite & view.told & (condition <= largest_condition)
        terms = terms_of_boxes(frequency_hz, float("nan"), boxes, receivers, determined)
    return CalibrationSolution(
        method="TRL",
        terms=terms,
        determined=determined,
        condition=condition,
        redundancy=0,
        redundancy_of="",
        residuals=(),
        notes=receivers.notes
        + (IMPEDANCE_NOTE,)
        + ((view.note,) if view.note else ())
        + undetermined_note(frequency_hz, determined),
        solved_reflect=np.where(determined, solved, _NAN),
        solved_line=line_of(
            frequency_hz, np.where(determined, view.propagation_per_m, _NAN), view.phase_deg
        ),
    )


@dataclass(frozen=True, eq=False)
class Pair:
    """The chosen pair of lines at each frequency, (n_freq,) and (n_freq, 2)."""

    difference_m: FloatArray
    phase_deg: FloatArray
    propagation_per_m: ComplexArray
    of_no_reflection: ComplexArray
    of_infinite_reflection: ComplexArray


def best_pair(frequency_hz: FloatArray, raw_t: ComplexArray, definitions: TrlDefinitions) -> Pair:
    """The two lines whose phases differ most nearly by 90 degrees, at each frequency."""
    lengths_m = np.array(definitions.lengths_m)
    index = np.array(list(combinations(np.argsort(lengths_m, kind="stable"), 2)))
    index = index[np.argsort(lengths_m[index[:, 1]] - lengths_m[index[:, 0]], kind="stable")]
    shorter, longer = index.T
    difference_m = lengths_m[longer] - lengths_m[shorter]
    n = raw_t[longer] @ inverse(raw_t[shorter])
    half_trace = 0.5 * (n[..., 0, 0] + n[..., 1, 1])
    root = np.sqrt(half_trace**2 - determinant(n))
    slow = np.sqrt(definitions.effective_permittivity) / SPEED_OF_LIGHT_M_PER_S
    root, turned = _told_apart(half_trace, root, difference_m, 2j * np.pi * frequency_hz * slow)
    phase_deg = np.degrees(turned.imag) % 180.0
    best = np.argmin(np.nan_to_num(np.abs(phase_deg - 90.0), nan=np.inf), axis=0)
    at = (best, np.arange(len(frequency_hz)))
    return Pair(
        difference_m=difference_m[best],
        phase_deg=phase_deg[at],
        propagation_per_m=turned[at] / difference_m[best],
        of_no_reflection=eigenvector(n[at], (half_trace - root)[at]),
        of_infinite_reflection=eigenvector(n[at], (half_trace + root)[at]),
    )


def _told_apart(
    half_trace: ComplexArray, root: ComplexArray, difference_m: FloatArray, roughly: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """Which eigenvalue is exp(-g d), and g d with all its turns.

    `roughly`, (n_freq,), needs to be right for the smallest difference only: the pairs come in
    its order, and each that tells the propagation well tells the next ones what to expect.

    Returns:
        (n_pair, n_freq) `root` with the sign that makes half_trace + root exp(-g d), and g d.
    """
    signed, turned = np.empty_like(root), np.empty_like(root)
    for pair, metres in enumerate(difference_m):
        expected = roughly * metres
        passed = [np.abs(half_trace[pair] + s * root[pair] - np.exp(-expected)) for s in (1, -1)]
        signed[pair] = np.where(passed[0] <= passed[1], 1.0, -1.0) * root[pair]
        both = half_trace[pair] - signed[pair], half_trace[pair] + signed[pair]
        turned[pair] = 0.5 * (np.log(both[0]) - np.log(both[1]))
        # the mean of two logarithms is right up to half a turn
        turned[pair] += 1j * np.pi * np.round((expected - turned[pair]).imag / np.pi)
        phase_deg = np.degrees(turned[pair].imag) % 180.0
        well = (phase_deg >= LEAST_PHASE_DEG) & (phase_deg <= LARGEST_PHASE_DEG)
        roughly = np.where(well, turned[pair] / metres, roughly)
    return signed, turned


def eigenvector(matrix: ComplexArray, value: ComplexArray) -> ComplexArray:
    """Eigenvectors (n_freq, 2) of (n_freq, 2, 2): the longer of the two forms there are."""
    one = np.stack([matrix[:, 0, 1], value - matrix[:, 0, 0]], axis=-1)
    other = np.stack([value - matrix[:, 1, 1], matrix[:, 1, 0]], axis=-1)
    longer = np.linalg.norm(one, axis=-1) >= np.linalg.norm(other, axis=-1)
    return np.where(longer[:, np.newaxis], one, other)


def line_transfer(propagation_per_m: ComplexArray, length_m: float) -> ComplexArray:
    """Transfer matrix of a line in its own impedance, diag(exp(-g l), exp(g l))."""
    t = np.zeros((len(propagation_per_m), 2, 2), np.complex128)
    t[:, 0, 0] = np.exp(-propagation_per_m * length_m)
    t[:, 1, 1] = np.exp(propagation_per_m * length_m)
    return t


def condition_of_lines(solved: ComplexArray, t: ComplexArray, turns: FloatArray) -> FloatArray:
    """Condition number with the match of LRM replaced by lines that tell as much as |sinh(g d)|."""
    none = np.zeros_like(solved)
    weight = turns[:, np.newaxis]
    return condition_at_tips(
        [row_of_unknown(solved, t), weight * row_at_port_1(none), weight * row_at_port_2(none, t)]
    )


def line_of(
    frequency_hz: FloatArray, propagation_per_m: ComplexArray, phase_deg: FloatArray
) -> SolvedLine:
    """The line with its effective permittivity, all (n_freq,)."""
    with np.errstate(all="ignore"):
        slowness = SPEED_OF_LIGHT_M_PER_S * propagation_per_m / (2.0 * np.pi * frequency_hz)
    return SolvedLine(propagation_per_m, -(slowness**2), phase_deg)


def require_lines(
    frequency_hz: FloatArray,
    sweeps: TrlSweeps,
    definitions: TrlDefinitions,
    raw_isolation: ComplexArray | None,
) -> None:
    """Refuse sweeps and lengths that do not belong together."""
    lines = {f"line {n}": line for n, line in enumerate(sweeps.lines, start=1)}
    require_shapes(frequency_hz, {**lines, "reflect": sweeps.reflect, "isolation": raw_isolation})
    if len(definitions.lengths_m) != len(sweeps.lines):
        raise CalibrationNotSolvable(
            f"{len(sweeps.lines)} lines were measured and "
            f"{len(definitions.lengths_m)} lengths given"
        )
    if len(set(definitions.lengths_m)) < 2:
        raise CalibrationNotSolvable("TRL needs lines of at least two different lengths")
