"""What a person sees and does, in a browser, on the demonstration shop."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from dashboard.serving.service import Service
from tests.browser.conftest import PHONE, WIDE

pytestmark = pytest.mark.browser
Open = Callable[..., Page]


def worst(service: Service) -> str:
    """The process that heads the list."""
    return service.desk.board()[0].process


def first_part(service: Service, process: str) -> str:
    return service.desk.process(process).parts[-1].serial


def paths(service: Service) -> dict[str, str]:
    process = worst(service)
    return {
        "board": "/",
        "wall": "/wall",
        "intake": "/intake",
        "log": "/log",
        "part": f"/part/{first_part(service, process)}",
        "process": f"/process/{process}",
        "source": "/source/1/2",
    }


@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("name", ["board", "wall", "intake", "log", "part", "process", "source"])
def test_a_page_is_drawn_and_fits_the_screen(
    open_page: Open, service: Service, name: str, size: dict[str, int]
) -> None:
    page = open_page(paths(service)[name], size)
    expect(page.locator("h1").first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], (
        "nothing hangs over the edge"
    )
    if name == "process":
        expect(page.locator("#parts-chart .main-svg").first).to_be_visible()
        assert "Share" not in (page.locator(".modebar").first.inner_html())


def test_the_list_opens_on_the_worst_and_needs_no_chart_library(open_page: Open, service: Service) -> None:
    loaded: list[str] = []
    page = open_page("/wall")
    page.on("request", lambda request: loaded.append(request.url))
    page.goto("/")
    first = page.locator("#board .process").first
    expect(first).to_have_attribute("data-process", worst(service))
    expect(first.locator(".why")).to_contain_text(re.compile(r"\w.*:.*\."))
    page.wait_for_load_state("networkidle")
    assert loaded
    assert not [url for url in loaded if "plotly" in url.lower() or "async-graph" in url]


def test_from_the_list_down_to_the_line_in_the_file(open_page: Open, service: Service) -> None:
    page = open_page("/")
    page.locator("#board .process h3 a").first.click()
    expect(page.locator("h1")).to_contain_text(service.desk.board()[0].feature_name)
    points = page.locator("#parts-chart .points path.point")
    points.last.wait_for(state="attached")
    points.last.click(force=True)
    chosen = page.locator("#chosen-part")
    expect(chosen.locator("h3")).to_contain_text("Block")
    link = chosen.locator("td a", has_text="line").first
    text_of_line = link.inner_text()
    link.click()
    expect(page.locator("h1")).to_contain_text("Where did this reading come from?")
    expect(page.locator(".line.here .n")).to_have_text(text_of_line.removeprefix("line "))
    assert page.locator(".line.here code").inner_text().strip()


def test_a_part_is_found_by_its_serial(open_page: Open, service: Service) -> None:
    serial = first_part(service, worst(service))
    page = open_page("/part")
    page.get_by_label("Serial number of the block").fill(serial)
    page.get_by_role("button", name="Show the block").click()
    expect(page.locator("h1")).to_have_text(f"Block {serial}")
    expect(page.locator("table.readings").first).to_be_visible()


def test_an_event_is_noted_with_one_touch_and_undone(open_page: Open, service: Service) -> None:
    plan = service.desk.shop.plan
    row = next(
        r for r in service.desk.board() if not r.is_gauge and any(k.button for k in plan.events.values())
    )
    page = open_page(f"/process/{row.process}")
    page.locator("form.buttons select[name=who]").select_option(index=1)
    page.locator("form.buttons .touch").last.click()
    toast = page.locator("#toast")
    expect(toast).to_contain_text(f"Noted on {row.machine}")
    noted = [entry for entry in service.desk.shop.log() if entry.kind == "event" and entry.journal_line]
    toast.get_by_role("button", name="Undo").click()
    expect(toast).to_contain_text("Undone")
    undone = {entry.journal_line for entry in service.desk.shop.log() if entry.undone}
    assert {entry.journal_line for entry in noted} & undone


def test_a_part_is_set_aside_stays_visible_and_is_let_in_again(open_page: Open, service: Service) -> None:
    process = service.desk.board()[-1].process
    part = service.desk.process(process).parts[-1]
    page = open_page(f"/process/{process}")
    form = page.locator("form[data-act=set_part_aside]")
    form.locator("input[name=part]").fill(f"{part.serial}/{part.pass_no}")
    form.locator("input[name=reason]").fill("fell off the bench")
    form.locator("select[name=who]").select_option(index=1)
    form.get_by_role("button").click()
    toast = page.locator("#toast")
    expect(toast).to_contain_text("is set aside; it stays visible")
    aside = service.desk.process(process).parts[-1]
    assert (aside.serial, aside.verdict) == (part.serial, "aside") and "fell off" in (aside.aside or "")
    expect(page.locator("#page")).to_contain_text("fell off the bench")
    toast.get_by_role("button", name="Undo").click()
    expect(toast).to_contain_text("Undone")
    assert service.desk.process(process).parts[-1].aside is None


def test_a_mistake_is_told_on_the_page(open_page: Open, service: Service) -> None:
    page = open_page(f"/process/{worst(service)}")
    page.get_by_text("Note another event, or one with a tool or a note").click()
    form = page.locator("form[data-act=note_event]").last
    form.locator("select[name=who]").select_option(index=1)
    form.locator("input[name=when]").fill("2099-01-01T10:00")
    form.get_by_role("button").click()
    expect(page.locator("#toast.wrong")).to_contain_text("yet to come")


def test_a_signal_is_closed_with_a_cause(open_page: Open, service: Service) -> None:
    row = next(r for r in reversed(service.desk.board()) if r.signals)
    before = len(row.signals)
    page = open_page(f"/process/{row.process}")
    item = page.locator(".signals .signal").first
    item.locator("details summary", has_text=re.compile("Close it|Confirm")).click()
    form = item.locator("form[data-act=close_signal]")
    form.locator("select[name=outcome]").select_option("no cause found")
    form.locator("input[name=cause]").fill("looked at it, found nothing")
    form.locator("select[name=who]").select_option(index=1)
    form.get_by_role("button").click()
    expect(page.locator("#toast")).to_contain_text("The signal is closed")
    after = next(r for r in service.desk.board() if r.process == row.process)
    assert len(after.signals) == before - 1
    expect(page.locator(".signals .signal", has_text="looked at it, found nothing").first).to_be_visible()


def test_the_wall_is_read_from_two_metres(open_page: Open) -> None:
    """At two metres a letter is read easily at 1/250 of the distance: 8 mm, 30 px on a common 24 inch screen."""
    page = open_page("/wall", {"width": 1920, "height": 1080})
    sizes = page.evaluate(
        "Array.from(document.querySelectorAll('.wall .process h2, .wall .process p, .wall .process .state'))"
        ".map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert sizes and min(sizes) >= 30
    expect(page.locator("header.top")).to_be_hidden()
    assert page.evaluate("document.documentElement.scrollHeight") <= 1080


def test_a_dropped_file_that_fits_no_layout_waits_and_says_so(open_page: Open) -> None:
    page = open_page("/intake")
    page.locator("#files").set_input_files(
        {"name": "strange.csv", "mimeType": "text/csv", "buffer": b"nobody,knows\n1,2\n"}
    )
    expect(page.locator("#toast")).to_contain_text("strange.csv: waits")
    expect(page.locator("#intake")).to_contain_text("strange.csv")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_are_readable_in_light_and_dark(open_page: Open, scheme: str) -> None:
    page = open_page("/")
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    ink, paper = page.evaluate(
        "[getComputedStyle(document.querySelector('.why')).color, getComputedStyle(document.documentElement)"
        ".backgroundColor]"
    )
    assert contrast(ink, paper) >= 7, "WCAG 2.2 contrast, enhanced"


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""

    def light(colour: str) -> float:
        channels = [int(c) / 255 for c in re.findall(r"\d+", colour)[:3]]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    a, b = sorted((light(one), light(other)), reverse=True)
    return (a + 0.05) / (b + 0.05)
