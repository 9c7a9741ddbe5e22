"""The demo's pages in a real browser: quiet, whole without JavaScript, usable, readable."""

import json
from pathlib import Path

import pytest
from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Browser

from tests.browser.conftest import KINDS, Watched

pytestmark = pytest.mark.browser
EVERY_PICTURE = """async () => {
  document.querySelectorAll('details').forEach(one => one.open = true);
  const pictures = [...document.querySelectorAll('img, image')];
  const late = (_, refuse) => setTimeout(refuse, 10000, 'a picture is not there after 10 s');
  for (const one of pictures) {
    one.scrollIntoView();
    await Promise.race([one.decode(), new Promise(late)]);
  }
  return pictures.filter(one => one.localName === 'img').map(one => [one.naturalWidth, one.alt]);
}"""
"""Scrolls to each picture and waits until it is there; refuses where it cannot be drawn."""


@pytest.mark.parametrize("kind", KINDS)
def test_a_page_is_quiet_asks_for_nothing_outside_and_draws_every_picture(
    kind: str, origin: str, watched: Watched
) -> None:
    watched.page.goto(origin + KINDS[kind])
    assert watched.said == []
    drawn = watched.page.evaluate(EVERY_PICTURE)
    assert watched.said == []
    assert all(address.startswith(origin) for address in watched.asked)
    assert all(width > 0 and instead for width, instead in drawn)


@pytest.mark.parametrize("kind", KINDS)
def test_without_javascript_nothing_is_missing(
    kind: str, browser: Browser, publications: Path
) -> None:
    address = (publications / KINDS[kind]).as_uri()
    texts = []
    for enabled in (True, False):
        context = browser.new_context(java_script_enabled=enabled)
        page = context.new_page()
        page.goto(address)
        texts.append(page.locator("main").inner_text().split())
        context.close()
    with_it, without = (set(words) for words in texts)
    assert without <= with_it
    assert with_it - without <= {"Show", "rows", "with"}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("kind", KINDS)
def test_axe_finds_nothing_serious(
    kind: str, scheme: str, browser: Browser, publications: Path
) -> None:
    context = browser.new_context(color_scheme=scheme, viewport={"width": 1366, "height": 900})  # type: ignore[arg-type]
    page = context.new_page()
    page.goto((publications / KINDS[kind]).as_uri())
    page.evaluate(Path(AXE_FILE_PATH).read_text("utf-8"))
    # every rule is run; only what passed is not listed node by node, which took half of the time
    found = page.evaluate("axe.run(document, {preload: false, resultTypes: ['violations']})")
    serious = [
        (one["id"], one["nodes"][0]["target"], one["nodes"][0].get("failureSummary"))
        for one in found["violations"]
        if one["impact"] in {"serious", "critical"}
    ]
    context.close()
    assert serious == [], json.dumps(serious, indent=2)


