"""From a scenario to a campaign's portions, and the plain scenario of any size."""

from datetime import datetime, timedelta, timezone
from functools import partial

from sitegen.model.simulated import Portion, SimulatedCampaign
from sitegen.simulate.devices_declared import CURVES, DEVICES
from sitegen.simulate.events import calibration_portion, verification_portion
from sitegen.simulate.layout import grid_of
from sitegen.simulate.parameters import PARAMETERS
from sitegen.simulate.scenario import (
    Block,
    CalibrationPlan,
    Plants,
    Scenario,
    VerificationPlan,
    WaferPlan,
)
from sitegen.simulate.set_points import SET_POINTS
from sitegen.simulate.station import Analyser, usual_analyser
from sitegen.simulate.station_records import CONTACT_RESISTANCE_MAX_OHM, station_record
from sitegen.simulate.study import study_portion, study_record
from sitegen.simulate.touchdown_table import CHECKS, PAD_TOUCHDOWNS_MAX
from sitegen.simulate.touched_wafer import TouchedWafer
from sitegen.simulate.wafers import wafer_portion

LOCAL = timezone(timedelta(hours=2))
FIRST_DAY = datetime(2026, 4, 21, 0, 0, tzinfo=LOCAL)
_SLOTS_H = (8.0, 14.0)
"""Hours of the day at which the plain scenario's calibrations are made, one a wafer."""
_LONGEST_WAFER_H = 4.0
HANDOVER: dict[str, object] = {
    "parameter": "FT",
    "condition": "rf",
    "devices": ["hemt", "cap", "spiral", "line"],
}


def _agreement(
    id: str, physics: str, first: tuple[str, str], second: tuple[str, str], allowance: float
) -> dict[str, object]:
    return {
        "id": id,
        "physics": physics,
        "first": dict(zip(("parameter", "condition"), first, strict=True)),
        "second": dict(zip(("parameter", "condition"), second, strict=True)),
        "allowance": allowance,
    }


AGREEMENTS = (
    _agreement("gm-both-ways", "transconductance at the low end", ("GMRF", "rf"),
               ("GMQ", "transfer"), 2e-4),
    _agreement("inductor-resistance", "low-frequency resistance", ("RLF", "unbiased"),
               ("RDC", "sheet"), 0.02),
    _agreement("operating-current", "operating current", ("IDRF", "rf"), ("IQ", "transfer"), 0.0),
)  # fmt: skip


def simulate_campaign(
    wafers: int, dies: int, seed: int, plants: Plants | None = None
) -> SimulatedCampaign:
    """A campaign of `wafers` wafers with exactly `dies` planned dies each.

    Two wafers a day; each has a calibration of its own, LRRM and SOLT in turn, verified before
    and after. Without a wafer only the campaign's own record is there. The same arguments give
    the same content. Raises ValueError for a negative number of wafers, less than one die, or a
    negative seed.
    """
    if wafers < 0 or dies < 1 or seed < 0:
        raise ValueError("wafers and seed must be at least 0, dies at least 1")
    return campaign_of(_plain_scenario(wafers, dies, seed, plants or Plants()))


def campaign_of(scenario: Scenario) -> SimulatedCampaign:
    """Every portion of a scenario, each made anew whenever it is asked for."""
    analyser = analyser_of(scenario)
    return SimulatedCampaign(
        (
            partial(_campaign_portion, scenario),
            *(
                partial(calibration_portion, scenario, number, analyser)
                for number in range(len(scenario.calibrations))
            ),
            *(
                partial(verification_portion, scenario, number, analyser)
                for number in range(len(scenario.verifications))
            ),
            *(
                partial(_wafer_portion, scenario, number, analyser)
                for number in range(len(scenario.wafers))
            ),
            *(
                partial(study_portion, scenario, study, turn)
                for study in scenario.studies
                for turn in range(len(study.turns))
            ),
        )
    )


def analyser_of(scenario: Scenario) -> Analyser:
    """The analyser of a scenario, with its planted change."""
    change = scenario.plants.cable_change
    return usual_analyser((scenario.seed, 1), () if change is None else (change,))


def _wafer_portion(scenario: Scenario, number: int, analyser: Analyser) -> Portion:
    return wafer_portion(TouchedWafer(scenario, number, analyser))


