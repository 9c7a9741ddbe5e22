"""Units that a foreign table states of its columns, against those that mapping.toml declares."""

import re
from collections.abc import Mapping, Sequence

from sitegen import units
from sitegen.model.mapping import MAPPING_FILE, Source
from sitegen.read.files import Intake
from sitegen.read.foreign.mapped_columns import number_names, wanted_names
from sitegen.read.words import quoted

_BRACKETS = re.compile(r"[\[(]\s*([^\[\]()]+?)\s*[\])]\s*$")
_QUOTIENT = re.compile(r"^[^/]+/\s*([^\s()]+)\s*$")
_NONE = frozenset({"", "-", "--", "–", "—"})


def unit_word(cell: str) -> str | None:
    """A unit as a cell of a units line states it, without brackets; None where it states none."""
    text = cell.strip().strip("[]() \t\u00a0")
    return None if text in _NONE else text


def is_known(unit: str) -> bool:
    """Whether the program knows a unit."""
    try:
        units.parse(unit)
    except units.UnknownUnit:
        return False
    return True


def unit_in_name(name: str) -> str | None:
    """The unit at the end of a column's name: 'Vth [mV]', 'Id (A)', 'Vth/mV'; None where there is
    none that the program knows."""
    found = _BRACKETS.search(name) or _QUOTIENT.match(name)
    return found[1] if found is not None and is_known(found[1]) else None


def agreed_units(
    intake: Intake,
    file: str,
    source: Source,
    place: str,
    where: str,
    stated: Mapping[str, str | None],
) -> tuple[str | None, ...] | None:
    """The unit that the file states of each mapped column, in the order of `wanted_names`.

    `stated` are the units by a column's name, from `where` ('line 4', 'its metadata'); a unit at
    the end of a name counts as stated too. None and one fault a column where two statements, the
    one in mapping.toml among them, are different units: the table cannot be trusted. A unit that
    is not known is told where mapping.toml declares none for the column.
    """
    numeric = set(number_names(source))
    found: list[str | None] = []
    agree = True
    for name in wanted_names(source):
        if name not in numeric:
            found.append(None)
            continue
        own = stated.get(name)
        declared = [one.unit for one in source.columns if one.theirs == name and one.unit]
        if own is not None and not is_known(own):
            if not declared:
                _tell_unknown(intake, file, f"{place}, column {quoted(name)}", own)
            own = None
        in_name = unit_in_name(name)
        says = [(own, where), (in_name, "its name"), *((one, MAPPING_FILE) for one in declared)]
        known = [(unit, told) for unit, told in says if unit is not None and is_known(unit)]
        if _differ(name, [unit for unit, _ in known], in_name):
            agree = False
            _tell_disagreement(intake, file, name, known)
        is_sure = in_name is not None and (len(in_name) > 1 or _BRACKETS.search(name) is not None)
        found.append(own if own is not None else in_name if is_sure else None)
    return tuple(found) if agree else None


def _differ(name: str, stated: Sequence[str], in_name: str | None) -> bool:
    """Whether units are not all the same.

    What stands behind a stroke may be the divisor of a quotient ('I/V'), so it counts only where it
    measures the same as the others.
    """
    parsed = [units.parse(unit) for unit in stated]
    if in_name is not None and _BRACKETS.search(name) is None:
        behind = units.parse(in_name)
        if any(unit.quantity != behind.quantity for unit in parsed):
            parsed = [unit for unit in parsed if unit.quantity != behind.quantity]
    return len({(unit.quantity, unit.factor, unit.offset) for unit in parsed}) > 1


def _tell_unknown(intake: Intake, file: str, place: str, unit: str) -> None:
    intake.tell(
        file,
        place,
        found=f"the unknown unit {quoted(unit)}",
        expected="a unit from the list of the reference, such as V, mA, kΩ, pF or 1",
        remedy="Declare 'unit' of the column in mapping.toml.",
    )


def _tell_disagreement(
    intake: Intake, file: str, name: str, known: Sequence[tuple[str, str]]
) -> None:
    told = " and ".join(dict.fromkeys(f"{quoted(unit)} in {where}" for unit, where in known))
    is_declared = any(where == MAPPING_FILE for _, where in known)
    intake.tell(
        file,
        f"column {quoted(name)}",
        found=f"the unit {told}",
        expected="one and the same unit",
        remedy="Correct 'unit' of the column in mapping.toml; until then the table is left out."
        if is_declared
        else "Export the table again: it contradicts itself; until then it is left out.",
    )
