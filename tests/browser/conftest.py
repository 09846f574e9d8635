"""A real browser on a real service over a copy of the demonstration shop; any console error is a failure."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from dashboard.serving.service import Service
from ingest.shop.shop import Shop

expect.set_options(timeout=30_000)  # a shared machine answers late; a fault does not answer at all

WIDE = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}

# What is noted is assessed before it is answered: seconds on a busy machine, where the default is five.
expect.set_options(timeout=45_000)


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Browser]:
    """Chromium, Chrome or Edge of this machine."""
    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=chromium)
        yield found
        found.close()


@pytest.fixture(scope="session")
def service(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The demonstration shop, served; tests may note and close things in this copy."""
    folder = tmp_path_factory.mktemp("served") / "shop"
    shutil.copytree(demo_folder, folder)
    with Service(Shop.open(folder), 0) as served:
        worker = threading.Thread(target=served.run, daemon=True)
        worker.start()
        yield served


@pytest.fixture
def open_page(browser: Browser, service: Service) -> Iterator[Callable[..., Page]]:
    """Open a page at a size; at the end no console error and no request beyond this machine may have happened."""
    faults: list[str] = []
    opened = []

    def go(path: str, size: dict[str, int] = WIDE) -> Page:
        context = browser.new_context(
            base_url=service.note.address,
            viewport=size,  # type: ignore[arg-type]
            timezone_id="UTC",
            reduced_motion="reduce",
        )
        opened.append(context)
        page = context.new_page()
        # A refused mistake is answered with 400 by design and told on the page; the browser logs that as well.
        page.on(
            "console",
            lambda m: faults.append(m.text) if m.type == "error" and "status of 400" not in m.text else None,
        )
        page.on("pageerror", lambda error: faults.append(str(error)))
        home = (service.note.address, "data:", "blob:")
        page.on(
            "request",
            lambda r: None if r.url.startswith(home) else faults.append(f"left the machine: {r.url}"),
        )
        page.goto(path)
        page.locator("#page h1, .wall h1").first.wait_for()
        return page

    yield go
    for context in opened:
        context.close()
    assert faults == []
