"""The risks of deciding about one parameter's values by its decision rule, JCGM 106:2012.

A value is accepted between the acceptance limits of its rule: drawn in by w under guarded
acceptance and, for 'within', under a non-binary rule, drawn out by w under guarded rejection
(8.3.3), where values that are not refuted are accepted too. Risks that need knowledge of the
process are stated with the parameter's declared prior only; it is taken as given, and nothing is
estimated from the values that are judged.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.conformity import uncertainty_share
from sitegen.compute.over_wafers.samples import Sample
from sitegen.compute.stats.conformity_probability import (
    GlobalRisks,
    global_risks,
    posterior,
    probability_of_conformity,
)
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import Parameter
from sitegen.model.decision import Decision, Prior, worst_false_acceptance
from sitegen.model.decision_results import Risks
from sitegen.model.results import JUDGED


def risks(sample: Sample, decision: Decision) -> Risks:
    """Probabilities and risks over the values of one parameter and condition that were judged.

    sample: values with standing; decision: the parameter's own rule, or else the campaign's.
    Risks over the process, capability and share are at the median of the stated standard
    uncertainties of all of its values with standing, those too that could not be assessed. What
    cannot be stated is None, and `reason` says why.
    """
    parameter = sample.parameter
    limits = parameter.lower, parameter.upper
    judged = np.isin(sample.outcome, JUDGED)
    value, u, words = sample.value[judged], sample.u[judged], sample.outcome[judged]
    known = ~np.isnan(u)
    limited = limits != (None, None)
    stated = sample.u[~np.isnan(sample.u)]
    median_u = float(np.median(stated)) if limited and len(stated) else None
    within = _probabilities(value, u, limits, (words == "within") & known)
    specific = _specific(value, u, parameter, decision, words, known) if limited else _Specific()
    process, why_not = _process(parameter, decision, median_u)
    reasons = [
        "it has no limits" if not limited else "",
        "no value was judged" if limited and not len(value) else "",
        "no uncertainty is stated" if limited and sample.n and median_u is None else "",
        "no prior is declared" if limited and parameter.prior is None else "",
        why_not,
    ]
    return Risks(
        n=len(value) if limited else 0,
        least_probability=float(within.min()) if len(within) else None,
        expected_outside=float(np.sum(1.0 - within)) if len(within) else None,
        specific_consumer=specific.consumer,
        specific_producer=specific.producer,
        global_consumer=None if process is None else process.consumer,
        global_producer=None if process is None else process.producer,
        capability_index=_capability_index(parameter, median_u),
        uncertainty_share=_share(parameter, decision, median_u),
        worst_false_acceptance=worst_false_acceptance(decision.acceptance) if limited else None,
        reason="; ".join(one for one in reasons if one),
    )


@dataclass(frozen=True)
class _Specific:
    consumer: float | None = None
    producer: float | None = None


def _probabilities(
    value: FloatArray,
    u: FloatArray,
    limits: tuple[float | None, float | None],
    chosen: BoolArray,
) -> FloatArray:
    if limits == (None, None):
        return np.empty(0)
    return probability_of_conformity(value[chosen], u[chosen], *limits)


def _specific(
    value: FloatArray,
    u: FloatArray,
    parameter: Parameter,
    decision: Decision,
    words: "np.ndarray[tuple[int], np.dtype[np.object_]]",
    known: BoolArray,
) -> _Specific:
    """The greatest specific risks, with the declared prior; JCGM 106:2012, clause 9."""
    prior = parameter.prior
    if prior is None or not known.any():
        return _Specific()
    mean, spread = posterior(value, u, prior.mean, prior.standard_deviation)
    conforms = probability_of_conformity(mean, spread, parameter.lower, parameter.upper)
    accepted = np.isin(words, decision.accepted)
    risky, refused = conforms[known & accepted], conforms[known & ~accepted]
    return _Specific(
        float(1.0 - risky.min()) if len(risky) else None,
        float(refused.max()) if len(refused) else None,
    )


def _process(
    parameter: Parameter, decision: Decision, u: float | None
) -> tuple[GlobalRisks | None, str]:
    """Global risks of the process, and why they are not stated although the rest is known."""
    prior: Prior | None = parameter.prior
    if prior is None or u is None:
        return None, ""
    lower, upper = parameter.lower, parameter.upper
    acceptance = decision.acceptance_limits(lower, upper, u)
    if acceptance == (None, None):
        return None, "at the median u guard bands leave no acceptance zone"
    found = global_risks(prior.mean, prior.standard_deviation, u, (lower, upper), acceptance)
    return found, ""


def _capability_index(parameter: Parameter, u: float | None) -> float | None:
    """C_m = (upper - lower) / (4 u), JCGM 106:2012, 7.6.3 (number from memory)."""
    if u is None or u == 0 or parameter.lower is None or parameter.upper is None:
        return None
    return (parameter.upper - parameter.lower) / (4.0 * u)


def _share(parameter: Parameter, decision: Decision, u: float | None) -> float | None:
    if u is None:
        return None
    share = float(uncertainty_share(u, parameter.lower, parameter.upper, decision.coverage_factor))
    return None if np.isnan(share) else share
