"""What touching does: touchdowns and contacts against their bounds, and values against both.

Values are tested for a step where probes were cleaned, and for a course with the number of the
touchdown beside such steps. Dies are touched along a path, so a change in time looks like one in
place: a smooth surface over the wafer is taken out first, of the values and of what they are tested
against, and a change that a plane or a bowl could explain is not claimed. Of a wafer touched row
after row a course can hardly be told; wear that a cleaning ends shows as a step there.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
import pandas as pd
import pyarrow as pa
from scipy.special import ndtri
from scipy.stats import rankdata

from sitegen import addresses
from sitegen.compute.clocks import Times, instant, reference_times
from sitegen.compute.standing import numbers_that_stand
from sitegen.compute.stats.surface import Effect, effect_beside_surface
from sitegen.model.arrays import FloatArray
from sitegen.model.campaign import CampaignRecord, Instrument, Station
from sitegen.model.wafer import WaferRecord
from sitegen.problems import Finding
from sitegen.units import count, quantity

LEVEL = 1e-3
"""Chance that a campaign in which nothing changes shows any step or course: it is shared among all
parameters, wafers and cleanings (Bonferroni). Fixed before any study of planted faults."""
LEAST_SIZE = 1.0
"""Least change that is told, in standard deviations about the surface: what a surface does not
describe is smaller, or seen on the map."""
LEAST_ON_A_SIDE = 8
"""Fewest values before and after a cleaning."""
GROUP = ["wafer", "parameter", "condition", "device", "site"]


@dataclass(frozen=True)
class ContactEffect:
    """A parameter on one wafer, tested against a cleaning or the number of the touchdown."""

    kind: Literal["step", "course"]
    wafer: str
    parameter: str
    condition: str
    site: str
    unit: str
    parts: str
    """Probes that were cleaned; empty for a course."""
    at: datetime | None
    """Of the cleaning."""
    change: float
    """In the parameter's unit: the step, or the change from the fewest to the most touchdowns."""
    in_spreads: float
    """The same in standard deviations about the surface, of normal scores."""
    p_value: float
    n: int


def touchdown_findings(
    judged: pa.Table, record: WaferRecord, campaign: CampaignRecord
) -> tuple[Finding, ...]:
    """Touchdowns of one wafer that failed, pads touched too often, probes beyond their contacts.

    judged: `TOUCHDOWN_RESULT_SCHEMA` of the wafer. The table names no probe, so its count is held
    against the least bound of the probes in the wafer's states, or of the station's without states.
    """
    rows = judged.to_pandas()
    station = next(one for one in campaign.stations if one.id == record.station)
    used = {name for state in record.states for name in state.probes}
    bounds = [
        one.contacts_max
        for one in station.probes
        if one.contacts_max is not None and (not used or one.id in used)
    ]
    pads, contacts = campaign.touchdowns.pad_touchdowns_max, min(bounds, default=None)
    told = []
    for word, kind, happened in (
        ("failed", "contact check failed", "failed a check"),
        ("missing", "contact check missing", "came without a mandatory check"),
    ):
        mine = rows[rows["outcome"] == word]
        if len(mine):
            text = f"{_of(mine, rows)} {happened}, the first on {_die(mine)}"
            told.append((kind, f"{text}: {mine['outcome_reason'].iloc[0]}"))
    if pads is not None and (rows["pad_touchdowns"] > pads).any():
        most = rows.loc[[rows["pad_touchdowns"].idxmax()]]
        told.append(
            (
                "pads touched too often",
                f"{_of(rows[rows['pad_touchdowns'] > pads], rows)} came after the {pads} that a pad"
                f" may have; the pads touched most, on {_die(most)}, have"
                f" {int(most['pad_touchdowns'].iloc[0])}",
            )
        )
    if contacts is not None and (rows["probe_contacts"] > contacts).any():
        told.append(
            (
                "probe beyond its contacts",
                f"{_of(rows[rows['probe_contacts'] > contacts], rows)} came after the"
                f" {contacts} contacts that a probe may make; the last was its contact number"
                f" {int(rows['probe_contacts'].max())}",
            )
        )
    page = addresses.wafer(record.id)
    return tuple(
        Finding(kind, f"wafer {record.id}", f"On wafer {record.id}, {text}.", "attention", page)
        for kind, text in told
    )


