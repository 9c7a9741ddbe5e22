"""The fields of the record models in words: name, type, unit, default, meaning."""

import types
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from pydantic import AwareDatetime, BaseModel
from pydantic.fields import FieldInfo

from sitegen.model import base
from sitegen.model.acceptance import AcceptanceRecord
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import CampaignRecord
from sitegen.model.examples import example, records_of
from sitegen.model.mapping import MAPPING_FILE, MappingRecord
from sitegen.model.toml_values import toml_value
from sitegen.model.verification import VerificationRecord
from sitegen.model.wafer import WaferRecord

UNIT_SUFFIXES = {
    "_gohm_per_s": "GΩ/s",
    "_pf_per_m": "pF/m",
    "_db_per_mm": "dB/mm",
    "_hz": "Hz",
    "_dbm": "dBm",
    "_db": "dB",
    "_deg": "°",
    "_ohm": "Ω",
    "_um": "µm",
    "_mm": "mm",
    "_ps": "ps",
    "_ph": "pH",
    "_ff": "fF",
    "_per_c": "per °C",
    "_c": "°C",
    "_v": "V",
    "_a": "A",
    "_s": "s",
    "hours": "h",
}
"""End of a field's name -> the unit that it states."""

WORDS = {
    str: "text",
    int: "whole number",
    float: "number",
    bool: "true or false",
    date: "date",
    AwareDatetime: "time with zone",
}


MOST_CHOICES = 12
"""A field with more choices than these does not list them: its description says where they are."""

MEANINGS = {
    "id": "identity; other records refer to it by this",
    "name": "name in words",
    "station": "station it was made on",
    "instrument": "instrument used, by its identity",
    "device": "device, by its identity",
    "calibration": "calibration used, by its identity",
    "kind": "which kind it is",
    "at": "when, as stamped by the instrument",
    "by": "who made it",
    "due": "last day on which it holds",
    "campaign": "identity of the campaign",
    "file": "file beside the record",
    "sweep": "whether the sweeps are raw or corrected",
    "method": "how its error terms are solved",
    "target": "value aimed at",
    "counts": "which touchdown counts where a die has several",
    "rule": "how values are judged against their limits",
    "decision": "rule by which values are judged",
    "touchdowns": "which touchdown counts, and when a contact counts as made",
    "definitions": "definitions of the standards by name",
    "sweeps": "sweeps, one entry a file",
    "values": "tables of scalar values, one entry a file",
    "reference": "what the structure should show: measured data or a model",
    "masks": "greatest accepted deviations",
    "bounds": "what the calibration's own checks must meet",
    "validity": "how long it holds and over which change of temperature",
    "state": "settings and parts of the RF path",
    "offset": "piece of line in front of the standard",
    "z0_ohm": "characteristic impedance",
    "parameter": "S-parameter that it bounds",
    "quantity": "how the deviation is expressed",
    "wafers": "wafers, by their identity",
    "plan": "what was to be measured",
    "started": "first measurement, as stamped",
    "finished": "last measurement, as stamped",
    "lot": "lot of the wafer",
    "slot": "slot of the wafer in its carrier",
    "symbol": "symbol; what follows an underscore is set as an index",
    "conditions": "set points of bias and temperature",
    "wave_definition": "definition of the S-parameters' waves",
    "contacts_max": "bound on the number of contacts",
}
"""Meaning of fields that have no description of their own, by name."""


@dataclass(frozen=True, slots=True)
class RecordFile:
    """A file of a campaign and the model that reads it."""

    anchor: str
    title: str
    text: str
    model: type[BaseModel]


@dataclass(frozen=True, slots=True)
class FieldText:
    """A field in words."""

    name: str
    type: str
    unit: str
    default: str
    """'required', or the value that it takes where it is left out."""
    meaning: str
    example: str
    """As TOML writes it; of a longer record the line that begins it."""


LONGEST_EXAMPLE = 60
"""A longer record is not written out: the table of its fields has their examples."""


@dataclass(frozen=True, slots=True)
class Section:
    """A record inside a file."""

    name: str
    key: str
    """Where it stands in the file as TOML writes it, and the record's name."""
    text: str
    fields: tuple[FieldText, ...]


FILES = (
    RecordFile(
        "campaign-toml",
        "campaign.toml",
        "Who asked, with what, on which wafers, for which parameters, by which rule.",
        CampaignRecord,
    ),
    RecordFile(
        "calibration-toml",
        "calibrations/ID/record.toml",
        "One calibration at the probe tips; its raw Touchstone sweeps lie beside it.",
        CalibrationRecord,
    ),
    RecordFile(
        "verification-toml",
        "verifications/ID/record.toml",
        "Structures that took no part in the calibration, measured again.",
        VerificationRecord,
    ),
    RecordFile(
        "acceptance-toml",
        "acceptances/ID/record.toml",
        "An acceptance of a station: what was guaranteed, and two verifications compared.",
        AcceptanceRecord,
    ),
    RecordFile(
        "wafer-toml",
        "wafers/ID/wafer.toml",
        "One wafer on the chuck, and the Parquet tables that were measured on it.",
        WaferRecord,
    ),
    RecordFile(
        "mapping-toml",
        MAPPING_FILE,
        "How files that a station left are to be understood, each family of them as a source.",
        MappingRecord,
    ),
)


def sections(model: type[BaseModel]) -> tuple[Section, ...]:
    """The model itself and every record inside it, each once, in the order of the file."""
    return tuple(_sections(model, "", set()))


