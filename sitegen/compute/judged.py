"""How each value is judged: its uncertainty from all of its parts, its outcome, its standing."""

import numpy as np
import pandas as pd

from sitegen.compute.conformity import REASONS, Conformity, Reason, decide
from sitegen.compute.evidence import reason_text
from sitegen.compute.stats.conformity_probability import posterior, probability_of_conformity
from sitegen.compute.temperature import temperature_uncertainty
from sitegen.compute.uncertainty_parts import ADDED, quadrature
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.decision import Decision
from sitegen.model.results import OUTCOMES
from sitegen.model.uncertainty import standard_uncertainty
from sitegen.model.wafer import Thermal


def judged(
    values: pd.DataFrame, campaign: CampaignRecord, thermal: tuple[Thermal, ...] = ()
) -> pd.DataFrame:
    """Add uncertainty, acceptance limits, probability, outcome and standing to every row.

    Each parameter is judged by its own decision rule, or else by the campaign's.

    values: from `choose_touchdowns`. Uncertainty: all parts of `uncertainty_parts` in quadrature,
    what the parameter declares among them. thermal: how the wafer's temperature is known.

    A row that is there and has no value was measured and could not be determined: it is not
    assessable, for the reason in `no_value`. Uncertainty at a reading below the floor is that at
    the floor, of a value that was not reached that of what was reached.
    """
    u_temperature = temperature_uncertainty(values, campaign, thermal)
    values = values.assign(u_temperature=values["u_temperature"].fillna(pd.Series(u_temperature)))
    parts = []
    for parameter in campaign.parameters:
        rows = values[values["parameter"] == parameter.id]
        if len(rows):
            parts.append(_judge_parameter(rows, parameter, campaign.decision))
    if not parts:
        return values.iloc[:0]
    table = pd.concat(parts, ignore_index=True)
    reasons = table["ev_reasons"].to_numpy(dtype=np.int64)
    table["standing"] = np.where(
        reasons != 0,
        "without standing",
        np.where(table["ev_not_closed"].to_numpy(dtype=bool), "not closed", "stands"),
    )
    words = {bits: reason_text(int(bits)) for bits in np.unique(reasons)}
    table["standing_reasons"] = [words[bits] for bits in reasons]
    return table


def _judge_parameter(rows: pd.DataFrame, parameter: Parameter, common: Decision) -> pd.DataFrame:
    decision = parameter.decision or common
    value = rows["value"].to_numpy(dtype=np.float64)
    below = rows["below_floor"].to_numpy(dtype=bool)
    beyond = rows["not_reached"].to_numpy(dtype=bool)
    floor = rows["floor"].to_numpy(dtype=np.float64)
    rows = rows.assign(
        u_declared=standard_uncertainty(parameter, np.where(below, floor, value)),
        raw_reading=np.where(
            below & rows["raw_reading"].isna().to_numpy(), value, rows["raw_reading"]
        ),
    )
    u = quadrature(*(rows[name].to_numpy(dtype=np.float64) for name in ADDED))
    found: Conformity = decide(
        value, u, parameter.lower, parameter.upper, decision, below, floor, beyond
    )
    single = np.where(below | beyond, np.nan, value)
    low = -np.inf if parameter.plausible_lower is None else parameter.plausible_lower
    high = np.inf if parameter.plausible_upper is None else parameter.plausible_upper
    known_above, known_below = ~(beyond & (value < 0)), ~(beyond & (value >= 0))
    return rows.assign(
        unit=parameter.unit,
        u=u,
        expanded_uncertainty=decision.coverage_factor * u,
        lower=np.nan if parameter.lower is None else parameter.lower,
        upper=np.nan if parameter.upper is None else parameter.upper,
        acceptance_lower=found.acceptance_lower,
        acceptance_upper=found.acceptance_upper,
        decision_rule=decision.rule,
        guard_band=found.guard_band,
        uncertainty_share=found.uncertainty_share,
        **_probabilities(parameter, single, u),
        outcome=np.where(
            np.isnan(value), "not assessable", np.array(OUTCOMES, dtype=object)[found.outcome]
        ),
        outcome_reason=np.where(
            np.isnan(value),
            rows["no_value"],
            np.array(_reasons(decision), dtype=object)[found.reason],
        ),
        absurd=((value < low) & known_below) | ((value > high) & known_above),
    )


def _probabilities(parameter: Parameter, value: FloatArray, u: FloatArray) -> dict[str, FloatArray]:
    """Probability of conformity of each value, alone and with the declared prior.

    NaN without limits, without uncertainty and where there is no single value.
    """
    lower, upper, prior = parameter.lower, parameter.upper, parameter.prior
    nothing = np.full(value.shape, np.nan)
    if lower is None and upper is None:
        return {"probability_of_conformity": nothing, "probability_with_prior": nothing}
    alone = probability_of_conformity(value, u, lower, upper)
    known = nothing
    if prior is not None:
        mean, spread = posterior(value, u, prior.mean, prior.standard_deviation)
        known = probability_of_conformity(mean, spread, lower, upper)
    return {"probability_of_conformity": alone, "probability_with_prior": known}


def _reasons(decision: Decision) -> tuple[str, ...]:
    """The words of `REASONS`, with the declared bound on the uncertainty's share."""
    bound = decision.uncertainty_share_max
    if bound is None:
        return REASONS
    words = list(REASONS)
    words[Reason.UNCERTAINTY_TOO_LARGE] = (
        f"expanded uncertainty above {100 * bound:g} % of the tolerance, its declared bound"
    )
    return tuple(words)
