"""One sweep against another: under masks by the decision rule, and as a whole."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.agreement import (
    Rule,
    figures,
    normalised_deviation,
    sweep_limits,
)
from sitegen.compute.rf.differences import Part, Uncertainty, uncertainty
from sitegen.compute.rf.verification import (
    Judgement,
    Mask,
    deviation,
    deviation_u,
    guard_band,
    judge,
    rejection_band,
)
from sitegen.model import verification as records
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.decision import Decision
from sitegen.model.event_results import Agreement, Judged, MaskResult
from sitegen.units import count, frequency, number

Parameter = Literal["s11", "s21", "s12", "s22"]
SweepRule = Literal["shown", "share of points", "greatest value"]
Places = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Compared:
    """A sweep and what it is held against, (n_freq, n_port, n_port) each."""

    frequency_hz: FloatArray
    s: ComplexArray
    reference: ComplexArray
    parts: tuple[Part, ...] | None
    """Of their difference, by source; None where no uncertainty is stated."""

    @cached_property
    def uncertainty(self) -> Uncertainty | None:
        """Covariances of the difference."""
        return None if self.parts is None else uncertainty(self.parts, self.s.shape)


def judge_mask(compared: Compared, mask: records.Mask, decision: Decision) -> MaskResult:
    """One S-parameter's deviation under a mask; without stated uncertainty it is judged alone.

    A mask is one limit of a size, so a bound on the uncertainty's share of a tolerance says nothing
    of it.

    Raises ValueError for a mask of two ports on a sweep of one.
    """
    to_port, from_port = int(mask.parameter[1]), int(mask.parameter[2])
    if max(to_port, from_port) > compared.s.shape[-1]:
        raise ValueError(f"a mask for {mask.parameter} needs a two-port sweep")
    given = Mask(
        to_port,
        from_port,
        mask.quantity,
        tuple(point[0] for point in mask.points),
        tuple(point[1] for point in mask.points),
    )
    found = deviation(compared.s, compared.reference)
    stated = compared.uncertainty
    u = guard = rejection = None
    if stated is not None:
        u = deviation_u(found, stated, given)
        if decision.inward:
            guard = guard_band(found, stated, given, decision.inward)
        if decision.outward:
            rejection = rejection_band(found, stated, given, decision.outward)
    judged = judge(found, compared.frequency_hz, given, guard, rejection)
    return MaskResult(
        mask=mask,
        frequency_hz=compared.frequency_hz,
        deviation=judged.deviation,
        limit=judged.limit,
        outcome=judged.verdict,
        reason=_reason(judged, mask),
        worst_ratio=_finite(judged.worst_ratio),
        worst_margin=_finite(judged.worst_margin),
        worst_frequency_hz=_finite(judged.worst_at_hz),
        points_judged=judged.n_judged,
        points_outside_mask=judged.n_outside_mask,
        u=u,
        guard=guard,
    )


def judge_agreements(
    compared: Compared,
    parameters: Sequence[Parameter],
    rule: SweepRule,
    false_alarm_rate: float,
    name: str,
) -> tuple[Agreement, ...]:
    """Normalised deviations of S-parameters, judged together by the rule for the whole sweep.

    Empty where no uncertainty is stated and none is asked for. `name` seeds the simulation: the
    same campaign always gives the same limits.
    """
    parts, stated = compared.parts, compared.uncertainty
    if parts is None or stated is None:
        if rule == "shown":
            return ()
        return tuple(
            _without_uncertainty(compared, one, rule, false_alarm_rate) for one in parameters
        )
    rows, columns = _places(parameters)
    difference = (compared.s - compared.reference)[:, rows, columns].T
    covariance = np.moveaxis(stated.absolute[:, rows, columns], 1, 0)
    normalised = normalised_deviation(difference, covariance)
    limits: FloatArray | None = None
    draws = 0
    known = np.isfinite(normalised).any(axis=1)
    if rule != "shown" and known.any():
        chosen = [_selected(one, rows[known], columns[known]) for one in parts]
        simulated = sweep_limits(chosen, rule, false_alarm_rate, _rng(name))
        limits, draws = np.full(len(parameters), np.nan), simulated.draws
        limits[known] = simulated.limits
    return tuple(
        _agreement(
            compared.frequency_hz,
            parameter,
            normalised[at],
            rule,
            None if limits is None else _finite(float(limits[at])),
            false_alarm_rate,
            draws,
        )
        for at, parameter in enumerate(parameters)
    )


def _agreement(
    frequency_hz: FloatArray,
    parameter: Parameter,
    normalised: FloatArray,
    rule: SweepRule,
    limit: float | None,
    false_alarm_rate: float,
    draws: int,
) -> Agreement:
    judged_by: Rule = "share of points" if rule == "share of points" else "greatest value"
    known = bool(np.isfinite(normalised).any())
    figure = _finite(float(figures(normalised, judged_by))) if known else None
    outcome: Judged = "not assessable"
    if figure is not None and limit is not None:
        outcome = "failed" if figure > limit else "passed"
    text = _said(frequency_hz, normalised)
    if limit is not None:
        shown = f"{100 * limit:.1f} % of points" if rule == "share of points" else number(limit, 3)
        text += (
            f" Of sweeps that agree, at most {100 * false_alarm_rate:g} % exceed {shown} in any of"
            f" the S-parameters judged ({draws:,} simulated)."
        )
    return Agreement(
        parameter, frequency_hz, normalised, rule, figure, limit, false_alarm_rate, outcome, text
    )


def _said(frequency_hz: FloatArray, normalised: FloatArray) -> str:
    """How many points lie above 1 and where the greatest lies."""
    known = np.isfinite(normalised)
    if not known.any():
        return "No frequency has both a deviation and an uncertainty."
    above, whole = int((normalised > 1).sum()), int(known.sum())
    at = int(np.nanargmax(normalised))
    text = (
        f"{above} of {count(whole, 'frequency', 'frequencies')} lie above 1; the greatest is"
        f" {number(float(normalised[at]), 3)} at {frequency(float(frequency_hz[at]))}."
    )
    if whole < len(normalised):
        text += f" {len(normalised) - whole} are not determined."
    return text


def _without_uncertainty(
    compared: Compared,
    parameter: Parameter,
    rule: Rule,
    false_alarm_rate: float,
) -> Agreement:
    return Agreement(
        parameter,
        compared.frequency_hz,
        np.full(compared.frequency_hz.shape, np.nan),
        rule,
        None,
        None,
        false_alarm_rate,
        "not assessable",
        "No uncertainty of the corrected sweep is stated, so nothing says how far it may lie from"
        " its reference.",
    )


def _selected(one: Part, rows: Places, columns: Places) -> Part:
    """A part's S-parameters as rows, (n_parameter, n_freq)."""
    return replace(
        one, absolute=one.absolute[:, rows, columns].T, relative=one.relative[:, rows, columns].T
    )


