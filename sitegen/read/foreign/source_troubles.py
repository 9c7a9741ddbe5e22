"""What a source of mapping.toml says wrongly by itself, before any file is looked at."""

from collections.abc import Iterator, Mapping

from sitegen.model.mapping import FIELDS, GATHERED, Said, Source
from sitegen.model.tables import (
    AGAIN,
    BIAS_PREFIX,
    CURVE_COLUMNS,
    SWEEP_COLUMNS,
    TOUCHDOWN_COLUMNS,
    VALUE_COLUMNS,
)
from sitegen.read.foreign.column_troubles import Trouble, column_troubles, only
from sitegen.read.foreign.patterns import BadPattern, Pattern, compiled
from sitegen.read.foreign.times import BadZone, format_trouble, states_zone, zone_of
from sitegen.read.words import correction, counted, quoted, shown

_OURS = {
    "sweeps": tuple(column.name for column in SWEEP_COLUMNS),
    "values": tuple(column.name for column in VALUE_COLUMNS),
    "curves": tuple(column.name for column in CURVE_COLUMNS),
    "touchdowns": tuple(column.name for column in TOUCHDOWN_COLUMNS),
}
_CURVE_ENDS = ("_v", "_a", "_f", "_c", "_s", AGAIN)
_EVENT_FIELDS = {
    "calibration sweeps": "calibration",
    "verification sweeps": "verification",
}
_OWN_FOLDERS = frozenset(
    {"wafers", "calibrations", "verifications", "acceptances", "notes", ".schemas"}
)
_NEEDED = {
    "sweeps": ("wafer", "die", "device", "condition", "time"),
    "values": ("wafer", "die", "device", "parameter", "condition", "time"),
    "curves": ("wafer", "die", "device", "curve", "condition", "time"),
    "touchdowns": ("wafer", "die", "time"),
}
_FIELDS_LIST = "a field of the reference, such as wafer, device or touchdown"


def declaration_troubles(source: Source) -> list[Trouble]:
    """All that is wrong in a source by itself, as (place, found, expected, remedy).

    A place is a key inside the source, such as 'lines[2]'; lists are counted from 1.
    """
    patterns, troubles = _patterns(source)
    says = _says(source, patterns)
    troubles = list(dict.fromkeys(troubles))  # bad marks spoil every pattern alike
    troubles += _folder(source)
    troubles += _unknown_fields(source)
    troubles += _constants(source)
    troubles += _twice(source, says)
    if source.is_of_events:
        troubles += _of_events(source, patterns)
    elif None not in patterns.values():
        troubles += _nowhere(source, says)
    troubles += _rules(source, says)
    troubles += _times(source, says)
    troubles += _sweeps(source, says)
    troubles += _tables(source)
    return troubles


def _patterns(source: Source) -> tuple[dict[str, Pattern | None], list[Trouble]]:
    """The patterns of names and lines by their place; None where one cannot be used."""
    patterns: dict[str, Pattern | None] = {}
    troubles: list[Trouble] = []
    texts = {"files": source.files}
    texts |= {f"lines[{number}]": text for number, text in enumerate(source.lines, 1)}
    for place, text in texts.items():
        in_line = place != "files"
        try:
            pattern = compiled(text, source.minus, source.point, in_line=in_line)
        except BadPattern as error:
            patterns[place] = None
            troubles.append(_bad_pattern(place, str(error)))
            continue
        patterns[place] = pattern
        if in_line and not pattern.fields:
            found = f"no field in {quoted(text)}"
            troubles.append((place, found, "a field in braces", "Add what the line says."))
    return patterns, troubles


def _bad_pattern(place: str, phrase: str) -> Trouble:
    if phrase.endswith((" as minus", " as point", " as minus and as point")):
        remedy = "Write what stands for the mark, such as minus = 'm' and point = 'p'."
        return "minus" if phrase.endswith("minus") else "point", phrase, "such a mark", remedy
    remedy = "Write {field} for what is said, * for anything and **/ for any folders."
    if "which is no field" in phrase:
        remedy = f"Write one of {', '.join(FIELDS)} in braces, or * for what is not needed."
    return place, phrase, "a pattern", remedy


