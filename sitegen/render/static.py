"""The files that every page loads: style sheet, script and icon."""

from collections.abc import Mapping

from sitegen import addresses
from sitegen.render.environment import templates_folder


def static_files(chart_css: str) -> Mapping[str, bytes]:
    """The files by address. chart_css: rules of the drawings that stand inline."""
    folder = templates_folder() / "static"
    style = (folder / "style.css").read_text(encoding="utf-8")
    return {
        addresses.STYLE: f"{style.rstrip()}\n\n{chart_css.strip()}\n".encode(),
        addresses.SCRIPT: (folder / "page.js").read_bytes(),
        addresses.ICON: (folder / "icon.svg").read_bytes(),
    }
