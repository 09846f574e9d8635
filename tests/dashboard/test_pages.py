"""What each page shows, without a browser: the facts are on it, in order, and nothing in data becomes markup."""

from __future__ import annotations

import base64
import gc
import json
import re
import weakref
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.figures.columns import columns
from dashboard.figures.frame import CONFIG
from dashboard.figures.monitors import monitor_chart
from dashboard.figures.parts import part_chart
from dashboard.figures.readings import readings_chart
from dashboard.markup import join, table, tag
from dashboard.pages import board
from dashboard.serving.web import create_app, resolve
from dashboard.sparkline import sparkline
from dashboard.words.amounts import moment
from dashboard.words.sentences import reason
from dashboard.words.states import LOOKS
from ingest.answers.processes import State
from spc.capability.histogram import Histogram
from tests.dashboard.paper_shop import PaperShop, event, off, row, signal, view

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>'
PROCESS = "/process/HONE/finish_hone/bore_peak"
PATHS = ("/", "/wall", "/intake", "/intake?receipt=1", "/log", "/log?kind=event", "/part", "/part/S111",
         "/source/1/7", PROCESS)  # fmt: skip


def html_of(shop: PaperShop, path: str) -> str:
    """All server-made markup of a page."""
    where, _, query = path.partition("?")
    _, body = resolve(Desk(shop), where, query)  # type: ignore[arg-type]
    found = [getattr(part, "data-made") for part in body if hasattr(part, "data-made")]
    return "".join(found)


@pytest.mark.parametrize("path", PATHS)
def test_every_page_has_one_heading_and_balanced_markup(shop: PaperShop, path: str) -> None:
    text = html_of(shop, path)
    assert text.count("<h1>") == 1
    for name in (
        "div",
        "table",
        "tr",
        "td",
        "form",
        "ul",
        "ol",
        "li",
        "section",
        "details",
        "svg",
        "label",
        "a",
        "p",
    ):
        opened = len(re.findall(rf"<{name}[ >]", text))
        assert opened == text.count(f"</{name}>"), f"<{name}> on {path}"


@pytest.mark.parametrize("path", PATHS)
def test_nothing_in_data_becomes_markup(shop: PaperShop, path: str) -> None:
    shop.rows = [
        replace(r, machine_name=HOSTILE, feature_name=HOSTILE, last_serial=HOSTILE) for r in shop.rows
    ]
    text = html_of(shop, path)
    assert "<script" not in text
    assert "<img" not in text
    assert "gauge <1>" not in text and "<b>x</b>" not in text


def test_the_board_lists_the_worst_first_and_says_why(shop: PaperShop) -> None:
    text = html_of(shop, "/")
    order = re.findall(r'data-state="([a-z-]+)"', text)
    assert order[:3] == ["gauge-in-doubt", "out-of-tolerance", "going-off"]
    for found in shop.rows[:4]:
        assert str(Markup.escape(reason(found, shop.plan))) in text
    assert "Hardly chance, which shows as much about once in 14 months" in text
    assert "Last reading 3 hours ago" in text


def test_the_board_lists_what_cleared_and_what_was_withdrawn(shop: PaperShop) -> None:
    text = html_of(shop, "/")
    assert "Cleared after service on 7 Mar 2026" in text
    assert "What was said and taken back?" in text and "rows in late.csv" in text


def test_every_signal_that_went_away_is_named_beside_a_live_one(shop: PaperShop) -> None:
    live = off("bore_taper")
    gone = (
        signal(live.process, status="back", serial="S140", cleared_on=date(2026, 3, 1)),
        signal(live.process, status="cleared", serial="S120", cure=event(), cleared_on=date(2026, 3, 8)),
    )
    for signals in (live.signals + gone, gone):
        shop.rows = [
            replace(live, signals=signals, state=State.GOING_OFF if len(signals) > 2 else State.HOLDING)
        ]
        text = html_of(shop, "/").lower()
        assert ">back by itself: what was done?</b>" in text
        assert ">cleared after service on 7 mar 2026</b>" in text
        assert text.count("earlier: ") == (2 if len(signals) > 2 else 0)


def test_each_state_has_a_word_a_shape_and_a_colour_of_its_own() -> None:
    assert set(LOOKS) == set(State)
    looks = list(LOOKS.values())
    for facts in ([k.word for k in looks], [k.shape for k in looks], [k.colour for k in looks]):
        assert len(set(facts)) == len(looks)