def _folder(source: Source) -> Iterator[Trouble]:
    """Its folder must be one of the campaign, and none that holds this program's own records."""
    parts = source.folder.split("/")
    wanted = f"a folder of the campaign for such files, such as {quoted(GATHERED)}"
    remedy = "Write the folder's name from the campaign's root, such as 'gathered' or 'tables'."
    if not all(parts):
        yield "folder", f"a part without a name in {quoted(source.folder)}", wanted, remedy
    elif any(part in (".", "..") for part in parts):
        yield "folder", f'"." or ".." in {quoted(source.folder)}', wanted, remedy
    elif parts[0].lower() in _OWN_FOLDERS:
        found = f"{quoted(source.folder)}, where records of the campaign lie"
        remedy = "Put the files into a folder of their own, and write its name."
        if source.is_of_events:
            remedy = "Leave it out: gathering brings them to their calibration or verification."
        yield "folder", found, wanted, remedy


def _says(source: Source, patterns: Mapping[str, Pattern | None]) -> dict[str, list[str]]:
    """By field: every place that says it."""
    says: dict[str, list[str]] = {}
    for place, pattern in patterns.items():
        for field in pattern.fields if pattern else ():
            says.setdefault(field, []).append(place)
    for field in source.constants:
        says.setdefault(field, []).append(f"constants.{field}")
    for number, column in enumerate(source.columns, 1):
        ours = "time" if column.ours == "measured_at" else column.ours
        if ours is not None:
            says.setdefault(ours, []).append(f"columns[{number}]")
    if source.conditions:
        says.setdefault("condition", []).append("conditions")
    return says


def _unknown_fields(source: Source) -> Iterator[Trouble]:
    named = [(f"constants.{field}", field) for field in source.constants]
    named += [(f"rename.{field}", field) for field in source.rename]
    named += [
        (f"conditions[{number}].when.{field}", field)
        for number, rule in enumerate(source.conditions, 1)
        for field in rule.when
    ]
    for place, field in named:
        if field not in FIELDS:
            remedy = correction(field, FIELDS, f"Write one of {', '.join(FIELDS)}.")
            yield place, f"the unknown field {quoted(field)}", _FIELDS_LIST, remedy
    known = _OURS.get(source.holds, ())
    for number, column in enumerate(source.columns, 1):
        ours = column.ours
        if ours is None or ours in FIELDS or ours in known or _is_further(source, ours):
            continue
        yield (
            f"columns[{number}].ours",
            f"{quoted(ours)} for the column {quoted(column.theirs)}",
            f"a field, or a column of a table of {source.holds}",
            correction(ours, [*FIELDS, *known], "Write what the reference lists for this table."),
        )


def _is_further(source: Source, ours: str) -> bool:
    """Whether a column's name depends on the campaign: checked with it."""
    if source.holds == "curves":
        return ours.endswith(_CURVE_ENDS) or ours.startswith(BIAS_PREFIX)
    return source.holds in ("values", "sweeps") and ours.startswith(BIAS_PREFIX)


def _constants(source: Source) -> Iterator[Trouble]:
    """Constants, and what rules compare with, must have their field's content."""
    values: list[tuple[str, str, Said]] = [
        (f"constants.{field}", field, value) for field, value in source.constants.items()
    ]
    values += [
        (f"conditions[{number}].when.{field}", field, value)
        for number, rule in enumerate(source.conditions, 1)
        for field, value in rule.when.items()
    ]
    for place, field, value in values:
        content = FIELDS[field][0] if field in FIELDS else None
        if content in ("text", "time") and (not isinstance(value, str) or not value.strip()):
            if isinstance(value, str) or place.startswith("constants"):
                yield place, shown(value), "a text", "Write it in double quotes."
        elif content == "whole number" and not isinstance(value, int):
            yield place, shown(value), "a whole number", "Write it without quotes."
        elif content == "number" and isinstance(value, str):
            yield place, shown(value), "a number", "Write it without quotes."


