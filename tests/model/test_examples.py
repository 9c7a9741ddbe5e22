"""Every field of every record has an example, which its field accepts."""

import tomllib
import typing
from collections.abc import Iterator
from typing import Annotated, Any

import pytest
from pydantic import BaseModel, ConfigDict, TypeAdapter

from sitegen.model.acceptance import AcceptanceRecord
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.campaign import CampaignRecord
from sitegen.model.examples import EXAMPLES, FURTHER, SHOWN, example, example_of, records_of
from sitegen.model.mapping import MappingRecord
from sitegen.model.toml_values import toml_value
from sitegen.model.verification import VerificationRecord
from sitegen.model.wafer import WaferRecord

TOP: tuple[type[BaseModel], ...] = (
    CampaignRecord,
    CalibrationRecord,
    VerificationRecord,
    AcceptanceRecord,
    WaferRecord,
    MappingRecord,
)


def every(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    yield model
    for info in model.model_fields.values():
        for inner in records_of(info.annotation):
            yield from every(inner)


MODELS = {model.__name__: model for top in TOP for model in every(top)}
FIELDS = [(model, name) for model in MODELS.values() for name in model.model_fields]


def frozen(value: object) -> object:
    """Lists as tuples, as the records want them."""
    if isinstance(value, dict):
        return {key: frozen(entry) for key, entry in value.items()}
    return tuple(frozen(entry) for entry in value) if isinstance(value, list) else value


def accepts(model: type[BaseModel], name: str, value: object) -> None:
    info = model.model_fields[name]
    kind: Any = info.annotation
    if info.discriminator:
        kind = Annotated[info.annotation, info]
    elif info.metadata:
        kind = Annotated[(info.annotation, *info.metadata)]
    holds_records = next(records_of(info.annotation), None) is not None
    config = None if holds_records else ConfigDict(strict=True, allow_inf_nan=False)
    TypeAdapter(kind, config=config).validate_python(value, strict=True)


@pytest.mark.parametrize(("model", "name"), FIELDS, ids=lambda one: getattr(one, "__name__", one))
def test_each_field_accepts_its_example_as_toml_gives_it(model: type[BaseModel], name: str) -> None:
    text = toml_value(example(model, name), readable=True)
    (value,) = tomllib.loads(f"key = {text}").values()
    accepts(model, name, frozen(value))


def test_a_wrong_example_would_be_refused() -> None:
    with pytest.raises(ValueError, match="float"):
        accepts(MODELS["Layout"], "diameter_mm", "150")
    with pytest.raises(ValueError, match="greater than 0"):
        accepts(MODELS["Layout"], "diameter_mm", -1.0)


def test_no_example_is_superfluous() -> None:
    assert set(EXAMPLES) <= set(MODELS) and set(SHOWN) <= set(MODELS)
    for name, fields in EXAMPLES.items():
        assert set(fields) <= set(MODELS[name].model_fields), name
    for name, shown in SHOWN.items():
        optional = {
            field for field, info in MODELS[name].model_fields.items() if not info.is_required()
        }
        assert set(shown) <= optional, name
    for name, field in FURTHER:
        assert typing.get_origin(MODELS[name].model_fields[field].annotation) is tuple


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
def test_the_example_of_a_whole_record_is_one(model: type[BaseModel]) -> None:
    model.model_validate(frozen(example_of(model)))
