"""View of the method page: how every figure of the publication is computed, and by what rule."""

from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.curve_figures import CURVE_FIGURE_FORMULAS, CURVE_FIGURE_UNITS
from sitegen.model.figures import FIGURE_TEXTS, Place
from sitegen.model.results import OUTCOMES, REASONS, STANDINGS, CampaignResults, Drawing
from sitegen.render.cautions import COLD_C, HAZARDOUS_DC_V, HAZARDOUS_WET_DC_V, HOT_C
from sitegen.render.environment import render
from sitegen.render.figures import figure
from sitegen.render.formulas import formula_text
from sitegen.render.marks import marked
from sitegen.render.method_decisions import DecisionTexts, decision_texts
from sitegen.render.page import Page
from sitegen.render.phrases import capital, figure_of
from sitegen.render.pieces import Fact, Figure
from sitegen.render.shell import shell

MEANINGS = {
    "within": "The value is accepted under the rule.",
    "not proven": "The value lies between its limits, inside a guard band: conformity is neither"
    " shown nor refuted.",
    "not refuted": "The value lies beyond a limit, inside a guard band: nonconformity is not"
    " proven.",
    "outside": "The value lies beyond a limit, under a rule that guards rejection by more than the"
    " guard band.",
    "not assessable": "The rule cannot be applied, or no number could be determined; the reason"
    " stands beside the outcome.",
    "not measured": "The plan asks for the value, and it was not taken.",
    "no limits": "The parameter has no specification limits.",
    "stands": "Valid evidence stands behind the value.",
    "not closed": "A passed verification comes before the value and none after it, or no"
    " verification of its calibration has passed at all; the two are told apart. The value is"
    " used in statistics and verdicts, and counted as not closed.",
    "without standing": "No valid evidence stands behind the value, for one of the reasons below."
    " It keeps its number, is left out of statistics and verdicts, and never makes a die conform.",
}
PLACES: dict[tuple[Place, ...], str] = {
    ("frequency",): "at one frequency",
    ("window",): "over a window",
    ("frequency", "window"): "at one frequency or over a window",
    ("whole", "window"): "over the whole sweep or a window",
}
"""Where a figure of a sweep can be taken."""


YIELD_COVERAGE = (
    "In how many of 100 samples the two intervals hold the true share, by exact enumeration."
)


@dataclass(frozen=True, slots=True)
class MethodView:
    """Contract of templates/method.html."""

    title: str
    decisions: DecisionTexts
    coverage_factor: str
    outcomes: tuple[Fact, ...]
    standings: tuple[Fact, ...]
    reasons: tuple[Fact, ...]
    """The closed list of reasons that take standing from a value."""
    counts: str
    """Which touchdown counts."""
    contact_resistance_max: str
    """Greatest contact resistance of a made contact with its unit; empty where none is declared."""
    sweep_figures: tuple[Fact, ...]
    """Every figure of a sweep with its formula, unit and place."""
    curve_figures: tuple[Fact, ...]
    hot_c: str
    cold_c: str
    hazardous_dc_v: str
    hazardous_wet_dc_v: str
    coverage: tuple[Figure, ...]
    """How often the interval of a wafer's yield holds the truth, drawn."""
    version: str


def method_page(results: CampaignResults, coverage: tuple[Drawing, ...] = ()) -> Page:
    """The method page. coverage: how often intervals of a yield hold the truth."""
    around = shell(results.context.record, addresses.METHOD, "Method")
    return Page(addresses.METHOD, render("method", view(results, coverage), around))


def view(results: CampaignResults, coverage: tuple[Drawing, ...] = ()) -> MethodView:
    """What the method page shows of this campaign's own choices; the rest is its text."""
    record = results.context.record
    bound = record.touchdowns.contact_resistance_max_ohm
    return MethodView(
        title="Method",
        decisions=decision_texts(record),
        coverage_factor=figure_of(record.decision.coverage_factor),
        outcomes=tuple(Fact(marked(word), MEANINGS[word]) for word in OUTCOMES),
        standings=tuple(Fact(marked(word), MEANINGS[word]) for word in STANDINGS),
        reasons=tuple(Fact(capital(reason), text) for reason, text in REASONS.items()),
        counts={"first": "the first", "last": "the last", "mean": "the mean of all"}[
            record.touchdowns.counts
        ],
        contact_resistance_max="" if bound is None else f"{figure_of(bound)} Ω",
        sweep_figures=tuple(
            _figure(name, text.formula, text.unit, PLACES[text.places])
            for name, text in FIGURE_TEXTS.items()
        ),
        curve_figures=tuple(
            _figure(name, CURVE_FIGURE_FORMULAS[name], unit)
            for name, unit in CURVE_FIGURE_UNITS.items()
        ),
        hot_c=figure_of(HOT_C),
        cold_c=figure_of(COLD_C),
        hazardous_dc_v=figure_of(HAZARDOUS_DC_V),
        hazardous_wet_dc_v=figure_of(HAZARDOUS_WET_DC_V),
        coverage=tuple(figure(one, addresses.METHOD, YIELD_COVERAGE) for one in coverage),
        version=results.context.version,
    )


def _figure(name: str, formula: str, unit: str, place: str = "") -> Fact:
    """A figure with its formula, '; in Hz, over a window' behind it."""
    parts = ["" if unit == "1" else f"in {units.normalise(unit)}", place]
    told = ", ".join(part for part in parts if part)
    text = formula_text(formula)
    return Fact(capital(name), Markup("{}; {}").format(text, told) if told else text)
