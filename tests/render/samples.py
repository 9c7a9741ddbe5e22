"""Small hand-made results with realistic content, odd cases included, to render pages from."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa

from sitegen import addresses
from sitegen.model.calibration import (
    CalibrationRecord,
    LoadDefinition,
    Offset,
    OpenDefinition,
    RawSweep,
    ShortDefinition,
    Substrate,
    ThruDefinition,
    Validity,
)
from sitegen.model.campaign import (
    CampaignRecord,
    Condition,
    Floor,
    Identity,
    Instrument,
    Layout,
    Parameter,
    Part,
    Probe,
    Station,
    Touchdowns,
    UncertaintySource,
)
from sitegen.model.decision import Decision
from sitegen.model.device import Device
from sitegen.model.event_results import (
    CalibrationResult,
    Check,
    MaskResult,
    StructureResult,
    Term,
    VerificationResult,
)
from sitegen.model.loaded import Note, SourceFile
from sitegen.model.plan import Plan, PlannedWafer
from sitegen.model.result_tables import DIE_COLUMNS, RESULT_COLUMNS
from sitegen.model.results import (
    CalibrationUse,
    CampaignContext,
    CampaignResults,
    Drawing,
    ParameterResult,
    Span,
    StationRecord,
    Summary,
    TableFile,
    TraceGroup,
    WaferResults,
    WaferSummary,
)
from sitegen.model.schemas import schema_of
from sitegen.model.station_state import StationState
from sitegen.model.verification import LineModel, Mask, Structure, VerificationRecord
from sitegen.model.wafer import Thermal, WaferRecord
from sitegen.problems import Fault, Finding
from sitegen.render.page import FrameArt

DAY = datetime(2026, 4, 21, 6, 0, tzinfo=UTC)

IDENTITY = Identity(
    id="INVENTED-1",
    title="An invented campaign <with markup>",
    simulated=True,
    requested_by="design & test",
    responsible="engineer on duty",
    authorised_by="head of laboratory",
    laboratory="Laboratory that does not exist",
    place="nowhere",
    edition=2,
    edition_reason="a limit was corrected",
    issued=date(2026, 4, 24),
)
STATION = Station(
    id="PS-A",
    name="probe station A",
    place="room 2",
    instruments=(
        Instrument(
            id="VNA-A",
            kind="vna",
            model="invented analyser",
            serial_number="N-1",
            certificate="C-1",
            due=date(2027, 1, 31),
            clock_offset_s=1.2,
            clock_offset_u_s=0.3,
        ),
    ),
    probes=(Probe(id="RF-1", kind="rf", port=1, pitch_um=100.0, serial_number="P-1"),),
    cables=(Part(id="CBL-1", description="cable of port 1"),),
    floors=(
        Floor(
            instrument="VNA-A",
            range="100 nA",
            path="triaxial",
            floor_a=6e-12,
            measured_on=date(2026, 4, 21),
            basis="three times the spread",
        ),
    ),
)
STATE = StationState(
    source_power_dbm=-20.0, attenuator_db=10.0, if_bandwidth_hz=300.0, probes=("RF-1",)
)
LAYOUT = Layout(
    diameter_mm=100.0,
    orientation_mark="notch",
    orientation_mark_angle_deg=270.0,
    die_pitch_x_mm=8.0,
    die_pitch_y_mm=8.0,
    x_increases="right",
    y_increases="up",
    origin_die=(0, 0),
    origin_die_center_x_mm=0.0,
    origin_die_center_y_mm=0.0,
    edge_exclusion_mm=3.0,
)
CONDITIONS = (
    Condition(id="room", description="saturation", temperature_c=25.0, bias={"vds_v": 1.2}),
    Condition(id="hot", description="saturation, hot", temperature_c=85.0, bias={"vds_v": 1.2}),
    Condition(id="bv", description="breakdown", temperature_c=25.0, bias={"vds_v": 120.0}),
)
VTH = Parameter(
    id="VTH",
    symbol="V_th",
    name="threshold voltage",
    unit="V",
    kind="dc",
    device="hemt",
    conditions=("room", "hot"),
    lower=-2.7,
    upper=-2.5,
    uncertainty=(UncertaintySource(source="source-measure unit", absolute=0.002),),
)
H21 = Parameter(
    id="H21",
    symbol="|h_21|",
    name="current gain",
    unit="dB",
    kind="rf",
    device="hemt",
    conditions=("room",),
    lower=16.0,
)
BV = Parameter(
    id="BV",
    symbol="V_br",
    name="breakdown voltage",
    unit="V",
    kind="dc",
    device="hemt",
    conditions=("bv",),
)
DEVICE = Device(id="hemt", name="transistor", kind="transistor")


def campaign_record(**changes: Any) -> CampaignRecord:
    """A campaign's record; changes replace its fields."""
    fields: dict[str, Any] = {
        "campaign": IDENTITY,
        "stations": (STATION,),
        "layout": LAYOUT,
        "conditions": CONDITIONS,
        "devices": (DEVICE,),
        "parameters": (VTH, H21, BV),
        "decision": Decision(rule="guarded"),
        "touchdowns": Touchdowns(counts="last", contact_resistance_max_ohm=1.5),
        "plan": Plan(wafers=(PlannedWafer(id="W1"),)),
    }
    return CampaignRecord(**{**fields, **changes})


