"""What names, lines and cells say of each field, in the campaign's own terms.

Works on distinct texts, so that a table of a million rows costs little more than its few names.
Nothing is mended silently: a text that differs from a known one by capitals stays as it is.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray
from sitegen.model.mapping import FIELDS, Source
from sitegen.read.foreign.condition_rules import conditions_of
from sitegen.read.foreign.model import Column, Refusal, Resolved
from sitegen.read.foreign.said import IntArray, ObjectArray, Words, number_of, same_as, words_of
from sitegen.read.foreign.source_troubles import declaration_troubles as declaration_troubles
from sitegen.read.foreign.times import BadZone, instants_us, is_unset
from sitegen.read.likely_names import slip_of
from sitegen.read.words import choices, correction, quoted, shown

_MADE = frozenset({"die", "bias", "set_point_c", "time", "date", "clock"})
"""Fields that another column is made of."""
_NAMES_TOLD = 8
_GREATEST_WHOLE = 10**15
_FILL = "Fill it, or leave it out."
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def resolve(
    source: Source,
    texts: Mapping[str, ObjectArray],
    n: int,
    modified_at: Sequence[datetime | None] = (),
) -> Resolved:
    """What n entries (files, or rows of a table) say, and which of them cannot be taken.

    `texts` holds by field the entries' own words, each of shape (n,); None, '' and blanks: nothing
    is said. `modified_at` holds for each entry when its file was last written. The columns are
    those that are said or constant: text, die_x, die_y, touchdown and port, temperature_c and
    measured_at; where an entry is refused, a whole number is 0 and a text None or as it was said.
    """
    refusals: list[Refusal] = []
    renamed = {
        "time" if field == "measured_at" else field: words_of(column, source, field)
        for field, column in texts.items()
        if field in FIELDS or field == "measured_at"
    }
    for field, words in renamed.items():
        refusals.append(_slips(source, field, words))
    said = _with_constants(source, renamed, n, refusals)
    columns: dict[str, Column] = {}
    for field, words in said.items():
        content = FIELDS[field][0]
        if content == "text" and field not in _MADE:
            columns[field] = words.texts()
        elif content == "whole number":
            columns[field] = _whole(source, field, words, refusals)
        elif content == "number":
            numbers = _numbers(source, field, words, refusals)
            if field not in _MADE:
                columns[field] = numbers
    if "die" in said:
        columns.update(_dies(source, said, columns, refusals))
    if source.conditions:
        columns["condition"] = conditions_of(source, said, n, refusals)
    at_us = _times(source, said, n, modified_at, refusals)
    if at_us is not None:
        columns["measured_at"] = at_us
    return Resolved(columns, tuple(one for one in refusals if one.bad.any()))


def _slips(source: Source, field: str, words: Words) -> Refusal:
    """Texts that 'rename' would have but for a blank, capitals or a look-alike."""
    rename = source.rename.get(field, {})
    ours = set(rename.values())
    slips = {text: slip_of(text, rename) for text in words.distinct if text not in ours}
    return Refusal(
        words.where(lambda text: bool(slips.get(text))),
        field,
        lambda entry: f"{quoted(words.of(entry))}{slips[words.of(entry)]}",
        f"a name as 'rename' of source {quoted(source.id)} has it",
        "Correct the name, or add it to 'rename' in mapping.toml.",
    )


def _with_constants(
    source: Source, said: dict[str, Words], n: int, refusals: list[Refusal]
) -> dict[str, Words]:
    """All that is said, with the constants where an entry says nothing."""
    filled = dict(said)
    for field, value in source.constants.items():
        if field not in FIELDS:
            continue
        words = said.get(field, Words((), np.full(n, -1, np.int64)))
        refusals.append(_contradiction(source, field, words))
        codes = np.where(words.codes < 0, len(words.distinct), words.codes)
        filled[field] = Words((*words.distinct, str(value)), codes)
    return filled


def _contradiction(source: Source, field: str, words: Words) -> Refusal:
    """Entries that say something else than the constant."""
    value = source.constants[field]
    same = same_as(value, field, source)
    return Refusal(
        words.where(lambda text: not same(text)),
        field,
        lambda entry: quoted(words.of(entry)),
        f"{shown(value)}, as 'constants' of source {quoted(source.id)} has it",
        "Correct the constant in mapping.toml, or take the file out of this source.",
    )


def _numbers(
    source: Source, field: str, words: Words, refusals: list[Refusal]
) -> npt.NDArray[np.float64]:
    """A field's numbers; NaN where nothing is said, or where it is refused."""
    numbers = [number_of(text, source) for text in words.distinct]
    bad = [number is None for number in numbers]
    _refuse_texts(refusals, field, words, bad, "a number")
    return np.array(
        [*(np.nan if number is None else number for number in numbers), np.nan], np.float64
    )[words.codes]


def _whole(source: Source, field: str, words: Words, refusals: list[Refusal]) -> IntArray:
    """A field's whole numbers; entries without one are refused."""
    numbers = [number_of(text, source) for text in words.distinct]
    bad = [
        number is None or number != int(number) or abs(number) > _GREATEST_WHOLE
        for number in numbers
    ]
    _refuse_texts(refusals, field, words, bad, "a whole number")
    refusals.append(_empty(words.codes < 0, field, FIELDS[field][1]))
    whole = [
        0 if wrong or number is None else int(number)
        for wrong, number in zip(bad, numbers, strict=True)
    ]
    return np.array([*whole, 0], np.int64)[words.codes]


