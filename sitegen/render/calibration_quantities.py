"""What a calibration solved over frequency, its comparisons and its error terms, as page parts."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import CalibrationResult, Comparison, Curve, Term
from sitegen.model.results import Drawing
from sitegen.render.calibration_checks import COVERAGE_FACTOR
from sitegen.render.figures import figure
from sitegen.render.frequencies import frequency_columns, greatest, places, stretches
from sitegen.render.marks import marked
from sitegen.render.method_links import explained
from sitegen.render.phrases import capital, figure_of, frequency, link, plain
from sitegen.render.pieces import Cell, Column, Figure, Link, Row, Table

TERMS = {
    "directivity": "what the port receives of its own signal with nothing to reflect it.",
    "source match": "what the driven port reflects of what comes back to it.",
    "reflection tracking": "the way of a reflection to the tip and back.",
    "load match": "what the other port reflects while it receives.",
    "transmission tracking": "the way from the driven port to the receiving one.",
    "isolation": "what reaches the receiving port past the device.",
}
"""Family of error terms -> what it is."""
FEW, MORE = 5, 9
"""At how many frequencies a table shows values with and without uncertainties."""
SMALL = 0.02
"""A number without a unit that stays below is counted in thousandths."""


@dataclass(frozen=True, slots=True)
class Compared:
    """A comparison in words, with its drawing and the table behind it."""

    id: str
    title: str
    text: Markup
    figures: tuple[Figure, ...]
    """The one drawing; none where the two could not be compared."""
    table: Table


def figures(
    result: CalibrationResult, drawings: Mapping[str, Drawing], page: str
) -> tuple[Figure, ...]:
    """The solved quantities' drawings, what each shows as its caption."""
    found = []
    for place, curve in enumerate(result.curves):
        drawing = drawings.get(f"curve-{place}")
        if drawing is not None:
            caption = f"{curve.text}{_gap(curve, result.frequency_hz)}"
            found.append(figure(drawing, page, caption, Link("Table", "#quantities")))
    if "condition" in drawings:
        text = "By how much an error of a raw sweep can be magnified, seen at the probe tips."
        found.append(figure(drawings["condition"], page, text))
    return tuple(found)


def term_figures(
    result: CalibrationResult, drawings: Mapping[str, Drawing], page: str
) -> tuple[Figure, ...]:
    """The error terms' drawings, a sentence on each family as its caption."""
    families = {name.replace(" ", "-"): name for name in TERMS}

    def caption(key: str, drawing: Drawing) -> str:
        name = families.get(key.removeprefix("terms-"))
        return drawing.title if name is None else f"{capital(name)}: {TERMS[name]}"

    return tuple(
        figure(drawing, page, caption(key, drawing), Link("Table", "#terms"))
        for key, drawing in drawings.items()
        if key.startswith("terms-")
    )


def _gap(curve: Curve, frequency_hz: FloatArray) -> Markup:
    """Where the quantity is not determined; empty where it is everywhere."""
    missing = [not math.isfinite(value) for value in curve.values.tolist()]
    if not any(missing):
        return Markup("")
    if all(missing):
        return Markup(" It is not determined at any frequency.")
    return Markup(" Not determined {}.").format(stretches(frequency_hz, missing))


def quantities(result: CalibrationResult) -> Table:
    """The values behind the drawings at a few frequencies."""
    at = places(len(result.frequency_hz), FEW)
    return Table(
        id="quantities",
        caption="Solved quantities at some frequencies, ± U with k = 2 where it is stated",
        columns=(Column("Quantity"), Column("Unit"), *frequency_columns(result.frequency_hz, at)),
        rows=tuple(_quantity(curve, at) for curve in result.curves),
        empty="No quantity was solved over frequency beside the error terms.",
        ordered=True,
    )


def _quantity(curve: Curve, at: Sequence[int]) -> Row:
    factor, unit = _shown_unit(curve, at)
    decimals = _decimals([factor * float(curve.values[place]) for place in at])

    def cell(place: int) -> Cell:
        value = factor * float(curve.values[place])
        if not math.isfinite(value):
            return Cell("not determined", "", True)
        u = None if curve.u is None else factor * float(curve.u[place])
        if u is not None and math.isfinite(u) and u > 0:
            return Cell(units.with_uncertainty(value, COVERAGE_FACTOR * u), "", True)
        shown = f"{round(value, decimals) + 0.0:.{decimals}f}"  # no minus before a zero
        return Cell(shown.replace("-", units.MINUS), "", True)

    return Row(Cell(curve.name), (Cell(unit), *(cell(place) for place in at)))


def _decimals(values: Sequence[float]) -> int:
    """Decimal places that show three significant digits of how far these numbers lie apart."""
    known = [value for value in values if math.isfinite(value)]
    spread = max(known, default=0.0) - min(known, default=0.0)
    size = max(spread, 1e-4 * max((abs(value) for value in known), default=0.0))
    return min(max(2 - math.floor(math.log10(size)), 1), 9) if size > 0 else 0


def _shown_unit(curve: Curve, at: Sequence[int]) -> tuple[float, str | Markup]:
    """As on the drawings: a small number without a unit is counted in thousandths."""
    values = [float(curve.values[place]) for place in at]
    if curve.unit in ("", "1"):
        small = all(abs(value) < SMALL for value in values if math.isfinite(value))
        return (1e3, Markup("10<sup>−3</sup>")) if small and any(values) else (1.0, "")
    try:
        return units.shown_unit(values, curve.unit)
    except units.UnknownUnit:
        return 1.0, curve.unit


