"""The one look of every drawing: palette for both schemes, type, and Altair's configuration.

A drawing never states a colour; it states a part that a colour plays, as a CSS class: `fill-ink`,
`line-accent`. The rules for those classes stand inside each drawing, so that it keeps its look
as an image, and once more in `CHART_CSS` for drawings that are part of a page, whose own rules a
page's content policy may refuse. Dark applies to screens only: a print is always light.
"""

from collections.abc import Iterable, Mapping
from typing import Any

BACKGROUNDS: tuple[str, str] = ("#ffffff", "#14181c")
"""The page behind a drawing, light and dark; contrasts are tested against these."""

PALETTE: Mapping[str, tuple[str, str]] = {
    "ink": ("#1b2026", "#e4e7ea"),
    "muted": ("#565e67", "#a8b0b8"),
    "rule": ("#79828b", "#7f8891"),
    "grid": ("#e0e4e8", "#30373e"),
    "paper": BACKGROUNDS,
    "second": ("#3d454d", "#c3cad1"),
    "band": ("#d5dade", "#3a424a"),
    "accent": ("#1a5fa8", "#7db4ee"),
    "accent-soft": ("#c6daf0", "#274763"),
    "alarm": ("#b0480a", "#f2a25c"),
    "alarm-soft": ("#f3d3bb", "#5a3a1e"),
    "ramp-0": ("#e6eff9", "#1a2c3f"),
    "ramp-1": ("#c9ddf2", "#21405e"),
    "ramp-2": ("#a3c5e8", "#2b557e"),
    "ramp-3": ("#75a8da", "#3f74a9"),
    "ramp-4": ("#4181bd", "#6fa3d6"),
    "ramp-5": ("#1f609f", "#a2c6ea"),
    "ramp-6": ("#0d3f73", "#d9e9fa"),
}
"""Light and dark colour of each part."""
RAMP_LENGTH = 7

FONT_STACK = "system-ui,-apple-system,'Segoe UI',Roboto,'Noto Sans','Liberation Sans',sans-serif"
DARK = "@media screen and (prefers-color-scheme:dark)"
_PROPERTIES = {"fill": "fill", "line": "stroke"}
_TYPE_RULE = f".drawing{{font-family:{FONT_STACK};font-variant-numeric:tabular-nums}}"


def colour(part: str) -> str:
    """The light colour that stands for `part` in a specification until it becomes a class."""
    return PALETTE[part][0]


PART_OF_COLOUR: Mapping[str, str] = {light: part for part, (light, _) in PALETTE.items()}

_GUIDE = {
    "labelColor": colour("muted"),
    "labelFontSize": 11,
    "labelFontWeight": "normal",
    "titleColor": colour("ink"),
    "titleFontSize": 12,
    "titleFontWeight": "normal",
    "gridColor": colour("grid"),
    "domainColor": colour("rule"),
    "tickColor": colour("rule"),
    "tickSize": 4,
    "labelPadding": 3,
    # Nothing may be rounded to whole pixels, and nothing may depend on the fonts of the machine.
    "tickRound": False,
    "translate": 0,
    "labelOverlap": False,
    "labelFlush": False,
    "labelBound": False,
    "labelLimit": 0,
    "minExtent": 40,
    "maxExtent": 40,
}
CONFIG: dict[str, Any] = {
    "font": "sans-serif",
    "aria": False,  # the whole drawing has a title and a description instead
    "view": {"stroke": None},
    "axis": _GUIDE,
    "axisX": {"titleY": 36, "titleBaseline": "alphabetic"},
    "axisY": {"titleX": -44, "titleAngle": -90, "titleBaseline": "alphabetic"},
}
"""Altair's configuration, given whole at one place: a second `configure` drops the first."""


def style_rules(classes: Iterable[str]) -> str:
    """The CSS rules of these classes in both schemes; classes without a colour are passed over."""
    pairs = [
        (name, _PROPERTIES[kind], PALETTE[part])
        for name in sorted(set(classes))
        for kind, _, part in [name.partition("-")]
        if kind in _PROPERTIES and part in PALETTE
    ]
    light = "".join(f".drawing .{name}{{{prop}:{tones[0]}}}" for name, prop, tones in pairs)
    dark = "".join(f".drawing .{name}{{{prop}:{tones[1]}}}" for name, prop, tones in pairs)
    return f"{_TYPE_RULE}{light}{DARK}{{{dark}}}"


_TRACE_RULES = """
.drawing a{cursor:pointer}
.drawing a:hover .die,.drawing a:focus-visible .die{stroke-width:2.5}
.drawing a:focus-visible{outline:2px solid;outline-offset:1px}
.trace{fill:none;stroke-width:1.75;stroke-linejoin:round;stroke-linecap:round;\
vector-effect:non-scaling-stroke}
.trace.repeat{stroke-dasharray:5 3;stroke-width:1.25}
.trace.without-standing{stroke-dasharray:1.5 3}
@media print{:root{color-scheme:light}}
"""


def _own_rules(scheme: int) -> str:
    def tone(part: str) -> str:
        return PALETTE[part][scheme]

    return (
        f".trace{{stroke:{tone('accent')}}}"
        f".trace.without-standing{{stroke:{tone('alarm')}}}"
        f".limit-bar .tolerance{{fill:{tone('accent-soft')}}}"
        f".limit-bar .guard{{fill:{tone('band')}}}"
        f".limit-bar .limit{{stroke:{tone('ink')};fill:none}}"
        f".limit-bar .acceptance{{stroke:{tone('rule')};stroke-dasharray:2 1.5;fill:none}}"
        f".limit-bar .uncertainty{{stroke:{tone('ink')};fill:none}}"
        f".limit-bar .value{{fill:{tone('ink')};stroke:{tone('paper')}}}"
    )


CHART_CSS: str = (
    style_rules(f"{kind}-{part}" for kind in _PROPERTIES for part in PALETTE)
    + _TRACE_RULES
    + _own_rules(0)
    + f"{DARK}{{{_own_rules(1)}}}"
)
"""Rules for drawings inside a page, for a die's own traces, limit bars and verdict marks.

Its rule for print makes drawings that are images light as well: they follow the colour scheme of
the element that shows them, not its medium.
"""