def _sections(model: type[BaseModel], key: str, seen: set[type[BaseModel]]) -> Iterator[Section]:
    if model in seen:
        return
    seen.add(model)
    yield Section(
        name=model.__name__,
        key=f"{key} (record {model.__name__})" if key else "at the top of the file",
        text=" ".join((model.__doc__ or "").split()),
        fields=tuple(
            _field(model, name, info, key.strip("[]")) for name, info in model.model_fields.items()
        ),
    )
    for name, info in model.model_fields.items():
        path = f"{key.strip('[]')}.{name}" if key else name
        many = _is_many(info.annotation)
        if typing.get_origin(info.annotation) is dict:
            path += ".NAME"
        for inner in records_of(info.annotation):
            yield from _sections(inner, f"[[{path}]]" if many else f"[{path}]", seen)


def _is_many(annotation: object) -> bool:
    return typing.get_origin(annotation) is tuple


def _field(model: type[BaseModel], name: str, info: FieldInfo, inside: str) -> FieldText:
    constraints = [text for piece in _pieces(info) if (text := _constraint(piece))]
    kind = _type(info.annotation)
    if _is_identifier(info):
        kind, constraints = "identifier", []
    return FieldText(
        name=name,
        type=", ".join([kind, *constraints]),
        unit=_unit(name, info),
        default=_default(info),
        meaning=_meaning(name, info),
        example=_example(model, name, info, f"{inside}.{name}" if inside else name),
    )


def _example(model: type[BaseModel], name: str, info: FieldInfo, key: str) -> str:
    written = toml_value(example(model, name), readable=True)
    if len(written) <= LONGEST_EXAMPLE or next(records_of(info.annotation), None) is None:
        return written
    return f"[[{key}]]" if _is_many(info.annotation) else f"[{key}]"


def _pieces(info: FieldInfo) -> Iterator[object]:
    """What bounds a field, also where it may be left out."""
    yield from info.metadata
    if typing.get_origin(info.annotation) in (typing.Union, types.UnionType):
        for part in typing.get_args(info.annotation):
            for piece in getattr(part, "__metadata__", ()):
                yield from getattr(piece, "metadata", (piece,))


def _constraint(piece: object) -> str:
    for attribute, words in (
        ("gt", "greater than {}"),
        ("ge", "at least {}"),
        ("min_length", "at least {} long"),
    ):
        bound = getattr(piece, attribute, None)
        if bound is not None:
            if attribute == "min_length":
                return "not empty" if bound == 1 else words.format(bound)
            return words.format(f"{bound:g}")
    return ""


def _is_identifier(info: FieldInfo) -> bool:
    return any("A-Za-z0-9" in str(getattr(piece, "pattern", "")) for piece in info.metadata)


def _type(annotation: object) -> str:
    if annotation in WORDS:
        return WORDS[annotation]
    origin, arguments = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is typing.Literal and len(arguments) > MOST_CHOICES:
        return f"one of {len(arguments)} names"
    if origin is typing.Literal:
        return " or ".join(
            f"'{choice}'" if isinstance(choice, str) else str(choice) for choice in arguments
        )
    if origin in (typing.Union, types.UnionType):
        told = [_type(part) for part in arguments if part is not type(None)]
        return " or ".join(dict.fromkeys(told))
    if origin is tuple:
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            return f"list of {_type(arguments[0])}"
        return f"[{', '.join(_type(part) for part in arguments)}]"
    if origin is dict:
        return f"table of name = {_type(arguments[1])}"
    if origin is typing.Annotated:
        return _annotated(annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return f"record {annotation.__name__}"
    return str(getattr(annotation, "__name__", annotation))


def _annotated(annotation: object) -> str:
    if annotation is base.Identifier:
        return "identifier"
    if annotation is base.FileName:
        return "file name"
    return _type(typing.get_args(annotation)[0])


def _unit(name: str, info: FieldInfo) -> str:
    kinds = {int, float}
    if not kinds & set(_leaves(info.annotation)):
        return ""
    return next((unit for end, unit in UNIT_SUFFIXES.items() if name.endswith(end)), "")


def _leaves(annotation: object) -> Iterator[object]:
    arguments = typing.get_args(annotation)
    if not arguments:
        yield annotation
    for part in arguments:
        yield from _leaves(part)


def _default(info: FieldInfo) -> str:
    if info.is_required():
        return "required"
    value = info.get_default(call_default_factory=True, validated_data={})
    if value is None:
        return "none"
    if value in ((), {}):
        return "empty"
    if isinstance(value, BaseModel):
        return "its defaults"
    if isinstance(value, tuple):
        return f"[{', '.join(_value(each) for each in value)}]"
    return _value(value)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:g}"
    return f"'{value}'" if isinstance(value, str) else str(value)


def _meaning(name: str, info: FieldInfo) -> str:
    """The field's own description; without one its name says it."""
    own = info.description or ""
    if own and not own.startswith(_TYPE_DESCRIPTIONS):
        return own
    if name in MEANINGS:
        return MEANINGS[name]
    words = name.replace("_", " ")
    for end, _ in UNIT_SUFFIXES.items():
        if end.startswith("_") and name.endswith(end):
            words = name.removesuffix(end).replace("_", " ")
            break
    return words


_TYPE_DESCRIPTIONS = ("letters, digits, '.'", "path relative to the record's own folder")
"""Descriptions that belong to a type, not to a field."""
