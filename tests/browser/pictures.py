"""The pictures of the README, made by the project of itself: `python -m tests.browser.pictures`.

A demonstration shop is built for it, unless the folder of one is named.
"""

import shutil
import sys
import tempfile
import threading
from pathlib import Path

from playwright.sync_api import sync_playwright

from dashboard.commands.demo import prepare_demo
from dashboard.commands.terminal import progress
from dashboard.serving.service import Service
from ingest.shop.shop import Shop
from tests.conftest import chromium_path

PLACE = Path(__file__).resolve().parents[2] / "dashboard" / "pictures"
WIDE = {"width": 1440, "height": 900}
TALL = {"width": 1440, "height": 1160}  # down to the end of the chart


def take(folder: Path, place: Path = PLACE) -> None:
    """Write board.png, process.png and stones.png from a demonstration shop (see `tenthwise demo --no-serve`)."""
    place.mkdir(exist_ok=True)
    with Service(Shop.open(folder), 0) as served, sync_playwright() as driver:
        threading.Thread(target=served.run, daemon=True).start()
        browser = driver.chromium.launch(executable_path=chromium_path())
        page = browser.new_page(base_url=served.note.address, viewport=WIDE)  # type: ignore[arg-type]
        page.goto("/")
        page.locator(".why").first.wait_for()
        page.screenshot(path=place / "board.png")
        page.set_viewport_size(TALL)  # type: ignore[arg-type]
        page.locator("#page a[href*='/process']").first.click()
        page.locator(".js-plotly-plot .main-svg").first.wait_for()
        page.screenshot(path=place / "process.png")
        page.goto("/stones")
        page.locator(".js-plotly-plot .main-svg").first.wait_for()
        page.screenshot(path=place / "stones.png")
        browser.close()


def main(folder: Path | None = None) -> None:
    """Take the pictures of a copy of that shop, so that the shop itself stays as it is."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as place:
        shop = Path(place) / "shop"
        if folder is None:
            prepare_demo(shop, progress).close()
        else:
            shutil.copytree(folder, shop, ignore=shutil.ignore_patterns("run"))
        take(shop)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
