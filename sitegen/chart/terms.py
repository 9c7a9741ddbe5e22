"""Error terms over frequency, a panel for each family, the ports or directions side by side."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import altair as alt
import numpy as np

from sitegen.chart import svg, vega, words
from sitegen.chart.axis import Axis, frequency_axis, snapped_range, value_axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import FloatArray
from sitegen.model.results import Drawing, Term

COLUMNS = 2
PANEL_WIDTH, PANEL_HEIGHT = 286, 150
COLUMN_GAP, ROW_GAP = 122, 68
PADDING = vega.Padding(left=58, top=26, right=62, bottom=44)
WIDTH = PADDING.left + COLUMNS * PANEL_WIDTH + COLUMN_GAP + PADDING.right
REPORTED_POINTS = 24
"""The instrument's own terms are drawn as so many rings, not as one more line."""
_STYLES: tuple[tuple[str, list[int]], ...] = (
    ("accent", [1, 0]),
    ("second", [6, 3]),
    ("alarm", [2, 2]),
    ("muted", [8, 2, 2, 2]),
)
_NAME = re.compile(r"^(?:(?P<way>forward|reverse) )?(?P<family>.+?)(?:, (?P<port>port \d+))?$")


@dataclass(frozen=True)
class Curve:
    """One term in dB with its place: family, and port or direction."""

    family: str
    variant: str
    decibels: FloatArray
    """NaN where the term is zero or not determined."""


@cache
def _specification(panels: int, log: bool) -> bytes:
    charts = [_panel(place, log) for place in range(panels)]
    chart = alt.concat(
        *charts, columns=COLUMNS, spacing={"row": ROW_GAP, "column": COLUMN_GAP}, bounds="flush"
    )
    return vega.compiled(chart.resolve_scale(x="independent", y="independent"), PADDING)


def _panel(place: int, log: bool) -> alt.LayerChart:
    x = vega.quantitative(alt.X, "f", log=log)
    layers = []
    for style, (part, dash) in enumerate(_STYLES):
        curve = alt.Chart(alt.NamedData(f"solved-{place}-{style}"))
        rings = alt.Chart(alt.NamedData(f"reported-{place}-{style}"))
        y = vega.quantitative(alt.Y, "decibels")
        layers.append(
            curve.mark_line(stroke=colour(part), strokeWidth=1.75, strokeDash=dash).encode(x=x, y=y)
        )
        layers.append(
            rings.mark_point(shape="circle", size=18, stroke=colour(part), strokeWidth=1).encode(
                x=x, y=y
            )
        )
    return alt.layer(*layers).properties(width=PANEL_WIDTH, height=PANEL_HEIGHT)


def error_terms(
    *,
    address: str,
    title: str,
    description: str,
    frequency_hz: FloatArray,
    terms: Sequence[Term],
    reported: Sequence[Term],
) -> Drawing:
    """Magnitude in dB of each error term, and as rings what the instrument reported of it.

    Terms of one family ('directivity') share a panel: 'forward' and 'reverse', or 'port 1' and
    'port 2', differ by colour and dash and are named at the end of their lines.
    """
    solved = [_curve(term) for term in terms]
    rings = [_curve(term) for term in reported]
    families = list(dict.fromkeys(curve.family for curve in (*solved, *rings)))
    if not families:
        note = svg.label(20, 30, "no error term was solved or reported", part="muted")
        return svg.finished(
            [note], address=address, title=title, description=description, width=WIDTH, height=60
        )
    x, per_hz = frequency_axis(frequency_hz)
    f = np.asarray(frequency_hz, dtype=float) * per_hz
    data: dict[str, vega.Rows] = {}
    axes: dict[str, Axis] = {}
    texts: list[svg.Element] = []
    for place, family in enumerate(families):
        lines = [curve for curve in solved if curve.family == family]
        dots = [curve for curve in rings if curve.family == family]
        y = _range(family, [*lines, *dots])
        axes |= {f"concat_{place}_x": x, f"concat_{place}_y": y}
        variants = list(dict.fromkeys(curve.variant for curve in (*lines, *dots)))
        data |= _panel_data(place, f, lines, dots, variants)
        texts += _panel_words(place, family, lines, variants, y)
    plot = vega.rendered(
        _specification(len(families), x.log),
        data=data,
        axes=axes,
        prefix=svg.identifier(address),
    )
    rows = -(-len(families) // COLUMNS)
    return svg.finished(
        [*plot, *texts],
        address=address,
        title=title,
        description=description,
        width=WIDTH if len(families) > 1 else PADDING.left + PANEL_WIDTH + PADDING.right,
        height=PADDING.top + rows * PANEL_HEIGHT + (rows - 1) * ROW_GAP + PADDING.bottom,
    )


def _curve(term: Term) -> Curve:
    found = _NAME.match(term.name)
    family, variant = term.name, ""
    if found is not None:
        family, variant = found["family"], found["way"] or found["port"] or ""
    size = np.abs(np.asarray(term.values))
    with np.errstate(divide="ignore", invalid="ignore"):
        decibels = 20 * np.log10(size)
    return Curve(family, variant, np.where(np.isfinite(decibels), decibels, np.nan))


def _range(family: str, curves: Sequence[Curve]) -> Axis:
    known = np.concatenate([curve.decibels[np.isfinite(curve.decibels)] for curve in curves])
    if known.size:
        middle = (float(known.min()) + float(known.max())) / 2
        low, high = min(float(known.min()), middle - 0.5), max(float(known.max()), middle + 0.5)
    else:
        low, high = -60.0, 0.0
    return value_axis(snapped_range(low, high), 1.0, "magnitude / dB")


def _panel_data(
    place: int,
    f: np.ndarray,
    lines: Sequence[Curve],
    dots: Sequence[Curve],
    variants: Sequence[str],
) -> dict[str, vega.Rows]:
    data = {}
    step = max(len(f) // REPORTED_POINTS, 1)
    for kind, curves, every in (("solved", lines, 1), ("reported", dots, step)):
        for curve in curves:
            style = min(variants.index(curve.variant), len(_STYLES) - 1)
            data[f"{kind}-{place}-{style}"] = vega.columns(
                f=f[::every].tolist(), decibels=curve.decibels[::every].tolist()
            )
    return data


def _panel_words(
    place: int, family: str, lines: Sequence[Curve], variants: Sequence[str], y: Axis
) -> list[svg.Element]:
    row, column = divmod(place, COLUMNS)
    left = PADDING.left + column * (PANEL_WIDTH + COLUMN_GAP)
    top = PADDING.top + row * (PANEL_HEIGHT + ROW_GAP)
    texts = [svg.label(left, top - 10, family, size=12, bold=True)]
    drawn = [curve for curve in lines if np.isfinite(curve.decibels).any()]
    if not drawn:
        middle = left + PANEL_WIDTH / 2, top + PANEL_HEIGHT / 2
        texts.append(svg.label(*middle, "zero or not determined", anchor="middle", part="muted"))
    ends = [curve.decibels[np.flatnonzero(np.isfinite(curve.decibels))[-1]] for curve in drawn]
    heights = words.spread(
        [PANEL_HEIGHT - y.position(float(end), PANEL_HEIGHT) for end in ends],
        13,
        4,
        PANEL_HEIGHT - 4,
    )
    for curve, height in zip(drawn, heights, strict=True):
        part = _STYLES[min(variants.index(curve.variant), len(_STYLES) - 1)][0]
        texts.append(svg.label(left + PANEL_WIDTH + 5, top + height + 4, curve.variant, part=part))
    return texts
