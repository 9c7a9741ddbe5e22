"""What a calibration's sources make of named reflections and transmissions."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sitegen.compute.calibration import SolvedCalibration
from sitegen.compute.monte_carlo import entry_of, monte_carlo_check
from sitegen.compute.rf.correct import uncorrect
from sitegen.compute.rf.propagation import (
    Deviation,
    common_deviations,
    covariance,
    mean_u,
    own_deviations,
)
from sitegen.compute.rf.terms import ErrorTerms, OnePortTerms
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import SOURCE_GROUPS, Budget, BudgetLine, SourceGroup

Parameter = Literal["s11", "s21", "s12", "s22"]


@dataclass(frozen=True)
class Device:
    """An ideal device between the probe tips, the same at every frequency."""

    name: str
    reflection: float
    transmission: float
    parameters: tuple[Parameter, ...]
    """Whose budgets are made."""

    def s(self, terms: ErrorTerms) -> ComplexArray:
        """S-parameters in the shape that the terms correct."""
        n_freq = len(terms.frequency_hz)
        if isinstance(terms, OnePortTerms):
            return np.full(n_freq, self.reflection, np.complex128)
        s = np.empty((n_freq, 2, 2), np.complex128)
        s[:] = [[self.reflection, self.transmission], [self.transmission, self.reflection]]
        return s


DEVICES = (
    Device("matched load", 0.0, 0.0, ("s11", "s22")),
    Device("short", -1.0, 0.0, ("s11", "s22")),
    Device("open", 1.0, 0.0, ("s11", "s22")),
    Device("flush thru", 0.0, 1.0, ("s21", "s11")),
    Device("attenuator of 20 dB", 0.0, 0.1, ("s21",)),
)


def with_budgets(solved: SolvedCalibration) -> SolvedCalibration:
    """With budgets of `DEVICES`, and a Monte Carlo check where the record asks for one.

    A device's own sources (its noise, its touchdown) are groups like the others. A one-port
    calibration has the reflections only.
    """
    stated, uncertainty = solved.loaded.record.uncertainty, solved.uncertainty
    if stated is None or uncertainty is None or solved.terms is None:
        return solved
    terms = solved.terms
    one_port = isinstance(terms, OnePortTerms)
    devices = [one for one in DEVICES if not (one_port and one.transmission)]
    raw = uncorrect(terms, np.array([one.s(terms) for one in devices]))
    found = (
        *common_deviations(terms, uncertainty.perturbations, raw),
        *own_deviations(terms, uncertainty.own, raw),
    )
    budgets = []
    for at, device in enumerate(devices):
        for parameter in device.parameters[:1] if one_port else device.parameters:
            here = [replace(one, values=entry_of(one.values[at], parameter)) for one in found]
            budgets.append(_budget(device.name, parameter, here))
    result = replace(solved.result, budgets=tuple(budgets))
    if stated.monte_carlo_draws is not None:
        device = next(one for one in devices if one.name == "short")
        budget = next(one for one in budgets if one.device == device.name)
        check = monte_carlo_check(solved, device.s(terms), budget, stated.monte_carlo_draws)
        result = replace(result, monte_carlo=check)
    return replace(solved, result=result)


def _budget(device: str, parameter: Parameter, found: Sequence[Deviation]) -> Budget:
    """Every group that is not zero, largest sources first under it."""
    shape = found[0].values.shape if found else (0,)
    total: FloatArray = np.zeros((*shape, 3))
    groups: dict[SourceGroup, dict[str, FloatArray]] = {}
    for one in found:
        share = covariance([one], shape)
        total = total + share
        names = groups.setdefault(one.group, {})
        names[one.name] = names.get(one.name, 0.0) + share
    lines: list[BudgetLine] = []
    for group in SOURCE_GROUPS:
        names = groups.get(group, {})
        parts = [BudgetLine(group, name, mean_u(share)) for name, share in names.items()]
        parts = [one for one in parts if np.any(np.nan_to_num(one.u))]
        if parts:
            whole = np.sqrt(np.sum([one.u**2 for one in parts], axis=0))
            lines += [BudgetLine(group, "", whole), *sorted(parts, key=_typical, reverse=True)]
    return Budget(device, parameter, tuple(lines), total, mean_u(total))


def _typical(line: BudgetLine) -> float:
    """Root mean square over the frequencies at which it is known."""
    known = line.u[np.isfinite(line.u)]
    return float(np.sqrt(np.mean(known**2))) if len(known) else 0.0
