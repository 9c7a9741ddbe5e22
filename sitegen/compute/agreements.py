"""Values of one die that physics says must agree: do they, within their uncertainties?"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri

from sitegen import addresses
from sitegen.compute.standing import numbers_that_stand
from sitegen.model.agreement_results import AgreementCount
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord, Parameter
from sitegen.model.trust import Agreement, ValueOf
from sitegen.problems import Finding
from sitegen.units import NotConvertible, conversion, count, quantity

LEVEL = 1e-3
"""Chance that a campaign whose values agree shows any disagreement, where the uncertainties are
right and the errors normal; shared among agreements and wafers, half for the means and half for the
single dies (Bonferroni). Fixed before any study of planted faults."""
CAUSES = {
    # common practice
    "low-frequency resistance": "contact, cable or calibration at the low end",
    "transconductance at the low end": "bias, self-heating, traps or the calibration's low end",
    "operating current": "bias through the tees, heating or contact",
    "two power levels": "the higher level may drive the device beyond its small-signal range",
    "other": "contact, bias or calibration",
}
PARTS_IN_COMMON = ("u_common", "u_instrument", "u_temperature", "u_misfit")
PLACE = ["wafer", "die_x", "die_y", "site"]


@dataclass(frozen=True, eq=False)
class Differences:
    """First minus second over n dies of one wafer, in the unit of the first."""

    die_x: FloatArray
    die_y: FloatArray
    difference: FloatArray
    u: FloatArray
    """Standard uncertainty of each difference; NaN where one of the two states none."""
    u_common: FloatArray
    """Part of it that all dies share."""

    @property
    def mean(self) -> float:
        """Mean difference over the dies with an uncertainty."""
        return float(np.mean(self.difference[self.stated]))

    @property
    def u_mean(self) -> float:
        """Standard uncertainty of the mean: common parts stay whole, the others shrink with n."""
        common, u = self.u_common[self.stated], self.u[self.stated]
        own = np.sqrt(np.maximum(u**2 - common**2, 0.0))
        return float(np.hypot(np.mean(common), np.sqrt(np.sum(own**2)) / len(u)))

    @property
    def stated(self) -> np.ndarray:
        """(n,) where an uncertainty is stated."""
        return ~np.isnan(self.u)

    @property
    def worst(self) -> int:
        """Place of the largest difference of those with an uncertainty."""
        return int(np.argmax(np.where(self.stated, np.abs(self.difference), -1.0)))


def agreement_findings(results: pd.DataFrame, campaign: CampaignRecord) -> tuple[Finding, ...]:
    """Declared agreements that do not hold, and those that cannot be decided.

    results: of `RESULT_COLUMNS` wafer, die_x, die_y, site, parameter, condition, counts, value,
    below_floor, not_reached, standing, calibration, u and its common parts, all wafers. Values that
    count and stand are used. A wafer disagrees where its mean difference, or that of a die, is
    larger than the allowance and what its uncertainty explains at `LEVEL`; how many dies differ by
    more than k u and the allowance is told beside it.
    """
    usable = numbers_that_stand(results)
    parameters = {one.id: one for one in campaign.parameters}
    wafers = sorted(str(name) for name in usable["wafer"].unique())
    share = max(len(campaign.agreements) * len(wafers), 1)
    found = []
    for agreement in campaign.agreements:
        first, second = (parameters[one.parameter] for one in (agreement.first, agreement.second))
        try:
            factor = conversion(second.unit, first.unit)
        except NotConvertible:
            told = f"{second.unit} of {second.id} does not convert to {first.unit} of {first.id}"
            found.append(_undecided(agreement, addresses.parameter(first.id), told))
            continue
        pairs = paired(usable, agreement, parameters, factor)
        for wafer in wafers:
            rows = pairs[pairs["wafer"] == wafer]
            if len(rows):
                found += _judge(agreement, first.unit, wafer, differences(rows), campaign, share)
    return tuple(sorted(found))


def agreement_counts(results: pd.DataFrame, campaign: CampaignRecord) -> tuple[AgreementCount, ...]:
    """Every declared agreement on every wafer in counts of dies, those that hold included.

    results: as for `agreement_findings`. By wafer, then in the order of the declarations.
    """
    usable = numbers_that_stand(results)
    measured = results[results["counts"].eq(True)]
    parameters = {one.id: one for one in campaign.parameters}
    share = max(len(campaign.agreements) * usable["wafer"].nunique(), 1)
    found = []
    for agreement in campaign.agreements:
        first, second = (parameters[one.parameter] for one in (agreement.first, agreement.second))
        pairs = usable[:0]
        try:
            factor = conversion(second.unit, first.unit)
            pairs = paired(usable, agreement, parameters, factor)
        except NotConvertible:
            pass
        asked = _rows_of(measured, agreement.first) | _rows_of(measured, agreement.second)
        places = measured[asked].drop_duplicates(PLACE)["wafer"].value_counts()
        for wafer in sorted(str(name) for name in results["wafer"].unique()):
            rows = pairs[pairs["wafer"] == wafer]
            dies = int(places.get(wafer, 0))
            found.append(_counted(agreement, first.unit, wafer, rows, dies, campaign, share))
    return tuple(sorted(found, key=lambda one: one.wafer))


def _counted(
    agreement: Agreement,
    unit: str,
    wafer: str,
    rows: pd.DataFrame,
    dies: int,
    campaign: CampaignRecord,
    share: int,
) -> AgreementCount:
    """dies: with either value; rows: pairs of the wafer."""
    found = differences(rows) if len(rows) else None
    n = 0 if found is None else int(found.stated.sum())
    if found is None or not n:
        return AgreementCount(
            wafer, agreement, unit, 0, 0, dies, None, None, None, None, "not decided"
        )
    beyond = _beyond(agreement, found, campaign.decision.coverage_factor)
    worst = found.worst
    return AgreementCount(
        wafer=wafer,
        declared=agreement,
        unit=unit,
        agree=n - beyond,
        beyond=beyond,
        not_compared=dies - n,
        mean=found.mean,
        u_mean=found.u_mean,
        largest=float(found.difference[worst]),
        largest_die=(int(found.die_x[worst]), int(found.die_y[worst])),
        outcome="do not agree" if _disagrees(agreement, found, share) else "agree",
    )


def _rows_of(results: pd.DataFrame, which: ValueOf) -> "pd.Series[bool]":
    return (results["parameter"] == which.parameter) & (results["condition"] == which.condition)


def paired(
    usable: pd.DataFrame,
    agreement: Agreement,
    parameters: dict[str, Parameter],
    factor: float,
) -> pd.DataFrame:
    """Dies with both values: PLACE, and of each value, u, common and calibration, in one unit.

    Of the same parameter under the same calibration what is common to them cancels and is left
    out, as for the difference of two wafers.
    """
    sides = [
        _side(usable, one, parameters[one.parameter], scale)
        for one, scale in ((agreement.first, 1.0), (agreement.second, factor))
    ]
    both = sides[0].merge(sides[1], on=PLACE, suffixes=("_1", "_2"))
    if agreement.first.parameter == agreement.second.parameter:
        same = both["calibration_1"].notna() & (both["calibration_1"] == both["calibration_2"])
        for side in ("_1", "_2"):
            shared = both[f"u_common{side}"].where(same, 0.0)
            for name in ("u", "common"):
                left = (both[f"{name}{side}"] ** 2 - shared**2).clip(lower=0.0)
                both[f"{name}{side}"] = np.sqrt(left)
    return both


def differences(rows: pd.DataFrame) -> Differences:
    """The differences of one wafer's pairs."""
    columns = {
        name: rows[name].to_numpy(dtype=np.float64)
        for name in rows.columns
        if name.startswith(("value_", "u_1", "u_2", "common_", "die_"))
    }
    return Differences(
        die_x=columns["die_x"],
        die_y=columns["die_y"],
        difference=columns["value_1"] - columns["value_2"],
        u=np.hypot(columns["u_1"], columns["u_2"]),
        u_common=np.hypot(columns["common_1"], columns["common_2"]),
    )


