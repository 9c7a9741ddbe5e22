"""Error terms over frequency: a drawing for each family, its ports or directions as its lines."""

import re
from collections.abc import Mapping, Sequence

import numpy as np

from sitegen.chart.axis import Axis, snapped_range, value_axis
from sitegen.chart.over_frequency import Line, over_frequency
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import Term
from sitegen.model.results import Drawing

_STYLES: tuple[tuple[str, tuple[int, ...]], ...] = (
    ("accent", (1, 0)),
    ("second", (6, 3)),
    ("alarm", (2, 2)),
    ("muted", (8, 2, 2, 2)),
)
_NAME = re.compile(r"^(?:(?P<way>forward|reverse) )?(?P<family>.+?)(?:, (?P<port>port \d+))?$")


def families(terms: Sequence[Term], reported: Sequence[Term]) -> Mapping[str, tuple[Term, ...]]:
    """The solved terms by family ('directivity'), families that were only reported included."""
    names = dict.fromkeys(_placed(term)[0] for term in (*terms, *reported))
    return {name: tuple(term for term in terms if _placed(term)[0] == name) for name in names}


def error_terms(
    *,
    address: str,
    title: str,
    description: str,
    frequency_hz: FloatArray,
    terms: Sequence[Term],
    reported: Sequence[Term],
) -> Drawing:
    """Magnitude in dB of one family's terms, and as rings what the instrument reported of them.

    'forward' and 'reverse', or 'port 1' and 'port 2', differ by colour and dash and are named at
    the end of their lines. A term that is zero has no level and no line.
    """
    variants = list(dict.fromkeys(_placed(term)[1] for term in (*terms, *reported)))

    def line(term: Term) -> Line:
        family, variant = _placed(term)
        part, dash = _STYLES[min(variants.index(variant), len(_STYLES) - 1)]
        return Line(variant or family, _decibels(term), part, dash)

    lines, rings = [line(term) for term in terms], [line(term) for term in reported]
    known = [np.isfinite(term.values) for term in (*terms, *reported)]
    return over_frequency(
        address=address,
        title=title,
        description=description,
        frequency_hz=frequency_hz,
        lines=lines,
        rings=rings,
        y=_axis([*lines, *rings]),
        names="ends",
        undetermined=~np.any(known, axis=0),
        heading=_placed((*terms, *reported)[0])[0],
    )


def _placed(term: Term) -> tuple[str, str]:
    """Family, and port or direction."""
    found = _NAME.match(term.name)
    if found is None:
        return term.name, ""
    return found["family"], found["way"] or found["port"] or ""


def _decibels(term: Term) -> FloatArray:
    """NaN where the term is zero or not determined."""
    with np.errstate(divide="ignore", invalid="ignore"):
        decibels = 20 * np.log10(np.abs(np.asarray(term.values)))
    return np.where(np.isfinite(decibels), decibels, np.nan)


def _axis(lines: Sequence[Line]) -> Axis:
    known = np.concatenate([line.values[np.isfinite(line.values)] for line in lines])
    low, high = (float(known.min()), float(known.max())) if known.size else (-60.0, 0.0)
    middle = (low + high) / 2
    least = snapped_range(min(low, middle - 0.5), max(high, middle + 0.5))
    return value_axis(least, 1.0, "magnitude / dB")
