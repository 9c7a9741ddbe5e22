"""What a model refuses, in words: each of pydantic's error types becomes one plain sentence.

Places are written as in `parameters[3].unit (id "VTH")`; entries of a list are counted from 1.
"""

import re
import types
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from sitegen.read.likely_names import blank_in
from sitegen.read.words import choices, correction, counted, nearest, quoted, shown

Step = str | int
Told = tuple[str, str, str, str]
"""Place, found, expected, remedy."""

_KINDS = {
    "string_type": ("a text in double quotes", "Write it in double quotes."),
    "int_type": ("a whole number", "Write a whole number, without quotes and decimal point."),
    "float_type": ("a number", "Write a number with a decimal point, without quotes."),
    "bool_type": ("true or false", "Write true or false, without quotes."),
    "date_type": ("a date", "Write a date such as 2025-03-14, without quotes."),
    "datetime_type": (
        "a time with date and zone",
        "Write a time such as 2025-03-14T09:30:00+01:00, without quotes.",
    ),
    "timezone_aware": (
        "a time with its zone",
        "Append the zone to the time, for example +01:00, or Z for UTC.",
    ),
    "finite_number": ("a finite number", "Write the number, or leave the key out."),
    "tuple_type": ("a list", "Write a list in square brackets."),
    "dict_type": ("a table of keys", "Write a table, with a heading in brackets or in { }."),
    "model_type": ("a table of keys", "Write a table, with a heading in brackets or in { }."),
    "string_too_short": ("a text that is not empty", "Write the text."),
}

_NAMED = re.compile(r"'([^']*)'")
_MOST_CHOICES = 12
"""Of more choices than these the first are told, and the nearest."""

_BOUNDS = {
    "greater_than": ("gt", "a number greater than"),
    "greater_than_equal": ("ge", "a number not less than"),
    "less_than": ("lt", "a number less than"),
    "less_than_equal": ("le", "a number not greater than"),
}


@dataclass(frozen=True)
class _Spot:
    """A place of the file: what stands there, under which key, and which keys may stand there."""

    place: str
    parent: str
    """The place of the enclosing table or list."""
    value: object
    key: str
    parent_keys: Mapping[str, str]
    """Every key that the enclosing table may have, with its description."""
    siblings: frozenset[str]
    """The keys that it has."""


def told(
    refusal: ValidationError, model: type[BaseModel], data: Mapping[str, object]
) -> list[Told]:
    """One sentence's parts for each refusal of `model`, given the data as parsed."""
    errors = [error for error in refusal.errors(include_url=False) if not _is_echo(error, data)]
    spots = [_spot(model, data, error) for error in errors]
    misspelt = {
        (spot.parent, _meant(spot))
        for error, spot in zip(errors, spots, strict=True)
        if error["type"] == "extra_forbidden"
    }
    sentences = [
        _sentence(error, spot)
        for error, spot in zip(errors, spots, strict=True)
        # A misspelt key is told once: as an unknown key, not as a missing one as well.
        if error["type"] != "missing" or (spot.parent, spot.key) not in misspelt
    ]
    return list(dict.fromkeys(sentences))


def _is_echo(error: ErrorDetails, data: object) -> bool:
    """True for an error that only repeats another: the other branch of a choice of two forms."""
    value: object = data
    for step in error["loc"]:
        if isinstance(step, str) and step.startswith(("literal[", "tuple[")):
            is_list = isinstance(value, list)
            return is_list == step.startswith("literal[")
        value = _below(value, step)
    if error["type"] == "too_short" and isinstance(value, list):
        return len(value) >= int(error["ctx"]["min_length"])
    return False


def _below(value: object, step: Step) -> object:
    """One step down; the value itself where the step is no part of the data (a union's branch)."""
    if isinstance(value, dict) and step in value:
        return value[step]
    if isinstance(value, list) and isinstance(step, int) and step < len(value):
        return value[step]
    return value


def _spot(model: type[BaseModel], data: object, error: ErrorDetails) -> _Spot:
    """Follow an error's location through the data and through the model at once."""
    value: object = data
    kind: Any = model
    place, parent, key, name = "", "", "", ""
    keys: Mapping[str, str] = {}
    siblings: frozenset[str] = frozenset()
    last = len(error["loc"]) - 1
    for depth, step in enumerate(error["loc"]):
        absent = depth == last and error["type"] == "missing"
        if isinstance(value, dict) and (step in value or absent):
            parent = place
            place = f"{place}.{step}" if place else str(step)
            key, keys, siblings = str(step), _keys_of(kind), frozenset(value)
            value = None if absent else value[step]
        elif isinstance(value, list) and isinstance(step, int):
            parent, place, key = place, f"{place}[{step + 1}]", ""
            value = value[step] if step < len(value) else None
        kind = _kind_below(kind, step)
        if isinstance(value, dict) and isinstance(value.get("id"), str):
            name = f" (id {shown(value['id'])})"
    return _Spot(place + name, parent, value, key, keys, siblings)


def _kind_below(kind: Any, step: Step) -> Any:
    """The type one step down from a type; None where it is not known."""
    kind = _bare(kind)
    origin, arguments = get_origin(kind), get_args(kind)
    if _is_model(kind):
        field = kind.model_fields.get(step)
        return field.annotation if field else None
    if origin is tuple:
        return arguments[0]
    if origin is dict:
        return arguments[1]
    if origin in (Union, types.UnionType):
        for member in arguments:
            if step in _tags(member):
                return member
        below = [_kind_below(m, step) for m in arguments if m is not type(None)]
        return next((found for found in below if found is not None), None)
    return None