def _side(usable: pd.DataFrame, which: ValueOf, parameter: Parameter, scale: float) -> pd.DataFrame:
    rows = usable[_rows_of(usable, which)]
    value = rows["value"].astype(np.float64)
    parts = {
        name: rows[name].astype(np.float64).fillna(0.0) if name in rows else 0.0
        for name in PARTS_IN_COMMON
    }
    squares = sum(part**2 for part in parts.values())
    for source in parameter.uncertainty:
        if source.common:
            part = (
                source.absolute if source.absolute is not None else (source.relative or 0) * value
            )
            squares = squares + part**2
    return rows[PLACE].assign(
        value=scale * value,
        u=abs(scale) * rows["u"].astype(np.float64),
        common=abs(scale) * np.sqrt(squares),
        u_common=abs(scale) * parts["u_common"],
        calibration=rows["calibration"],
    )


def _judge(
    agreement: Agreement,
    unit: str,
    wafer: str,
    found: Differences,
    campaign: CampaignRecord,
    share: int,
) -> list[Finding]:
    page = addresses.wafer(wafer)
    unstated = int((~found.stated).sum())
    findings = []
    if unstated:
        told = f"on {count(unstated, 'die')} of wafer {wafer} an uncertainty is not stated"
        findings.append(_undecided(agreement, page, told))
    n = len(found.difference) - unstated
    if not n:
        return findings
    if not _disagrees(agreement, found, share):
        return findings
    k = campaign.decision.coverage_factor
    beyond = _beyond(agreement, found, k)
    mean, u_mean, worst = found.mean, found.u_mean, found.worst
    allowed = f" + {quantity(agreement.allowance, unit)}" if agreement.allowance else ""
    text = (
        f"On wafer {wafer}, {_name(agreement.first)} and {_name(agreement.second)} do not agree"
        f" ({agreement.physics}): {beyond} of {count(n, 'die')} differ by more than"
        f" {k:g} u{allowed}; the mean difference is {quantity(mean, unit, k * u_mean)}, in which"
        f" what all dies share does not shrink, the largest"
        f" {quantity(float(found.difference[worst]), unit)} on die"
        f" ({found.die_x[worst]:.0f}, {found.die_y[worst]:.0f}). Causes to"
        f" think of: {CAUSES[agreement.physics]}."
    )
    findings.append(
        Finding("values do not agree", f"agreement {agreement.id}", text, "attention", page)
    )
    return findings