def _places(parameters: Sequence[Parameter]) -> tuple[Places, Places]:
    rows = np.array([int(one[1]) - 1 for one in parameters])
    return rows, np.array([int(one[2]) - 1 for one in parameters])


def _rng(name: str) -> np.random.Generator:
    """A generator of its own for each thing that is judged, from its name alone."""
    digest = hashlib.sha256(name.encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "big"))


def _reason(judged: Judgement, mask: records.Mask) -> str:
    """Why a mask was not simply passed or failed."""
    frequencies = count(judged.n_judged, "frequency", "frequencies")
    if judged.verdict == "not assessable":
        if judged.n_judged == 0:
            return "no frequency of the sweep lies inside the mask"
        return f"{judged.n_not_determined} of {frequencies} inside the mask are not determined"
    if judged.verdict != "not proven":
        return ""
    name = mask.parameter.upper()
    if judged.n_not_refuted:
        return (
            f"at {judged.n_not_refuted} of {frequencies} {name} lies beyond the mask by no more"
            " than its guard band"
        )
    if judged.guard is None:
        return ""
    if judged.n_without_end:
        return (
            f"at {judged.n_without_end} of {frequencies} {name} is not told from nothing, and its"
            " level in dB has no lower end"
        )
    impossible = int((judged.guard >= judged.limit).sum())
    if impossible:
        return (
            f"at {impossible} of {frequencies} the guard band of {name} is as wide as the mask:"
            " no acceptance is possible there"
        )
    return ""


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
