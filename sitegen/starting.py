"""Texts of new records: what is not known is a marked blank.

Those of a campaign and of a wafer build as they are; calibrations and verifications need more.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime

from sitegen.commented import commented
from sitegen.model.base import BLANK, RESERVED
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import CampaignRecord, Station
from sitegen.model.examples import EXAMPLES, example
from sitegen.model.mapping import MappingRecord
from sitegen.model.verification import VerificationRecord
from sitegen.model.wafer import WaferRecord
from sitegen.schemas_of_records import SCHEMA_FOLDER, schema_file

LONGEST_ID = 64
STATION = "ST1"
"""Id of the one station of a new campaign."""


def legal_id(name: str, kind: str = "campaign") -> str:
    """A name as the identity of this kind of thing: other characters than an identity may have
    become '-'; the kind is added to what Windows keeps for a device, and stands for nothing."""
    kept = re.sub(r"[^A-Za-z0-9._+-]+", "-", name)[:LONGEST_ID]
    kept = re.sub(r"^[^A-Za-z0-9]+", "", kept).rstrip("-.") or kind
    first, stop, rest = kept.partition(".")
    if first.upper() in RESERVED:
        kept = f"{first}-{kind}{stop}{rest}"[:LONGEST_ID].rstrip("-.")
    return kept


def campaign_text(name: str) -> str:
    """campaign.toml of a campaign in a folder of that name."""
    return commented(CampaignRecord, _campaign(name), _head("campaign", ""))


def new_campaign(name: str) -> CampaignRecord:
    """The record that `campaign_text` gives."""
    return CampaignRecord.model_validate(_campaign(name))


def _campaign(name: str) -> dict[str, object]:
    """What is live in a new campaign.toml."""
    blanks = ("requested_by", "responsible", "authorised_by", "laboratory", "place")
    instruments = tuple(
        {"id": id_, "kind": kind, "model": BLANK, "serial_number": BLANK, "certificate": BLANK}
        for id_, kind in (("VNA1", "vna"), ("SMU1", "smu"))
    )
    return {
        "campaign": {
            "id": legal_id(name),
            "title": " ".join(name.split()) or "campaign",
            "simulated": False,
            **dict.fromkeys(blanks, BLANK),
            "edition": 1,
            "edition_reason": "first edition",
        },
        "stations": (
            {
                "id": STATION,
                "name": f"station {STATION}",
                "place": BLANK,
                "instruments": instruments,
            },
        ),
        "decision": {"rule": "simple"},
        "touchdowns": {"counts": "last"},
    }


def mapping_text() -> str:
    """mapping.toml without a source."""
    return commented(MappingRecord, {}, _head("mapping", ""))


def wafer_text(
    wafer_id: str,
    campaign: CampaignRecord,
    started: datetime | None,
    finished: datetime | None,
) -> str:
    """wafer.toml of a wafer; started, finished: first and last stamp of its files, where known.

    The station and an instrument of each kind stand in it where there is just one to choose.
    """
    station = _only(campaign.stations)
    known: dict[str, object] = {"id": wafer_id, "identity_read": BLANK, "lot": BLANK, "by": BLANK}
    known |= {
        key: value
        for key, value in (
            ("station", None if station is None else station.id),
            ("started", started),
            ("finished", finished),
            ("rf_instrument", _instrument(station, "vna")),
            ("dc_instrument", _instrument(station, "smu")),
        )
        if value is not None
    }
    set_points = sorted({condition.temperature_c for condition in campaign.conditions})
    thermal = [{**EXAMPLES["Thermal"], "set_point_c": at_c} for at_c in set_points]
    instead = {
        "WaferRecord": {
            "states": [{"id": "rf-path", **_state(station)}],
            **({"thermal": thermal} if thermal else {}),
        }
    }
    return commented(WaferRecord, known, _head("wafer", "../../"), instead)


def calibration_text(
    calibration_id: str,
    campaign: CampaignRecord,
    method: str | None = None,
    files: Sequence[str] = (),
    shared: Mapping[str, object] | None = None,
) -> str:
    """record.toml of a calibration; files: names of the Touchstone files beside it; shared: what
    they have in common, by the record's keys.

    Which standards a file shows stays open: nothing is concluded from its name.
    """
    station = _only(campaign.stations)
    texts = ("serial_number", "standard_set", "definitions_source", "definitions_version")
    known: dict[str, object] = {
        "id": calibration_id,
        "by": BLANK,
        "reference_plane": BLANK,
        "state": {},
        "substrate": dict.fromkeys(texts, BLANK),
        "validity": {},
        **_placed(station),
        **(shared or {}),
    }
    if method is not None:
        known["method"] = method
    if files:
        known["sweeps"] = [{"file": name} for name in files]
    instead = {"CalibrationRecord": of_method(method or "SOLT"), "StationState": _state(station)}
    return commented(CalibrationRecord, known, _head("calibration", "../../"), instead)


def verification_text(
    verification_id: str,
    campaign: CampaignRecord,
    calibrations: Sequence[str] = (),
    files: Sequence[str] = (),
) -> str:
    """record.toml of a verification; calibrations: ids of the campaign's; files: Touchstone files
    beside it, one for each structure."""
    station = _only(campaign.stations)
    known: dict[str, object] = {
        "id": verification_id,
        "by": BLANK,
        "state": {},
        **_placed(station),
    }
    if len(calibrations) == 1:
        known["calibration"] = calibrations[0]
    if files:
        known["structures"] = [
            {
                "id": legal_id(name.rpartition(".")[0], "structure"),
                "description": BLANK,
                "file": name,
            }
            for name in files
        ]
    instead = {"StationState": _state(station)}
    return commented(VerificationRecord, known, _head("verification", "../../"), instead)


def _head(record: str, up: str) -> tuple[str, ...]:
    """What stands above every new record."""
    return (
        f"#:schema {up}{SCHEMA_FOLDER}/{schema_file(record)}",
        "# Editors that know the line above complete and check this record.",
        f'# "{BLANK}" marks what is not known yet; the publication lists what is left of it.',
        '# What a key says behind "none:" holds where it is left out: no number need be invented.',
        '# A line that begins with "#" and no blank is an example: remove the "#" and put your own'
        " values",
        "# in, or leave it. 'sitegen check' says what is wrong, 'sitegen reference' explains every"
        " key.",
    )


def _only(stations: Sequence[Station]) -> Station | None:
    return stations[0] if len(stations) == 1 else None


def _instrument(station: Station | None, kind: str) -> str | None:
    """The station's one instrument of a kind."""
    if station is None:
        return None
    found = [one.id for one in station.instruments if one.kind == kind]
    return found[0] if len(found) == 1 else None


