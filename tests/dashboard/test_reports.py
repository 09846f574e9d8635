"""What is printed: the month, the service case and the part sheet, as text, file and page."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from typer.testing import CliRunner

from dashboard.commands.cli import app
from dashboard.desk import Desk
from dashboard.long_work import Work
from dashboard.reports import pdf
from dashboard.reports.blocks import Report, on_paper, on_screen
from dashboard.reports.case_report import case_report
from dashboard.reports.case_words import chance_text, money_text, months_text
from dashboard.reports.month_words import expected_text, share_text
from dashboard.reports.workbook import as_csv, as_xlsx, sheets
from dashboard.serving.web import create_app, resolve
from dashboard.work.reports import month, month_pieces, part, part_sheet, service_case
from ingest.answers.month import MonthReview
from ingest.shop.shop import Shop

ASKED: dict[str, Any] = {"month": "2025-10"}


@pytest.fixture(scope="module")
def pieces(demo_shop: Shop) -> tuple[MonthReview, Report]:
    return month_pieces(demo_shop, 2025, 10)


def _text(report: Report) -> str:
    return re.sub(
        r"<[^>]+>",
        " ",
        on_paper(replace(report, blocks=tuple(b for b in report.blocks if isinstance(b, str)))),
    )


def test_the_month_says_what_to_act_on_and_where_it_comes_from(
    demo_shop: Shop, pieces: tuple[MonthReview, Report]
) -> None:
    review, report = pieces
    text = _text(report)
    assert "dress or change the finish stones" in text
    assert review.digest in text
    assert demo_shop.plan.sha256 in text
    assert "qualified sign-off" in text
    assert "Lock out and tag out" in text
    for line in review.lines:
        assert line.feature_name in text


def test_the_same_month_prints_the_same_bytes(demo_shop: Shop, pieces: tuple[MonthReview, Report]) -> None:
    review, report = pieces
    again, twice = month_pieces(demo_shop, 2025, 10)
    assert on_paper(report) == on_paper(twice)
    assert as_xlsx(review, demo_shop.plan) == as_xlsx(again, demo_shop.plan)
    assert as_csv(review, demo_shop.plan) == as_csv(again, demo_shop.plan)


def test_paper_needs_nothing_from_elsewhere(pieces: tuple[MonthReview, Report]) -> None:
    text = on_paper(pieces[1])
    outside = re.sub(r"<script>.*?</script>", "", text, flags=re.DOTALL)
    assert not re.search(r"(?:src|href)=\"(?:https?:)?//", outside)
    assert "<link" not in outside
    assert text.count("newPlot(") >= 1
    assert "showSendToCloud:false" in text


def test_screen_and_paper_draw_the_same_charts(pieces: tuple[MonthReview, Report]) -> None:
    report = pieces[1]
    drawn = [json.dumps(chart.figure["data"]) for chart in report.charts]
    assert drawn
    shown: list[str] = []

    def look(node: Any) -> None:
        if getattr(node, "figure", None) is not None:
            shown.append(json.dumps(node.figure["data"]))
        children = getattr(node, "children", None)
        for child in children if isinstance(children, list) else [children] if children is not None else []:
            look(child)

    for node in on_screen(report):
        look(node)
    assert shown == drawn
    paper = on_paper(report)
    assert paper.count('class="chart" id="chart-') == len(drawn)


def test_the_workbook_has_typed_numbers_frozen_heads_and_units(
    demo_shop: Shop, pieces: tuple[MonthReview, Report]
) -> None:
    review = pieces[0]
    book = openpyxl.load_workbook(io.BytesIO(as_xlsx(review, demo_shop.plan)))
    assert book.sheetnames == [name for name, _, _ in sheets(review, demo_shop.plan)]
    sheet = book["Processes"]
    assert sheet.freeze_panes == "D2"
    head = [cell.value for cell in sheet[1]]
    assert "unit" in head
    at = head.index("Ppk")
    numbers = [row[at].value for row in sheet.iter_rows(min_row=2)]
    assert sum(isinstance(n, (int, float)) for n in numbers) > 30
    assert not any(isinstance(n, str) for n in numbers)
    days = [row[head.index("limits valid from")].value for row in sheet.iter_rows(min_row=2)]
    assert any(isinstance(d, datetime) for d in days)
    assert sheet.max_row == len(review.lines) + 1


def _with_formula(review: MonthReview) -> MonthReview:
    evil = replace(
        review.lines[0], family_name="=1+1", feature_name="@SUM(A1)", machine="", machine_name="-cmd"
    )
    return replace(review, lines=(evil, *review.lines[1:]))


def test_no_cell_can_run(demo_shop: Shop, pieces: tuple[MonthReview, Report]) -> None:
    review = _with_formula(pieces[0])
    sheet = openpyxl.load_workbook(io.BytesIO(as_xlsx(review, demo_shop.plan)))["Processes"]
    assert sheet["C2"].value == "=1+1"
    assert sheet["C2"].data_type == "s"
    assert not any(cell.data_type == "f" for row in sheet.iter_rows() for cell in row)
    rows = list(csv.reader(io.StringIO(as_csv(review, demo_shop.plan))))
    assert rows[1][1:3] == ["'@SUM(A1)", "'=1+1"]
    for row in rows[1:]:
        for cell in row:
            assert not cell.startswith(("=", "@", "\t", "\r", "+"))
            assert not cell.startswith("-") or float(cell) < 0


def test_an_empty_month_is_a_clear_sentence(demo_shop: Shop) -> None:
    assert "nothing to review" in month(demo_shop, {"month": "2020-01"}).out
    assert "has not begun" in _text(month_pieces(demo_shop, 2031, 1)[1])


def test_a_month_that_is_none_is_refused(demo_shop: Shop) -> None:
    outcome = month(demo_shop, {"month": "October"})
    assert outcome.code == 2
    assert "year-month" in outcome.err


def test_any_process_can_be_drawn(demo_shop: Shop) -> None:
    name = "HN2/finish_hone/cyl_size"
    _, report = month_pieces(demo_shop, 2025, 10, draw=[name])
    assert len(report.charts) == 4  # two families, each its readings and its blocks
    outcome = month(demo_shop, ASKED | {"draw": ["no/such/thing"]})
    assert outcome.code == 2
    assert name in outcome.err


def test_files_are_left_where_asked(demo_shop: Shop, tmp_path: Path) -> None:
    outcome = month(demo_shop, ASKED | {"to": str(tmp_path / "a"), "formats": ["html", "xlsx", "csv"]})
    assert outcome.code == 0
    assert sorted(p.name for p in (tmp_path / "a").iterdir()) == [
        "month-2025-10.csv", "month-2025-10.html", "month-2025-10.xlsx",
    ]  # fmt: skip


def test_work_that_is_stopped_leaves_no_file(demo_shop: Shop, tmp_path: Path) -> None:
    def stop(*_: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        month(demo_shop, ASKED | {"to": str(tmp_path)}, stop)
    assert list(tmp_path.iterdir()) == []


def test_without_a_browser_there_is_a_clear_sentence(
    demo_shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pdf, "browser", lambda: None)
    outcome = service_case(demo_shop, {"machine": "DM2", "to": str(tmp_path)})
    assert outcome.code == 2
    assert "TENTHWISE_BROWSER" in outcome.err
    assert [p.suffix for p in tmp_path.iterdir()] == [".html"]


def test_the_case_of_the_owner_says_months_range_and_what_it_cannot_tell(demo_shop: Shop) -> None:
    case = demo_shop.service_case("HN2", price=6900, down_hours=24, as_of=date(2025, 5, 9))
    text = _text(case_report(case, demo_shop.plan))
    assert "would pay back in about" in text
    assert "8 of 10" in text
    assert "within 12 months" in text
    assert "every month of waiting" in text
    assert "What the data cannot tell" in text
    assert f"seed {case.money.seed}" in text if case.money else False


def test_no_effect_is_said_plainly_with_what_could_have_been_missed(demo_shop: Shop) -> None:
    out = service_case(demo_shop, {"machine": "LH1", "event": "2025-07-21"}).out
    assert out.startswith("No effect found")
    assert "could have missed" in out


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"machine": "nobody"}, "no machine"),
        ({"machine": "HN2", "event": "2025-01-01"}, "Nearest"),
        ({"machine": "HN2", "event": "2031-01-01"}, "has not been yet"),
        ({"machine": "BG2"}, "is a gauge"),
    ],
)
def test_a_case_that_cannot_be_asked_is_explained(demo_shop: Shop, asked: dict[str, Any], said: str) -> None:
    outcome = service_case(demo_shop, asked)
    assert outcome.code == 2
    assert said in outcome.err


def test_a_case_as_json_is_plain(demo_shop: Shop) -> None:
    told = json.loads(
        service_case(demo_shop, {"machine": "DM1", "price": 4200.0, "hours": 16.0, "json": True}).out
    )
    assert told["verdict"] == "case"
    assert set(told["money"]["payback_months"]) == {"p10", "p50", "p90"}


def test_the_sheet_of_a_block_holds_every_reading(demo_shop: Shop) -> None:
    view = demo_shop.part("QB-25-0900")
    assert view is not None
    text = _text(part_sheet(demo_shop, "QB-25-0900"))
    files = {r.id: r.name for r in demo_shop.receipts()}
    for reading in view.readings:
        assert files[reading.receipt] in text
        assert reading.feature_name in text
    for derived in view.derived:
        assert derived.feature_name in text
    assert "qualified sign-off" in text
    # The bore gauges read in steps of 2.54 micrometres, the bores have a tolerance of 20.
    assert "MG1 reads in steps of 0.1 thou, 13 % of the tolerance" in text
    used = [r for r in view.readings if r.status == "used"]
    assert len(used) == int(re.search(r"(\d+) readings count", text).group(1))  # type: ignore[union-attr]


def test_a_pass_that_was_made_again_is_told_apart_from_the_one_delivered(demo_shop: Shop) -> None:
    # Its deck was too rough at first, 0.88 at most 0.75, and was cut again: each pass has its own line.
    told = part(demo_shop, {"serial": "QB-25-0900"}).out
    first, second = (line for line in told.splitlines() if line.startswith("  deck finish Ra"))
    assert "pass 1 (made again in pass 2, not judged)" in first
    assert "0.88" in first
    assert "pass 2:" in second
    assert "0.88" not in second
    assert "made again in pass 2, not judged" in _text(part_sheet(demo_shop, "QB-25-0900"))
    # The hone came once: what was done on the deck is not said of it.
    assert "pass" not in next(line for line in told.splitlines() if line.startswith("  bore finish Ra"))


def test_a_service_that_moved_places_against_one_another_says_so(demo_shop: Shop) -> None:
    told = service_case(demo_shop, {"machine": "LH1", "event": "2025-09-29"}).out
    line = next(x for x in told.splitlines() if x.startswith("   step between neighbouring mains: "))
    assert "places of a block moved against one another" in line


def test_an_unknown_block_is_said(demo_shop: Shop) -> None:
    outcome = part(demo_shop, {"serial": "QB-99-0000"})
    assert outcome.code == 2
    assert "No block QB-99-0000" in outcome.err


def test_another_block_is_found_without_working_out_the_shop_again(
    demo_shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """How quick that is, is measured in the benchmarks."""
    desk = Desk(demo_shop)
    resolve(desk, "/part/QB-25-0900", "")  # what all blocks share is worked out once after a change

    def again(_known: object) -> None:
        raise AssertionError("every reading was looked at again")

    monkeypatch.setattr("ingest.state.moment.resolve", again)
    title, body = resolve(desk, "/part/QB-25-0899", "")
    assert "QB-25-0899" in title
    assert body


def begun_already(_step: Any) -> None:
    """What a page asked for must be under way: nothing is begun a second time."""
    raise AssertionError("the page had not begun it")


def test_pages_answer_and_their_files_can_be_had(demo_shop: Shop) -> None:
    desk = Desk(demo_shop)
    server = create_app(desk, port=8123, token="t").server
    client = server.test_client()
    base = "http://127.0.0.1:8123"
    resolve(desk, "/month", "?month=2025-10")
    assert desk.work.ask(("month", "2025-10"), begun_already).ended.wait(120)
    title, body = resolve(desk, "/month", "?month=2025-10")
    assert title == "The month: October 2025"
    assert len(body) > 4
    title, body = resolve(desk, "/month", "?month=2025-10&line=DM1/deck/bank_difference|F2")
    assert body
    answer = client.get("/paper/month/2025-10.csv", base_url=base)
    assert answer.status_code == 200
    assert b"bank" in answer.data
    assert client.get("/paper/month/nonsense.csv", base_url=base).status_code == 404
    assert client.get("/paper/month/2025-10.exe", base_url=base).status_code == 404
    resolve(desk, "/service-case", "?machine=LH1&event=2025-07-21")
    assert desk.work.ask(("case", "LH1", "2025-07-21", "", "", ""), begun_already).ended.wait(120)
    title, body = resolve(desk, "/service-case", "?machine=LH1&event=2025-07-21")
    assert "line hone" in title
    assert (
        client.get("/paper/service-case.html?machine=LH1&event=2025-07-21", base_url=base).status_code == 200
    )
    assert (
        client.get("/paper/service-case.html?machine=LH1&event=2025-07-20", base_url=base).status_code == 404
    )
    for asked in ("?machine=nobody", "?machine=HN2&price=abc", "?machine=HN2&as_of=x", ""):
        title, body = resolve(desk, "/service-case", asked)
        assert title == "Service case"
        assert body
    assert client.get("/paper/part/QB-25-0900.html", base_url=base).status_code == 200
    assert client.get("/paper/part/none.html", base_url=base).status_code == 404


def test_long_work_tells_how_far_it_is_and_stops() -> None:
    import threading

    work, go, began = Work(lambda: 0), threading.Event(), threading.Event()

    def make(step: Any) -> str:
        step(1, 3)
        began.set()
        go.wait(10)
        step(2, 3)
        return "done"

    task = work.ask("x", make)
    assert began.wait(10)
    assert (task.done, task.total, task.finished) == (1, 3, False)
    assert work.ask("x", make) is task
    work.stop("x")
    go.set()
    assert task.ended.wait(10)
    assert task.finished
    assert task.result is None
    work.again("x")
    assert work.ask("x", make) is not task


def test_the_command_prints_and_ends_honestly(demo_folder: Path, tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    shutil.copytree(demo_folder, folder)
    runner = CliRunner()
    done = runner.invoke(app, ["service-case", "DM2", "--price", "5000", "--folder", str(folder)])
    assert done.exit_code == 0
    assert "No case can be made" in done.output
    assert runner.invoke(app, ["month", "2025-13", "--folder", str(folder)]).exit_code == 2
    assert runner.invoke(app, ["part", "QB-25-0900", "--only", "doc", "--folder", str(folder)]).exit_code == 2


@pytest.mark.browser
@pytest.mark.usefixtures("chromium")
def test_the_owners_page_is_one_page_and_printed_twice_the_same(demo_shop: Shop) -> None:
    done = {
        m: [e for e in demo_shop.machine_events(m) if e.kind in ("service", "shoes")] for m in ("HN2", "LH1")
    }
    for case in (
        demo_shop.service_case("HN2", price=6900, down_hours=24, as_of=date(2025, 5, 9)),
        *(demo_shop.service_case(machine, event) for machine, events in done.items() for event in events),
    ):
        text = on_paper(case_report(case, demo_shop.plan))
        first = pdf.as_pdf(text, case.asked)
        assert first.startswith(b"%PDF")
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", first)) == 1
        if case.event is None:
            assert pdf.as_pdf(text, case.asked) == first


def test_figures_are_written_as_sure_as_they_are() -> None:
    assert money_text(3556.2) == "3,600"
    assert money_text(0.0) == "0"
    assert money_text(12.3) == "12"
    assert money_text(float("inf")) == "–"
    assert months_text(0.194) == "6 days"
    assert months_text(1.94) == "1.9 months"
    assert months_text(20.7) == "21 months"
    assert months_text(float("inf")) == "more than 10 years"
    assert chance_text(0.9999) == "over 99 %"
    assert chance_text(0.0) == "under 1 %"
    assert share_text(0.0003) == "0.03 %"
    assert share_text(1e-9) == "under 0.01 %"


def test_a_share_beyond_what_the_blocks_can_tell_is_not_printed(pieces: tuple[MonthReview, Report]) -> None:
    for line in pieces[0].lines:
        out = line.held.out if line.held is not None else None
        if out is not None and out.expected is not None and out.expected.upper < out.resolvable:
            assert expected_text(line) == f"under {share_text(out.resolvable)}"
