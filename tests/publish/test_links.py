"""Links that lead nowhere are found."""

from pathlib import Path

from sitegen.publish.links import broken_links
from sitegen.publish.staging import write_text


def test_broken_links_and_anchors_are_found(tmp_path: Path) -> None:
    write_text(
        tmp_path,
        "index.html",
        '<a href="a/index.html#there">x</a> <a href="a/index.html#nowhere">x</a>'
        ' <a href="gone.html">x</a> <a href="#top">x</a> <img src="a/map.svg">'
        ' <svg><image href="missing.svg"/></svg> <a href="https://example.org/">x</a>',
    )
    write_text(tmp_path, "a/index.html", '<h1 id="there">x</h1><a href="../index.html">x</a>')
    write_text(tmp_path, "a/map.svg", "<svg/>")
    assert [(link.link, link.reason) for link in broken_links(tmp_path)] == [
        ("#top", "no such place on the page"),
        ("a/index.html#nowhere", "no such place on the page"),
        ("gone.html", "no such file"),
        ("missing.svg", "no such file"),
    ]
