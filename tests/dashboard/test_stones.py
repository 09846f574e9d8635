"""What is said of a tool that wears, and the page that says it."""

import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from dashboard.desk import Desk
from dashboard.figures.wear import wear_chart
from dashboard.pages import stones
from dashboard.serving.web import resolve
from dashboard.words.left import about, left_text
from dashboard.words.sentences import reason
from dashboard.words.wear import advice, beside_text, faster_text, missed_text
from dashboard.work.backtest import backtest
from dashboard.work.status import as_records
from ingest.answers.processes import BoardRow, LeftFact
from ingest.answers.wear import BacktestView, CompanionFact, LifeTrace, LifeTried, WearView
from tests.dashboard.paper_shop import PaperShop, off, row

PEAK = "HONE/finish_hone/bore_peak"


def left(**other: Any) -> LeftFact:
    """A set that wears as usual, half way, with its limit out of sight."""
    given: dict[str, Any] = {
        "renewal": "finish stones", "unit": "bores", "tool": "Q-7", "since": date(2026, 3, 2),
        "began_with": "stones_new", "uses": 100.0, "usual": 190.0, "finished": 9, "taught": 8, "p10": None,
        "p50": None, "p90": None, "side": 0, "family": None, "limit": None, "reason": "far", "missing_parts": 0,
        "horizon": 280.0, "bent": 0.0, "bent_at": None, "faster_days": None,
    }  # fmt: skip
    return LeftFact(**given | other)


NEAR = left(p10=5.0, p50=14.0, p90=31.0, side=-1, family="FOUR", limit=0.12, reason="", faster_days=900.0)


class WearingShop(PaperShop):
    """A shop on paper whose hone wears its stones."""

    def __init__(self, now: LeftFact = NEAR) -> None:
        super().__init__()
        self.rows = [replace(off("bore_peak", direction=-1, size=-0.3), left=now), row("cycle", left=left())]

    def wear(self, process: str) -> WearView | None:
        if process != PEAK:
            return None
        old = LifeTrace(
            0, "Q-6", date(2026, 1, 5), "stones_new", "stones_new", 190.0, (0.0, 90.0), (0.25, 0.2), True
        )
        bad = replace(old, life=1, clean=False, ended_with="stones_dress")
        now = LifeTrace(
            2, "Q-7", date(2026, 3, 2), "stones_dress", None, 100.0, (0.0, 96.0), (0.24, 0.14), False
        )
        limits = (("FOUR", 0.12, 0.32),)
        return WearView(
            PEAK, "bore finish Rpk", "um", 2, True, NEAR, (old, bad, now), ((0.0, 0.25), (190.0, 0.2)), limits
        )

    def wear_backtest(self, process: str) -> BacktestView | None:
        if process != PEAK:
            return None
        held = LifeTried(0, "Q-6", 0.5, 95.0, (0.18, 0.2, 0.22), 0.21, True, (None, None, None), None, None)
        missed = replace(held, life=1, held=False, left=(20.0, 30.0, None), left_came=12.0, left_held=False)
        return BacktestView(process, "bores", (held, missed), 4, ((0.5, 1, 2, -0.03),), (0, 1))


def page(shop: PaperShop, path: str) -> str:
    _, body = resolve(Desk(shop), path, None)  # type: ignore[arg-type]
    return " ".join(str(getattr(piece, "data-made", "")) for piece in body)


@pytest.mark.parametrize(
    ("fact", "said"),
    [
        (left(p10=5.0, p50=14.0, p90=31.0, reason=""), "about 14 bores left (5 to 30)"),
        (left(p10=0.0, p50=3.0, p90=12.0, reason=""), "about 3 bores left, at most 12"),
        (left(p10=0.0, p50=0.0, p90=4.0, reason=""), "the limit is reached"),
        (left(p10=60.0, p50=120.0, reason=""), "about 120 bores left, at least 60"),
        (left(p10=60.0), "the limit may come in about 60 bores, more likely later than can be said"),
        (left(), "no limit within the next 300 bores"),
        (left(reason="no limit"), "the plan names no limit for it"),
        (left(reason="learning", taught=1, missing_parts=7),
         "still learning how it wears: 7 more blocks of this set, or 3 more finished sets without trouble, "
         "are missing"),
    ],
)  # fmt: skip
def test_what_is_left_is_said_with_its_range_or_why_not(fact: LeftFact, said: str) -> None:
    assert left_text(fact) == said
    for word in ("inf", "nan", "None", "-"):
        assert word not in left_text(fact)


def test_numbers_are_said_as_roughly_as_they_are_known() -> None:
    assert [about(n) for n in (0.0, 7.4, 23.0, 187.0, 640.0, 3140.0)] == [
        "0",
        "7",
        "25",
        "185",
        "650",
        "3100",
    ]


@pytest.mark.parametrize(
    ("fact", "word"),
    [
        (NEAR, "dress"),
        (replace(NEAR, began_with="stones_dress"), "change"),
        (left(), "nothing"),
        (left(uses=200.0), "dress"),
        (left(faster_days=400.0), "watch"),
        (left(faster_days=20.0), "nothing"),
        (left(p10=40.0, p50=60.0, p90=80.0, reason=""), "watch"),
        (left(p10=90.0, p50=150.0, p90=180.0, reason=""), "nothing"),
        (left(usual=None, reason="learning", missing_parts=3), "learning"),
    ],
)
def test_the_advice_is_one_word_with_its_reason(fact: LeftFact, word: str) -> None:
    renewal = PaperShop().plan.renewals[0]
    said = advice(renewal, [row("bore_peak", left=fact)])
    assert said.word == word
    assert said.why.endswith(".") and said.why[0].isupper()