def contact_effects(
    results: pd.DataFrame,
    touchdowns: pd.DataFrame,
    campaign: CampaignRecord,
    records: Sequence[WaferRecord],
) -> tuple[ContactEffect, ...]:
    """Every test of a step or a course that the campaign's values allow.

    results: of `RESULT_COLUMNS` wafer, die_x, die_y, x_mm, y_mm, site, device, parameter,
    condition, touchdown, counts, value, below_floor, not_reached, standing, measured_at;
    touchdowns: `TOUCHDOWN_RESULT_COLUMNS` of all wafers, empty where there are none.
    """
    usable = _with_contacts(numbers_that_stand(results), touchdowns)
    by_id = {one.id: one for one in records}
    tests: list[ContactEffect] = []
    for _, rows in usable.groupby(GROUP, sort=True):
        tests += _tests_of(rows, campaign, by_id[str(rows["wafer"].iloc[0])])
    return tuple(tests)


def effect_findings(effects: Sequence[ContactEffect]) -> tuple[Finding, ...]:
    """The effects beyond chance, one finding for each wafer and cleaning, one for its courses."""
    level = LEVEL / max(len(effects), 1)
    clear = [one for one in effects if one.p_value < level and abs(one.in_spreads) >= LEAST_SIZE]
    groups: dict[tuple[str, str, datetime | None], list[ContactEffect]] = {}
    for one in clear:
        groups.setdefault((one.wafer, one.parts, one.at), []).append(one)
    found = []
    for (wafer, parts, at), mine in groups.items():
        mine.sort(key=lambda one: one.p_value)
        listed = ", ".join(_change(one) for one in mine[:5])
        more = f" and {len(mine) - 5} more" if len(mine) > 5 else ""
        if at is None:
            kind, told = "values move with touchdowns", "values move with the touchdowns made"
        else:
            kind = "step at a cleaning"
            told = f"values step where {parts} was cleaned at {at:%Y-%m-%d %H:%M} UTC"
        text = (
            f"On wafer {wafer}, {told}: {listed}{more}. A smooth surface is taken out first; the"
            f" chance level is {LEVEL:g} for {count(len(effects), 'test')} together."
        )
        found.append(Finding(kind, f"wafer {wafer}", text, "attention", addresses.wafer(wafer)))
    return tuple(sorted(found))


def _tests_of(
    rows: pd.DataFrame, campaign: CampaignRecord, record: WaferRecord
) -> Iterable[ContactEffect]:
    """The tests of one parameter and condition at one site of one wafer."""
    station = next(one for one in campaign.stations if one.id == record.station)
    parameter = next(one for one in campaign.parameters if one.id == rows["parameter"].iloc[0])
    named = record.rf_instrument if parameter.kind == "rf" else record.dc_instrument
    clock = next((one for one in station.instruments if one.id == named), None)
    rows, at = _in_time(rows, clock)
    cleanings = _cleanings(station, parameter.kind)
    inside = [
        (moment, parts)
        for moment, parts in cleanings
        if min((at < instant(moment)).sum(), (at >= instant(moment)).sum()) >= LEAST_ON_A_SIDE
    ]
    steps = [(at >= instant(moment)).astype(np.float64) for moment, _ in inside]
    wanted: list[tuple[str, datetime | None, FloatArray, Sequence[FloatArray]]] = [
        (parts, moment, step, []) for (moment, parts), step in zip(inside, steps, strict=True)
    ]
    wanted.append(("", None, _contacts(rows), steps))
    for parts, moment, regressor, beside in wanted:
        effects = _effects(rows, regressor, beside)
        if effects is None:
            continue
        plain, scored = effects
        span = float(np.ptp(regressor))
        yield ContactEffect(
            kind="course" if moment is None else "step",
            wafer=record.id,
            parameter=parameter.id,
            condition=str(rows["condition"].iloc[0]),
            site=str(rows["site"].iloc[0]),
            unit=parameter.unit,
            parts=parts,
            at=moment,
            change=plain.size * span,
            in_spreads=scored.size * span / scored.residual_sd,
            p_value=scored.p_value,
            n=scored.n,
        )