def _campaign_portion(scenario: Scenario) -> Portion:
    return Portion(
        folder="",
        record_file="campaign.toml",
        record={
            "campaign": scenario.identity,
            "decision": {"rule": "guarded", "coverage_factor": 2.0, "guard_factor": 1.0},
            "touchdowns": {
                "counts": "last",
                "contact_resistance_max_ohm": CONTACT_RESISTANCE_MAX_OHM,
                "checks": [dict(one) for one in CHECKS],
                "pad_touchdowns_max": PAD_TOUCHDOWNS_MAX,
            },
            "layout": {**scenario.grid.record(), **_reticle(scenario)},
            "plan": {"wafers": _planned(scenario)},
            "handover": dict(HANDOVER),
            "stations": [_station(scenario)],
            "conditions": [one.record() for one in SET_POINTS],
            "devices": [dict(one) for one in DEVICES],
            "curves": [dict(one) for one in CURVES],
            "parameters": [
                {**one.record(), **scenario.changes.get(one.id, {})} for one in PARAMETERS
            ],
            **_trust(scenario),
            **_statistics(scenario),
        },
        notes=scenario.notes,
    )


def _planned(scenario: Scenario) -> list[dict[str, object]]:
    """Every wafer with its dies, those of studies included."""
    grid = scenario.grid
    every: object = "all" if grid.complete else [list(die) for die in grid.dies]
    planned = [(plan.id, every) for plan in scenario.wafers]
    for study in scenario.studies:
        planned += [(name, [list(die) for die in study.dies]) for name, _, _ in study.turns]
    return [{"id": name, "dies": dies} for name, dies in planned]


def _reticle(scenario: Scenario) -> dict[str, object]:
    return {"reticle": scenario.declared["reticle"]} if "reticle" in scenario.declared else {}


def _statistics(scenario: Scenario) -> dict[str, object]:
    """Verdict, pairs, splits and studies, where the scenario has them."""
    found = {name: said for name, said in scenario.declared.items() if name != "reticle"}
    if scenario.studies:
        found["studies"] = [study_record(study) for study in scenario.studies]
    return found


def _station(scenario: Scenario) -> dict[str, object]:
    """The station's entry, with what was cleaned."""
    record = station_record(scenario.start.date())
    if scenario.cleaned:
        record["exchanges"] = [
            {
                "at": scenario.time(hours),
                "part": "tips of both RF probes",
                "description": "brushed on the cleaning pad",
                "kind": "cleaned",
            }
            for hours in scenario.cleaned
        ]
    return record


def _trust(scenario: Scenario) -> dict[str, object]:
    """What must agree, and the control dies where there are any."""
    found: dict[str, object] = {"agreements": [dict(one) for one in AGREEMENTS]}
    if scenario.controls:
        found["controls"] = [
            {
                "id": one.id,
                "wafer": scenario.wafers[one.wafer].id,
                "die": list(one.die),
                "parameter": one.parameter,
                "condition": one.condition,
                "bound": one.bound,
            }
            for one in scenario.controls
        ]
    return found


def _plain_scenario(wafers: int, dies: int, seed: int, plants: Plants) -> Scenario:
    grid = grid_of(dies)
    width = max(2, len(str(wafers)))
    period_s = min(120.0, _LONGEST_WAFER_H * 3600 / dies)
    plans, calibrations, verifications = [], [], []
    for number in range(wafers):
        name = f"{number + 1:0{width}d}"
        at = 24.0 * (number // len(_SLOTS_H)) + _SLOTS_H[number % len(_SLOTS_H)]
        start = at + 0.5
        end = start + dies * period_s / 3600
        calibrations.append(CalibrationPlan(f"CAL-{name}", at, "SOLT" if number % 2 else "LRRM"))
        for suffix, moment in (("A", at + 0.3), ("B", end + 0.1)):
            verifications.append(VerificationPlan(f"VER-{name}{suffix}", moment, f"CAL-{name}"))
        plans.append(WaferPlan(f"W{name}", number % 25 + 1, (Block(0, start),), period_s,
                               bias_dies=grid.dies[:1]))  # fmt: skip
    identity: dict[str, object] = {
        "id": f"SIM-{wafers}x{dies}-{seed}",
        "title": f"Simulated campaign of {wafers} x {dies} dies, seed {seed}",
        "simulated": True,
        "requested_by": "design engineer",
        "responsible": "measurement engineer on duty",
        "authorised_by": "head of the laboratory",
        "laboratory": "a laboratory that does not exist",
        "place": "nowhere: simulated",
        "edition": 1,
        "edition_reason": "first edition",
        "issued": (FIRST_DAY + timedelta(days=(wafers + 1) // 2)).date(),
    }
    return Scenario(
        seed, FIRST_DAY, identity, grid, tuple(plans), tuple(calibrations), tuple(verifications),
        plants,
    )  # fmt: skip