def wafer_record(name: str = "W1", set_point_c: float = 25.0) -> WaferRecord:
    """A wafer's record."""
    return WaferRecord(
        id=name,
        identity_read=f"{name}-AB",
        lot="LOT-7",
        slot=3,
        station="PS-A",
        by="engineer on duty",
        started=DAY + timedelta(hours=1),
        finished=DAY + timedelta(hours=4),
        ambient_c=22.3,
        rf_instrument="VNA-A",
        thermal=(
            Thermal(
                set_point_c=set_point_c,
                chuck_reading_c=set_point_c,
                surface_correction_c=-0.4,
                surface_correction_u_c=0.1,
                soak_s=600.0,
            ),
        ),
    )


def summary(**changes: Any) -> Summary:
    """A summary of values around −2.6 V."""
    fields: dict[str, Any] = {
        "n": 8,
        "missing": 1,
        "without_standing": 0,
        "not_closed": 0,
        "below_floor": 0,
        "highest_floor": None,
        "mean": -2.6,
        "standard_deviation": 0.04,
        "median": -2.605,
        "robust_spread": 0.041,
        "q05": -2.67,
        "q25": -2.63,
        "q75": -2.57,
        "q95": -2.54,
        "minimum": -2.68,
        "maximum": -2.53,
        "below": (),
    }
    return Summary(**{**fields, **changes})


def parameter_result(parameter: str, condition: str, wafer: str = "") -> ParameterResult:
    """A parameter's result with zones and outcomes."""
    return ParameterResult(
        parameter=parameter,
        condition=condition,
        wafer=wafer,
        summary=summary(),
        zones={zone: summary(n=3, missing=0) for zone in ("centre", "middle", "edge")},
        outcomes={"within": 7, "outside": 1},
    )


def wafer_summary(name: str = "W1", **changes: Any) -> WaferSummary:
    """A wafer in counts."""
    fields: dict[str, Any] = {
        "wafer": name,
        "planned": 9,
        "measured": 8,
        "outcomes": {"within": 6, "outside": 1, "not assessable": 1, "not measured": 1},
        "conforming": 6,
        "assessable": 7,
        "outside_besides": 0,
        "yield_lower": 0.487,
        "yield_upper": 0.974,
        "values": 24,
        "values_without_standing": 2,
        "values_not_closed": 1,
        "values_never_verified": 0,
        "values_below_floor": 0,
        "standing_reasons": {"expired by time": 2},
        "calibrations": {"CAL-1": 8},
        "outside_dies": {"VTH": ((1, 0),)},
        "unassessable": {"the frequency lies outside the sweep": 1},
        "missing_dies": {"VTH": ((2, 0),)},
        "unmeasured_dies": ((-1, 0),),
        "touchdown_changes": 1,
        "touchdowns_that_matter": ("VTH on die (1, 0)",),
        "typical_die": (0, 0),
        "parameters": (
            parameter_result("VTH", "room", name),
            parameter_result("H21", "room", name),
        ),
        "started": DAY + timedelta(hours=1),
        "finished": DAY + timedelta(hours=4),
    }
    return WaferSummary(**{**fields, **changes})