def test_an_empty_shop_says_what_to_do(shop: PaperShop) -> None:
    shop.rows = []
    assert "Drop the first files" in html_of(shop, "/")


def test_the_wall_shows_the_worst_few_and_counts_the_rest(shop: PaperShop) -> None:
    shop.rows = [
        replace(off("bore_taper"), process=f"M{i}/hone/f{k}", machine=f"M{i}", machine_name=f"hone M{i}")
        for k, i in enumerate((0, 1, 0, 2, 3))
    ] + [row("height")]
    text = html_of(shop, "/wall")
    assert re.findall(r"hone M(\d) <span>", text) == ["0", "1", "2"], "one of each machine, the worst of it"
    assert text.count('class="process"') == 3
    assert "and 2 more processes going off" in text
    assert "1 of 6 not going off" in text


def test_on_the_wall_what_to_do_stands_by_itself(shop: PaperShop) -> None:
    shop.rows = [off("bore_taper")]
    what, order = re.search(r"<p><span>(.*?)</span><b>(.*?)</b></p>", html_of(shop, "/wall")).groups()  # type: ignore[union-attr]
    assert order.startswith("Check the slide")
    assert "taper" in what and "slide" not in what and what.endswith(".")


@pytest.mark.parametrize(
    "path",
    ["/nowhere", "/process/NO/such/process", "/source/9/9", "/source/x/y", "/process/", "/part/S9/../.."],
)
def test_an_address_that_leads_nowhere_says_so(shop: PaperShop, path: str) -> None:
    text = html_of(shop, path)
    assert "There is no such page" in text or "is known" in text


def test_a_process_shows_its_signals_forms_and_limits(shop: PaperShop) -> None:
    text = html_of(shop, PROCESS)
    for fact in ("Close it with a cause", "Note it on HONE", "Set it aside", "dressed", "changed", "checked",
                 "Closed by CD, fixed: slide", "Withdrawn: rows in late.csv", "readings were rounded coarsely",
                 "unverified", "qualified sign-off"):  # fmt: skip
        assert fact in text, fact
    kinds = re.findall(r'name="kind" value="([a-z_]+)"', text)
    assert kinds == ["stones_new", "stones_dress", "looked"]


def test_another_machine_is_not_offered_the_stones_of_the_hone(shop: PaperShop) -> None:
    kinds = re.findall(r'name="kind" value="([a-z_]+)"', html_of(shop, "/process/LINE/line_hone/main_size"))
    assert kinds == ["looked"]


def test_a_part_shows_readings_limits_and_the_way_to_the_line(shop: PaperShop) -> None:
    text = html_of(shop, "/part/S111")
    assert 'href="/source/1/7"' in text
    assert "3.15004 in" in text and "above the limit" in text
    assert "earlier reading, a later one counts" in text
    assert "qualified sign-off" in text


def test_intake_adds_up_and_names_reason_and_remedy(shop: PaperShop) -> None:
    text = html_of(shop, "/intake")
    assert "2 files, 15 lines: 6 stored, 1 partly, 1 already known, 6 set aside, 1 blank or heading." in text
    assert "no layout fits" in text and "Add a layout." in text and "It probably means S101." in text
    assert "Mend it, or release the row." in text
    assert "Mend it" not in html_of(shop, "/intake?receipt=2")
    assert "Mend it" not in html_of(shop, "/intake?kind=no_layout")
    assert "Mend it" in html_of(shop, "/intake?kind=bad_number")


def test_a_row_in_doubt_is_decided_on_and_an_oddity_leads_to_its_line(shop: PaperShop) -> None:
    text = html_of(shop, "/intake")
    assert text.count('data-act="judge_rows"') == 3, "two rows and a question"
    assert text.count("It is right as it stands") == 1, "what looks odd is answered where it is asked"
    assert text.count('data-act="fix_row"') == 1, "a line that was never stored is written anew"
    assert text.count('data-act="correct_rows"') == 1, "what is stored is corrected"
    assert text.count("It is right: use it") == 1, "only what can be read is used as it stands"
    one_file = html_of(shop, "/intake?receipt=1")
    assert "All of it is wrong: reject it" in one_file
    assert "For all 1 row set aside" in one_file and "Put it right in the whole file" in one_file
    assert "an hour behind" in text and 'href="/source/1/3"' in text


