"""A publication takes its place only when it is whole."""

from pathlib import Path

import pytest

from sitegen.problems import NotPublished
from sitegen.publish.staging import MARK, refuse_nested, staged, write_text


def publication(folder: Path, text: str) -> Path:
    with staged(folder) as root:
        write_text(root, MARK, "{}")
        write_text(root, "index.html", text)
    return folder


def test_a_new_publication_replaces_an_old_one_whole(tmp_path: Path) -> None:
    out = publication(tmp_path / "out", "old")
    write_text(out, "left-over.html", "of the old one")
    publication(out, "new")
    assert (out / "index.html").read_text() == "new"
    assert not (out / "left-over.html").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("problem", [ValueError, KeyboardInterrupt])
def test_the_old_publication_stands_when_the_new_one_fails(
    tmp_path: Path, problem: type[BaseException]
) -> None:
    out = publication(tmp_path / "out", "old")
    with pytest.raises(problem), staged(out) as root:
        write_text(root, "index.html", "half")
        raise problem
    assert (out / "index.html").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_what_is_no_publication_is_never_replaced(tmp_path: Path) -> None:
    mine = tmp_path / "thesis"
    write_text(mine, "chapter.tex", "years of work")
    with pytest.raises(NotPublished, match="is not replaced"), staged(mine):
        pass
    assert (mine / "chapter.tex").read_text() == "years of work"


def test_a_file_in_the_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(NotPublished, match="is no folder"), staged(tmp_path / "out"):
        pass


@pytest.mark.parametrize("out", ["campaign", "campaign/site", "."])
def test_a_campaign_is_not_published_into_itself(tmp_path: Path, out: str) -> None:
    with pytest.raises(NotPublished, match="campaign's folder"):
        refuse_nested(tmp_path / "campaign", tmp_path / out)
