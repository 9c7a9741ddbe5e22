"""A blank is marked where a page prints it, and nowhere breaks what stands around it."""

from sitegen.model.base import BLANK
from sitegen.render.blanks import with_marked_blanks

MARK = '<span class="blank">to fill in</span>'


def test_a_page_without_blanks_is_the_same_page() -> None:
    page = "<p>filled in, all of it</p>"
    assert with_marked_blanks(page) is page


def test_text_is_marked_and_what_follows_it_stays() -> None:
    assert with_marked_blanks(f"<dd>{BLANK}</dd>") == f"<dd>{MARK}</dd>"
    assert with_marked_blanks(f"<dd>{BLANK}: ask Anna, {BLANK}</dd>") == (
        f"<dd>{MARK}: ask Anna, {MARK}</dd>"
    )


def test_titles_attributes_and_drawings_hold_words_alone() -> None:
    for around in (
        "<title>Station {} · LOT7</title>",
        '<th data-sort-value="{}">x</th>',
        "<svg><title>a</title><text>{}</text></svg>",
    ):
        page = around.format(BLANK)
        assert with_marked_blanks(page) == around.format("to fill in")
