"""Evidence over time: what stood behind a station's measurements, as a dated record.

Written directly as SVG, because each span links to its page. Time is linear; lanes keep bars and
their names apart.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from typing import Literal
from xml.etree.ElementTree import Element

from sitegen import addresses
from sitegen.chart import marks, svg, words
from sitegen.model.results import Drawing, Span, StationRecord

LEFT, RIGHT = 124, 16
LANE, BAR = 27, 9
GROUP_GAP = 10
NARROWEST, WIDEST = 820, 2400
PIXELS_PER_DAY = 220
_GROUPS: tuple[
    tuple[Literal["calibration", "verification", "wafer", "nothing stood"], str], ...
] = (
    ("calibration", "calibrations,"),
    ("verification", "verifications"),
    ("wafer", "wafers measured"),
    ("nothing stood", "nothing stood"),
)
_SECOND_LINE = {"calibration": "with validity"}
_STEPS_H = (1, 2, 3, 6, 12, 24, 48, 168)
_NEAREST_TICKS = 44


@dataclass(frozen=True)
class _Scale:
    """Linear time between two whole hours."""

    start: datetime
    end: datetime
    left: float
    width: float
    zone: timezone

    def x(self, moment: datetime) -> float:
        return self.left + self.width * ((moment - self.start) / (self.end - self.start))


def evidence_over_time(
    *,
    address: str,
    title: str,
    description: str,
    record: StationRecord,
    zone: timezone = UTC,
) -> Drawing:
    """Calibrations with their validity, verifications by verdict, wafers, and what stood nowhere.

    Times are shown in `zone`, a fixed offset from UTC. Links are relative to `address`. The
    drawing grows with the number of days, so that a night stays as wide as it was long.
    """
    if not record.spans:
        note = svg.label(16, 28, "no dated event on this station", part="muted")
        return svg.finished(
            [note],
            address=address,
            title=title,
            description=description,
            width=NARROWEST,
            height=48,
        )
    scale = _scale(record.spans, zone)
    width = round(scale.left + scale.width + RIGHT)
    prefix = svg.identifier(address)
    parts: list[Element] = []
    y = 16.0
    for kind, heading in _shown(record.spans):
        spans = sorted(
            (span for span in record.spans if span.kind == kind),
            key=lambda span: (span.start, span.end, span.name),
        )
        group, lanes = _group(spans, scale, y, width, address, prefix)
        parts += [*_heading(kind, heading, y, not spans), *group]
        y += lanes * LANE + GROUP_GAP
    height = math.ceil(y + 42)
    return svg.finished(
        [
            svg.element("defs", {}, svg.hatch(f"{prefix}-hatch", "alarm", 4)),
            *_time_axis(scale, 10, y),
            *parts,
        ],
        address=address,
        title=title,
        description=description,
        width=width,
        height=height,
        role="group",
    )


def _shown(spans: Sequence[Span]) -> list[tuple[str, str]]:
    """The groups that there are; an empty one only where its emptiness says something.

    Where there is any calibration, verification or stretch without, the lack of the others says
    something; that nothing was ever bare does where wafers stand on calibrations.
    """
    there = {span.kind for span in spans}
    evidence = there & {"calibration", "verification", "nothing stood"}
    telling = {"calibration", "verification"} if evidence else set()
    if {"calibration", "wafer"} <= there:
        telling.add("nothing stood")
    return [(kind, heading) for kind, heading in _GROUPS if kind in there | telling]


def _scale(spans: Sequence[Span], zone: timezone) -> _Scale:
    first = min(span.start for span in spans).astimezone(zone)
    last = max(span.end for span in spans).astimezone(zone)
    start = first.replace(minute=0, second=0, microsecond=0)
    end = last.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    margin = max((end - start) / 60, timedelta(hours=1))
    start, end = start - margin, end + margin
    days = (end - start) / timedelta(days=1)
    width = min(max(days * PIXELS_PER_DAY, NARROWEST), WIDEST) - LEFT - RIGHT
    return _Scale(start, end, LEFT, width, zone)


def _heading(kind: str, heading: str, y: float, empty: bool) -> list[Element]:
    texts = [svg.label(8, y + 14, heading, bold=True)]
    if kind in _SECOND_LINE:
        texts.append(svg.label(8, y + 28, _SECOND_LINE[kind], bold=True))
    if empty:
        text = "at no time" if kind == "nothing stood" else "none"
        texts.append(svg.label(LEFT + 6, y + 14, text, part="muted"))
    return texts


def _group(
    spans: Sequence[Span], scale: _Scale, y: float, width: int, address: str, prefix: str
) -> tuple[list[Element], int]:
    """The spans of one kind in lanes that keep them and their names apart; number of lanes."""
    ends: list[float] = []
    drawn = []
    for span in spans:
        x0, x1 = scale.x(span.start), scale.x(span.end)
        text = _words(span)
        mark = 9 if span.kind == "verification" else 0
        needed = words.width(text)
        text_x = x0 + mark
        if text_x + needed > width - 4:
            text_x = x0 - mark - needed if mark else width - 4 - needed
        left, right = min(x0 - mark, text_x), max(x1 + mark, text_x + needed) + 8
        lane = next((n for n, end in enumerate(ends) if left >= end), len(ends))
        if lane == len(ends):
            ends.append(right)
        ends[lane] = right
        top = y + lane * LANE
        shapes = _shapes(span, x0, x1, text_x, top, text, prefix)
        name = svg.element("title", {}, text=_name(span, scale.zone))
        target = addresses.relative(span.address, address) if span.address else ""
        if target:
            drawn.append(svg.element("a", {"href": target}, name, *shapes))
        else:
            drawn.append(svg.element("g", {}, name, *shapes))
    return drawn, max(len(ends), 1)


def _words(span: Span) -> str:
    """What stands beside a span: its name, and its outcome where that is not the usual one."""
    quiet = {"usable", "passed", ""}
    if span.kind == "wafer" or span.outcome in quiet:
        return span.name
    return f"{span.name}: {span.outcome}" if span.outcome != span.name else span.name


def _name(span: Span, zone: timezone) -> str:
    """The whole record of a span, for a screen reader and under the pointer."""
    start, end = span.start.astimezone(zone), span.end.astimezone(zone)
    when = _stamp(start)
    if end != start:
        when += " to " + (_stamp(end) if end.date() != start.date() else f"{end:%H:%M}")
    tail = f", {span.outcome}" if span.outcome else ""
    return f"{span.kind} {span.name}{tail}: {when} {_zone_name(zone)}"


def _stamp(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"


def _zone_name(zone: timezone) -> str:
    offset = zone.utcoffset(None)
    if not offset:
        return "UTC"
    minutes = round(offset / timedelta(minutes=1))
    sign = "+" if minutes > 0 else "−"
    return f"UTC{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _shapes(
    span: Span, x0: float, x1: float, text_x: float, top: float, text: str, prefix: str
) -> list[Element]:
    bar_top = top + 15
    if span.kind == "verification":
        shape = marks.SHAPES.get(span.outcome, "bar")
        painted: dict[str, str | float] = {**marks.attributes(shape)}
        painted["d"] = marks.path(shape, x0, top + 10, 4.5)
        return [svg.element("path", painted), svg.label(text_x, top + 14, text)]
    label = svg.label(text_x, top + 11, text)
    box: dict[str, str | float] = {
        "x": x0,
        "y": bar_top,
        "width": max(x1 - x0, 2),
        "height": BAR,
    }
    if span.kind == "nothing stood":
        return [
            label,
            svg.element("rect", {"class": "fill-paper line-alarm", **box}),
            svg.element("rect", {"fill": f"url(#{prefix}-hatch)", **box}),
        ]
    if span.kind == "wafer":
        return [label, svg.element("rect", {"class": "fill-second", **box})]
    sound = marks.SHAPES.get(span.outcome) == "dot"
    fill = {"class": "fill-accent"} if sound else {"class": "line-alarm", "fill": "none"}
    start = svg.line(x0, bar_top - 2, x0, bar_top + BAR + 2, part="ink", width=2)
    bar: dict[str, str | float] = {**fill, **box}
    if not sound:
        bar["stroke-dasharray"] = "3 2"
    return [label, svg.element("rect", bar), start]


def _time_axis(scale: _Scale, top: float, bottom: float) -> list[Element]:
    """Hours along the bottom, the date at each midnight and at the start."""
    hours = (scale.end - scale.start) / timedelta(hours=1)
    step = next((s for s in _STEPS_H if scale.width / (hours / s) >= _NEAREST_TICKS), _STEPS_H[-1])
    parts = [svg.line(scale.left, bottom, scale.left + scale.width, bottom, part="rule")]
    midnight = scale.start.replace(hour=0, minute=0, second=0, microsecond=0)
    last_date = -math.inf
    for place in range(math.ceil((hours + 24) / step) + 1):
        moment = midnight + timedelta(hours=step * place)
        if not scale.start <= moment <= scale.end:
            continue
        x = scale.x(moment)
        day = moment.hour == 0
        parts.append(svg.line(x, top, x, bottom + 4, part="rule" if day else "grid", width=0.75))
        if step < 24:
            parts.append(
                svg.label(x, bottom + 16, f"{moment:%H:%M}", anchor="middle", part="muted", size=11)
            )
        if day and x - last_date >= 76 and x <= scale.left + scale.width - 24:
            last_date = x
            parts.append(svg.label(x, bottom + 31, f"{moment:%Y-%m-%d}", anchor="middle"))
    first = scale.start.astimezone(scale.zone)
    if last_date == -math.inf or scale.x(midnight + timedelta(days=1)) - scale.left >= 110:
        parts.append(svg.label(scale.left, bottom + 31, f"{first:%Y-%m-%d}"))
    parts.append(svg.label(8, bottom + 16, _zone_name(scale.zone), part="muted", size=11))
    return parts
