"""Links straight to the files of data/, each with its size."""

from collections.abc import Sequence

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.results import CampaignContext
from sitegen.render.phrases import figure_of, number_of


def file_size(size_bytes: int) -> str:
    """'12 kB'."""
    for factor, unit in ((1e9, "GB"), (1e6, "MB"), (1e3, "kB")):
        if size_bytes >= factor:
            return f"{figure_of(size_bytes / factor, 3)}{units.THIN}{unit}"
    return f"{number_of(size_bytes)}{units.THIN}B"


def file_link(address: str, size_bytes: int, page: str) -> Markup:
    """The file itself as a link from `page`, with its size behind it."""
    return Markup('<a href="{}" download>{}</a> {}').format(
        addresses.relative(address, page), address.rpartition("/")[2], file_size(size_bytes)
    )


def files(context: CampaignContext, page: str, wafers: Sequence[str] = ()) -> tuple[Markup, ...]:
    """The values in both forms and the sweeps of these wafers, those that were written."""
    wanted = [addresses.table("results", form) for form in ("csv", "parquet")]
    wanted += [addresses.table(f"sweeps-{wafer}", "parquet") for wafer in wafers]
    return tuple(
        file_link(address, context.downloads[address], page)
        for address in wanted
        if address in context.downloads
    )