def _refuse_texts(
    refusals: list[Refusal], field: str, words: Words, bad: Sequence[bool], expected: str
) -> None:
    """Refuse the entries with these distinct texts."""
    texts = [text for text, wrong in zip(words.distinct, bad, strict=True) if wrong]
    remedy = "Correct what is said, or what is mapped to it in mapping.toml."
    if texts and all(re.fullmatch(r"\s*[+-]?\d+,\d+\s*", text) for text in texts):
        remedy = "State dialect.decimal = 'comma' of the source in mapping.toml, if that is meant."
    refusals.append(
        Refusal(
            np.array([*bad, False], np.bool_)[words.codes],
            field,
            lambda entry: quoted(words.of(entry)),
            expected,
            remedy,
        )
    )


def _empty(bad: BoolArray, field: str, expected: str) -> Refusal:
    return Refusal(bad, field, lambda entry: "an empty entry", expected, _FILL)


def _dies(
    source: Source,
    said: Mapping[str, Words],
    columns: Mapping[str, Column],
    refusals: list[Refusal],
) -> dict[str, Column]:
    """Column and row of each die that is named by a label."""
    words = said["die"]
    also = {name: said[name].codes >= 0 for name in ("die_x", "die_y") if name in said}
    labelled = words.codes >= 0
    refusals.extend(_two_dies(words, name, said[name]) for name in also)
    refusals.extend(_unknown_dies(source, words))
    if not also:
        refusals.append(_empty(~labelled, "die", FIELDS["die"][1]))
    made: dict[str, Column] = {}
    for axis, name in enumerate(("die_x", "die_y")):
        of_label = [source.dies.get(text, (0, 0))[axis] for text in words.distinct]
        otherwise = columns.get(name, np.zeros(len(words.codes), np.int64))
        looked_up = np.array([*of_label, 0], np.int64)[words.codes]
        made[name] = np.where(labelled, looked_up, otherwise).astype(np.int64)
    return made


def _two_dies(words: Words, name: str, number: Words) -> Refusal:
    """Entries that say the die by its label and by a number."""
    return Refusal(
        (words.codes >= 0) & (number.codes >= 0),
        "die",
        lambda entry: f"the die {quoted(words.of(entry))} and {name} {quoted(number.of(entry))}",
        "the die said in one way",
        f"Map either 'die' or '{name}' in mapping.toml.",
    )


def _unknown_dies(source: Source, words: Words) -> Iterator[Refusal]:
    """Entries whose label of a die is not declared."""
    unknown = [text for text in words.distinct if text not in source.dies]
    groups = [[text] for text in unknown[:_NAMES_TOLD]]
    groups += [unknown[_NAMES_TOLD:]] if unknown[_NAMES_TOLD:] else []
    for group in groups:
        remedy = f"Add the die to 'dies' of source {quoted(source.id)}, or correct the label."
        yield Refusal(
            np.isin(words.codes, [words.distinct.index(text) for text in group]),
            "die",
            lambda entry: f"the unknown die {quoted(words.of(entry))}",
            choices(source.dies),
            correction(group[0], source.dies, remedy),
        )


def _times(
    source: Source,
    said: Mapping[str, Words],
    n: int,
    modified_at: Sequence[datetime | None],
    refusals: list[Refusal],
) -> IntArray | None:
    """When each entry was measured, in microseconds since 1970 UTC; None where nothing says it."""
    if source.time_from == "modification":
        return _modified(n, modified_at, refusals)
    if "time" in said:
        field, texts = "time", said["time"].texts()
    elif "date" in said and "clock" in said:
        field = "measured_at"
        pairs = zip(said["date"].texts().tolist(), said["clock"].texts().tolist(), strict=True)
        joined = [None if None in pair else " ".join(map(str.strip, pair)) for pair in pairs]
        texts = np.array([*joined, None], dtype=object)[:-1]
    else:
        return None
    refusals.append(_empty(np.array([text is None for text in texts], np.bool_), field, "a time"))
    declared = (source.time_format, source.time_zone, source.repeated_hour)
    try:
        at_us, refused = instants_us(texts, *declared)
    except (BadZone, ValueError) as error:
        phrase = str(error)
        remedy = "Correct the source's time_zone or time_format in mapping.toml."
        everywhere = np.ones(n, np.bool_)
        refusals.append(Refusal(everywhere, field, lambda _: phrase, "how times are read", remedy))
        return np.zeros(n, np.int64)
    refusals.extend(replace(one, field=field) for one in refused)
    return at_us


def _modified(n: int, modified_at: Sequence[datetime | None], refusals: list[Refusal]) -> IntArray:
    """When each entry's file was last written."""
    moments = [*modified_at[:n], *([None] * (n - len(modified_at)))]
    at_us = np.array(
        [0 if at is None else (at - _EPOCH) // timedelta(microseconds=1) for at in moments],
        np.int64,
    )
    absent = np.array([at is None for at in moments], np.bool_)
    refusals.append(
        Refusal(
            absent,
            "measured_at",
            lambda entry: "no time of modification",
            "a file of the list of gathered files, which has it",
            "Gather the file again, or map a time in mapping.toml.",
        )
    )
    unset = ~absent & is_unset(at_us)
    refusals.append(
        Refusal(
            unset,
            "measured_at",
            lambda entry: f"a file last written in {moments[entry]:%Y}",
            "a year in which it can have been measured",
            "Map a time in mapping.toml; a copy or an archive lost this one.",
        )
    )
    return np.where(unset, 0, at_us)
