"""An example for every field of every record, for the reference, the schemas and new records.

The examples of one campaign belong together: names that refer to something are those of the
example that they refer to. A field that holds records has the example of that record.
"""

import typing
from collections.abc import Iterator, Mapping, Sequence

from pydantic import BaseModel

from sitegen.model.examples_of_campaign import DECLARED, RULES, STATIONS, Examples
from sitegen.model.examples_of_events import ACCEPTANCES, CALIBRATIONS, VERIFICATIONS
from sitegen.model.examples_of_wafers import MAPPINGS, WAFERS

EXAMPLES: Examples = {
    **STATIONS,
    **DECLARED,
    **RULES,
    **CALIBRATIONS,
    **VERIFICATIONS,
    **ACCEPTANCES,
    **WAFERS,
    **MAPPINGS,
}
"""Of each field that holds no record, and of those whose record needs more than one."""

SHOWN: Mapping[str, tuple[str, ...]] = {
    "CampaignRecord": (
        *("layout", "conditions", "devices", "curves", "parameters", "controls", "agreements"),
        *("handover", "verdict", "pairs", "splits", "studies", "stresses", "plan"),
    ),
    "Identity": ("issued",),
    "Station": (
        *("hazards", "probes", "cables", "switch_paths", "bias_tees", "floors", "accuracies"),
        "exchanges",
    ),
    "Instrument": ("due", "clock_offset_s", "clock_offset_u_s"),
    "Probe": ("port", "pitch_um", "contacts_max"),
    "Part": ("serial_number",),
    "Floor": ("floor_a",),
    "Layout": ("reticle",),
    "Condition": ("temperature_tolerance_c", "bias"),
    "Device": ("width_um", "deembedding"),
    "Deembedding": ("open", "short", "upper_hz"),
    "Curve": ("stepped",),
    "Parameter": ("lower", "upper", "target", "uncertainty", "from_curve"),
    "UncertaintySource": ("absolute",),
    "FromSweep": ("frequency_hz",),
    "FromCurve": ("stepped_at", "current_a"),
    "Decision": ("coverage_factor", "guard_factor", "uncertainty_share_max"),
    "Verdict": ("wafer_least_share",),
    "Control": ("reference",),
    "Handover": ("devices",),
    "Touchdowns": ("contact_resistance_max_ohm", "pad_touchdowns_max", "checks"),
    "ContactCheck": ("upper",),
    "Plan": ("wafers",),
    "PlannedWafer": ("dies",),
    "CalibrationRecord": (
        *("averaging", "substrate_c", "overtravel_um", "probe_spacing_um"),
        *("probe_use", "uncertainty", "switch_terms", "bounds"),
    ),
    "StationState": ("source_power_dbm", "attenuator_db", "if_bandwidth_hz", "cables"),
    "WaferState": ("source_power_dbm", "attenuator_db", "if_bandwidth_hz", "cables"),
    "Substrate": ("contacts", "contacts_max"),
    "ProbeUse": ("contacts", "contact_resistance_ohm"),
    "Validity": ("substrate_change_c",),
    "Thermal": ("soak_s",),
    "SweepUncertainty": ("contact_repeatability", "linearity", "cable"),
    "RawSweep": ("between",),
    "CheckBounds": ("repeatability", "load_resistance_difference_ohm"),
    "VerificationRecord": ("substrate_c",),
    "AcceptanceRecord": ("performance", "differences"),
    "WaferRecord": (
        *("slot", "started", "finished", "ambient_c", "substrate_c", "rf_instrument"),
        *("dc_instrument", "thermal", "states", "reference_dies", "values", "sweeps", "curves"),
        *("touchdowns", "earlier_maps"),
    ),
    "ValueTable": ("units",),
    "EarlierMap": ("units",),
    "MappingRecord": ("aside", "sources"),
    "Source": ("frame", "conditions", "time_format", "time_zone", "sweep"),
    "MappedColumn": ("parameter", "unit"),
}
"""By record: fields that may be left out and are shown all the same in a whole example of it."""

