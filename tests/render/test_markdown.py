"""Notes: CommonMark with tables, nothing of their own that a page could run or load.

The cases are CommonMark's own constructs (spec 0.31, sections 4.2, 6.3, 6.4 and 6.6).
"""

import pytest

from sitegen.render.markdown import html


@pytest.mark.parametrize(
    ("markdown", "shown"),
    [
        ("# One", "<h3>One</h3>"),
        ("## Two", "<h4>Two</h4>"),
        ("##### Five", "<h6>Five</h6>"),
        ("Setext\n===", "<h3>Setext</h3>"),
        ("a *b* **c** `d`", "<p>a <em>b</em> <strong>c</strong> <code>d</code></p>"),
        ("<script>alert(1)</script>", "<p>&lt;script&gt;alert(1)&lt;/script&gt;</p>"),
        ("a <b onclick=x>b</b>", "<p>a &lt;b onclick=x&gt;b&lt;/b&gt;</p>"),
        (
            "[there](https://example.org/a?b&c)",
            '<p><a href="https://example.org/a?b&amp;c">there</a></p>',
        ),
        ("[here](other.md)", "<p>here (other.md)</p>"),
        ("[here](#part)", "<p>here (#part)</p>"),
        ("[run](javascript:alert(1))", "<p>[run](javascript:alert(1))</p>"),
        (
            "![a <plot>](https://example.org/p.png)",
            '<p><a href="https://example.org/p.png">Picture elsewhere: a &lt;plot&gt;</a></p>',
        ),
        ("![plot](plot.png)", "<p>[Picture not published: plot, file plot.png]</p>"),
        ("![](plot.png)", "<p>[Picture not published: picture, file plot.png]</p>"),
    ],
)
def test_a_note_is_safe(markdown: str, shown: str) -> None:
    assert html(markdown).strip() == shown


def test_a_picture_inside_a_link_leaves_no_link_in_a_link() -> None:
    shown = html("[![plot](https://example.org/p.png)](https://example.org/)")
    assert shown.count("<a ") == 1 and shown.count("</a>") == 1


def test_a_table_scrolls_in_a_named_region() -> None:
    shown = html("| a | b |\n| --- | ---: |\n| 1 | 2 |\n\n| c |\n| --- |\n| 3 |")
    assert shown.count('role="region" tabindex="0"') == 2
    assert 'aria-label="Table 1 of the note"' in shown
    assert 'aria-label="Table 2 of the note"' in shown
    assert '<th class="n">b</th>' in shown
    assert "style=" not in shown, "the pages' content policy refuses inline styles"
