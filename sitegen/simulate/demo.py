"""The demonstration campaign: an invented process on three wafers, with planted faults.

Four days at one station. What is planted, and nothing else:

- LK7-1: an edge ring of high sheet resistance; the inductor of two dies badly contacted.
- LK7-2: tables in the prober's own frame; four dies not measured; the cable of port 2 moved in
  the middle of the wafer, found by a failed verification and followed by a new calibration; one
  line's touchdown without its contact check.
- LK7-3: one transistor touched twice; the last dies measured after the calibration had expired; a
  leakage between the pads of one capacitor.
- All wafers: leakage of the capacitor below the floor on many dies; breakdown not reached on some.
- On the fourth day ten dies of LK7-3 are measured again by three operators, two touchdowns each;
  the third reads resistances higher by 0.4 %.
"""

from datetime import date, datetime

from sitegen.model.simulated import SimulatedCampaign
from sitegen.simulate.campaign import LOCAL, campaign_of
from sitegen.simulate.demo_notes import (
    CAMPAIGN_NOTES,
    CHANGE_NOTE,
    FAILURE_NOTE,
    FRAME_NOTE,
    README,
    RING_NOTE,
)
from sitegen.simulate.layout import grid_of
from sitegen.simulate.scenario import (
    Block,
    CalibrationPlan,
    ControlPlan,
    EdgeRing,
    HotSession,
    OnePortSession,
    Plants,
    PoorTouch,
    Retouched,
    Scenario,
    StudyPlan,
    VerificationPlan,
    WaferPlan,
)
from sitegen.simulate.station import PathChange
from sitegen.simulate.touched_wafer import SWEPT_AT

SEED = 709
DIES = 89
_PERIOD_S = 140.0
_BIAS_DIES = ((0, 0), (2, 1), (-2, 1), (1, -2), (-3, 0))
_HOT_DIES = ((0, 0), (3, 0), (-3, 0), (0, 3), (0, -3), (2, 2), (-2, -2), (-2, 2), (2, -2))
_ONE_PORT_DIES = tuple((x, y) for y in (2, 1, 0, -1) for x in (-3, -1, 0, 1, 3))
_DUMMY_DIE = (0, 4)
_CLEANED_H = 34.68
"""After the cable was tightened, before the new calibration."""
_EXPIRY_H = 61.5
"""Hour at which the third day's calibration expires, counted from the first midnight."""


def demo_campaign() -> SimulatedCampaign:
    """The campaign of `campaigns_demo/lark-7`."""
    return campaign_of(demo_scenario())


def demo_scenario() -> Scenario:
    """What happens in it, and when."""
    return Scenario(
        seed=SEED,
        start=datetime(2026, 4, 21, tzinfo=LOCAL),
        identity=_IDENTITY,
        grid=grid_of(DIES, 150.0),
        wafers=_wafers(),
        calibrations=(
            CalibrationPlan("CAL-1", 7.75, "LRRM", reported=True),
            CalibrationPlan("CAL-2", 13.0, "one-port", repeated="short"),
            CalibrationPlan("CAL-3", 31.75, "LRRM"),
            CalibrationPlan("CAL-4", 34.75, "SOLT", note=CHANGE_NOTE, monte_carlo_draws=200),
            CalibrationPlan("CAL-5", _EXPIRY_H - 5.0, "LRRM", valid_hours=5.0),
        ),
        verifications=(
            VerificationPlan("VER-1", 8.2, "CAL-1"),
            VerificationPlan("VER-2", 12.25, "CAL-1"),
            VerificationPlan("VER-3", 13.6, "CAL-2"),
            VerificationPlan("VER-4", 33.5, "CAL-3"),
            VerificationPlan("VER-5", 34.5, "CAL-3", note=FAILURE_NOTE),
            VerificationPlan("VER-6", 35.0, "CAL-4"),
            VerificationPlan("VER-7", 36.75, "CAL-4"),
            VerificationPlan("VER-8", _EXPIRY_H + 0.15, "CAL-5"),
        ),
        plants=Plants(
            edge_ring=EdgeRing(wafer=0, beyond_mm=60.0, shift_ohm=60.0),
            unmeasured=tuple((1, die) for die in ((-1, 5), (0, 5), (4, -3), (3, -3))),
            retouched=Retouched(wafer=2, die=(1, 1), shift_ohm=6.0),
            cable_change=PathChange(2, 34.0, 34.6, cable_ps=0.28, cable_db=0.4),
            touches=(
                PoorTouch(0, (2, 3), "spiral", ohm=3.4),
                PoorTouch(0, (-4, 1), "spiral", ohm=2.7),
                PoorTouch(1, (-1, -4), "line", unchecked=True),
                PoorTouch(2, (-2, -3), "cap", leakage_a=4e-11),
            ),
        ),
        controls=_controls(),
        cleaned=(_CLEANED_H,),
        studies=(_OPERATORS,),
        declared=_DECLARED,
        changes=_CHANGES,
        notes={"README.md": README, **CAMPAIGN_NOTES},
    )


