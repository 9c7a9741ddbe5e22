"""Risks of deciding about a parameter's values by its rule, JCGM 106:2012."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Risks:
    """Over the values of one parameter and condition that were judged."""

    n: int
    least_probability: float | None
    """Least probability of conformity among the values within; None: no uncertainty or none."""
    expected_outside: float | None
    """Sum over the values within of one minus their probability of conformity: how many of them
    are expected to be outside in truth."""
    specific_consumer: float | None
    """Greatest specific consumer's risk among accepted values, with the declared prior."""
    specific_producer: float | None
    """Greatest specific producer's risk among values not accepted, with the declared prior."""
    global_consumer: float | None
    """Probability that a value is accepted and outside, for the prior and the median u."""
    global_producer: float | None
    """Probability that a value is not accepted and within."""
    capability_index: float | None
    """C_m = (upper - lower) / (4 u), JCGM 106:2012, 7.6.3 (number from memory), at the median u."""
    uncertainty_share: float | None
    """U / (upper - lower) at the median u."""
    worst_false_acceptance: float | None
    """Of a value exactly on its acceptance limit, one limit alone, by r and k."""
    reason: str = ""
    """Why risks are not stated: no prior, no uncertainty, no limits."""