@pytest.mark.parametrize("width", [390, 820])
@pytest.mark.parametrize("kind", KINDS)
def test_a_narrow_screen_scrolls_tables_and_not_the_page(
    kind: str, width: int, browser: Browser, publications: Path
) -> None:
    context = browser.new_context(viewport={"width": width, "height": 844})
    page = context.new_page()
    page.goto((publications / KINDS[kind]).as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()


def test_a_table_sorts_by_a_click_and_by_the_keyboard(origin: str, watched: Watched) -> None:
    page = watched.page
    page.goto(origin + KINDS["wafer"])
    table = page.locator("table", has=page.locator("th", has_text="Verdict")).last
    button = table.locator("thead button").first
    names = table.locator("tbody tr > :first-child")
    before = names.all_inner_texts()
    button.click()
    ascending = names.all_inner_texts()
    button.press("Enter")
    descending = names.all_inner_texts()
    assert sorted(ascending) == sorted(before)
    assert descending == ascending[::-1] != ascending
    assert table.locator("th[aria-sort=descending]").count() == 1


def test_a_table_is_filtered(origin: str, watched: Watched) -> None:
    page = watched.page
    page.goto(origin + KINDS["campaign"])
    box = page.locator("input[type=search]:not(#search)").first
    box.fill("threshold")
    table = page.locator(f"#{(box.get_attribute('id') or '').removesuffix('-filter')}")
    rows = table.locator("tbody tr:visible").all_inner_texts()
    assert rows and all("threshold" in row.lower() for row in rows)


def test_search_finds_a_die_a_parameter_and_an_event(origin: str, watched: Watched) -> None:
    page = watched.page
    for words, heading in (
        ("LK7-3 x0 y0", "Die (0,\u00a00)"),
        ("LK7-3 (1, -2)", "Die (1,\u00a0−2)"),
        ("drain breakdown", "breakdown"),
        ("VER-5", "VER-5"),
    ):
        page.goto(origin + KINDS["method"])
        page.locator("#search").fill(words)
        page.locator(".found a").first.click()
        page.wait_for_load_state("networkidle")
        assert heading in page.locator("h1").inner_text()
    assert watched.said == []


def test_a_link_leads_from_a_value_to_its_calibration_and_back(
    origin: str, watched: Watched
) -> None:
    page = watched.page
    page.goto(origin + KINDS["die"])
    page.locator("main table a", has_text="CAL-4").first.click()
    assert "CAL-4" in page.locator("h1").inner_text()
    back = page.locator("main a[href$='LK7-2/x1_y-2.html']")
    assert back.count() >= 1
    back.first.click()
    assert page.url == origin + KINDS["die"]


def test_the_traces_lie_exactly_over_their_frames(origin: str, watched: Watched) -> None:
    """The nested plot must cover the frame's plot: grid lines of the frame end at its edges."""
    page = watched.page
    page.goto(origin + KINDS["die"])
    figure = page.locator("svg:has(> image)").first
    figure.scroll_into_view_if_needed()
    address = figure.locator("image").first.get_attribute("href")
    places = figure.evaluate(
        """one => {
          const outer = one.getBoundingClientRect();
          // Its own rectangle holds the curve only: the corners of its viewBox are the plot's.
          const plot = one.querySelector(':scope > svg'), size = plot.viewBox.baseVal;
          const [start, end] = [[0, 0], [size.width, size.height]].map(
            ([x, y]) => new DOMPoint(x, y).matrixTransform(plot.getScreenCTM()));
          const scale = one.viewBox.baseVal.width / outer.width;
          return [(start.x - outer.left) * scale, (start.y - outer.top) * scale,
                  (end.x - start.x) * scale, (end.y - start.y) * scale];
        }"""
    )
    page.goto(page.url.rsplit("/", 1)[0] + "/" + str(address))
    plots = page.evaluate(
        """() => {
          const svg = document.documentElement, box = svg.viewBox.baseVal;
          const scale = box.width / svg.getBoundingClientRect().width;
          const found = [];
          for (const one of document.querySelectorAll('path, line, rect')) {
            const r = one.getBoundingClientRect();
            found.push([r.left * scale, r.top * scale, r.width * scale, r.height * scale]);
          }
          return found;
        }"""
    )
    left, top, width, height = places
    across = [one for one in plots if abs(one[0] - left) < 1.2 and abs(one[2] - width) < 2.4]
    along = [one for one in plots if abs(one[1] - top) < 1.2 and abs(one[3] - height) < 2.4]
    assert across and along


def test_print_carries_identity_address_and_end(browser: Browser, publications: Path) -> None:
    context = browser.new_context(color_scheme="dark")
    page = context.new_page()
    for kind in ("campaign", "die", "verification", "acceptance"):
        folder, _, address = KINDS[kind].partition("/")
        page.goto((publications / KINDS[kind]).as_uri())
        page.emulate_media(media="print")
        text = page.locator("body").inner_text()
        identity = {"demo": "LARK-7", "station-demo": "TEASEL-4"}[folder]
        assert identity in text and "edition 1" in text
        assert f"End of page {address}" in text
        background = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert background in {"rgb(255, 255, 255)", "rgba(0, 0, 0, 0)"}
        assert page.pdf(format="A4")[:5] == b"%PDF-"
    context.close()


def test_an_acceptance_is_signed_on_one_printed_page(browser: Browser, publications: Path) -> None:
    """The place to sign is not parted: lines for two, and below them what they sign for."""
    context = browser.new_context()
    page = context.new_page()
    page.goto((publications / KINDS["acceptance"]).as_uri())
    page.emulate_media(media="print")
    block = page.locator(".signatures")
    assert block.evaluate("one => getComputedStyle(one).breakInside") == "avoid"
    text = block.inner_text()
    assert "record TEASEL-4, edition 1" in text and "not an accredited certificate" in text
    for word in ("Name", "Function", "Date", "Signature"):
        assert block.locator("dt", has_text=word).count() == 2
    lines = block.locator("dd").evaluate_all("all => all.map(one => one.clientWidth)")
    assert len(lines) == 9 and min(lines) > 150
    context.close()


def test_every_page_says_that_the_data_are_simulated(
    demo_publication: Path, station_publication: Path
) -> None:
    pages = [*demo_publication.rglob("*.html"), *station_publication.rglob("*.html")]
    assert len(pages) > 380
    for path in pages:
        assert "Simulated data" in path.read_text("utf-8"), path
