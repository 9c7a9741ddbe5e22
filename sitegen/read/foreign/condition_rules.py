"""Which condition is meant, by the rules of a source; exactly one rule must fit."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from sitegen.model.arrays import BoolArray
from sitegen.model.mapping import FIELDS, NamedCondition, Source
from sitegen.read.foreign.model import Refusal
from sitegen.read.foreign.said import ObjectArray, Words, same_as
from sitegen.read.words import choices, correction, quoted

_NAMES_TOLD = 8


def conditions_of(
    source: Source, said: Mapping[str, Words], n: int, refusals: list[Refusal]
) -> ObjectArray:
    """Each entry's condition by the one rule that fits; None where none or several do."""
    rules = source.conditions
    fits = np.array([_fits(rule, source, said, n) for rule in rules], np.bool_)
    counts = fits.sum(axis=0)
    fields = list(dict.fromkeys(field for rule in rules for field in rule.when))

    def told(entry: int) -> str:
        listed = [
            f"{field} {quoted(said[field].of(entry))}"
            if field in said and said[field].codes[entry] >= 0
            else f"no {field}"
            for field in fields
        ]
        return ", ".join(listed)

    ids = np.array([rule.condition for rule in rules], dtype=object)
    of_entry = np.where(counts == 1, ids[fits.argmax(axis=0)], None)
    refusals.extend(_no_rule(source, said, fields, counts == 0, told))
    refusals.append(
        Refusal(
            counts > 1,
            "condition",
            lambda entry: f"{told(entry)}, which is said of {choices(ids[fits[:, entry]])} alike",
            "one rule of 'conditions' that fits",
            f"Make the rules of source {quoted(source.id)} exclude each other.",
        )
    )
    if "condition" in said:
        own = said["condition"]
        refusals.append(
            Refusal(
                (own.codes >= 0) & (counts == 1) & (own.texts() != of_entry),
                "condition",
                lambda entry: quoted(own.of(entry)),
                "the condition that 'conditions' names for these files",
                "Map the condition in one way only, or correct the rules in mapping.toml.",
            )
        )
    return np.asarray(of_entry, dtype=object)


def _fits(rule: NamedCondition, source: Source, said: Mapping[str, Words], n: int) -> BoolArray:
    fits = np.ones(n, np.bool_)
    for field, value in rule.when.items():
        if field in said and field in FIELDS:
            fits &= said[field].where(same_as(value, field, source))
        else:
            fits[:] = False
    return fits


def _no_rule(
    source: Source,
    said: Mapping[str, Words],
    fields: Sequence[str],
    bad: BoolArray,
    told: Callable[[int], str],
) -> list[Refusal]:
    """Entries that no rule fits, by what they say."""
    there = [said[field].codes for field in fields if field in said]
    if not bad.any():
        return []
    at = np.flatnonzero(bad)
    combined = np.array([codes[at] for codes in there], np.int64).reshape(len(there), len(at)).T
    _, first, which = np.unique(combined, axis=0, return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int64)
    rank[np.argsort(first)] = np.arange(len(first))  # in the order in which they come
    groups = np.minimum(rank[which.reshape(-1)], _NAMES_TOLD)
    refusals = []
    for group in np.unique(groups).tolist():
        of_group = np.zeros(len(bad), np.bool_)
        of_group[at[groups == group]] = True
        remedy = _nearest_rule(source, said, fields, int(np.flatnonzero(of_group)[0]))
        refusals.append(
            Refusal(
                of_group,
                "condition",
                lambda entry: f"{told(entry)}, which no rule of 'conditions' names",
                "one rule that fits",
                remedy,
            )
        )
    return refusals


def _nearest_rule(
    source: Source, said: Mapping[str, Words], fields: Sequence[str], entry: int
) -> str:
    """What to do about an entry that no rule fits."""
    remedy = f"Add a rule to 'conditions' of source {quoted(source.id)}, or correct the name."
    for field in fields:
        known = {str(rule.when[field]) for rule in source.conditions if field in rule.when}
        if field in said and said[field].codes[entry] >= 0:
            text = said[field].of(entry)
            meant = correction(text, known - {text}, remedy)
            if not any(same_as(one, field, source)(text) for one in known) and meant != remedy:
                return meant
    return remedy
