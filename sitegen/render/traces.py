"""A die's own curves over the frames that the dies of its wafer share."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.campaign import CampaignRecord
from sitegen.model.results import CampaignContext, TraceGroup
from sitegen.render.marks import marked
from sitegen.render.page import FrameArt
from sitegen.render.phrases import capital, plain, why
from sitegen.render.pieces import Text


@dataclass(frozen=True, slots=True)
class Curve:
    """One unbroken piece of a curve."""

    points: str
    style: str
    """CSS classes that the drawings' rules know: 'trace', with 'repeat' or 'without-standing'."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame as its page names it; the same for every die of the wafer."""

    href: str
    width: int
    height: int
    left: int
    top: int
    plot_width: int
    plot_height: int
    inner_width: int
    inner_height: int
    """Size of the plot in the curves' own unit."""
    x_lower: str
    x_upper: str
    x_scale: str
    """'logarithmic' or 'linear'."""
    y_lower: str
    y_upper: str
    unit: str


@dataclass(frozen=True, slots=True)
class TraceFigure:
    """Contract of the trace macro in templates/parts/trace.html."""

    id: str
    frame: Frame
    title: str
    """'|S21|'."""
    curves: tuple[Curve, ...]


@dataclass(frozen=True, slots=True)
class DieTraces:
    """The traces of one device of a die under one condition, side by side."""

    id: str
    title: str
    sweeps: tuple[Text, ...]
    """For each sweep its touchdown, calibration and standing."""
    figures: tuple[TraceFigure, ...]


class TraceMaker:
    """Makes the trace figures of each die of a wafer; what they share is made once."""

    def __init__(
        self,
        wafer: str,
        groups: Sequence[TraceGroup],
        frames: Mapping[str, FrameArt],
        context: CampaignContext,
        page: str,
    ) -> None:
        self.counts = context.record.touchdowns.counts
        self.devices = {device.id: device.name for device in context.record.devices}
        self.arts = [frames[key] for key in sorted(frames)]
        self.frames = [_frame(art, page) for art in self.arts]
        self.groups = groups
        self.conditions = {
            each.id: f"{each.id} ({each.description})" for each in context.record.conditions
        }
        self.order = _declared_order(groups, context.record)
        self.keys = [group.keys.to_pydict() for group in groups]
        self.rows = [_rows_by_die(keys) for keys in self.keys]
        self.calibrations = {
            name: Markup('<a href="{}">{}</a>').format(
                addresses.relative(addresses.calibration(name), page), name
            )
            for name in context.calibrations
        }
        self.said: dict[tuple[object, ...], Text] = {}

    def of(self, die_x: int, die_y: int) -> tuple[DieTraces, ...]:
        """The traces of one die, as the campaign orders devices and conditions; none without."""
        return tuple(
            self._together(number, rows)
            for number in self.order
            if (rows := self.rows[number].get((die_x, die_y)))
        )

    def _together(self, number: int, rows: Sequence[int]) -> DieTraces:
        keys, group = self.keys[number], self.groups[number]
        counting = self._counting([keys["touchdown"][row] for row in rows])
        device = self.devices.get(group.device, group.device)
        return DieTraces(
            id=f"traces-{group.device}-{group.condition}",
            title=f"{capital(device)}, {self.conditions.get(group.condition, group.condition)}",
            sweeps=tuple(dict.fromkeys(self._said(keys, row, counting) for row in rows)),
            figures=tuple(
                self._figure(f"trace-{place + 1}", art, self.frames[place], rows, counting)
                for place, art in enumerate(self.arts)
                if art.group == number
            ),
        )

    def _figure(
        self,
        identity: str,
        art: FrameArt,
        frame: Frame,
        rows: Sequence[int],
        counting: frozenset[int],
    ) -> TraceFigure:
        keys = self.keys[art.group]
        curves = []
        for row in rows:
            touchdown = keys["touchdown"][row]
            style = "trace" if touchdown in counting else "trace repeat"
            if keys["standing"][row] == "without standing":
                style += " without-standing"
            curves += [Curve(points, style) for points in art.polylines[row]]
        title = art.y_title.partition(" / ")[0]
        return TraceFigure(identity, frame, title, tuple(curves))

    def _counting(self, touchdowns: Sequence[int]) -> frozenset[int]:
        if self.counts == "mean":
            return frozenset(touchdowns)
        chosen = min(touchdowns) if self.counts == "first" else max(touchdowns)
        return frozenset((chosen,))

    def _said(
        self, keys: Mapping[str, Sequence[object]], row: int, counting: frozenset[int]
    ) -> Text:
        names = ("touchdown", "calibration", "standing", "standing_reasons", "standing_detail")
        key = (*(keys[name][row] for name in names), keys["touchdown"][row] in counting)
        if key not in self.said:
            touchdown, calibration, standing, reasons, detail, counts = key
            told = why(reasons, detail)
            known = self.calibrations.get(str(calibration), calibration)
            self.said[key] = Markup("Touchdown {}{}{}: {}{}").format(
                touchdown,
                "" if counts else " (does not count)",
                Markup(", calibration {}").format(known) if known else "",
                marked(str(standing)),
                f" ({told})" if told else "",
            )
        return self.said[key]


def _declared_order(groups: Sequence[TraceGroup], record: CampaignRecord) -> list[int]:
    """The places of the groups, by device and then by condition as the campaign declares them."""
    devices = {device.id: place for place, device in enumerate(record.devices)}
    conditions = {condition.id: place for place, condition in enumerate(record.conditions)}

    def place(number: int) -> tuple[int, int]:
        group = groups[number]
        return devices.get(group.device, 0), conditions.get(group.condition, 0)

    return sorted(range(len(groups)), key=place)


def _rows_by_die(
    keys: Mapping[str, Sequence[object]],
) -> Mapping[tuple[object, object], list[int]]:
    rows: dict[tuple[object, object], list[int]] = {}
    for row, key in enumerate(zip(keys["die_x"], keys["die_y"], strict=True)):
        rows.setdefault(key, []).append(row)
    return rows


def _frame(art: FrameArt, page: str) -> Frame:
    return Frame(
        href=addresses.relative(art.address, page),
        width=art.width,
        height=art.height,
        left=art.left,
        top=art.top,
        plot_width=art.plot_width,
        plot_height=art.plot_height,
        inner_width=10 * art.plot_width,
        inner_height=10 * art.plot_height,
        x_lower=plain(art.x_lower),
        x_upper=plain(art.x_upper),
        x_scale="logarithmic" if art.x_logarithmic else "linear",
        y_lower=plain(art.y_lower),
        y_upper=plain(art.y_upper),
        unit=art.unit,
    )
