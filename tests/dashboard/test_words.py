"""Every row of the board says in one sentence what a machinist needs, and says it without statistics."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from datetime import date

import pytest

from dashboard.words.amounts import day
from dashboard.words.sentences import cleared_text, machine_text, reason
from ingest.answers.processes import BeyondFact, BoardRow, State
from tests.dashboard.paper_shop import KEEP, NOW, PaperShop, board, event, off, out, row, signal

BANNED = (
    "sigma", "mean", "average", "standard deviation", "deviation", "score", "chart", "control limit", "p-value",
    "significan", "statistic", "variance", "outlier", "probab", "confidence", "percentile", "median",
    "distribution", "correlat", "hypothes", "estimate", "ewma", "monitor", "threshold", "capab", "nan", "none",
)  # fmt: skip
ORDERS = (
    "check", "look", "dress", "change", "set ", "measure", "keep an eye", "confirm", "say what was done",
    "nothing to do", "log", "make sure",
)  # fmt: skip
UNITS = {"thou": "thou", "um": "µm", "min": "min"}

MONITORS = ("level", "scatter", "spread within part", "tool life")
RISES = (1, -1)


def going_off(feature: str, monitor: str, direction: int, known: bool) -> BoardRow:
    size = {"level": 3.0 * direction, "tool life": 78.0}.get(monitor, 0.7 * direction)
    usual = 60.0 if monitor == "tool life" else 1.5
    if KEEP[feature][6] and monitor != "tool life":
        size, usual = 0.25 * direction, 0.06
    return off(
        feature,
        monitor=monitor,
        direction=direction,
        size=size if known else math.nan,
        part_sd=usual if known else math.nan,
        within="cylinder" if monitor == "spread within part" else None,
        wear=78.0 if monitor == "tool life" else None,
        wear_unit="bores" if monitor == "tool life" else None,
        log=KEEP[feature][6] and monitor != "tool life",
    )


def one_sentence(text: str) -> bool:
    """Ends with a full stop, and holds no other end of a sentence (a decimal point is none)."""
    return text.endswith(".") and not re.search(r"[.!?;](\s|$)", text[:-1])


def check(text: str, subject: BoardRow) -> None:
    assert one_sentence(text), text
    assert machine_text(subject) in text
    assert subject.feature_name in text
    assert not [word for word in BANNED if re.search(rf"\b{word}", text.lower())], text
    assert any(order in text for order in ORDERS), text


@pytest.mark.parametrize(
    ("feature", "monitor", "direction"),
    [(f, m, d) for f, m, d in itertools.product(KEEP, MONITORS, RISES) if (m, d) != ("tool life", -1)],
)
def test_a_signal_is_told_with_machine_feature_size_day_and_order(
    feature: str, monitor: str, direction: int
) -> None:
    subject = going_off(feature, monitor, direction, known=True)
    text = reason(subject, PaperShop().plan)
    check(text, subject)
    assert day(date(2026, 2, 27)) in text, "since about when"
    assert day(date(2026, 3, 4)) in text, "noticed when"
    unit = "bores" if monitor == "tool life" else UNITS[subject.display]
    assert re.search(rf"\d {unit}\b", text), f"the size of it, in {unit}: {text}"


@pytest.mark.parametrize(("feature", "monitor"), list(itertools.product(KEEP, MONITORS)))
def test_a_signal_of_unknown_size_is_still_one_plain_sentence(feature: str, monitor: str) -> None:
    subject = going_off(feature, monitor, 1, known=False)
    check(reason(subject, PaperShop().plan), subject)


@pytest.mark.parametrize("state", [s for s in State if s not in (State.OUT_OF_TOLERANCE, State.GOING_OFF)])
@pytest.mark.parametrize("feature", KEEP)
def test_every_other_state_has_its_sentence(feature: str, state: State) -> None:
    subject = row(feature, state=state, silent_days=9 if state is State.SILENT else 0)
    if state is State.GAUGE_IN_DOUBT:
        subject = (
            replace(board()[0], feature=feature)
            if feature == "ring_size"
            else replace(subject, doubt=board()[0].doubt)
        )
    text = reason(subject, PaperShop().plan)
    check(text, subject)
    assert re.search(r"\d (Jan|Feb|Mar) 2026", text), "since when"
    assert re.search(rf"\d {UNITS[subject.display]}\b", text), text


def test_a_block_out_of_tolerance_is_told_with_its_value_place_and_limit() -> None:
    text = reason(out(), PaperShop().plan)
    check(text, out())
    # 65.012 mm and 65.010 mm over 25.4, to the tenth of a tenth.
    assert "2.55953 in" in text and "2.55945 in" in text and "0.08 thou above" in text
    assert "S111" in text and "main 3 vertical" in text


def test_falling_finish_asks_for_the_stones_and_taper_for_the_slide() -> None:
    plan = PaperShop().plan
    assert "dress or change the finish stones" in reason(off("bore_peak", direction=-1, size=-0.3), plan)
    assert "check the slide and the stroke" in reason(off("bore_taper"), plan)


def test_an_old_tool_is_told_with_its_uses_and_what_was_usual() -> None:
    text = reason(going_off("bore_peak", "tool life", 1, known=True), PaperShop().plan)
    assert "78 bores" in text and "about 60 is usual" in text
    assert "log the change" in text


def test_the_uses_of_a_tool_are_told_alike_when_they_come_as_a_ratio() -> None:
    plain = going_off("bore_peak", "tool life", 1, known=True)
    as_ratio = replace(plain, signals=(replace(plain.signals[0], size=math.log(78 / 60), log=True),))
    as_number = replace(plain, signals=(replace(plain.signals[0], size=78.0, log=False),))
    assert reason(as_ratio, PaperShop().plan) == reason(as_number, PaperShop().plan)


def test_a_log_feature_is_told_from_what_to_what() -> None:
    # Stands at 0.20 now, fell by the factor exp(-0.3): it was 0.27.
    subject = replace(off("bore_peak", direction=-1, size=-0.3), recent=(0.2,) * 10)
    assert "0.07 µm (from about 0.27 to 0.20)" in reason(subject, PaperShop().plan)


def test_a_small_change_does_not_round_to_nothing() -> None:
    assert "by 0.004 thou" in reason(off("main_size", size=0.1), PaperShop().plan)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (signal(status="cleared", cure=event()), "cleared after service on 7 Mar 2026"),
        (signal(status="back"), "back by itself: what was done?"),
        (
            signal(status="withdrawn", withdrawn_by="late.csv"),
            "withdrawn: rows in late.csv arrived late and removed it",
        ),
        (signal(), "open"),
    ],
    ids=["cleared", "back", "withdrawn", "open"],
)  # fmt: skip
def test_how_a_signal_went_away_is_told(given: object, told: str) -> None:
    assert cleared_text(given) == told  # type: ignore[arg-type]


def test_a_cured_process_names_the_event_and_asks_to_confirm() -> None:
    cured = row("height", signals=(signal(status="cleared", cure=event(), cleared_on=NOW.date()),))
    text = reason(cured, PaperShop().plan)
    check(text, cured)
    assert "after service on 7 Mar 2026" in text and "confirm" in text


def test_a_process_that_came_back_by_itself_asks_what_was_done() -> None:
    back = row("height", signals=(signal(status="back"),))
    assert "came back by itself: say what was done" in reason(back, PaperShop().plan)


def test_what_came_back_while_its_own_readings_are_still_off_points_there() -> None:
    back = row("main_size", signals=(signal(status="back"),), beside="end mains against inner mains")
    text = reason(back, PaperShop().plan)
    check(text, back)
    assert (
        "while end mains against inner mains from the same readings is still off: look at that first" in text
    )


def test_a_process_without_a_reading_asks_for_the_first_block() -> None:
    subject = row("height", last_time=None, recent=(), band=None, state=State.LEARNING, scored=0)
    check(reason(subject, PaperShop().plan), subject)


BEYOND = BeyondFact("main_size", 7, 40, 0, 7, date(2026, 3, 8), -4.0)


def test_a_process_that_holds_but_made_parts_beyond_a_limit_never_has_nothing_to_do() -> None:
    wrong = row("main_size", beyond=BEYOND)
    text = reason(wrong, PaperShop().plan)
    check(text, wrong)
    assert "7 of the last 40 blocks were below the limit, the latest on 8 Mar 2026" in text
    assert "0.16 thou below the middle of the limits" in text and "set the machine back to the middle" in text
    assert "nothing to do" not in text


def test_parts_beyond_on_both_sides_are_a_matter_of_spread_not_of_setting() -> None:
    wide = row("main_size", beyond=replace(BEYOND, above=3, below=4))
    text = reason(wide, PaperShop().plan)
    check(text, wide)
    assert "outside the limits" in text and "differ more than the limits allow" in text
    assert "middle" not in text and "check the tool, the clamping and the gauge" in text


def test_one_part_beyond_is_told_as_one() -> None:
    one = row("main_size", beyond=replace(BEYOND, parts=1, below=1, offset=0.1))
    text = reason(one, PaperShop().plan)
    check(text, one)
    assert "1 of the last 40 blocks was below the limit, on 8 Mar 2026" in text


def test_parts_beyond_are_told_while_learning_and_after_a_cure_that_left_some() -> None:
    plan = PaperShop().plan
    assert "7 of the last 40" in reason(row("main_size", state=State.LEARNING, scored=4, beyond=BEYOND), plan)
    cured = signal(status="cleared", cure=event(), cleared_on=date(2026, 3, 7))
    assert "yet 7 of the last 40" in reason(row("main_size", signals=(cured,), beyond=BEYOND), plan)
    later = replace(cured, cleared_on=date(2026, 3, 9))
    assert "of the last 40" not in reason(row("main_size", signals=(later,), beyond=BEYOND), plan)


def test_no_target_is_named_where_the_plan_has_none() -> None:
    plan = PaperShop().plan
    assert "target" in reason(row("main_size"), plan)
    # No limits at all, and a difference: what was read, with its sign.
    taper = reason(row("bore_taper"), plan)
    assert "target" not in taper and re.search(r"the last one read [+\u2212]\d", taper)
    whole = reason(row("height", recent=(80_011.0,) * 5, band=(80_000.0, 80_020.0)), plan)
    assert "target" not in whole and "the last one read 80.011 mm" in whole
    assert "its master" in reason(row("ring_size"), plan)


def test_a_start_that_is_not_known_closely_is_told_as_a_range() -> None:
    subject = off(
        "bore_taper", change_from=date(2025, 6, 2), change_to=date(2026, 3, 1), changed=date(2025, 9, 9)
    )
    text = reason(subject, PaperShop().plan)
    check(text, subject)
    assert "since some day between 2 Jun 2025 and 1 Mar 2026 (noticed 4 Mar 2026)" in text
    assert "9 Sep" not in text


def test_a_tool_that_was_changed_late_is_told_with_all_its_uses_and_the_change() -> None:
    late = signal(
        "HONE/finish_hone/bore_peak", monitor="tool life", status="cleared", size=math.log(2.0), log=True,
        part_sd=60.0, wear=65.0, wear_unit="bores", cure=event("stones_new", "stones changed"),
    )  # fmt: skip
    text = reason(row("bore_peak", signals=(late,)), PaperShop().plan)
    check(text, row("bore_peak"))
    assert "120 bores" in text and "until stones changed on 7 Mar 2026" in text
