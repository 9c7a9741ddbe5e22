"""Verdicts and standings as words with a mark of their own shape; colour only repeats them."""

from functools import cache

from markupsafe import Markup

WORDS = {
    "within": "within",
    "not proven": "not-proven",
    "not refuted": "not-refuted",
    "outside": "outside",
    "not assessable": "not-assessable",
    "not measured": "not-measured",
    "no limits": "no-limits",
    "stands": "stands",
    "not closed": "not-closed",
    "without standing": "without-standing",
    "usable": "within",
    "checks failed": "outside",
    "not solved": "not-assessable",
    "passed": "within",
    "failed": "outside",
    "good": "within",
    "out of bound": "outside",
    "check missing": "not-assessable",
    "accepted": "within",
    "not accepted": "outside",
    "met": "within",
    "missed": "outside",
    "shown, not judged": "no-limits",
    "not determined": "not-assessable",
    "nothing stood": "without-standing",
    "beyond its bound": "outside",
    "signal now": "outside",
    "signal earlier": "not-proven",
    "in control": "within",
    "in control, provisional": "not-closed",
    "no limits yet": "no-limits",
    "agree": "within",
    "do not agree": "outside",
    "not decided": "not-assessable",
}
"""Word of a verdict or a standing -> name of its mark (templates/parts/marks.html)."""

SORTED = (
    "outside",
    "not assessable",
    "not refuted",
    "not proven",
    "within",
    "no limits",
    "not measured",
)
"""Outcomes as a table sorts them: what needs a reader first."""


@cache
def marked(word: str) -> Markup:
    """The word with its mark before it; a word without a mark stands alone."""
    name = WORDS.get(word)
    if name is None:
        return Markup("{}").format(word)
    return Markup(
        '<span class="verdict {}"><svg class="mark" aria-hidden="true"><use href="#mark-{}"/></svg>'
        "\u00a0{}</span>"
    ).format(name, name, word)


@cache
def heading(word: str) -> Markup:
    """The same at the head of a column, where the mark stays with the first word."""
    first, space, rest = word.partition(" ")
    return Markup(
        '<span class="verdict {}"><span class="whole"><svg class="mark" aria-hidden="true">'
        '<use href="#mark-{}"/></svg>\u00a0{}</span>{}{}</span>'
    ).format(WORDS[word], WORDS[word], first, space, rest)


def rank(outcome: str) -> str:
    """Place of an outcome in `SORTED`, as a table is sorted by it."""
    return str(SORTED.index(outcome)) if outcome in SORTED else str(len(SORTED))