def _twice(source: Source, says: Mapping[str, list[str]]) -> Iterator[Trouble]:
    """A field that two places say; the die and the time in two ways."""
    for field, places in says.items():
        if len(places) > 1:
            remedy = "Leave it in one of them; in names, write * where it stands again."
            yield places[-1], f"{quoted(field)} in {' and '.join(places)}", "it once", remedy
    own = [number for number, one in enumerate(source.columns, 1) if one.condition]
    if own and "condition" in says:
        found = f"a condition, while {says['condition'][0]} says it too"
        remedy = "Leave it in one of them."
        yield f"columns[{own[0]}].condition", found, "it once", remedy
    for one, others in (("die", ("die_x", "die_y")), ("time", ("date", "clock"))):
        clash = next((other for other in others if other in says), None)
        if one in says and clash is not None:
            found = f"both {quoted(one)} and {quoted(clash)}"
            yield says[clash][0], found, f"the {one} said in one way", "Leave one of them out."


def _nowhere(source: Source, says: Mapping[str, list[str]]) -> Iterator[Trouble]:
    """What every file or row must say and nothing says."""
    for field in _NEEDED[source.holds]:
        place, meaning = "", FIELDS[field][1]
        is_said = field in says
        if source.rows == "one a die" and field in ("device", "parameter"):
            continue
        if field == "condition" and source.rows == "one a die":
            place = "columns"
            is_said |= all(one.condition for one in source.columns if one.parameter)
        if field == "die":
            is_said |= {"die_x", "die_y"} <= says.keys()
            meaning = "die_x and die_y, or a die's label"
        if field == "time":
            is_said |= source.time_from == "modification" or {"date", "clock"} <= says.keys()
        if not is_said:
            remedy = f"Say it in files, lines{', columns' * bool(source.columns)} or constants."
            if field == "condition":
                remedy = remedy[:-1] + ", or by rules in conditions."
            if field == "time":
                remedy = remedy[:-1] + ", or state time_from = 'modification'."
            yield place, f"nothing that says {quoted(field)}", meaning, remedy
    if "die" in says and not source.dies:
        found = "labels of dies without a table of them"
        yield "dies", found, "each label with its [die_x, die_y]", "Add 'dies' to the source."


def _of_events(source: Source, patterns: Mapping[str, Pattern | None]) -> Iterator[Trouble]:
    """Sweeps of calibrations and verifications: their folder must say whose they are."""
    field = _EVENT_FIELDS[source.holds]
    pattern = patterns["files"]
    if pattern is not None and field not in (*pattern.fields, *source.constants):
        remedy = (
            f"Write {{{field}}} where the path has the id of the {field}, or say it in constants."
        )
        yield "files", f"no {{{field}}} in {quoted(source.files)}", f"the {field}'s id", remedy


def _rules(source: Source, says: Mapping[str, list[str]]) -> Iterator[Trouble]:
    """Rules for conditions must ask for what is said somewhere."""
    asked = {
        field: number for number, rule in enumerate(source.conditions, 1) for field in rule.when
    }
    for field, number in asked.items():
        if field not in FIELDS:
            continue
        place = f"conditions[{number}].when.{field}"
        if field not in says:
            remedy = (
                f"Say {field} in files, lines, columns or constants, or take it out of the rule."
            )
            yield place, f"{quoted(field)}, which nothing says", "a field that is said", remedy
        elif field == "condition" or FIELDS[field][0] == "time":
            remedy = "Use bias, set_point_c or another field."
            yield place, quoted(field), "a field by which conditions differ", remedy


