"""Figures of the statistics as text: estimates with intervals, probabilities, why not stated."""

from collections.abc import Iterable, Sequence
from typing import Literal

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.statistics import Estimate
from sitegen.render.phrases import link, percent, plain
from sitegen.render.pieces import Cell, Text

SIGNIFICANT = 0.05
"""An adjusted p-value below it is told in a sentence; the tables have all."""

LEAST_P = 0.001
"""A p-value below it is told as below it."""

Explained = Literal[
    "distribution",
    "tolerance",
    "capability",
    "components",
    "measured part",
    "space",
    "outliers",
    "correlation",
    "time",
    "comparison",
    "stress",
    "decision",
]
ANCHORS: dict[Explained, str] = {
    "distribution": "statistics-distribution",
    "tolerance": "statistics-tolerance",
    "capability": "statistics-capability",
    "components": "statistics-components",
    "measured part": "statistics-measured-part",
    "space": "statistics-space",
    "outliers": "statistics-outliers",
    "correlation": "statistics-correlation",
    "time": "statistics-time",
    "comparison": "statistics-comparison",
    "stress": "statistics-stress",
    "decision": "decision",
}
"""What is explained -> id of its place on the method page."""


def explained(page: str, *links: tuple[Explained, str]) -> Markup:
    """'Method: capability, tolerance intervals.', each a link to its paragraph."""
    told = [
        link(text, addresses.relative(f"{addresses.METHOD}#{ANCHORS[what]}", page))
        for what, text in links
    ]
    return Markup("Method: {}.").format(Markup(", ").join(told))


def probability(p: float | None) -> str:
    """'0.012', '< 0.001'."""
    if p is None:
        return units.MISSING
    return f"< {LEAST_P}" if p < LEAST_P else units.number(min(p, 1.0), 2)


def told_p(p: float | None) -> str:
    """'p = 0.012', 'p < 0.001'."""
    told = probability(p)
    return f"p {told}" if p is not None and p < LEAST_P else f"p = {told}"


def p_cell(p: float | None) -> Cell:
    """A p-value in a table."""
    return Cell(probability(p), plain(p), True)


def ratio(value: float | None) -> str:
    """A capability index: two decimal places."""
    return units.MISSING if value is None else f"{value:.2f}".replace("-", units.MINUS)


def numbers(found: Estimate, factor: float = 1.0, digits: int = 3) -> tuple[str, str, str]:
    """Value, lower and upper end, all to the decimal place that the interval's half-width gives.

    Of a half-width two significant digits are kept (JCGM 100:2008, 7.2.6); without one `digits`.
    Empty text for what is not stated.
    """
    ends = (found.value, found.lower, found.upper)
    half = None
    if found.lower is not None and found.upper is not None and found.upper > found.lower:
        half = (found.upper - found.lower) / 2 * factor

    def shown(one: float | None) -> str:
        if one is None:
            return ""
        if half is None:
            return units.number(one * factor, digits)
        return units.to_place_of(one * factor, half)

    value, lower, upper = (shown(one) for one in ends)
    return value, lower, upper


def between(lower: str, upper: str, unit: str = "") -> str:
    """'0.74 to 1.00', 'at least 0.74', 'at most 1.00', with a unit behind; empty for neither."""
    behind = f"{'' if unit == '°' else units.THIN}{unit}" if unit else ""
    if lower and upper:
        return f"{lower}{behind} to {upper}{behind}" if unit else f"{lower} to {upper}"
    if lower:
        return f"at least {lower}{behind}"
    return f"at most {upper}{behind}" if upper else ""


def estimate_cell(found: Estimate, factor: float = 1.0, digits: int = 3) -> Cell:
    """'36.1 (33.2 to 39.8)', or the sign for none; its reason has a column of its own."""
    value, lower, upper = numbers(found, factor, digits)
    return _cell(value, between(lower, upper), found.value)


def ratio_cell(found: Estimate) -> Cell:
    """A capability index with its interval."""
    ends = ["" if one is None else ratio(one) for one in (found.lower, found.upper)]
    value = "" if found.value is None else ratio(found.value)
    return _cell(value, between(*ends), found.value)


def share_cell(found: Estimate) -> Cell:
    """A share with its interval."""
    ends = ["" if one is None else percent(one) for one in (found.lower, found.upper)]
    return _cell("" if found.value is None else percent(found.value), between(*ends), found.value)


def _cell(value: str, interval: str, number: float | None) -> Cell:
    if not value:
        return Cell(interval or units.MISSING, plain(number), True)
    return Cell(f"{value} ({interval})" if interval else value, plain(number), True)


def number_cell(value: float | None, factor: float = 1.0, digits: int = 3) -> Cell:
    """A number in a table."""
    return Cell(
        units.MISSING if value is None else units.number(value * factor, digits),
        plain(value),
        True,
    )


def reasons(found: Iterable[str]) -> str:
    """What was given, each once, in order."""
    return "; ".join(dict.fromkeys(one for one in found if one))


def because(found: Iterable[str]) -> str:
    """': needs 5 wafers, there are 3', or nothing."""
    told = reasons(found)
    return f": {told}" if told else ""


def sentences_of(parts: Sequence[Text]) -> Markup:
    """Sentences one after the other."""
    return Markup(" ").join(Markup("{}").format(part) for part in parts if part)