def test_the_log_marks_what_was_undone_and_offers_undo_for_the_rest(shop: PaperShop) -> None:
    text = html_of(shop, "/log")
    assert "<del>" in text
    assert text.count('data-act="undo"') == 1 and 'value="12"' in text
    assert "signal closed" not in html_of(shop, "/log?kind=event")


def test_the_chart_carries_every_part_and_what_was_done() -> None:
    process = view(off("bore_peak", direction=-1, size=-0.3))
    chart = part_chart(process, {"FOUR": "four"})
    points = [trace for trace in chart["data"] if "customdata" in trace]
    drawn = sorted(key for trace in points for key in trace["customdata"])
    assert drawn == sorted(f"S{100 + i}/1" for i in range(60))
    by_name = {trace["name"]: trace["customdata"] for trace in points}
    assert by_name["four (in a signal)"] == ["S150/1"] and by_name["four (set aside)"] == ["S120/1"]
    values = numpy.frombuffer(base64.b64decode(points[0]["y"]["bdata"]), dtype="<f4")
    assert values[0] == pytest.approx(0.2), "exp of the logarithm that the shop keeps"
    assert {note["text"] for note in chart["layout"]["annotations"]} == {"service", "set 8"}
    recent = part_chart(process, {}, last=20)
    assert sum(len(t["customdata"]) for t in recent["data"] if "customdata" in t) == 20
    assert len(json.dumps(recent)) < len(json.dumps(chart))


def test_a_watch_has_one_line_because_only_more_is_a_signal() -> None:
    process = view(off("bore_peak", direction=-1, size=-0.3))
    chart = monitor_chart(process, process.monitors[0])
    assert min(process.monitors[0].statistic) < 0
    lines = [numpy.frombuffer(base64.b64decode(t["y"]["bdata"]), dtype="<f4") for t in chart["data"]]
    assert len(lines) == 2 and (lines[1] == 3.0).all()


@pytest.mark.parametrize("limits", [(None, None), (None, 90.0), (10.0, 90.0)])
def test_readings_are_drawn_between_the_limits_in_the_unit_people_see(
    limits: tuple[float | None, float | None],
) -> None:
    edges = numpy.array([25.4, 50.8, 76.2])
    classes = Histogram(edges, numpy.array([3, 4]), numpy.zeros(0), numpy.zeros(0))
    process = view(off("bore_taper"))
    chart = readings_chart(process, classes, limits)
    bars = chart["data"][0]
    assert bars["x"] == pytest.approx([1.5, 2.5]) and bars["y"] == [3, 4], "thou of 25.4 um"
    drawn = [shape["x0"] * 25.4 for shape in chart["layout"]["shapes"]]
    assert drawn == pytest.approx([limit for limit in limits if limit is not None])
    low, high = chart["layout"]["xaxis"]["range"]
    assert all(low < limit / 25.4 < high for limit in limits if limit is not None)


def test_a_gauge_has_checks_and_no_blocks(shop: PaperShop) -> None:
    ring = off("ring_size")
    shop.rows = [replace(ring, is_gauge=True)]
    text = html_of(shop, f"/process/{ring.process}")
    assert "Where does each check stand?" in text and "each block" not in text


def test_charts_send_nothing_anywhere() -> None:
    assert CONFIG["showSendToCloud"] is False
    assert CONFIG["plotlyServerURL"] == ""


def test_the_frame_asks_for_no_foreign_address(shop: PaperShop) -> None:
    app = create_app(Desk(shop), port=8400, token="t")  # type: ignore[arg-type]
    client = app.server.test_client()
    index = client.get("/", base_url="http://127.0.0.1:8400").get_data(as_text=True)
    assert '<html lang="en">' in index
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', index)


def callback(
    app: Any, output: str, inputs: list[dict[str, Any]], state: list[dict[str, Any]] | None = None
) -> Any:
    """Ask the application as a browser would."""
    parts = output.strip(".").split("...")
    outputs = [dict(zip(("id", "property"), part.rsplit(".", 1), strict=True)) for part in parts]
    body = {
        "output": output, "outputs": outputs if len(parts) > 1 else outputs[0], "inputs": inputs,
        "changedPropIds": [f"{i['id']}.{i['property']}" for i in inputs], "state": state or [],
    }  # fmt: skip
    answer = app.server.test_client().post(
        "/_dash-update-component", json=body, base_url="http://127.0.0.1:8400"
    )
    assert answer.status_code == 200, answer.get_data(as_text=True)[:300]
    return answer.get_json()["response"]