def _times(source: Source, says: Mapping[str, list[str]]) -> Iterator[Trouble]:
    """Format and zone of times."""
    fields = [field for field in ("time", "date", "clock") if field in says]
    if source.time_from == "modification":
        if fields:
            remedy = "Leave time_from out, or the time that is said."
            found = f"'modification', while {says[fields[0]][0]} says {quoted(fields[0])}"
            yield "time_from", found, "one way to tell the time", remedy
        if not source.is_copied:
            remedy = "Gather the files, or map a time."
            found = f"'modification' for files in {quoted(source.folder)}"
            yield "time_from", found, "gathered files, whose list has that time", remedy
    for one, other in (("date", "clock"), ("clock", "date")):
        if one in says and other not in says and "time" not in says:
            found = f"{quoted(one)} without {quoted(other)}"
            yield says[one][0], found, "both, or 'time'", f"Say {quoted(other)} too."
    trouble = None if source.time_format is None else format_trouble(source.time_format)
    if trouble is not None:
        remedy = "Write it with directives such as %Y-%m-%d %H:%M:%S; a clock with AM/PM has %I %p."
        yield "time_format", trouble, "the format of a day with its time", remedy
    if source.time_zone is not None:
        try:
            zone_of(source.time_zone)
        except BadZone as error:
            remedy = "Write a place such as 'Europe/Berlin', or an offset such as '+01:00'."
            if error.meant:
                remedy = f"Write {quoted(error.meant)} if that is meant."
            yield "time_zone", str(error), "a time zone", remedy
    elif fields and trouble is None and not states_zone(source.time_format):
        remedy = "State time_zone, such as 'Europe/Berlin' or '+01:00'."
        found = f"times as {quoted(str(source.time_format))} without a zone"
        yield "time_format", found, "a zone", remedy


def _sweeps(source: Source, says: Mapping[str, list[str]]) -> Iterator[Trouble]:
    """What belongs to sweeps, and to them alone."""
    if source.holds == "sweeps":
        if source.sweep is None:
            remedy = "Write sweep = 'raw' or sweep = 'corrected'."
            yield "sweep", "nothing", "whether the sweeps are raw or corrected", remedy
    elif source.sweep is not None:
        yield "sweep", quoted(source.sweep), only(source, "sweeps"), "Leave it out."
    if source.holds == "sweeps" and source.columns and (source.ports or source.one_port_pairs):
        key = "ports" if source.ports else "one_port_pairs"
        expected = "this of Touchstone files only, and no 'columns'"
        yield key, "both this and 'columns'", expected, "Map the columns of each port instead."
    elif source.ports and source.holds != "sweeps":
        found = str(list(source.ports))
        yield "ports", found, only(source, "sweeps of devices"), "Leave it out."
    elif source.ports not in ((), (1, 2), (2, 1), (1,)):
        remedy = "Write the device's port at each port of the file."
        yield "ports", str(list(source.ports)), "[1, 2], [2, 1] or [1]", remedy
    named = {place for place in says.get("port", ()) if place.startswith(("files", "lines"))}
    if source.one_port_pairs is not None:
        if source.holds != "sweeps":
            yield (
                "one_port_pairs",
                quoted(source.one_port_pairs),
                only(source, "sweeps"),
                ("Leave it out."),
            )
        elif not named:
            remedy = "Write {port} in files or lines where the port's number stands."
            yield "one_port_pairs", "nothing that says 'port'", "the port of each file", remedy
    elif named:
        remedy = "State one_port_pairs = 'no transmission', or write * in place of {port}."
        found = "'port', while one_port_pairs is not stated"
        yield says["port"][0], found, "what the files of both ports make together", remedy


def _tables(source: Source) -> Iterator[Trouble]:
    """What belongs to tables, and to them alone."""
    is_table = source.holds in _OURS and not (source.holds == "sweeps" and not source.columns)
    if not is_table:
        for key, there in (("columns", source.columns), ("leave", source.leave)):
            if there:
                found = counted(len(there), "column")
                yield key, found, only(source, "tables"), "Leave them out."
        if source.rows == "one a die":
            yield "rows", quoted(source.rows), only(source, "tables of values"), "Leave it out."
        return
    if not source.columns:
        remedy = "Add each column that is needed, as { theirs = '...', ours = '...' }."
        yield "columns", "nothing", "what the columns of the tables mean", remedy
    yield from column_troubles(source)
    mapped = {column.theirs for column in source.columns}
    for number, name in enumerate(source.leave, 1):
        if name in mapped:
            found = f"{quoted(name)}, which 'columns' maps"
            yield f"leave[{number}]", found, "columns that are not needed", "Leave it out of one."