def comparisons(
    result: CalibrationResult, drawings: Mapping[str, Drawing], page: str
) -> tuple[Compared, ...]:
    """Each comparison with its sentence, drawing and table."""
    found = []
    for place, one in enumerate(result.comparisons):
        drawing = drawings.get(f"comparison-{place}")
        table = _comparison_table(one, place, result.frequency_hz)
        shown = () if drawing is None else (figure(drawing, page, _caption(one), None),)
        found.append(
            Compared(
                id=f"comparison-{place}-heading",
                title=f"Against calibration {one.other}"
                if one.kind == "previous calibration"
                else "Against the terms that the instrument reported",
                text=_compared(one, result, page),
                figures=shown,
                table=table,
            )
        )
    return tuple(found)


def _caption(one: Comparison) -> str:
    text = "The greatest difference of any S-parameter of any passive device"
    if one.repeatable is not None:
        text += ", with what two calibrations made back to back would show"
    return text + "."


def _compared(one: Comparison, result: CalibrationResult, page: str) -> Markup:
    other = (
        link(one.other, addresses.relative(addresses.calibration(one.other), page))
        if one.other
        else Markup("the instrument's terms")
    )
    if one.refused:
        return Markup("It is not compared with {}: {}.").format(other, one.refused.rstrip("."))
    worst = greatest(one.bound)
    if worst is None:
        return Markup("The two are determined together at no frequency.")
    word = explained("comparison bound", "comparison bound", page)
    said = [
        Markup(
            "No passive device could show a difference greater than {} between the two (at {}"
        ).format(units.number(worst[0], 3), frequency(float(result.frequency_hz[worst[1]])))
        + Markup("; the {}).").format(word)
    ]
    if one.limit is not None and one.passed is not None:
        said.append(
            Markup("The record allows {}: {}.").format(
                figure_of(one.limit), marked("met" if one.passed else "missed")
            )
        )
    else:
        said.append(
            Markup("The record does not say how great it may be: it is shown and not judged.")
        )
    said += _remains(one, result.frequency_hz)
    return Markup(" ").join([*said, _order(result)])


def _remains(one: Comparison, frequency_hz: FloatArray) -> list[Markup]:
    """What is drift in the difference, and what two calibrations back to back would show too."""
    if one.repeatable is None:
        if one.kind == "reported terms":
            return []
        return [
            Markup(
                "How much of it two calibrations made back to back would show is not stated, so"
                " none of it can be called drift."
            )
        ]
    drift = greatest(one.drift)
    if drift is None or drift[0] <= 0:
        return [
            Markup(
                "Two calibrations made back to back would differ as much (95 %): nothing remains"
                " as drift."
            )
        ]
    return [
        Markup(
            "Beyond what two calibrations made back to back would show (95 %), up to {} remains as"
            " drift (at {})."
        ).format(units.number(drift[0], 3), frequency(float(frequency_hz[drift[1]])))
    ]


def _order(result: CalibrationResult) -> Markup:
    if len(result.record.ports) == 1:
        return Markup("For one port the bound is exact.")
    return Markup(
        "The bound is exact in the differences of the error terms; its search for the worst device"
        " may stop up to 2.5 % short of it."
    )


def _comparison_table(one: Comparison, place: int, frequency_hz: FloatArray) -> Table:
    at = places(len(frequency_hz), FEW)
    named = (
        ("Comparison bound", one.bound),
        ("Two calibrations made back to back, 95 %", one.repeatable),
        ("Remains as drift", one.drift),
    )
    return Table(
        id=f"comparison-{place}",
        caption=f"Greatest |ΔS| that a passive device could show, against"
        f" {one.other or 'the reported terms'}, at some frequencies",
        columns=(Column("Difference"), *frequency_columns(frequency_hz, at)),
        rows=tuple(
            Row(Cell(name), tuple(_number(float(values[spot])) for spot in at))
            for name, values in named
            if values is not None and not one.refused
        ),
        empty="There is nothing to tabulate.",
        ordered=True,
    )


def _number(value: float) -> Cell:
    if math.isnan(value):
        return Cell("not determined", "", True)
    if math.isinf(value):
        return Cell("no bound", "", True)
    return Cell(units.number(value, 3), plain(value), True)


def terms(result: CalibrationResult) -> Table:
    """The error terms' levels at some frequencies."""
    at = places(len(result.frequency_hz), MORE)
    return Table(
        id="terms",
        caption="Magnitude of the error terms in dB at some frequencies",
        columns=(
            Column("Error term"),
            Column("Symbol"),
            *frequency_columns(result.frequency_hz, at),
        ),
        rows=tuple(_term_row(term, at) for term in result.terms),
        empty="There are no error terms: the calibration could not be solved.",
    )


def _term_row(term: Term, at: Sequence[int]) -> Row:
    def cell(place: int) -> Cell:
        magnitude = abs(complex(term.values[place]))
        if not math.isfinite(magnitude):
            return Cell("not determined", "", True)
        if magnitude == 0:
            return Cell("zero", "", True)
        level_db = 20 * math.log10(magnitude)
        return Cell(f"{level_db:.2f}".replace("-", units.MINUS), plain(level_db), True)

    return Row(Cell(term.name), (Cell(term.symbol), *(cell(place) for place in at)))