def _effects(
    rows: pd.DataFrame, regressor: FloatArray, beside: Sequence[FloatArray]
) -> tuple[Effect, Effect] | None:
    """Of the values, and of their normal scores: the test is theirs, so that no outlier rules it.

    Scores: the normal quantile of (rank - 1/2) / n (Hájek and Šidák 1967, Theory of Rank Tests;
    quoted from memory).
    """
    values = rows["value"].to_numpy(dtype=np.float64)
    scores = ndtri((rankdata(values) - 0.5) / len(values))
    place = rows["x_mm"].to_numpy(dtype=np.float64), rows["y_mm"].to_numpy(dtype=np.float64)
    plain = effect_beside_surface(values, regressor, *place, beside)
    scored = effect_beside_surface(scores, regressor, *place, beside)
    return None if plain is None or scored is None else (plain, scored)


def _in_time(rows: pd.DataFrame, clock: Instrument | None) -> tuple[pd.DataFrame, Times]:
    at = reference_times(rows["measured_at"].to_numpy("datetime64[us]"), clock)
    order = np.argsort(at, kind="stable")
    return rows.iloc[order], at[order]


def _cleanings(station: Station, kind: str) -> list[tuple[datetime, str]]:
    """Cleanings of a kind of probes in time order, those at one moment together.

    A part that names no probe of the station may have touched any parameter.
    """
    found: dict[datetime, list[str]] = {}
    for one in station.exchanges:
        words = set(one.part.replace(",", " ").split())
        kinds = {probe.kind for probe in station.probes if probe.id in words}
        if one.kind == "cleaned" and (not kinds or kind in kinds):
            found.setdefault(one.at, []).append(one.part)
    return [(at, " and ".join(sorted(parts))) for at, parts in sorted(found.items())]


def _with_contacts(rows: pd.DataFrame, touchdowns: pd.DataFrame) -> pd.DataFrame:
    """Values with the number of their probe's contact, NaN where no touchdown states it."""
    keys = ["wafer", "die_x", "die_y", "site", "touchdown"]
    stated = touchdowns[touchdowns["probe_contacts"].notna()]
    by_place = stated.groupby(keys)["probe_contacts"].max().astype(np.float64).reset_index()
    return rows.drop(columns="probe_contacts", errors="ignore").merge(by_place, how="left", on=keys)


def _contacts(rows: pd.DataFrame) -> FloatArray:
    """Contacts of the probe as stated, else the values counted; rows in time order."""
    number = rows["probe_contacts"].to_numpy(dtype=np.float64)
    return np.arange(len(rows), dtype=np.float64) if np.isnan(number).any() else number


def _change(one: ContactEffect) -> str:
    """'RON at lin by 0.12 Ω (2.4 spreads, 97 values, p = 3e-08)'."""
    site = f" site {one.site}" if one.site else ""
    return (
        f"{one.parameter} at {one.condition}{site} by {quantity(one.change, one.unit)}"
        f" ({abs(one.in_spreads):.1f} times the spread, {count(one.n, 'value')},"
        f" p = {one.p_value:.0e})"
    )


def _of(some: pd.DataFrame, rows: pd.DataFrame) -> str:
    return f"{len(some)} of {count(len(rows), 'touchdown')}"


def _die(rows: pd.DataFrame) -> str:
    return f"die ({rows['die_x'].iloc[0]}, {rows['die_y'].iloc[0]})"