def context(record: CampaignRecord | None = None, **changes: Any) -> CampaignContext:
    """The campaign's context with two wafers."""
    fields: dict[str, Any] = {
        "record": record or campaign_record(),
        "version": "0.0",
        "wafers": ("W1", "W2"),
        "parameters": (parameter_result("VTH", "room"),),
        "ranges": {},
        "calibrations": {"CAL-1": "usable"},
        "downloads": {"data/results.csv": 9_900, "data/sweeps-W1.parquet": 1_200_000},
    }
    return CampaignContext(**{**fields, **changes})


VALUE: dict[str, Any] = {
    "wafer": "W1",
    "die_x": 0,
    "die_y": 0,
    "x_mm": 0.0,
    "y_mm": 0.0,
    "zone": "centre",
    "site": "",
    "device": "hemt",
    "parameter": "VTH",
    "condition": "room",
    "touchdown": 1,
    "touchdowns": 1,
    "counts": True,
    "value": -2.6002,
    "unit": "V",
    "u": 0.002,
    "expanded_uncertainty": 0.004,
    "floor": None,
    "below_floor": False,
    "lower": -2.7,
    "upper": -2.5,
    "acceptance_lower": -2.696,
    "acceptance_upper": -2.504,
    "outcome": "within",
    "outcome_reason": None,
    "standing": "stands",
    "standing_reasons": "",
    "standing_detail": "",
    "calibration": None,
    "calibration_basis": None,
    "measured_at": DAY + timedelta(hours=2),
    "temperature_c": 25.0,
    "bias": "vds_v=1.2",
    "absurd": False,
    "file": "wafers/W1/values.parquet",
}
"""A value that is within its limits and stands."""

DIE: dict[str, Any] = {
    "wafer": "W1",
    "die_x": 0,
    "die_y": 0,
    "x_mm": 0.0,
    "y_mm": 0.0,
    "zone": "centre",
    "full": True,
    "planned": True,
    "outcome": "within",
    "judged": True,
    "reason": "",
    "measured": 1,
    "missing": 0,
    "outside": 0,
    "not_proven": 0,
    "not_refuted": 0,
    "conforming": False,
    "without_standing": 0,
    "not_closed": 0,
}
"""A die that is within."""


def values(*changes: Mapping[str, Any]) -> pa.Table:
    """A table of results, one row for each set of changes."""
    return pa.Table.from_pylist([{**VALUE, **each} for each in changes], schema_of(RESULT_COLUMNS))


def dies(*changes: Mapping[str, Any]) -> pa.Table:
    """A table of dies, one row for each set of changes."""
    return pa.Table.from_pylist([{**DIE, **each} for each in changes], schema_of(DIE_COLUMNS))


ODD_VALUES: tuple[dict[str, Any], ...] = (
    {},
    {"parameter": "VTH", "condition": "hot", "value": -2.45, "outcome": "outside"},
    {
        "parameter": "H21",
        "value": 17.6,
        "expanded_uncertainty": None,
        "lower": 16.0,
        "upper": None,
        "outcome": "not assessable",
        "outcome_reason": "no uncertainty stated for a guarded rule",
        "standing": "without standing",
        "standing_reasons": "expired by time; different state",
        "standing_detail": "expired by time: 9.1 h after CAL-1; different state: attenuator",
        "calibration": "CAL-1",
    },
    {
        "parameter": "BV",
        "condition": "bv",
        "value": 3.1e-12,
        "unit": "V",
        "floor": 6e-12,
        "below_floor": True,
        "lower": None,
        "upper": None,
        "outcome": "no limits",
        "standing": "not closed",
    },
    {"die_x": 1, "touchdown": 1, "touchdowns": 2, "counts": False, "value": -2.2, "absurd": True},
    {"die_x": 1, "touchdown": 2, "touchdowns": 2, "value": -2.503, "outcome": "not proven"},
    {
        "die_x": 1,
        "parameter": "H21",
        "value": None,
        "unit": "dB",
        "expanded_uncertainty": None,
        "lower": 16.0,
        "upper": None,
        "outcome": "not assessable",
        "outcome_reason": "the frequency lies outside the sweep",
        "calibration": "CAL-1",
        "calibration_basis": "named by the value",
    },
    {"die_x": 2, "value": None, "outcome": "not measured", "touchdown": None, "touchdowns": 0},
)
"""Values of three dies: every outcome and standing, a repeated touchdown, one below its floor, one
of which no number could be determined."""

