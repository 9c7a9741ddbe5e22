"""Notes in Markdown as safe HTML: no HTML of their own, nothing loaded from elsewhere."""

import re
from collections.abc import Sequence
from functools import cache

from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token
from markdown_it.utils import EnvType, OptionsDict
from markupsafe import Markup, escape

from sitegen.model.loaded import Note
from sitegen.render.pieces import NoteText

HEADING_SHIFT = 2
"""A note's first-level heading stands below the page's second-level one."""
_OUTSIDE = re.compile(r"(https?|mailto):", re.IGNORECASE)


def note_text(note: Note, title: str = "Note") -> NoteText:
    """The note as it stands on the page it belongs to."""
    return NoteText(title, note.file, html(note.markdown))


def html(markdown: str) -> Markup:
    """Markdown (CommonMark with tables) as safe HTML.

    HTML in the text is shown as text. A remote picture becomes a link; a picture or a link to a
    file of the campaign's folder, which is not published, becomes its text with the file's name.
    Headings move below the page's own.
    """
    return Markup(_parser().render(markdown))


@cache
def _parser() -> MarkdownIt:
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    parser.core.ruler.push("page", _fit_page)
    parser.add_render_rule("image", _picture)
    parser.add_render_rule("table_open", _table_open)
    parser.add_render_rule("table_close", _table_close)
    return parser


def _fit_page(state: object) -> None:
    """Move headings down, turn styles into classes, unlink what is not published."""
    tokens: list[Token] = state.tokens  # type: ignore[attr-defined]  # StateCore
    for token in tokens:
        if token.type in {"heading_open", "heading_close"}:
            token.tag = f"h{min(int(token.tag[1]) + HEADING_SHIFT, 6)}"
        if token.type in {"th_open", "td_open"} and "style" in token.attrs:
            right = "right" in str(token.attrs.pop("style"))
            token.attrs.update({"class": "n"} if right else {})
        if token.children:
            token.children = _links_kept(token.children)


def _links_kept(tokens: list[Token]) -> list[Token]:
    kept: list[Token] = []
    unpublished: list[str] = []
    for token in tokens:
        if token.type == "link_open":
            target = str(token.attrGet("href") or "")
            unpublished.append("" if _OUTSIDE.match(target) else target)
            if unpublished[-1]:
                continue
        if token.type == "link_close":
            target = unpublished.pop()
            if target:
                kept.append(Token("text", "", 0, content=f" ({target})"))
                continue
        if token.type == "image" and any(not target for target in unpublished):
            # Inside a link a picture stays text: a link cannot hold another.
            token = Token("text", "", 0, content=f"Picture: {token.content or 'without a name'}")
        kept.append(token)
    return kept


def _picture(
    self: RendererHTML, tokens: Sequence[Token], index: int, options: OptionsDict, env: EnvType
) -> str:
    token = tokens[index]
    target = str(token.attrGet("src") or "")
    text = token.content or "picture"
    if _OUTSIDE.match(target):
        return Markup('<a href="{}">Picture elsewhere: {}</a>').format(target, text)
    return Markup("[Picture not published: {}, file {}]").format(text, target)


def _table_open(
    self: RendererHTML, tokens: Sequence[Token], index: int, options: OptionsDict, env: EnvType
) -> str:
    label = escape(f"Table {sum(token.type == 'table_open' for token in tokens[: index + 1])}")
    return f'<div class="scroll" role="region" tabindex="0" aria-label="{label} of the note">\n' \
        "<table>\n"  # fmt: skip


def _table_close(
    self: RendererHTML, tokens: Sequence[Token], index: int, options: OptionsDict, env: EnvType
) -> str:
    return "</table>\n</div>\n"
