"""Error terms over frequency, a panel for each family, the ports or directions side by side."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from xml.etree.ElementTree import Element

import altair as alt
import numpy as np

from sitegen.chart import marks, svg, vega, words
from sitegen.chart.axis import Axis, frequency_axis, snapped_range, value_axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import Term
from sitegen.model.results import Drawing

COLUMNS = 2
PANEL_WIDTH, PANEL_HEIGHT = 286, 150
COLUMN_GAP, ROW_GAP = 122, 68
PADDING = vega.Padding(left=58, top=26, right=62, bottom=44)
WIDTH = PADDING.left + COLUMNS * PANEL_WIDTH + COLUMN_GAP + PADDING.right
REPORTED_RINGS = 20
"""The instrument's own terms are drawn as about so many rings, not as one more line."""
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


@dataclass(frozen=True)
class _Panel:
    """The curves of one family, and where they are drawn."""

    place: int
    family: str
    lines: tuple[Curve, ...]
    reported: tuple[Curve, ...]
    y: Axis

    @property
    def left(self) -> int:
        return PADDING.left + self.place % COLUMNS * (PANEL_WIDTH + COLUMN_GAP)

    @property
    def top(self) -> int:
        return PADDING.top + self.place // COLUMNS * (PANEL_HEIGHT + ROW_GAP)

    def pixel_y(self, decibels: float) -> float:
        return self.top + PANEL_HEIGHT - self.y.position(decibels, PANEL_HEIGHT)

    def style(self, curve: Curve) -> tuple[str, list[int]]:
        """Part of the palette and dash: by the order in which ports or directions appear."""
        variants = list(dict.fromkeys(c.variant for c in (*self.lines, *self.reported)))
        return _STYLES[min(variants.index(curve.variant), len(_STYLES) - 1)]


def _panel_of(
    place: int, family: str, solved: Sequence[Curve], reported: Sequence[Curve]
) -> _Panel:
    lines = tuple(curve for curve in solved if curve.family == family)
    rings = tuple(curve for curve in reported if curve.family == family)
    return _Panel(place, family, lines, rings, _range([*lines, *rings]))


@cache
def _specification(panels: int, log: bool) -> bytes:
    charts = [_panel_chart(place, log) for place in range(panels)]
    chart = alt.concat(
        *charts, columns=COLUMNS, spacing={"row": ROW_GAP, "column": COLUMN_GAP}, bounds="flush"
    )
    return vega.compiled(chart.resolve_scale(x="independent", y="independent"), PADDING)


def _panel_chart(place: int, log: bool) -> alt.Chart:
    chart = alt.Chart(alt.NamedData(f"panel-{place}")).mark_line(strokeWidth=1.75)
    encoded: alt.Chart = chart.encode(
        x=vega.quantitative(alt.X, "f", log=log),
        y=vega.quantitative(alt.Y, "decibels"),
        stroke=alt.Stroke("stroke:N", scale=None, legend=None),
        strokeDash=alt.StrokeDash("dash:N", scale=None, legend=None),
    )
    return encoded.properties(width=PANEL_WIDTH, height=PANEL_HEIGHT)


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
    panels = [_panel_of(place, family, solved, rings) for place, family in enumerate(families)]
    plot = vega.rendered(
        _specification(len(panels), x.log),
        data={f"panel-{panel.place}": _rows(panel, f) for panel in panels},
        axes={f"concat_{panel.place}_x": x for panel in panels}
        | {f"concat_{panel.place}_y": panel.y for panel in panels},
        prefix=svg.identifier(address),
    )
    over = [part for panel in panels for part in (*_rings(panel, f, x), *_words(panel))]
    rows = -(-len(families) // COLUMNS)
    return svg.finished(
        [*plot, *over],
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


def _range(curves: Sequence[Curve]) -> Axis:
    known = np.concatenate([curve.decibels[np.isfinite(curve.decibels)] for curve in curves])
    low, high = (float(known.min()), float(known.max())) if known.size else (-60.0, 0.0)
    middle = (low + high) / 2
    least = snapped_range(min(low, middle - 0.5), max(high, middle + 0.5))
    return value_axis(least, 1.0, "magnitude / dB")


def _rows(panel: _Panel, f: FloatArray) -> vega.Rows:
    """The panel's lines, each with its colour and dash."""
    rows: vega.Rows = []
    for curve in panel.lines:
        part, dash = panel.style(curve)
        rows += [
            {"f": x, "decibels": y, "stroke": colour(part), "dash": dash}
            for x, y in zip(f.tolist(), curve.decibels.tolist(), strict=True)
        ]
    return rows


def _rings(panel: _Panel, f: FloatArray, x: Axis) -> list[Element]:
    """What the instrument reported: a path of rings for each term."""
    if not panel.reported:
        return []
    step = max(len(f) // REPORTED_RINGS, 1)
    drawn = []
    for curve in panel.reported:
        data = "".join(
            marks.path(
                "ring",
                panel.left + x.position(float(f[place]), PANEL_WIDTH),
                panel.pixel_y(float(curve.decibels[place])),
                2.25,
            )
            for place in range(step // 2, len(f), step)
            if np.isfinite(curve.decibels[place])
        )
        if data:
            part, _ = panel.style(curve)
            drawn.append(svg.element("path", {"class": f"line-{part}", "fill": "none", "d": data}))
    right, top = panel.left + PANEL_WIDTH, panel.top
    text = "rings: as reported"
    return [*drawn, svg.label(right, top - 10, text, anchor="end", part="muted", size=10)]


def _words(panel: _Panel) -> list[Element]:
    """The family's name over the panel, and each line's name at its end."""
    texts = [svg.label(panel.left, panel.top - 10, panel.family, size=12, bold=True)]
    drawn = [curve for curve in panel.lines if np.isfinite(curve.decibels).any()]
    if not drawn:
        middle = panel.left + PANEL_WIDTH / 2, panel.top + PANEL_HEIGHT / 2
        texts.append(svg.label(*middle, "zero or not determined", anchor="middle", part="muted"))
    ends = [float(curve.decibels[np.isfinite(curve.decibels)][-1]) for curve in drawn]
    heights = words.spread(
        [panel.pixel_y(end) for end in ends], 13, panel.top + 4, panel.top + PANEL_HEIGHT - 4
    )
    for curve, height in zip(drawn, heights, strict=True):
        part, _ = panel.style(curve)
        texts.append(svg.label(panel.left + PANEL_WIDTH + 5, height + 4, curve.variant, part=part))
    return texts
