"""Lists of names that the records may use: methods, figures, contact checks and units."""

from typing import NamedTuple

from sitegen import units
from sitegen.model.curve_figures import (
    CURVE_FIGURE_AXES,
    CURVE_FIGURE_FORMULAS,
    CURVE_FIGURE_NEEDS,
    CURVE_FIGURE_UNITS,
    CurveFigureName,
)
from sitegen.model.device import DUMMIES_OF, LUMPED
from sitegen.model.figures import FIGURE_TEXTS
from sitegen.model.mapping import FIELDS
from sitegen.model.trust import CONTACT_COLUMNS, CONTACT_UNITS

METHODS = (
    (
        "one-port",
        "three or more known reflects at the one port of 'ports'; where there are more, each counts"
        " by the uncertainty that its definition states",
    ),
    (
        "SOLT",
        "three or more known reflects at each port (short, open and load) and a thru; switch terms"
        " are not needed",
    ),
    (
        "SOLR",
        "as SOLT, but the thru needs to be reciprocal only: its delay tells its sign and must be"
        " right within 60 degrees of phase; switch terms",
    ),
    (
        "LRM",
        "a thru, a load at each port, and a reflect that is equal at both ports (a reflect, a short"
        " or an open); switch terms",
    ),
    (
        "LRRM",
        "a thru, a short and an open at both ports, and a load at one port; switch terms."
        " 'load_fit' says what is found of the load: where the frequencies cannot tell it the"
        " calibration is not solved, and 'none' takes the load as defined",
    ),
    (
        "TRL",
        "lines of two or more lengths between the ports, the shortest as the thru, a reflect that"
        " is equal at both ports, and 'line_medium'; switch terms. Determined where two lines"
        " differ by 'line_phase_min_deg' to 'line_phase_max_deg', modulo 180 degrees",
    ),
    (
        "multiline TRL",
        "as TRL, from all lines at once; determined where its equations are well conditioned,"
        " whatever the phases",
    ),
)
"""What each calibration method needs."""

_PLACES = {
    "frequency": "at frequency_hz",
    "window": "over window_hz",
    "whole": "over the whole sweep",
}


class ListOfNames(NamedTuple):
    """A list of the reference: each row begins with the name."""

    title: str
    text: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def lists() -> tuple[ListOfNames, ...]:
    """Every list, in the order of the reference."""
    return (
        _calibration_methods(),
        _sweep_figures(),
        _curve_figures(),
        _deembedding_methods(),
        _contact_checks(),
        _mapped_fields(),
        _units(),
    )


def _calibration_methods() -> ListOfNames:
    return ListOfNames(
        "Calibration methods",
        "What each method needs among the sweeps of its record; frequencies may be spaced in"
        " any way, and all sweeps share one list. Standards may be swept in any order and lie"
        " behind offsets, a thru may be flush, and a reflect at both ports may come from one"
        " sweep or from one for each port, then as a one-port file too. Without switch terms,"
        " where they are needed, the result is noted as doubtful.",
        ("Method", "Needs"),
        METHODS,
    )


def _sweep_figures() -> ListOfNames:
    return ListOfNames(
        "Figures from sweeps",
        "What a parameter's from_sweep may name. At frequency_hz the corrected sweep is taken"
        " between two points by a straight line, never beyond the sweep; over window_hz the"
        " measured points inside it count, both ends included.",
        ("Figure", "Unit", "Taken", "Ports", "Formula"),
        tuple(
            (
                name,
                text.unit,
                " or ".join(_PLACES[place] for place in text.places),
                "2" if text.two_port else "1 or 2",
                text.formula,
            )
            for name, text in FIGURE_TEXTS.items()
        ),
    )


def _curve_figures() -> ListOfNames:
    return ListOfNames(
        "Figures from curves",
        "What a parameter's from_curve may name. A curve that is stepped needs stepped_at as"
        " well, unless stepped_pair is given.",
        ("Figure", "Unit", "Needs", "Curve", "Formula"),
        tuple(
            (name, unit, _needs(name), _axes(name), CURVE_FIGURE_FORMULAS[name])
            for name, unit in CURVE_FIGURE_UNITS.items()
        ),
    )


def _deembedding_methods() -> ListOfNames:
    return ListOfNames(
        "De-embedding methods",
        "What each method needs among the dummy structures; a lumped one holds up to some"
        " frequency only, which upper_hz states.",
        ("Method", "Dummies", "Kind"),
        tuple(
            (method, ", ".join(parts), "lumped" if method in LUMPED else "distributed")
            for method, parts in DUMMIES_OF.items()
        ),
    )


def _contact_checks() -> ListOfNames:
    return ListOfNames(
        "Contact checks",
        "What a check of a touchdown may bound, and the column of the table of touchdowns that"
        " holds it.",
        ("Quantity", "Column", "Unit"),
        tuple((one, CONTACT_COLUMNS[one], CONTACT_UNITS[one]) for one in CONTACT_COLUMNS),
    )


def _mapped_fields() -> ListOfNames:
    return ListOfNames(
        "Fields of a mapping",
        "What a name, a line or a column may say in mapping.toml: in a pattern as {field}, and as a"
        " key of constants, rename and when.",
        ("Field", "Content", "Meaning"),
        tuple((name, content, meaning) for name, (content, meaning) in FIELDS.items()),
    )


def _units() -> ListOfNames:
    prefixes = ", ".join(name for name in units.PREFIXES if name)
    return ListOfNames(
        "Units",
        "Spellings such as ohm, uA and degC are understood; prefixes go before the symbol.",
        ("Unit", "Measures", "Prefixes"),
        tuple(
            (symbol, quantity, prefixes if prefixed else "none")
            for symbol, quantity, prefixed in units.known()
        ),
    )


def _needs(figure: CurveFigureName) -> str:
    """The fields that a figure needs, as they are named."""
    return ", ".join(sorted(CURVE_FIGURE_NEEDS[figure])) or "nothing more"


def _axes(figure: CurveFigureName) -> str:
    """What a figure's curve sweeps and measures."""
    words = {False: "voltage", True: "current"}
    return " or ".join(
        f"{words[measured]} over {words[swept]}"
        for swept, measured in sorted(CURVE_FIGURE_AXES[figure])
    )
