"""Addresses: one for each thing, and links between them."""

import posixpath
import re

import pytest

from sitegen import addresses


def test_ids_with_hyphens_never_share_an_address() -> None:
    assert addresses.frame("W", "a-b", "c", "s21_db") != addresses.frame("W", "a", "b-c", "s21_db")
    assert addresses.wafer_map("W", "a-b", "c") != addresses.wafer_map("W", "a", "b-c")
    assert addresses.wafer_map("W", "verdicts", "small") != addresses.verdict_map("W", "small")


def test_a_free_text_is_safe_in_a_files_name_and_stays_apart_from_others() -> None:
    texts = ("a/b", "a b", "a.b", "a:b", "a=2Fb", "µ", "")
    made = [addresses.in_file_name(text) for text in texts]
    assert len(set(made)) == len(texts)
    assert all(re.fullmatch(r"[A-Za-z0-9._+=-]*", name) for name in made)
    assert addresses.in_file_name("SITE-1.2") == "SITE-1.2"


def test_links_are_relative_to_their_page() -> None:
    die = addresses.die("W1", 3, -2)
    assert addresses.relative(addresses.HOME, die) == "../../index.html"
    assert addresses.relative(addresses.wafer("W1"), die) == "index.html"
    assert addresses.relative(f"{addresses.METHOD}#standing", die) == (
        "../../method/index.html#standing"
    )
    assert addresses.relative(f"{die}#values", die) == "#values"


@pytest.mark.parametrize("page", ["index.html", "a/index.html", "a/b/c.html", "d/e.html"])
@pytest.mark.parametrize("target", ["index.html", "a/x.svg", "a/b/c.html", "a/b/d.html", "e/f/g.h"])
def test_a_relative_link_leads_from_its_page_to_its_target(page: str, target: str) -> None:
    link = addresses.relative(target, page)
    assert posixpath.normpath(posixpath.join(posixpath.dirname(page), link)) == target