def test_a_process_that_went_off_asks_for_its_tool_whatever_is_forecast() -> None:
    renewal = PaperShop().plan.renewals[0]
    said = advice(renewal, [replace(off("bore_peak"), left=left())])
    assert (said.word, said.why) == ("dress", "Bore finish Rpk went off with this set.")
    assert advice(renewal, []).word == "learning"


def test_faster_than_usual_is_a_message_of_its_own() -> None:
    assert faster_text(left(faster_days=900.0)).startswith("This set wears faster than the 8 before it")
    assert faster_text(left(faster_days=30.0)) == "" == faster_text(left())


def test_the_list_says_what_is_left_and_gives_it_to_programs() -> None:
    shop = WearingShop()
    assert "about 14 bores left (5 to 30)" in reason(shop.rows[0], shop.plan)
    # An order to renew the tool now and a limit far ahead would contradict one another in one sentence.
    far_off = WearingShop(replace(NEAR, p10=90.0, p50=178.0, p90=None))
    assert "178" not in reason(far_off.rows[0], shop.plan) and "180" not in reason(far_off.rows[0], shop.plan)
    near, far = as_records(shop.rows, shop.plan)
    assert near["parts_left"] == {"p10": 5, "p50": 14, "p90": 31} and near["unit"] == "bores"
    assert far["parts_left"] is None and far["unit"] is None


def test_the_page_says_what_to_do_with_every_tool() -> None:
    text = page(WearingShop(), "/stones")
    assert "Dress or change the finish stones before the next block" in text
    assert "about 14 bores left (5 to 30)" in text and "lower limit, 0.12 µm" in text
    assert "qualified sign-off" in text
    assert "Nothing has been measured" in page(PaperShop(), "/stones")


def test_the_page_of_one_feature_shows_how_good_earlier_forecasts_were() -> None:
    text = page(WearingShop(), f"/stones/{PEAK}")
    assert "1 of 2 sets ended where 8 of 10 should" in text and "3.0% below what was expected" in text
    assert "A limit was reached in 1 of these forecasts; 0 of them had it within their range." in text
    assert "had trouble: teaches the others nothing" in text
    assert "There is no such page" in page(WearingShop(), "/stones/HONE/finish_hone/bore_size")


def test_the_chart_lays_the_set_on_the_earlier_ones_and_marks_the_limit() -> None:
    view = WearingShop().wear(PEAK)
    assert view is not None
    chart = wear_chart(view, {"FOUR": "four"})
    names = [trace["name"] for trace in chart["data"]]
    assert names[:4] == [
        "earlier sets",
        "earlier sets that had trouble",
        "usual course",
        "Q-7, on the machine",
    ]
    assert names[4:] == ["limit reached (8 of 10)", "most likely"]
    assert [s["y0"] for s in chart["layout"]["shapes"]] == [0.12, 0.32]


def test_tools_come_in_order_of_how_pressing_they_are() -> None:
    desk = Desk(WearingShop())  # type: ignore[arg-type]
    (renewal, rows, said), *_ = stones.tools(desk)
    assert renewal.machine == "HONE" and said.rank == 0
    assert isinstance(stones.lead(rows), BoardRow) and stones.lead(rows).feature == "bore_peak"


def test_the_command_prints_what_came_as_it_came() -> None:
    said = backtest(WearingShop(), json_wanted=False)  # type: ignore[arg-type]
    assert said.code == 0
    assert "50% of the life done: held   1 of   2, off by -3.0 %" in said.out
    assert "a limit was reached in 1 of these forecasts, within its range in 0" in said.out
    told = json.loads(backtest(WearingShop(), json_wanted=True).out)  # type: ignore[arg-type]
    assert told[0]["coverage"] == [{"share": 0.5, "held": 1, "of": 2, "bias": -0.03}]
    assert told[0]["lives"][1]["left"] == {"p10": 20.0, "p50": 30.0, "p90": None}
    assert "no tool" in backtest(PaperShop(), json_wanted=False).out  # type: ignore[arg-type]


def test_a_set_that_looks_fresh_again_is_asked_about() -> None:
    assert missed_text(left()) == ""
    assert "At about 61 bores" in missed_text(left(renewed_at=61.2))
    shop = WearingShop(replace(NEAR, renewed_at=61.2))
    assert "was it dressed or changed and not logged?" in page(shop, "/stones")


def test_what_else_the_set_makes_bears_out_that_it_wears_faster_or_does_not() -> None:
    cycle = CompanionFact("H/h/cycle", "cycle time", "min", 1, False, 1.28, None, True, 8)
    scatter = CompanionFact("H/h/size", "cylinder size", "thou", 2, True, 1.05, None, False, 8)
    taper = CompanionFact("H/h/taper", "cylinder taper", "thou", 2, False, None, 5.08, True, 8)
    unknown = CompanionFact("H/h/round", "out-of-round", "thou", 2, False, None, None, False, 0)
    fast = left(faster_days=900.0)
    said = beside_text(fast, (cycle, scatter, taper, unknown))
    assert said.startswith("What else this set makes bears that out: cycle time is 1.28 times the usual")
    assert "cylinder taper is +0.20 thou from the usual" in said and "size" not in said
    assert "Nothing else this set makes bears that out yet: scatter of cylinder size" in beside_text(
        fast, (scatter,)
    )
    assert "something else this set makes moves" in beside_text(left(), (cycle,))
    assert "as in earlier sets" in beside_text(left(), (scatter,))
    # Of what nothing is known, nothing is said.
    assert beside_text(fast, (unknown,)) == "" and beside_text(fast, ()) == ""
