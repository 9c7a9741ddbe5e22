"""What mapping.toml declares of a source, as terms and texts."""

from collections.abc import Mapping

from markupsafe import Markup

from sitegen import units
from sitegen.model.mapping import Dialect, Source
from sitegen.render.phrases import counted, figure_of, several
from sitegen.render.pieces import Fact, Text


def source_facts(source: Source) -> tuple[Fact, ...]:
    """Each part of the declaration that says something, in the order of the record."""
    facts = [
        Fact("Pattern", Markup("<code>{}</code>").format(source.files)),
        Fact("Place", _place(source)),
    ]
    if source.lines:
        facts.append(Fact("Lines before the numbers", several(map(_code, source.lines), "; ")))
    if source.constants:
        facts.append(Fact("The same in all files", _pairs(source.constants)))
    facts += [
        Fact(f"Called otherwise: {field}", _pairs(names, " is "))
        for field, names in source.rename.items()
        if names
    ]
    facts += [
        Fact(f"Condition {rule.condition}", Markup("where ") + _pairs(rule.when, " is "))
        for rule in source.conditions
    ]
    if source.dies:
        facts.append(Fact("Dies by label", counted(len(source.dies), "label")))
    facts += _signs(source)
    if not source.is_of_events:
        facts += [Fact("Frame of the dies", source.frame), *_times(source)]
    return (*facts, *(_of_sweeps(source) if _has_sweeps(source) else _of_tables(source)))


def dialect_words(dialect: Dialect) -> Text:
    """What is declared of how tables are written; the rest is found from the columns' names."""
    parts: list[Text] = []
    if dialect.separator:
        parts.append(f"columns separated by {_SEPARATORS[dialect.separator]}")
    if dialect.decimal:
        parts.append(f"decimal {dialect.decimal}")
    if dialect.encoding:
        parts.append(dialect.encoding)
    if dialect.names_line:
        parts.append(f"names in line {dialect.names_line}")
    if dialect.units_line:
        parts.append(f"units in line {dialect.units_line}")
    if dialect.missing:
        parts.append(Markup("no value: ") + several(map(_code, dialect.missing)))
    return several(parts, "; ") if parts else "found from the names of the columns"


_SEPARATORS = {
    "comma": "commas",
    "semicolon": "semicolons",
    "tab": "tabs",
    "blanks": "blanks",
    "bar": "bars",
}


def _has_sweeps(source: Source) -> bool:
    return source.holds in ("sweeps", "calibration sweeps", "verification sweeps")


def _place(source: Source) -> Text:
    if source.is_of_events:
        return "copied beside the record that each belongs to"
    how = "copied there from a station's tree" if source.is_copied else "read where they lie"
    return Markup("<code>{}/</code>, {}").format(source.folder, how)


def _signs(source: Source) -> list[Fact]:
    facts = []
    if source.minus:
        facts.append(Fact("Minus sign in names", _code(source.minus)))
    if source.point:
        facts.append(Fact("Decimal point in names", _code(source.point)))
    return facts


def _times(source: Source) -> list[Fact]:
    if source.time_from == "modification":
        return [Fact("Time of measurement", "when the file was last written")]
    facts = [
        Fact("Times", _code(source.time_format) if source.time_format else "as ISO 8601 has them")
    ]
    if source.time_zone:
        facts.append(Fact("Zone of times that state none", source.time_zone))
    if source.repeated_hour:
        facts.append(Fact("Hour that comes twice", f"the {source.repeated_hour} is meant"))
    return facts


def _of_sweeps(source: Source) -> list[Fact]:
    facts = [Fact("Sweeps", source.sweep)] if source.sweep else []
    if source.sweep == "corrected":
        ohm = f"{figure_of(source.reference_impedance_ohm)}{units.THIN}Ω"
        facts.append(Fact("Reference impedance", ohm))
    if source.ports:
        listed = ", ".join(
            f"port {theirs} of the file is port {ours} of the device"
            for theirs, ours in enumerate(source.ports, 1)
        )
        facts.append(Fact("Ports", listed))
    if source.one_port_pairs:
        facts.append(
            Fact("Pairs of one-port files", "one device of two ports, its transmission taken as 0")
        )
    return facts


def _of_tables(source: Source) -> list[Fact]:
    facts = [Fact("Writing of the tables", dialect_words(source.dialect))]
    if source.holds == "values":
        facts.insert(0, Fact("A row is", source.rows.replace("one a", "one")))
    if source.leave:
        others = "all others" if "*" in source.leave else several(map(_code, source.leave))
        facts.append(Fact("Columns not needed", others))
    return facts


def _pairs(said: Mapping[str, object], word: str = " = ") -> Markup:
    return several(
        (
            Markup("{}{}{}").format(_code(field), word, _code(str(text)))
            for field, text in said.items()
        )
    )


def _code(text: object) -> Markup:
    return Markup("<code>{}</code>").format(text)