ODD_DIES: tuple[dict[str, Any], ...] = (
    {
        "outcome": "outside",
        "judged": False,
        "outside": 1,
        "without_standing": 1,
        "not_closed": 1,
    },
    {"die_x": 1, "outcome": "not assessable", "judged": False, "not_proven": 1, "measured": 2},
    {"die_x": 2, "outcome": "not measured", "judged": False, "measured": 0},
    {
        "die_x": 3,
        "outcome": "not measured",
        "judged": False,
        "measured": 0,
        "planned": False,
        "full": False,
    },
)


def trace_group(keys: Sequence[Mapping[str, Any]] = ({"die_x": 0},)) -> TraceGroup:
    """Sweeps of one device at three frequencies."""
    base = {
        "die_x": 0,
        "die_y": 0,
        "touchdown": 1,
        "calibration": "CAL-1",
        "standing": "stands",
        "standing_reasons": "",
        "standing_detail": "",
    }
    return TraceGroup(
        device="hemt",
        condition="room",
        frequency_hz=np.array([1e9, 10e9, 100e9]),
        keys=pa.Table.from_pylist([{**base, **each} for each in keys]),
        s=np.zeros((len(keys), 3, 2, 2), np.complex128),
    )


def frame(rows: int = 1) -> FrameArt:
    """A frame with a curve in two pieces for each sweep."""
    return FrameArt(
        address=addresses.frame("W1", "hemt", "room", "s21_db"),
        title="|S21| of transistor",
        description="Median and band.",
        width=480,
        height=300,
        left=58,
        top=26,
        plot_width=408,
        plot_height=230,
        group=0,
        y_title="|S21| / dB",
        polylines=[("0,100 200,300", "300,400 4080,2300")] * rows,
        x_lower=0.0,
        x_upper=110e9,
        x_logarithmic=False,
        y_lower=-10.0,
        y_upper=15.0,
        unit="dB",
    )


def drawing(address: str, title: str = "A drawing") -> Drawing:
    """A drawing that holds one circle, with a style of its own."""
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" class="drawing" viewBox="0 0 10 10">'
        f"<title>{title}</title><style>.x{{fill:red}}</style><circle r='1'/></svg>"
    )
    return Drawing(address, title, "What it shows", svg, 200, 100)


def wafer_results(**changes: Any) -> WaferResults:
    """A wafer with the odd values and dies, and one trace."""
    fields: dict[str, Any] = {
        "summary": wafer_summary(),
        "results": values(*ODD_VALUES),
        "dies": dies(*ODD_DIES),
        "traces": (trace_group(),),
        "faults": (),
        "findings": (),
    }
    return WaferResults(**{**fields, **changes})


def calibration_record(name: str = "CAL-1") -> CalibrationRecord:
    """A calibration's record."""
    return CalibrationRecord(
        id=name,
        station="PS-A",
        instrument="VNA-A",
        at=DAY,
        by="engineer on duty",
        method="SOLT",
        reference_impedance_ohm=50.0,
        reference_plane="probe tips",
        wave_definition="power",
        frequency_start_hz=1e9,
        frequency_stop_hz=100e9,
        frequency_points=3,
        averaging=4,
        ambient_c=22.3,
        substrate_c=23.1,
        overtravel_um=50.0,
        probe_spacing_um=150.0,
        state=STATE,
        substrate=Substrate(
            serial_number="CS-1",
            standard_set="row 3",
            contacts=30,
            contacts_max=500,
            definitions_source="maker's data",
            definitions_version="2",
        ),
        definitions={
            "short": ShortDefinition(kind="short", inductance_ph=(3.3,)),
            "open": OpenDefinition(
                kind="open", capacitance_ff=(-6.0, 0.1), offset=Offset(delay_ps=1.0)
            ),
            "load": LoadDefinition(kind="load", resistance_ohm=50.0),
            "thru": ThruDefinition(kind="thru", delay_ps=1.0),
        },
        sweeps=(
            RawSweep(file="short.s2p", repeats=("short-2.s2p",), port_1="short", port_2="short"),
            RawSweep(file="thru.s2p", between="thru"),
        ),
        validity=Validity(hours=8.0, ambient_change_c=1.5, substrate_change_c=2.0),
    )