def _placed(station: Station | None) -> dict[str, object]:
    analyser = _instrument(station, "vna")
    named = {"station": None if station is None else station.id, "instrument": analyser}
    return {key: value for key, value in named.items() if value is not None}


def _state(station: Station | None) -> dict[str, object]:
    """An example of the RF path's state with the names of the station's own parts."""
    state = dict(EXAMPLES["StationState"])
    shown = ("source_power_dbm", "attenuator_db", "if_bandwidth_hz", "probes", "cables")
    named: Mapping[str, object] = {}
    if station is not None:
        probes = [probe.id for probe in station.probes if probe.kind == "rf"]
        named = {"probes": probes or state["probes"], "cables": [one.id for one in station.cables]}
    return {name: named.get(name, state[name]) for name in shown}


def of_method(method: str) -> dict[str, object]:
    """Examples of what a calibration's method needs: standards, their sweeps, what goes with them.

    Raises KeyError for a method that there is not.
    """
    at_ports, between = STANDARDS_OF[method]
    contacted = ("port_1",) if method == "one-port" else ("port_1", "port_2")
    file = "{}.s1p" if method == "one-port" else "{}.s2p"
    found: dict[str, object] = {
        "method": method,
        "definitions": {name: _DEFINITIONS[name] for name in (*at_ports, *between)},
        "sweeps": [
            *({"file": file.format(name), **dict.fromkeys(contacted, name)} for name in at_ports),
            *({"file": file.format(name), "between": name} for name in between),
        ],
    }
    if method == "one-port":
        found["ports"] = [1]
    if method == "LRRM":
        found["load_fit"] = example(CalibrationRecord, "load_fit")
    if "line" in between:
        found["line_medium"] = example(CalibrationRecord, "line_medium")
    return found


_DEFINITIONS: Mapping[str, object] = {
    "short": {"kind": "short", "inductance_ph": [3.3]},
    "open": {"kind": "open", "capacitance_ff": [-6.5]},
    "load": {"kind": "load", "resistance_ohm": 50.0},
    "reflect": {"kind": "reflect", "near": "short"},
    "thru": {"kind": "thru", "delay_ps": 1.0},
    "short-line": {"kind": "line", "length_um": 200.0},
    "line": {"kind": "line", "length_um": 650.0},
    "long-line": {"kind": "line", "length_um": 1800.0},
}

STANDARDS_OF: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "one-port": (("short", "open", "load"), ()),
    "SOLT": (("short", "open", "load"), ("thru",)),
    "SOLR": (("short", "open", "load"), ("thru",)),
    "LRM": (("load", "reflect"), ("thru",)),
    "LRRM": (("short", "open", "load"), ("thru",)),
    "TRL": (("reflect",), ("short-line", "line")),
    "multiline TRL": (("reflect",), ("short-line", "line", "long-line")),
}
"""By method: the examples of standards at the ports, and of those between them."""
