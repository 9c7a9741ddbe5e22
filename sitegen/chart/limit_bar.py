"""The small bar beside a value with limits: tolerance, guard bands, value, uncertainty, to scale.

Its row says the same in words, so it is hidden from screen readers. Made by plain formatting: a
page has dozens.
"""

WIDTH, HEIGHT = 160, 16
_MARGIN = 0.25
"""Room beyond each limit, as a share of the tolerance."""
_EDGE = 8.0
"""Distance of an arrow from the bar's end, in pixels."""


def limit_bar(
    *,
    value: float | None,
    expanded: float | None,
    lower: float | None,
    upper: float | None,
    acceptance_lower: float | None,
    acceptance_upper: float | None,
    both_sides: bool = False,
) -> str:
    """Inline SVG of a value between its limits; empty without a limit.

    A guard band reaches from its limit to the acceptance limit, inside or outside it; with
    `both_sides`, of a non-binary rule, as far to the other side too. All in one unit. With one
    limit only, the bar reaches from it by the limit's own size (by the value's where the limit is
    zero). A value outside the bar is an arrow at its end.
    """
    ends = shown_range(value, expanded, lower, upper)
    if ends is None:
        return ""
    low, high = ends
    scale = WIDTH / (high - low)
    left = 0.0 if lower is None else (lower - low) * scale
    right = float(WIDTH) if upper is None else (upper - low) * scale
    parts = [f'<path class="tolerance" d="M{left:.1f},4H{right:.1f}V12H{left:.1f}z"/>']
    if lower is not None:
        parts.append(_limit(left, acceptance_lower, low, scale, both_sides))
    if upper is not None:
        parts.append(_limit(right, acceptance_upper, low, scale, both_sides))
    if value is not None and value == value:
        parts.append(_value((value - low) * scale, (expanded or 0.0) * scale))
    return (
        f'<svg class="limit-bar" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
        f' aria-hidden="true">{"".join(parts)}</svg>'
    )


def shown_range(
    value: float | None, expanded: float | None, lower: float | None, upper: float | None
) -> tuple[float, float] | None:
    """Values at the bar's two ends; None without a limit."""
    if lower is not None and upper is not None:
        margin = _MARGIN * (upper - lower)
        return lower - margin, upper + margin
    limit = upper if lower is None else lower
    if limit is None:
        return None
    size = abs(limit) or abs(value or 0.0) or (expanded or 0.0) or 1.0
    inside, outside = size, _MARGIN * size
    return (limit - inside, limit + outside) if lower is None else (limit - outside, limit + inside)


def _limit(x: float, acceptance: float | None, low: float, scale: float, both: bool) -> str:
    """The limit's line, and the guard band up to the acceptance limit."""
    line = f'<path class="limit" d="M{x:.1f},1V15"/>'
    if acceptance is None:
        return line
    end = (acceptance - low) * scale
    a = min(max(end, 0.0), float(WIDTH))
    if abs(a - x) < 0.05:
        return line
    start = min(max(2 * x - end, 0.0), float(WIDTH)) if both else x
    return (
        f'<path class="guard" d="M{start:.1f},4H{a:.1f}V12H{start:.1f}z"/>'
        f'<path class="acceptance" d="M{a:.1f},4V12"/>{line}'
    )


def _value(x: float, half: float) -> str:
    """A diamond with the bar of its uncertainty, or an arrow where it lies outside."""
    if x < 0:
        return f'<path class="value" d="M1,8L{_EDGE},3V13z"/>'
    if x > WIDTH:
        return f'<path class="value" d="M{WIDTH - 1},8L{WIDTH - _EDGE},3V13z"/>'
    mark = f'<path class="value" d="M{x - 4:.1f},8L{x:.1f},4 {x + 4:.1f},8 {x:.1f},12z"/>'
    if half <= 0:
        return mark
    a, b = max(x - half, 0.0), min(x + half, float(WIDTH))
    return f'<path class="uncertainty" d="M{a:.1f},8H{b:.1f}M{a:.1f},5V11M{b:.1f},5V11"/>{mark}'