FURTHER: Mapping[tuple[str, str], Sequence[Mapping[str, object]]] = {
    ("Station", "instruments"): (
        {
            "id": "SMU1",
            "kind": "smu",
            "model": "source-measure unit, 200 V",
            "serial_number": "S-0233",
            "certificate": "2026-0233",
        },
    ),
    ("Station", "probes"): (
        {"id": "RF2", "kind": "rf", "port": 2, "pitch_um": 100.0, "serial_number": "P-1102"},
    ),
    ("CampaignRecord", "conditions"): (
        {
            "id": "cold",
            "description": "no bias, 25 °C",
            "temperature_c": 25.0,
            "bias": {"vgs_v": 0.0, "vds_v": 0.0},
        },
    ),
    ("CampaignRecord", "devices"): (
        {"id": "open", "name": "open dummy", "kind": "dummy"},
        {"id": "short", "name": "short dummy", "kind": "dummy"},
    ),
    ("CampaignRecord", "parameters"): (
        {
            "id": "GM",
            "symbol": "g_m",
            "name": "transconductance",
            "unit": "mS",
            "kind": "dc",
            "device": "fet",
            "conditions": ["sat"],
            "from_curve": {
                "figure": "transconductance",
                "curve": "transfer",
                "stepped_at": 1.2,
                "swept_at": 0.6,
            },
        },
        {
            "id": "GM-RF",
            "symbol": "g_m",
            "name": "transconductance at radio frequency",
            "unit": "mS",
            "kind": "rf",
            "device": "fet",
            "conditions": ["sat"],
            "from_sweep": {"figure": "transconductance", "window_hz": [2e9, 5e9]},
        },
        {
            "id": "FT",
            "symbol": "f_T",
            "name": "transit frequency",
            "unit": "GHz",
            "kind": "rf",
            "device": "fet",
            "conditions": ["sat"],
            "lower": 90.0,
            "from_sweep": {"figure": "transit frequency by Im(1/h21)", "frequency_hz": 10e9},
        },
    ),
    ("CampaignRecord", "splits"): (
        {"id": "long", "name": "gate etched 5 % longer", "wafers": ["W03"]},
    ),
    ("Plan", "wafers"): (
        {"id": "W01-168H"},
        {"id": "W02"},
        {"id": "W03"},
        {"id": "W03-A"},
        {"id": "W03-B"},
    ),
    ("CalibrationRecord", "sweeps"): (
        {"file": "short.s2p", "port_1": "short", "port_2": "short"},
        {"file": "open.s2p", "port_1": "open", "port_2": "open"},
        {"file": "load.s2p", "port_1": "load", "port_2": "load"},
    ),
    ("WaferRecord", "reference_dies"): (
        {"die": [1, -1], "frames": {"prober": [11, 6]}},
        {"die": [1, 0], "frames": {"prober": [10, 6]}},
    ),
    ("MappingRecord", "sources"): (
        {
            "id": "station-values",
            "files": "**/{wafer}_dc.csv",
            "holds": "values",
            "rows": "one a die",
            "constants": {"device": "fet", "condition": "sat"},
            "time_zone": "Europe/Berlin",
            "columns": [
                {"theirs": "X", "ours": "die_x"},
                {"theirs": "Y", "ours": "die_y"},
                {"theirs": "Time", "ours": "time"},
                {"theirs": "Vth", "parameter": "VTH", "unit": "V"},
            ],
            "leave": ["*"],
        },
    ),
}
"""Entries after the first where one alone would not do."""


def example(model: type[BaseModel], name: str) -> object:
    """The example of a field as a TOML file would give it: lists, tables, texts, numbers, times.

    Raises KeyError for a field without one.
    """
    own = EXAMPLES.get(model.__name__, {})
    if name in own:
        return own[name]
    annotation = model.model_fields[name].annotation
    record = next(records_of(annotation), None)
    if record is None:
        raise KeyError(f"{model.__name__}.{name}")
    if typing.get_origin(annotation) is tuple:
        return [example_of(record), *FURTHER.get((model.__name__, name), ())]
    return example_of(record)


def example_of(model: type[BaseModel]) -> dict[str, object]:
    """A whole record: what it needs and what `SHOWN` adds."""
    shown = SHOWN.get(model.__name__, ())
    return {
        name: example(model, name)
        for name, info in model.model_fields.items()
        if info.is_required() or name in shown
    }


def records_of(annotation: object) -> Iterator[type[BaseModel]]:
    """The records that a field holds, whatever stands around them."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in typing.get_args(annotation):
        yield from records_of(part)