def _bare(kind: Any) -> Any:
    """A type without its annotations and without its None."""
    while get_origin(kind) is Annotated:
        kind = get_args(kind)[0]
    if get_origin(kind) in (Union, types.UnionType):
        members = [m for m in get_args(kind) if m is not type(None)]
        if len(members) == 1:
            return _bare(members[0])
    return kind


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _tags(kind: Any) -> Sequence[object]:
    """The values of 'kind' that choose this member of a union of records."""
    kind = _bare(kind)
    if not _is_model(kind) or "kind" not in kind.model_fields:
        return ()
    annotation = kind.model_fields["kind"].annotation
    return get_args(annotation) if get_origin(annotation) is Literal else ()


def _keys_of(kind: Any) -> Mapping[str, str]:
    kind = _bare(kind)
    if not _is_model(kind):
        return {}
    return {name: field.description or "" for name, field in kind.model_fields.items()}


def _sentence(error: ErrorDetails, spot: _Spot) -> Told:
    """The parts of the sentence for one error at one place."""
    kind = error["type"]
    found = shown(spot.value)
    context: Mapping[str, Any] = error.get("ctx", {})
    if kind == "missing":
        return _missing(spot)
    if kind == "extra_forbidden":
        return _unknown_key(spot)
    if kind in _KINDS:
        expected, remedy = _KINDS[kind]
        return spot.place, found, expected, remedy
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        return spot.place, found, f"{words} {context[name]:g}", "Correct the number."
    if kind in {"literal_error", "union_tag_invalid"}:
        return _choice(error, spot, context)
    if kind == "union_tag_not_found":
        expected = 'the key "kind", which says what is described'
        return spot.place, 'no key "kind"', expected, "Add it."
    if kind in {"too_short", "too_long"}:
        return _length(kind, spot, context)
    if kind == "string_pattern_mismatch":
        return _pattern(spot, str(context["pattern"]))
    if kind == "string_too_long":
        expected = f"at most {context['max_length']} characters"
        return spot.place, found, expected, "Shorten it."
    if kind == "value_error":
        return _contradiction(spot, str(context["error"]))
    return spot.place, found, "another kind of entry", "Look the key up in the reference."


def _missing(spot: _Spot) -> Told:
    if not spot.key:
        return spot.place, "no entry", "one more entry in this list", "Add it."
    meaning = spot.parent_keys.get(spot.key)
    expected = f"this key ({meaning})" if meaning else "this key"
    return spot.place, f"no key {quoted(spot.key)}", expected, "Add it."


def _free(spot: _Spot) -> list[str]:
    """The keys that the enclosing table may have and has not."""
    return [name for name in spot.parent_keys if name not in spot.siblings]


def _meant(spot: _Spot) -> str | None:
    """The key that an unknown one probably stands for."""
    return nearest(spot.key, _free(spot))


def _unknown_key(spot: _Spot) -> Told:
    free = _free(spot)
    meant = _meant(spot)
    remedy = f"Rename it to {quoted(meant)}." if meant else "Remove it, or look up its name."
    expected = f"one of the keys {choices(free)}" if free else "no further key"
    if meant:
        expected = f"a key that is known here, such as {quoted(meant)}"
    return spot.place, f"the unknown key {quoted(spot.key)}", expected, remedy


def _choice(error: ErrorDetails, spot: _Spot, context: Mapping[str, Any]) -> Told:
    listed = str(context.get("expected", context.get("expected_tags", "")))
    expected = listed.replace("'", '"')
    place, value = spot.place, spot.value
    if error["type"] == "union_tag_invalid":
        head, mark, name = place.partition(" (")
        place, value = f"{head}.kind{mark}{name}", context["tag"]
    if any(isinstance(step, str) and step.startswith("literal[") for step in error["loc"]):
        expected += " or a list"
    remedy = "Write one of these." if "," in expected or " or " in expected else "Write this."
    names = _NAMED.findall(listed)
    if len(names) > _MOST_CHOICES and isinstance(value, str):
        expected, remedy = choices(names), correction(value, names, "Look it up in the reference.")
    return place, shown(value), expected, remedy


def _length(kind: str, spot: _Spot, context: Mapping[str, Any]) -> Told:
    bound = int(context["min_length" if kind == "too_short" else "max_length"])
    number = len(spot.value) if isinstance(spot.value, (list, dict)) else 0
    least = "at least" if kind == "too_short" else "at most"
    return (
        spot.place,
        counted(number, "entry", "entries"),
        f"{least} {counted(bound, 'entry', 'entries')}",
        "Add what is missing." if kind == "too_short" else "Remove what is too much.",
    )


def _pattern(spot: _Spot, pattern: str) -> Told:
    if pattern.startswith("^[A-Za-z0-9]"):
        expected = "letters, digits, '.', '_', '+' and '-', beginning with a letter or digit"
        blank = blank_in(spot.value) if isinstance(spot.value, str) else ""
        return spot.place, shown(spot.value) + blank, expected, "Choose such an id."
    expected = "a path relative to the record's own folder, with forward slashes"
    remedy = "Put the file below the record's folder and name it from there."
    return spot.place, shown(spot.value), expected, remedy


def _contradiction(spot: _Spot, rule: str) -> Told:
    found = shown(spot.value) if isinstance(spot.value, str) else "entries that do not go together"
    return spot.place, found, f"this rule to hold: {rule}", "Correct what breaks the rule."
