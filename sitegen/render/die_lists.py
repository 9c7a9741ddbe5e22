"""Lists of dies by wafer, each die with a link to its page."""

from collections.abc import Mapping, Sequence

from sitegen import addresses, units
from sitegen.render.phrases import die_name
from sitegen.render.pieces import DieList, DiesOnWafer, Link


def die_list(
    name: str,
    title: str,
    dies: Mapping[str, Sequence[tuple[int, int]]],
    page: str,
    empty: str,
) -> DieList:
    """The list of these dies as it stands on `page`; name: its anchor."""
    return DieList(
        id=name,
        title=title,
        wafers=tuple(
            DiesOnWafer(
                wafer=Link(f"Wafer {wafer}", addresses.relative(addresses.wafer(wafer), page)),
                text=units.count(len(dies[wafer]), "die"),
                dies=tuple(
                    Link(die_name(x, y), addresses.relative(addresses.die(wafer, x, y), page))
                    for x, y in dies[wafer]
                ),
            )
            for wafer in sorted(dies)
            if dies[wafer]
        ),
        empty=empty,
    )


def number_of_dies(dies: Mapping[str, Sequence[tuple[int, int]]]) -> int:
    """How many dies there are over all wafers."""
    return sum(len(each) for each in dies.values())