def calibration_result(name: str = "CAL-1", **changes: Any) -> CalibrationResult:
    """A usable calibration with two error terms, one of them not determined somewhere."""
    fields: dict[str, Any] = {
        "record": calibration_record(name),
        "frequency_hz": np.array([1e9, 10e9, 100e9]),
        "terms": (
            Term("directivity, port 1", "ED", np.array([0.01 + 0j, 0.1j, np.nan + 0j])),
            Term("isolation", "EX", np.zeros(3, np.complex128)),
        ),
        "reported": (),
        "checks": (
            Check("repeatability", 2e-4, "1", None, 2e-3, True, "3 raw sweeps."),
            Check("fitted load inductance", 4.6e-12, "H", 0.0, 12e-12, True, "Load at port 1."),
            Check("contacts of this set of standards", 12.0, "1", None, 500.0, True, "Set 3."),
            Check("frequencies determined", 1.0, "1", None, None, None, "Redundancy 2."),
        ),
        "notes": ("isolation was not measured and is taken as zero",),
        "unsolved": "",
        "outcome": "usable",
        "made_at": DAY,
        "expires_at": DAY + timedelta(hours=8),
    }
    return CalibrationResult(**{**fields, **changes})


def verification_result(name: str = "VER-1", **changes: Any) -> VerificationResult:
    """A failed verification of one structure under two masks."""
    structure = Structure(
        id="line",
        description="line of 7 ps",
        file="line.s2p",
        sweep="raw",
        reference=LineModel(kind="line", delay_ps=7.0),
        masks=(
            Mask(parameter="s21", quantity="complex deviation", points=((1e9, 0.05),)),
            Mask(parameter="s11", quantity="magnitude db", points=((1e9, 0.1),)),
        ),
    )
    masks = (
        MaskResult(
            mask=structure.masks[0],
            frequency_hz=np.array([1e9, 10e9, 100e9]),
            deviation=np.array([0.01, 0.1, np.nan]),
            limit=np.array([0.05, 0.05, np.nan]),
            outcome="failed",
            reason="",
            worst_ratio=2.0,
            worst_margin=-0.05,
            worst_frequency_hz=10e9,
            points_judged=2,
            points_outside_mask=1,
        ),
        MaskResult(
            mask=structure.masks[1],
            frequency_hz=np.array([1e9]),
            deviation=np.array([np.nan]),
            limit=np.array([np.nan]),
            outcome="not assessable",
            reason="no frequency of the sweep lies inside the mask",
            worst_ratio=None,
            worst_margin=None,
            worst_frequency_hz=None,
            points_judged=0,
            points_outside_mask=1,
        ),
    )
    fields: dict[str, Any] = {
        "record": VerificationRecord(
            id=name,
            station="PS-A",
            instrument="VNA-A",
            calibration="CAL-1",
            at=DAY + timedelta(hours=5),
            by="engineer on duty",
            ambient_c=22.4,
            state=STATE,
            structures=(structure,),
        ),
        "structures": (StructureResult(structure, masks, "failed", ""),),
        "outcome": "failed",
        "reason": "line failed",
        "made_at": DAY + timedelta(hours=5),
    }
    return VerificationResult(**{**fields, **changes})


