"""The pictures of the README, made by the project of itself: `python -m tests.browser.pictures DEMO_FOLDER`."""

import sys
import threading
from pathlib import Path

from playwright.sync_api import sync_playwright

from dashboard.service import Service
from ingest.shop import Shop
from tests.conftest import chromium_path

PLACE = Path(__file__).resolve().parents[2] / "dashboard" / "pictures"
WIDE = {"width": 1440, "height": 900}


def main(folder: Path, place: Path = PLACE) -> None:
    """Write board.png and process.png from a demonstration shop (see `tenthwise demo --no-serve`)."""
    place.mkdir(exist_ok=True)
    with Service(Shop.open(folder), 0) as served, sync_playwright() as driver:
        threading.Thread(target=served.run, daemon=True).start()
        browser = driver.chromium.launch(executable_path=chromium_path())
        page = browser.new_page(base_url=served.note.address, viewport=WIDE)  # type: ignore[arg-type]
        page.goto("/")
        page.locator(".why").first.wait_for()
        page.screenshot(path=place / "board.png")
        page.locator("#page a[href*='/process']").first.click()
        page.locator(".js-plotly-plot .main-svg").first.wait_for()
        page.screenshot(path=place / "process.png")
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
