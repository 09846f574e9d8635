"""The pages of gauges on screen, wide and on a phone."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from dashboard.serving.service import Service
from ingest.shop.shop import Shop
from tests.browser.conftest import PHONE, WIDE

Opener = Callable[..., Page]


@pytest.fixture(scope="module")
def service(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A copy of its own: what other tests note or close may end the doubt about a gauge."""
    folder = tmp_path_factory.mktemp("gauges") / "shop"
    shutil.copytree(demo_folder, folder)
    with Service(Shop.open(folder), 0) as served:
        threading.Thread(target=served.run, daemon=True).start()
        yield served


@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
@pytest.mark.parametrize(
    ("path", "title"), [("/gauges", "Can the gauges be trusted?"), ("/gauges/BG2", "dial bore gauge BG2")]
)
def test_the_pages_of_gauges_fit_their_screen(
    open_page: Opener, path: str, title: str, size: dict[str, int]
) -> None:
    page = open_page(path, size)
    expect(page.locator("h1")).to_have_text(title)
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]


def test_from_the_list_of_gauges_to_a_block_to_measure_again(open_page: Opener) -> None:
    page = open_page("/gauges")
    page.get_by_role("link", name="dial bore gauge BG2").first.click()
    expect(page.locator("h1")).to_have_text("dial bore gauge BG2")
    expect(page.locator(".js-plotly-plot .main-svg").first).to_be_visible()
    page.locator(".suspects a").first.click()
    expect(page.locator("h1")).to_contain_text("Block ")
    expect(page.locator("#page")).to_contain_text("was off that day, measure again")


def test_the_list_to_measure_again_is_downloaded(open_page: Opener) -> None:
    page = open_page("/gauges/BG2")
    with page.expect_download() as told:
        page.get_by_role("link", name="download it").first.click()
    assert told.value.suggested_filename == "suspects-BG2.csv"
    assert told.value.path().read_text().startswith("serial,pass,family,")
