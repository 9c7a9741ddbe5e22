"""The five questions of a parameter's page are answered on one screen, and on one sheet."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser
LAPTOP = {"width": 1366, "height": 768}
SHEET = {"width": 688, "height": 1016}
"""A4 less margins of 14 mm, in CSS pixels."""


def opened(browser: Browser, publications: Path, name: str, size: dict[str, int]) -> Page:
    context = browser.new_context(viewport=size)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto((publications / f"demo/parameters/{name}/index.html").as_uri())
    return page


def bottom(page: Page) -> float:
    return float(page.evaluate("document.querySelector('.answers').getBoundingClientRect().bottom"))


def names(publications: Path) -> list[str]:
    return sorted(one.name for one in (publications / "demo/parameters").iterdir())


def test_the_answers_fit_on_a_laptops_screen(browser: Browser, publications: Path) -> None:
    every = names(publications)
    page = opened(browser, publications, every[0], LAPTOP)
    for name in every:
        page.goto((publications / f"demo/parameters/{name}/index.html").as_uri())
        assert bottom(page) <= LAPTOP["height"], name
        assert page.locator(".answers > div").count() == 5
    page.context.close()


def test_the_answers_fit_on_one_printed_sheet(browser: Browser, publications: Path) -> None:
    page = opened(browser, publications, "RSH", SHEET)
    page.emulate_media(media="print")
    assert bottom(page) <= SHEET["height"]
    assert page.locator("details.printed").first.is_visible()
    page.context.close()


@pytest.mark.parametrize("width", [390, 820])
def test_a_narrow_screen_stacks_the_answers(
    browser: Browser, publications: Path, width: int
) -> None:
    for name in ("RSH", "H21B"):
        page = opened(browser, publications, name, {"width": width, "height": 844})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.context.close()


def test_a_marked_die_leads_to_its_page(browser: Browser, publications: Path) -> None:
    page = opened(browser, publications, "VTH", LAPTOP)
    page.locator(".answers .drawn a").first.click()
    assert "Die (" in page.locator("h1").inner_text()
    page.context.close()
