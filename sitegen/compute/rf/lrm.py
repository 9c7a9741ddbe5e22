"""Line-reflect-match calibration: thru and match known, the reflect unknown."""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.definitions import ReflectStandard, Thru, reflection, transmission
from sitegen.compute.rf.eight_term import (
    Receivers,
    SwitchTerms,
    adjugate,
    applied,
    as_vector,
    condition_at_tips,
    other_box,
    reflection_behind,
    require_shapes,
    row_at_port_1,
    row_at_port_2,
    row_of_unknown,
    seen_through_thru,
    terms_of_boxes,
    transfer,
)
from sitegen.compute.rf.linear import LARGEST_CONDITION
from sitegen.compute.rf.one_port import undetermined_note
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.model.arrays import ComplexArray, FloatArray


@dataclass(frozen=True, eq=False)
class LrmSweeps:
    """Raw sweeps, (n_freq, 2, 2) complex; reflect and match are at both ports at once."""

    thru: ComplexArray
    reflect: ComplexArray
    match: ComplexArray


@dataclass(frozen=True)
class LrmDefinitions:
    """Thru and both matches are wholly known; the reflect's definition only gives its sign.

    The reflect is taken as equal at both ports, the two matches need not be.
    """

    thru: Thru
    reflect: ReflectStandard
    match_1: ReflectStandard
    match_2: ReflectStandard


@dataclass(frozen=True, eq=False)
class Seen:
    """What X shows of two vectors that are known and of one reflect that is not.

    Vectors (n_freq, 2) at port 1, true and raw; the reflect raw at port 1, and raw at port 2
    brought to port 1 through the raw thru.
    """

    true_first: ComplexArray
    raw_first: ComplexArray
    true_second: ComplexArray
    raw_second: ComplexArray
    raw_reflect_1: ComplexArray
    raw_reflect_2: ComplexArray


def solve_lrm(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    sweeps: LrmSweeps,
    definitions: LrmDefinitions,
    *,
    switch_terms: SwitchTerms | None = None,
    raw_isolation: ComplexArray | None = None,
    largest_condition: float = LARGEST_CONDITION,
) -> CalibrationSolution:
    """Twelve error terms from a known thru, a known match at each port and a reflect.

    Eul and Schiek, IEEE Trans. Microwave Theory Tech. 39 (1991) 724 (quoted from memory); the
    equation solved is that of `box_from_reflect`.

    Returns:
        NaN terms and `determined` False where a sweep is NaN, the thru lets nothing through,
        or the condition number exceeds `largest_condition` (a reflect that hardly reflects).

    Raises:
        CalibrationNotSolvable: shapes that disagree.
    """
    require_shapes(frequency_hz, {**vars(sweeps), "isolation": raw_isolation})
    receivers = Receivers(switch_terms, raw_isolation)
    free = {name: receivers.without(raw) for name, raw in vars(sweeps).items()}
    raw_t = transfer(free["thru"])
    t = transfer(transmission(definitions.thru, frequency_hz, z_ref_ohm))
    reflect, match_1, match_2 = (
        reflection(one, frequency_hz, z_ref_ohm)
        for one in (definitions.reflect, definitions.match_1, definitions.match_2)
    )
    with np.errstate(all="ignore"):
        seen = Seen(
            as_vector(match_1),
            as_vector(free["match"][:, 0, 0]),
            seen_through_thru(t, match_2),
            seen_through_thru(raw_t, free["match"][:, 1, 1]),
            as_vector(free["reflect"][:, 0, 0]),
            seen_through_thru(raw_t, free["reflect"][:, 1, 1]),
        )
        box, solved = box_from_reflect(seen, t, reflect)
        condition = condition_at_tips(
            [row_of_unknown(solved, t), row_at_port_1(match_1), row_at_port_2(match_2, t)]
        )
        boxes = other_box(box, t, raw_t)
        finite = np.isfinite(boxes.port_1).all((1, 2)) & np.isfinite(boxes.port_2).all((1, 2))
        determined = finite & (condition <= largest_condition)
        terms = terms_of_boxes(frequency_hz, z_ref_ohm, boxes, receivers, determined)
    return CalibrationSolution(
        method="LRM",
        terms=terms,
        determined=determined,
        condition=condition,
        redundancy=0,
        redundancy_of="equations",
        residuals=(),
        notes=receivers.notes + undetermined_note(frequency_hz, determined),
        solved_reflect=np.where(determined, solved, complex(np.nan, np.nan)),
    )


def box_from_reflect(
    seen: Seen, transfer_thru: ComplexArray, expected: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """Port 1's transfer matrix X and the reflect, from two known vectors and the reflect.

    With the known vectors as the columns of G (true) and W (raw), X = W diag(1, mu) G^-1. A
    reflect equal at both ports shows at port 1 as G and through the thru as P G, with
    P [G, 1] = T [1, G]; so P~ = G^-1 P G, u = W^-1 m_1 and w = W^-1 m_2 give

        mu^2 w0 P~10 u0 + mu (w0 P~11 u1 - w1 P~00 u0) - w1 P~01 u1 = 0.

    Its two roots make the reflect about plus and minus itself; the nearer to `expected`,
    (n_freq,) complex, is taken.
    """
    true = np.stack([seen.true_first, seen.true_second], axis=-1)
    raw = np.stack([seen.raw_first, seen.raw_second], axis=-1)
    p = adjugate(true) @ transfer_thru[..., ::-1] @ true
    u = applied(adjugate(raw), seen.raw_reflect_1)
    w = applied(adjugate(raw), seen.raw_reflect_2)
    a = w[:, 0] * p[:, 1, 0] * u[:, 0]
    b = 0.5 * (w[:, 0] * p[:, 1, 1] * u[:, 1] - w[:, 1] * p[:, 0, 0] * u[:, 0])
    c = -w[:, 1] * p[:, 0, 1] * u[:, 1]
    root = np.sqrt(b**2 - a * c)
    scaled = [
        raw * np.stack([np.ones_like(mu), mu], axis=-1)[:, np.newaxis, :]
        for mu in ((-b + root) / a, (-b - root) / a)
    ]
    boxes = [one @ adjugate(true) for one in scaled]
    reflects = [reflection_behind(box, seen.raw_reflect_1) for box in boxes]
    nearer = np.abs(reflects[0] - expected) < np.abs(reflects[1] - expected)
    box = np.where(nearer[:, np.newaxis, np.newaxis], boxes[0], boxes[1])
    return box, np.where(nearer, reflects[0], reflects[1])