def test_a_touched_point_leads_to_its_readings_and_their_file(shop: PaperShop) -> None:
    app = create_app(Desk(shop), port=8400, token="t")  # type: ignore[arg-type]
    click = {"points": [{"customdata": "S111/1"}]}
    state = [{"id": "process-id", "property": "data", "value": "HONE/finish_hone/bore_peak"}]
    told = callback(
        app, "chosen-part.data-made", [{"id": "parts-chart", "property": "clickData", "value": click}], state
    )
    text = told["chosen-part"]["data-made"]
    assert 'href="/source/1/7"' in text
    assert 'href="/part/S111"' in text


def test_the_list_refreshes_as_one_piece_of_markup(shop: PaperShop) -> None:
    app = create_app(Desk(shop), port=8400, token="t")  # type: ignore[arg-type]
    told = callback(app, "board.data-made", [{"id": "board-tick", "property": "n_intervals", "value": 1}])
    assert "What is going off?" in told["board"]["data-made"]


@given(st.text(), st.text())
def test_markup_escapes_everything_it_is_given(text: str, attribute: str) -> None:
    made = str(tag("p", text, title=attribute))
    inner = made.removeprefix('<p title="').removesuffix("</p>")
    assert inner.count("<") == 0
    assert inner.count('"') == 1


def test_markup_keeps_markup_and_leaves_out_what_is_not_there() -> None:
    assert join([None, False, tag("b", "x"), ["y", 1]]) == "<b>x</b>y1"
    assert tag("input", disabled=True, hidden=False, value=None) == "<input disabled>"
    assert "Nothing" in table(("a",), [], empty="Nothing")


@pytest.mark.parametrize("values", [(), (1.0,), (1.0, 1.0), (float("nan"), 2.0), (-1.0, 0.5)])
def test_a_small_picture_can_always_be_drawn(values: tuple[float, ...]) -> None:
    picture = sparkline(values, (0.0, 1.0), label="x", marked=1, log=-1.0 in values)
    assert picture.startswith("<svg") and picture.endswith("</svg>")
    assert "nan" not in picture and "inf" not in picture


def test_a_row_that_changed_is_drawn_anew_and_the_others_are_kept(shop: PaperShop) -> None:
    desk = Desk(shop)  # type: ignore[arg-type]
    first = board.drawn(desk)
    before, after = shop.rows[0], replace(shop.rows[0], recent=(1.0, 2.0, 3.0))
    shop.rows = [after, *shop.rows[1:]]
    desk.forget()
    again = board.drawn(desk)
    assert again == board.drawn(Desk(shop))  # type: ignore[arg-type]
    assert again != first
    shop.rows = [before, *shop.rows[1:]]
    desk.forget()
    assert board.drawn(desk) == first


def test_ages_on_the_list_move_with_the_clock(shop: PaperShop, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = Desk(shop)  # type: ignore[arg-type]
    first = board.drawn(desk)
    later = shop.now() + timedelta(days=3)
    monkeypatch.setattr(shop, "now", lambda: later)
    assert board.drawn(desk) == board.drawn(Desk(shop)) != first  # type: ignore[arg-type]


def test_what_is_kept_of_a_view_goes_with_it() -> None:
    found = view(off())
    kept = columns(found)
    assert columns(found) is kept
    assert columns(replace(found)) is not kept
    gone = weakref.ref(kept)
    del found, kept
    gc.collect()
    assert gone() is None


def test_a_point_says_its_part_and_the_chart_its_value_and_family() -> None:
    found = view(off())
    told = replace(found.parts[-1], pass_no=2, aside="dropped", wear=12.0, tool="set 7", n=1)
    chart = part_chart(replace(found, parts=(*found.parts[:-1], told)), {})
    (text,) = [text for trace in chart["data"] for text in trace.get("text", ()) if "pass 2" in text]
    serial, when, readings, wear, aside = text.split("<br>")
    assert serial == f"{told.serial}, pass 2"
    assert when == moment(told.time)
    assert (readings, wear, aside) == ("1 reading", "set 7, 12 uses before", "set aside: dropped")
    templates = {trace["hovertemplate"] for trace in chart["data"] if "text" in trace}
    assert all("%{y" in template and "%{fullData.name}" in template for template in templates)