def _controls() -> tuple[ControlPlan, ...]:
    """The die in the middle of each wafer; on LK7-1 its capacitor as well."""
    times = ((8.42, 12.05), (31.95, 36.6), (58.02, 61.57))
    thresholds = tuple(
        ControlPlan(
            f"threshold-{number + 1}", number, (0, 0), "hemt", "VTH", "transfer", start, end, 0.015
        )
        for number, (start, end) in enumerate(times)
    )
    start, end = times[0]
    step_h = 60 / 3600
    return (
        *thresholds,
        ControlPlan(
            "capacitor", 0, (0, 0), "cap", "C", "unbiased", start + step_h, end + step_h, 3e-15
        ),
    )


def _wafers() -> tuple[WaferPlan, ...]:
    die_h = _PERIOD_S / 3600
    expiry_place = (SWEPT_AT["cap"] + SWEPT_AT["spiral"]) / 2
    third_start = _EXPIRY_H - (DIES - 2 + expiry_place) * die_h
    return (
        WaferPlan(
            "LK7-1",
            3,
            (Block(0, 8.5),),
            _PERIOD_S,
            bias_dies=_BIAS_DIES,
            dummy_die=_DUMMY_DIE,
            hot=HotSession(14.75, _HOT_DIES),
            one_port=OnePortSession(13.2, _ONE_PORT_DIES),
            note=RING_NOTE,
        ),
        WaferPlan(
            "LK7-2",
            4,
            (Block(0, 32.0), Block(36, 33.6), Block(56, 35.25)),
            _PERIOD_S,
            frame="prober",
            bias_dies=_BIAS_DIES,
            dummy_die=_DUMMY_DIE,
            names_calibration=True,
            note=FRAME_NOTE,
        ),
        WaferPlan(
            "LK7-3",
            5,
            (Block(0, third_start),),
            _PERIOD_S,
            bias_dies=_BIAS_DIES,
            dummy_die=_DUMMY_DIE,
        ),
    )


_OPERATORS = StudyPlan(
    id="operators",
    wafer=2,
    turns=(
        ("LK7-3-A", "operator A (invented)", 82.0),
        ("LK7-3-B", "operator B (invented)", 84.0),
        ("LK7-3-C", "operator C (invented)", 86.0),
    ),
    dies=tuple((x, y) for y in (3, 1, -1, -3, -4) for x in (-2, 2)),
    parameters=("RON", "RSH"),
    repeats=2,
    shift=(0.0, 0.0, 0.004),
)
_DECLARED: dict[str, object] = {
    "verdict": {"wafer_least_share": 0.6, "wafer_by": "lower end"},
    "reticle": {"columns": 2, "rows": 2, "origin_die": [0, 0]},
    "pairs": [
        {"x": "RSH", "x_condition": "sheet", "y": "RON", "y_condition": "lin"},
        {"x": "GM", "x_condition": "transfer", "y": "FT", "y_condition": "rf"},
    ],
    "splits": [
        {"id": "plain", "name": "recess etched as usual", "wafers": ["LK7-1", "LK7-2"]},
        {"id": "long-etch", "name": "recess etched 5 % longer", "wafers": ["LK7-3"]},
    ],
}
_CHANGES: dict[str, dict[str, object]] = {
    "VTH": {
        "prior": {
            "mean": -2.60,
            "standard_deviation": 0.03,
            "basis": "earlier lots of the same process (invented)",
        },
        "equivalence_margin": 0.05,
    },
    "RON": {"decision": {"rule": "non-binary"}},
    "RC": {"decision": {"rule": "guarded rejection", "guard_factor": 1.2}},
    "RSH": {"decision": {"rule": "simple", "uncertainty_share_max": 0.25}},
}
"""Decision rules of their own, a prior, a margin."""

_IDENTITY: dict[str, object] = {
    "id": "LARK-7",
    "title": "Lark 7: transistors, passives and contacts on three pilot wafers (simulated)",
    "simulated": True,
    "requested_by": "design engineer of the Lark 7 amplifier (invented)",
    "responsible": "measurement engineer on duty",
    "authorised_by": "head of the wafer laboratory",
    "laboratory": "Wafer laboratory of an institute that does not exist",
    "place": "screened room 2 of the same (invented)",
    "edition": 1,
    "edition_reason": "first edition",
    "issued": date(2026, 4, 24),
}
