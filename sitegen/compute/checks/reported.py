"""The error terms that the instrument reported, against those solved from the raw sweeps."""

import numpy as np

from sitegen.compute.checks.judge import greatest, judged
from sitegen.compute.rf.comparison import bound_between
from sitegen.compute.rf.terms import ErrorTerms, term_rows, terms_from_rows
from sitegen.model.event_results import Check, Comparison, Term
from sitegen.model.loaded import LoadedCalibration
from sitegen.units import frequency

NAME = "difference from the terms that the instrument reported"

_ISOLATION = {"EXF", "EXR"}
"""Terms that may be left out."""


def reported_terms(loaded: LoadedCalibration, terms: ErrorTerms) -> tuple[Term, ...]:
    """The instrument's own terms that have the name or symbol of a solved one."""
    if loaded.reported_terms is None:
        return ()
    given = {name.casefold(): values for name, values in loaded.reported_terms.items()}
    return tuple(
        Term(row.name, row.symbol, values)
        for row in term_rows(terms)
        for values in [given.get(row.symbol.casefold(), given.get(row.name.casefold()))]
        if values is not None
    )


def against_reported(
    loaded: LoadedCalibration, terms: ErrorTerms, reported: tuple[Term, ...]
) -> tuple[tuple[Check, ...], tuple[Comparison, ...]]:
    """What a passive device could see of their difference, as a check and over frequency.

    It takes every term: a difference of one term alone does not say what a device would see,
    since those of the others can make up for it.
    """
    if loaded.reported_terms is None:
        return (), ()
    limit = loaded.record.bounds.reported_terms_difference
    rows = term_rows(terms)
    given = {term.symbol: term.values for term in reported}
    missing = [
        row.symbol for row in rows if row.symbol not in given and row.symbol not in _ISOLATION
    ]
    if missing:
        refused = f"of {len(rows)} terms the instrument reported {len(given)}: without" + (
            f" {', '.join(missing)} nothing can be corrected by them"
        )
        check = judged("comparison", NAME, None, f"Not compared: {refused}.", upper=limit)
        return (check,), (Comparison("reported terms", "", refused, None, None, None, limit, None),)
    theirs = terms_from_rows(terms, np.array([given.get(row.symbol, row.values) for row in rows]))
    bound = bound_between(terms, theirs).greatest
    worst = greatest(bound, terms.frequency_hz)
    text = "Determined together at no frequency."
    if worst is not None:
        text = f"Greatest difference that a passive device could see, at {frequency(worst[1])}."
        if len(given) < len(rows):
            text += " Isolation, which was not reported, is taken as solved."
    check = judged("comparison", NAME, None if worst is None else worst[0], text, upper=limit)
    return (check,), (Comparison("reported terms", "", "", bound, None, None, limit, check.passed),)
