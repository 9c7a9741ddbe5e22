"""A wafer's values: which touchdown counts, what stands behind it, and how it is judged."""

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from sitegen.compute.conformity import REASONS, Conformity, DecisionRule, decide
from sitegen.compute.evidence import dc_evidence, reason_text, rf_evidence
from sitegen.compute.sweeps import (
    WaferSetting,
    joined_evidence,
    needed_ports,
    rows_of,
    texts_or_none,
)
from sitegen.model.campaign import CampaignRecord, Floor, Parameter
from sitegen.model.results import OUTCOMES
from sitegen.model.uncertainty import standard_uncertainty
from sitegen.problems import Fault
from sitegen.units import conversion, parse

KEY = ["die_y", "die_x", "site", "device", "parameter", "condition"]
EVIDENCE = [
    "ev_calibration",
    "ev_basis",
    "ev_reasons",
    "ev_not_closed",
    "ev_never_verified",
    "ev_detail",
]
PER_WIDTH = {"current per width": "A/m", "current per millimetre": "A/mm"}
"""Quantities whose floor is the current's divided by the device's width, with their base units."""


def with_evidence(
    values: pd.DataFrame, setting: WaferSetting, file: str
) -> tuple[pd.DataFrame, tuple[Fault, ...]]:
    """The table's values with floors and with what stands behind each; RF and DC apart."""
    parameters = {one.id: one for one in setting.campaign.parameters}
    devices = setting.devices()
    kinds = values["parameter"].map({name: one.kind for name, one in parameters.items()})
    values = values.assign(floor=np.nan, below_floor=False, u_common=np.nan, u_own=np.nan)
    parts: list[pd.DataFrame] = []
    faults: tuple[Fault, ...] = ()
    rf = values[kinds == "rf"]
    if len(rf):
        ports = rf["device"].map({name: needed_ports(one) for name, one in devices.items()})
        found = rf_evidence(
            rows_of(rf, np.asarray(ports, dtype=np.int64)),
            setting.calibrations,
            setting.station,
            setting.rf_instrument,
            setting.states,
            setting.campaign.touchdowns.contact_resistance_max_ohm,
            file,
        )
        faults = found.faults
        parts.append(joined_evidence(rf, found))
    dc = values[kinds == "dc"]
    if len(dc):
        dc, missing = _with_floors(dc, parameters, setting)
        rows = rows_of(dc, 1)
        parts.append(
            joined_evidence(
                dc,
                dc_evidence(
                    rows.measured_at,
                    rows.contact_resistance_ohm,
                    missing,
                    setting.dc_instrument,
                    setting.campaign.touchdowns.contact_resistance_max_ohm,
                ),
            )
        )
    if not parts:
        return values.assign(**dict.fromkeys(EVIDENCE)), faults
    return pd.concat(parts, ignore_index=True), faults


def _with_floors(
    rows: pd.DataFrame, parameters: Mapping[str, Parameter], setting: WaferSetting
) -> tuple[pd.DataFrame, npt.NDArray[np.object_]]:
    """Floors of current readings, in each parameter's unit, and why one is missing.

    Only currents, and currents per width, have floors; each needs one stored for its instrument,
    range and path, measured no later than the reading: the latest of these holds.
    """
    instrument = setting.dc_instrument.id if setting.dc_instrument else ""
    stored = [one for one in setting.station.floors if one.instrument == instrument]
    floor = np.full(len(rows), np.nan)
    missing = np.full(len(rows), "", dtype=object)
    names = rows["parameter"].to_numpy()
    ranges, paths = texts_or_none(rows["range"]), texts_or_none(rows["path"])
    days = rows["measured_at"].dt.date.to_numpy()
    widths = {name: one.width_um for name, one in setting.devices().items()}
    for name in pd.unique(rows["parameter"]):
        parameter = parameters[name]
        scale = _per_ampere(parameter.unit, widths[parameter.device])
        if scale is None:
            continue
        for place in np.flatnonzero(names == name):
            if np.isnan(scale):
                missing[place] = f"{parameter.device} states no width_um"
                continue
            found = _floor_of(stored, ranges[place], paths[place], days[place])
            if found is None:
                missing[place] = (
                    f"{instrument or 'no instrument'}, range {ranges[place] or 'not stated'}, path"
                    f" {paths[place] or 'not stated'}"
                )
            else:
                floor[place] = found.decision_limit_a * scale
    value = rows["value"].to_numpy(dtype=np.float64)
    with np.errstate(invalid="ignore"):
        below = np.abs(value) < floor
    return rows.assign(floor=floor, below_floor=below), missing


def _floor_of(
    stored: Sequence[Floor], range_: str | None, path: str | None, day: date
) -> Floor | None:
    """The latest floor of a range and path that was measured no later than the day."""
    fitting = [
        one for one in stored if (one.range, one.path) == (range_, path) and one.measured_on <= day
    ]
    return max(fitting, key=lambda one: one.measured_on, default=None)


