"""A die's own curves over the frames that the dies of its wafer share."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.results import CampaignContext, TraceGroup
from sitegen.render.marks import marked
from sitegen.render.page import FrameArt
from sitegen.render.phrases import plain, why
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
    description: str
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
    curves: tuple[Curve, ...]
    sweeps: tuple[Text, ...]
    """For each sweep its touchdown, calibration and standing."""


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
        self.keys = [group.keys.to_pydict() for group in groups]
        self.rows = [_rows_by_die(keys) for keys in self.keys]
        self.calibrations = {
            name: Markup('<a href="{}">{}</a>').format(
                addresses.relative(addresses.calibration(name), page), name
            )
            for name in context.calibrations
        }
        self.said: dict[tuple[object, ...], Text] = {}

    def of(self, die_x: int, die_y: int, name: str) -> tuple[TraceFigure, ...]:
        """The trace figures of one die; none where it has no sweeps."""
        found = []
        for number, (art, frame) in enumerate(zip(self.arts, self.frames, strict=True), 1):
            rows = self.rows[art.group].get((die_x, die_y))
            if rows:
                found.append(self._figure(f"trace-{number}", art, frame, rows, name))
        return tuple(found)

    def _figure(
        self, identity: str, art: FrameArt, frame: Frame, rows: Sequence[int], name: str
    ) -> TraceFigure:
        keys, group = self.keys[art.group], self.groups[art.group]
        counting = self._counting([keys["touchdown"][row] for row in rows])
        curves = []
        for row in rows:
            touchdown = keys["touchdown"][row]
            style = "trace" if touchdown in counting else "trace repeat"
            if keys["standing"][row] == "without standing":
                style += " without-standing"
            curves += [Curve(points, style) for points in art.polylines[row]]
        device = self.devices.get(group.device, group.device)
        return TraceFigure(
            id=identity,
            frame=frame,
            title=f"{art.y_title.partition(' / ')[0]} of {device}, {group.condition}, die {name}",
            curves=tuple(curves),
            sweeps=tuple(dict.fromkeys(self._said(keys, row, counting) for row in rows)),
        )

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
            self.said[key] = Markup("Touchdown {}{}, calibration {}: {}{}").format(
                touchdown,
                "" if counts else " (does not count)",
                self.calibrations.get(str(calibration), calibration or units.MISSING),
                marked(str(standing)),
                f" ({told})" if told else "",
            )
        return self.said[key]


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
        description=art.description,
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