def _disagrees(agreement: Agreement, found: Differences, share: int) -> bool:
    """Whether the mean or a die differs by more than the allowance and chance at `LEVEL`."""
    size = np.abs(found.difference[found.stated]) - agreement.allowance
    limit = _quantile(0.5 * LEVEL / share) * found.u_mean
    off = abs(found.mean) - agreement.allowance > limit
    single = size > _quantile(0.5 * LEVEL / share / len(size)) * found.u[found.stated]
    return bool(off or single.any())


def _beyond(agreement: Agreement, found: Differences, k: float) -> int:
    """Dies that differ by more than the allowance and k u."""
    size = np.abs(found.difference[found.stated]) - agreement.allowance
    return int((size > k * found.u[found.stated]).sum())


def _undecided(agreement: Agreement, page: str, why: str) -> Finding:
    return Finding(
        "agreement not decided",
        f"agreement {agreement.id}",
        f"Whether {_name(agreement.first)} and {_name(agreement.second)} agree cannot be decided:"
        f" {why}.",
        "note",
        page,
    )


def _name(one: ValueOf) -> str:
    return f"{one.parameter} at {one.condition}"


def _quantile(chance: float) -> float:
    """Standard uncertainties that a normal error exceeds, to either side, with this chance."""
    return -float(ndtri(0.5 * chance))
