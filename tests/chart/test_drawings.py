"""Laws that hold for every kind of drawing."""

import re
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest

from sitegen.chart import svg
from sitegen.chart.theme import CHART_CSS, PALETTE, PART_OF_COLOUR
from sitegen.model.results import Drawing
from tests.chart import samples
from tests.chart.samples import KINDS, parsed

SHOWN = samples.NASTY.replace("\x07", "")


@pytest.fixture(scope="module")
def drawings() -> dict[str, Drawing]:
    return {kind: draw() for kind, draw in KINDS.items()}


@pytest.mark.parametrize("kind", KINDS)
class TestEveryKind:
    def test_same_bytes_twice(self, kind: str, drawings: dict[str, Drawing]) -> None:
        assert KINDS[kind]() == drawings[kind]

    def test_title_and_description_name_it(self, kind: str, drawings: dict[str, Drawing]) -> None:
        root = parsed(drawings[kind])
        by_id = {part.get("id"): part for part in root.iter() if part.get("id")}
        title = by_id[root.attrib["aria-labelledby"]]
        description = by_id[root.attrib["aria-describedby"]]
        assert (title.tag, title.text) == ("title", SHOWN)
        assert (description.tag, description.text) == ("desc", f"about {SHOWN}")
        assert next(iter(root)) is title

    def test_an_image_has_no_links(self, kind: str, drawings: dict[str, Drawing]) -> None:
        root = parsed(drawings[kind])
        linked = any(True for _ in root.iter("a"))
        assert root.attrib["role"] == ("group" if linked else "img")
        for link in root.iter("a"):
            name = link.find("title")
            assert name is not None and name.text

    def test_no_outside_address(self, kind: str, drawings: dict[str, Drawing]) -> None:
        text = drawings[kind].svg.replace(f'xmlns="{svg.NAMESPACE}"', "")
        assert "http" not in text
        assert "//" not in text

    def test_every_colour_is_a_class(self, kind: str, drawings: dict[str, Drawing]) -> None:
        root = parsed(drawings[kind])
        style = root.find("style")
        assert style is not None and style.text
        for part in root.iter():
            assert part.get("style") is None
            for name in ("fill", "stroke"):
                value = part.get(name, "none")
                assert value == "none" or value.startswith("url(#")
            for name in part.get("class", "").split():
                if name.startswith(("fill-", "line-")):
                    assert style.text.count(f".{name}{{") == 2, "one rule for light, one for dark"
        assert "prefers-color-scheme:dark" in style.text

    def test_references_stay_inside(self, kind: str, drawings: dict[str, Drawing]) -> None:
        ids = {part.get("id") for part in parsed(drawings[kind]).iter()} - {None}
        assert set(re.findall(r"url\(#([^)]*)\)", drawings[kind].svg)) <= ids

    def test_size_is_its_own(self, kind: str, drawings: dict[str, Drawing]) -> None:
        drawing, root = drawings[kind], parsed(drawings[kind])
        assert root.attrib["viewBox"] == f"0 0 {drawing.width} {drawing.height}"
        assert root.attrib["width"] == str(drawing.width)
        assert root.attrib["height"] == str(drawing.height)

    def test_inline_has_no_style(self, kind: str, drawings: dict[str, Drawing]) -> None:
        text = svg.inline(drawings[kind])
        assert "<style" not in text
        assert text == drawings[kind].svg.replace(_style(drawings[kind]), "")
        for name in set(re.findall(r"(?:fill|line)-[a-z0-9-]+", text)):
            assert f".drawing .{name}{{" in CHART_CSS


def _style(drawing: Drawing) -> str:
    found = re.search(r"<style>.*?</style>", drawing.svg)
    assert found is not None
    return found[0]


def test_identifiers_differ_between_drawings(drawings: dict[str, Drawing]) -> None:
    ids = [
        part.attrib["id"]
        for drawing in drawings.values()
        for part in parsed(drawing).iter()
        if "id" in part.attrib
    ]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize(
    ("one", "other"),
    [("a/b-c.svg", "a-b/c.svg"), ("a.b.svg", "a/b.svg"), ("a+b", "a_b"), ("a_2e_b", "a.b")],
)
def test_no_two_addresses_share_identifiers(one: str, other: str) -> None:
    assert svg.identifier(one) != svg.identifier(other)
    for address in (one, other):
        assert re.fullmatch(r"[A-Za-z_][A-Za-z0-9._-]*", svg.identifier(address)), "an XML name"


def test_light_colours_stand_for_one_part_each() -> None:
    assert len(PART_OF_COLOUR) == len(PALETTE)


def test_worker_draws_after_its_parent_did(drawings: dict[str, Drawing]) -> None:
    """A forked worker would hang once the parent has drawn; a spawned one gives the same bytes."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        assert pool.submit(drawn_frame).result(timeout=60) == drawings["frame"].svg


def drawn_frame() -> str:
    return samples.frame().drawing.svg
