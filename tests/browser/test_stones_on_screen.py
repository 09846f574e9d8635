"""Stones and cutters in a browser, at both sizes, on the demonstration shop."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from dashboard.serving.service import Service
from tests.browser.conftest import PHONE, WIDE

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["desk", "phone"])
def test_every_tool_has_its_advice_and_its_chart(
    open_page: Callable[..., Page], service: Service, size: dict[str, int]
) -> None:
    page = open_page("/stones", size)
    expect(page.locator(".big-state")).to_have_count(len(service.desk.shop.plan.renewals))
    expect(page.locator(".js-plotly-plot .main-svg").first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    page.locator("table.left a").first.click()
    expect(page.locator("h2", has_text="How good were such forecasts?")).to_be_visible()
    page.locator("summary", has_text="forecasts").first.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
