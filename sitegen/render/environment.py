"""The compiled templates: one strict Jinja2 environment for the whole program."""

from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from sitegen.render.blanks import with_marked_blanks
from sitegen.render.shell import Shell


@cache
def templates_folder() -> Path:
    """Folder of the templates: inside the package when installed, beside it in a checkout.

    Raises FileNotFoundError where neither exists.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "templates", package.parent / "templates"):
        if (folder / "parts" / "page.html").is_file():
            return folder
    raise FileNotFoundError(f"no templates beside or inside {package.name}")


@cache
def environment() -> Environment:
    """Everything is escaped, and a name that a view does not have is an error."""
    return Environment(
        loader=FileSystemLoader(templates_folder()),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
    )


def render(template: str, view: object, shell: Shell) -> str:
    """The page that `template` makes of a view; the shell is what every page has."""
    page = environment().get_template(f"{template}.html").render(view=view, shell=shell)
    return with_marked_blanks(page)
