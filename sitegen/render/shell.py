"""What every page has around its own content: identity, the way back, footer, files it loads."""

from collections.abc import Sequence
from dataclasses import dataclass

from sitegen import addresses
from sitegen.model.campaign import CampaignRecord
from sitegen.render.phrases import edition
from sitegen.render.pieces import Link


@dataclass(frozen=True, slots=True)
class Shell:
    """Contract of templates/parts/page.html."""

    title: str
    """Title of the window and of the bookmark: page, then campaign."""
    address: str
    """The page's own address, printed at its end."""
    identity: str
    """Identity of the campaign."""
    edition: int
    dated: str
    """The edition with its date: '1 of 2026-03-03'."""
    laboratory: str
    simulated: bool
    crumbs: tuple[Link, ...]
    """The pages above this one, the campaign first; empty on the campaign's page."""
    here: str
    """Name of this page in the row of crumbs."""
    links: tuple[Link, ...]
    """The few pages that every page leads to."""
    style: str
    script: str
    icon: str
    search_index: str
    method: str
    """Address of the method page."""


FIXED = (
    ("Problems", addresses.PROBLEMS),
    ("Method", addresses.METHOD),
    ("Data", addresses.DATA),
)
"""Pages that every page leads to."""


def shell(
    record: CampaignRecord, address: str, here: str, above: Sequence[tuple[str, str]] = ()
) -> Shell:
    """The shell of the page at `address`.

    above: name and address of the pages between the campaign's and this one.
    """
    identity = record.campaign

    def link(text: str, target: str) -> Link:
        return Link(text, addresses.relative(target, address))

    home = () if address == addresses.HOME else (link("Campaign", addresses.HOME),)
    return Shell(
        title=f"{here} · {identity.id}" if home else f"{identity.id}: {identity.title}",
        address=address,
        identity=identity.id,
        edition=identity.edition,
        dated=edition(identity.edition, identity.issued),
        laboratory=identity.laboratory,
        simulated=identity.simulated,
        crumbs=home + tuple(link(text, target) for text, target in above),
        here=here,
        links=tuple(link(text, target) for text, target in FIXED),
        style=addresses.relative(addresses.STYLE, address),
        script=addresses.relative(addresses.SCRIPT, address),
        icon=addresses.relative(addresses.ICON, address),
        search_index=addresses.relative(addresses.SEARCH_INDEX, address),
        method=addresses.relative(addresses.METHOD, address),
    )