def calibration_use(**changes: Any) -> CalibrationUse:
    """A calibration on which values of two dies stand, and from which a verification took two."""
    fields: dict[str, Any] = {
        "values_standing": 8,
        "values_not_closed": 1,
        "values_lost": 3,
        "lost_reasons": {"expired by time": 1, "verification failed": 2},
        "dies_standing": {"W1": ((0, 0), (-1, 2))},
        "dies_lost": {"W1": ((1, 0),), "W2": ((0, 0),)},
        "failed_by": "VER-1",
        "stands_until": DAY + timedelta(hours=1, seconds=4),
        "lost_to_it": 2,
    }
    return CalibrationUse(**{**fields, **changes})


UNUSED = CalibrationUse(0, 0, 0, {}, {}, {}, "", None, 0)
"""Of a calibration that nothing refers to."""


STATION_RECORD = StationRecord(
    "PS-A",
    (
        Span(
            "calibration",
            "CAL-1",
            DAY,
            DAY + timedelta(hours=8),
            "usable",
            addresses.calibration("CAL-1"),
        ),
        Span(
            "verification",
            "VER-1",
            DAY + timedelta(hours=5),
            DAY + timedelta(hours=5),
            "failed",
            addresses.verification("VER-1"),
        ),
        Span(
            "wafer",
            "W1",
            DAY + timedelta(hours=1),
            DAY + timedelta(hours=4),
            "8 dies",
            addresses.wafer("W1"),
        ),
        Span(
            "nothing stood",
            "W1",
            DAY + timedelta(hours=8),
            DAY + timedelta(hours=9),
            "no calibration in force",
            addresses.wafer("W1"),
        ),
    ),
)
FINDINGS = (
    Finding(
        "without standing",
        "wafer W1",
        "Two values on wafer W1 have no standing.",
        "decision",
        addresses.wafer("W1"),
    ),
    Finding(
        "below the floor", "wafer W1", "One value lies below the floor.", "note", addresses.HOME
    ),
)
FAULTS = (
    Fault(
        "wafers/W1/values.parquet",
        "column value, row 3",
        "<NaN>",
        "a number",
        "Leave the row out.",
        count=3,
    ),
)
TABLES = (
    TableFile(
        "results",
        "Every value.",
        24,
        (("value", "double", "measured value in 'unit'"),),
        ((addresses.table("results", "parquet"), 12_345), (addresses.table("results", "csv"), 99)),
    ),
)


def campaign_results(**changes: Any) -> CampaignResults:
    """A campaign with two wafers, one calibration and a failed verification."""
    fields: dict[str, Any] = {
        "context": context(),
        "calibrations": (calibration_result(),),
        "verifications": (verification_result(),),
        "stations": (STATION_RECORD,),
        "uses": {"CAL-1": calibration_use()},
        "wafer_records": (wafer_record("W1"), wafer_record("W2", 85.0)),
        "wafers": (wafer_summary("W1"), wafer_summary("W2", values_without_standing=0)),
        "parameters": tuple(
            parameter_result(parameter, condition, wafer)
            for parameter, condition in (("VTH", "room"), ("VTH", "hot"), ("H21", "room"))
            for wafer in ("", "W1", "W2")
        ),
        "notes": (
            Note("notes/scope.md", "campaign", "# Scope\n\nNothing <b>real</b>."),
            Note("calibrations/CAL-1/note.md", "calibration CAL-1", "A note."),
        ),
        "sources": (SourceFile("calibrations/CAL-1/record.toml", "ab" * 32, 1234),),
        "faults": FAULTS,
        "findings": FINDINGS,
        "tables": TABLES,
    }
    return CampaignResults(**{**fields, **changes})


def nothing_measured() -> CampaignResults:
    """A campaign whose folder holds a campaign.toml and nothing else."""
    record = campaign_record(parameters=(), conditions=(), devices=(), plan=Plan())
    return replace(
        campaign_results(),
        context=context(record, wafers=(), parameters=(), calibrations={}),
        calibrations=(),
        verifications=(),
        stations=(StationRecord("PS-A", ()),),
        uses={},
        wafer_records=(),
        wafers=(),
        parameters=(),
        notes=(),
        sources=(),
        faults=(),
        findings=(),
        tables=(),
    )
