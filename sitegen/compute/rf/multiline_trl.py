"""Multiline thru-reflect-line calibration: all lines at once, by scikit-rf.

The result stands in the lines' own characteristic impedance, as in `trl`.
"""

import warnings
from itertools import combinations

import numpy as np
from skrf import Frequency, Network
from skrf.calibration import TUGMultilineTRL

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.definitions import reflection
from sitegen.compute.rf.eight_term import Receivers, SwitchTerms, twelve_terms
from sitegen.compute.rf.linear import LARGEST_CONDITION
from sitegen.compute.rf.one_port import undetermined_note
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution
from sitegen.compute.rf.terms import OnePortTerms
from sitegen.compute.rf.trl import (
    IMPEDANCE_NOTE,
    TrlDefinitions,
    TrlSweeps,
    condition_of_lines,
    line_of,
    line_transfer,
    require_lines,
)
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

_NAN = complex(np.nan, np.nan)


def solve_multiline_trl(
    frequency_hz: FloatArray,
    sweeps: TrlSweeps,
    definitions: TrlDefinitions,
    *,
    switch_terms: SwitchTerms | None = None,
    raw_isolation: ComplexArray | None = None,
    largest_condition: float = LARGEST_CONDITION,
) -> CalibrationSolution:
    """Twelve error terms from all lines at once, in their own impedance, by scikit-rf.

    Marks, IEEE Trans. Microwave Theory Tech. 39 (1991) 1205, in the form of Hatab, Gadringer
    and Boesch, ARFTG 98 (2022), doi 10.1109/ARFTG52954.2022.9844064 (scikit-rf's
    TUGMultilineTRL). The condition number weighs the root mean square of |sinh(g d)| over all
    pairs of lines, so it falls with every line that helps and decides alone.

    Returns:
        NaN terms and `determined` False where a sweep is NaN, a line lets nothing through,
        or the condition number exceeds `largest_condition`.

    Raises:
        CalibrationNotSolvable: shapes that disagree, fewer than two lengths, or no frequency
            with all sweeps.
    """
    require_lines(frequency_hz, sweeps, definitions, raw_isolation)
    receivers = Receivers(switch_terms, raw_isolation)
    lines, reflect = receivers.without(sweeps.lines), receivers.without(sweeps.reflect)
    usable = (
        np.isfinite(lines).all(axis=(0, 2, 3))
        & np.isfinite(reflect).all(axis=(1, 2))
        & (np.abs(lines[:, :, 1, 0]) > 0).all(axis=0)
        & (np.abs(lines[:, :, 0, 1]) > 0).all(axis=0)
        & (frequency_hz > 0)
    )
    if not usable.any():
        raise CalibrationNotSolvable("no frequency has all the sweeps that multiline TRL needs")
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        port_1, port_2, k, propagation = _run(frequency_hz, lines, reflect, definitions, usable)
    warned = tuple(dict.fromkeys(f"scikit-rf warned: {entry.message}" for entry in caught))
    expected = reflection(definitions.reflect, frequency_hz, 50.0)
    with np.errstate(all="ignore"):
        solved = correct(port_1, reflect[:, 0, 0])
        sign = np.where(np.abs(solved - expected) <= np.abs(solved + expected), 1.0, -1.0)
        solved = solved * sign
        lengths_m = np.array(definitions.lengths_m)
        pairs_m = np.array([b - a for a, b in combinations(lengths_m, 2)])
        turns = np.abs(np.sinh(propagation * pairs_m[:, np.newaxis])) ** 2
        together = np.sqrt(2.0 / len(lengths_m) * turns.sum(axis=0))
        t = line_transfer(propagation, definitions.lengths_m[0])
        condition = condition_of_lines(solved, t, together)
        determined = usable & (condition <= largest_condition)
        masked = np.where(determined, sign, np.nan)
        terms = twelve_terms(
            _signed(port_1, masked), _signed(port_2, masked), k * masked, receivers
        )
        phases = np.degrees((propagation * pairs_m[:, np.newaxis]).imag) % 180.0
    nearest = np.argmin(np.nan_to_num(np.abs(phases - 90.0), nan=90.0), axis=0)
    return CalibrationSolution(
        method="multiline TRL",
        terms=terms,
        determined=determined,
        condition=condition,
        redundancy=(4 * len(lengths_m) - 7) * int(determined.sum()),
        redundancy_of="complex equations of the lines, over all frequencies",
        residuals=(),
        notes=(
            *warned,
            *receivers.notes,
            IMPEDANCE_NOTE,
            *undetermined_note(frequency_hz, determined),
        ),
        solved_reflect=np.where(determined, solved, _NAN),
        solved_line=line_of(
            frequency_hz,
            np.where(determined, propagation, _NAN),
            phases[nearest, np.arange(len(frequency_hz))],
        ),
    )


def _run(
    frequency_hz: FloatArray,
    lines: ComplexArray,
    reflect: ComplexArray,
    definitions: TrlDefinitions,
    usable: BoolArray,
) -> tuple[OnePortTerms, OnePortTerms, ComplexArray, ComplexArray]:
    """scikit-rf's solution on all frequencies, NaN where not usable: ports, k, propagation."""
    used_hz = frequency_hz[usable]
    frequency = Frequency.from_f(used_hz, unit="hz")
    already_out = Network(frequency=frequency, s=np.zeros(len(used_hz)))
    run = TUGMultilineTRL(
        line_meas=[Network(frequency=frequency, s=s[usable]) for s in lines],
        line_lengths=list(definitions.lengths_m),
        er_est=complex(definitions.effective_permittivity),
        reflect_meas=Network(frequency=frequency, s=reflect[usable]),
        reflect_est=complex(reflection(definitions.reflect, used_hz[:1], 50.0)[0]),
        switch_terms=(already_out, already_out),
    )
    run.run()

    def spread(values: ComplexArray) -> ComplexArray:
        everywhere = np.full(len(usable), _NAN)
        everywhere[usable] = values
        return everywhere

    port_1, port_2 = (
        OnePortTerms(
            frequency_hz,
            float("nan"),
            spread(run.coefs[f"{side} directivity"]),
            spread(run.coefs[f"{side} source match"]),
            spread(run.coefs[f"{side} reflection tracking"]),
        )
        for side in ("forward", "reverse")
    )
    return port_1, port_2, spread(run.coefs["k"]), spread(run.gamma)


def _signed(port: OnePortTerms, sign: FloatArray) -> OnePortTerms:
    """The terms that make every reflection `sign` times itself; NaN where `sign` is NaN."""
    return OnePortTerms(
        port.frequency_hz,
        port.z_ref_ohm,
        port.directivity * np.abs(sign),
        port.source_match * sign,
        port.reflection_tracking * sign,
    )