def _per_ampere(unit: str, width_um: float | None) -> float | None:
    """How many of `unit` an ampere is.

    None: the unit is none of current. NaN: it is one of current per width, and no width is stated.
    """
    quantity = parse(unit).quantity
    if quantity == "current":
        return conversion("A", unit)
    if quantity not in PER_WIDTH:
        return None
    if width_um is None:
        return float("nan")
    width = width_um * (1e-6 if PER_WIDTH[quantity] == "A/m" else 1e-3)
    return conversion(PER_WIDTH[quantity], unit) / width


def choose_touchdowns(values: pd.DataFrame, rule: str) -> pd.DataFrame:
    """Mark the value that counts of each die, site, device, parameter and condition.

    'first' and 'last' by the touchdown's number; 'mean' adds a row with touchdown 0 whose value
    is the mean of all and which stands only where every one of them stands; where some lie below
    the floor and some do not, there is no mean.
    """
    values = values.sort_values([*KEY, "touchdown"], ignore_index=True)
    groups = values.groupby(KEY, sort=False)
    values["touchdowns"] = groups["touchdown"].transform("size").astype(np.int32)
    if rule == "mean":
        return _with_means(values)
    pick = groups["touchdown"].transform("min" if rule == "first" else "max")
    values["counts"] = values["touchdown"] == pick
    return values


def _with_means(values: pd.DataFrame) -> pd.DataFrame:
    values["counts"] = values["touchdowns"] == 1
    several = values[values["touchdowns"] > 1]
    if several.empty:
        return values
    means = []
    for _, rows in several.groupby(KEY, sort=False):
        mean = rows.iloc[-1].copy()
        mean["value"] = rows["value"].mean(skipna=False)
        mean["touchdown"], mean["counts"] = 0, True
        below = rows["below_floor"].to_numpy(dtype=bool)
        mean["below_floor"], mean["floor"] = bool(below.all()), rows["floor"].max()
        if below.any() and not below.all():
            mean["value"], mean["no_value"] = np.nan, "touchdowns lie on both sides of the floor"
        elif np.isnan(mean["value"]):
            mean["no_value"] = "a touchdown has no value"
        mean["u_common"] = rows["u_common"].mean(skipna=False)
        mean["u_own"] = float(np.sqrt((rows["u_own"] ** 2).sum(skipna=False))) / len(rows)
        mean["ev_reasons"] = int(np.bitwise_or.reduce(rows["ev_reasons"].to_numpy(np.int64)))
        for name in ("ev_not_closed", "ev_never_verified"):
            mean[name] = bool(rows[name].any()) and mean["ev_reasons"] == 0
        mean["ev_detail"] = "; ".join(sorted({text for text in rows["ev_detail"] if text}))
        means.append(mean)
    table = pd.concat([values, pd.DataFrame(means)], ignore_index=True)
    return table.sort_values([*KEY, "touchdown"], ignore_index=True)


def judged(values: pd.DataFrame, campaign: CampaignRecord) -> pd.DataFrame:
    """Add uncertainty, acceptance limits, outcome and standing to every row.

    Uncertainty: what the calibration and the sweep give, and what the parameter declares, in
    quadrature.

    A row that is there and has no value was measured and could not be determined: it is not
    assessable, for the reason in `no_value`. Uncertainty at a reading below the floor is that at
    the floor.
    """
    rule = DecisionRule(
        campaign.decision.rule, campaign.decision.coverage_factor, campaign.decision.guard_factor
    )
    parts = []
    for parameter in campaign.parameters:
        rows = values[values["parameter"] == parameter.id]
        if len(rows):
            parts.append(_judge_parameter(rows, parameter, rule))
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


def _combined(*parts: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Parts in quadrature; NaN is a part that is not stated, and only where none is stays NaN."""
    squares = np.array(parts, dtype=np.float64) ** 2
    total: npt.NDArray[np.float64] = np.sqrt(np.nansum(squares, axis=0))
    return np.where(np.isnan(squares).all(axis=0), np.nan, total)


def _judge_parameter(rows: pd.DataFrame, parameter: Parameter, rule: DecisionRule) -> pd.DataFrame:
    value = rows["value"].to_numpy(dtype=np.float64)
    below = rows["below_floor"].to_numpy(dtype=bool)
    floor = rows["floor"].to_numpy(dtype=np.float64)
    declared = standard_uncertainty(parameter, np.where(below, floor, value))
    u = _combined(declared, rows["u_common"].to_numpy(), rows["u_own"].to_numpy())
    found: Conformity = decide(value, u, parameter.lower, parameter.upper, rule, below, floor)
    low = -np.inf if parameter.plausible_lower is None else parameter.plausible_lower
    high = np.inf if parameter.plausible_upper is None else parameter.plausible_upper
    return rows.assign(
        unit=parameter.unit,
        u=u,
        expanded_uncertainty=rule.coverage_factor * u,
        lower=np.nan if parameter.lower is None else parameter.lower,
        upper=np.nan if parameter.upper is None else parameter.upper,
        acceptance_lower=found.acceptance_lower,
        acceptance_upper=found.acceptance_upper,
        outcome=np.where(
            np.isnan(value), "not assessable", np.array(OUTCOMES, dtype=object)[found.outcome]
        ),
        outcome_reason=np.where(
            np.isnan(value), rows["no_value"], np.array(REASONS, dtype=object)[found.reason]
        ),
        absurd=(value < low) | (value > high),
    )
