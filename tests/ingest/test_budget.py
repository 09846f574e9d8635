"""The false-alarm budget depends on facts and plan only, and on nothing that came later."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.assessing.budget import month_of, pace, planned_scores
from ingest.plans.calendar import calendar_of
from tests.ingest.small_shop import small_plan

PLAN = small_plan()
CALENDAR = calendar_of(PLAN)


def days(*texts: str) -> np.ndarray:
    return np.array(texts, dtype="datetime64[D]").astype(np.int64)


def every_working_day(first: str, last: str, a_day: int = 3) -> np.ndarray:
    span = np.arange(np.datetime64(first), np.datetime64(last) + 1)
    return np.repeat(span[np.is_busday(span)].astype(np.int64), a_day)


def test_plan_pace_counts_every_monitor_of_every_watched_feature() -> None:
    # size: level, scatter, two strata; taper: + one; height: + one; cycle: level, scatter; range is not watched
    assert planned_scores(PLAN) == 100 * (4 + 3 + 3 + 2)


def test_until_thirty_days_are_known_the_plan_counts_then_the_month_before() -> None:
    made = every_working_day("2025-03-10", "2025-06-30")
    shared = pace(PLAN, CALENDAR, [(made, 4)])
    march, april, may, june = month_of(days("2025-03-20", "2025-04-20", "2025-05-20", "2025-06-20"))
    assert shared.scores(int(march)) == planned_scores(PLAN)
    assert shared.scores(int(april)) == planned_scores(PLAN)  # 22 days were known on 1 April
    # 22 working days in April at 12 scores a day, taken over the 22 working days of May
    assert shared.scores(int(may)) == pytest.approx(12 * 22)
    assert shared.scores(int(june)) == pytest.approx(12 * 21)


def test_half_the_false_alarms_need_twice_the_run_length() -> None:
    made = every_working_day("2025-01-06", "2025-03-31", 30)
    one = pace(PLAN, CALENDAR, [(made, 4)])
    fewer = PLAN.model_copy(update={"shop": PLAN.shop.model_copy(update={"false_alarms_per_month": 0.5})})
    half = pace(fewer, CALENDAR, [(made, 4)])
    at = days("2025-03-20")
    assert half.run_length(at)[0] == pytest.approx(2 * one.run_length(at)[0])


def test_chance_interval_of_the_granted_run_length_is_a_month() -> None:
    made = every_working_day("2025-01-06", "2025-03-31", 30)
    shared = pace(PLAN, CALENDAR, [(made, 4)])
    at = days("2025-03-20")
    granted = float(shared.run_length(at)[0])
    assert shared.chance_days(granted, int(month_of(at)[0])) == pytest.approx(30.4, abs=0.1)
    assert shared.chance_days(1e12, int(month_of(at)[0])) == 36525.0


@given(st.lists(st.integers(0, 40), min_size=1, max_size=40), st.integers(1, 5))
def test_later_months_never_change_what_an_earlier_month_was_granted(extra: list[int], monitors: int) -> None:
    made = every_working_day("2025-01-06", "2025-03-31")
    later = days("2025-04-01") + np.array(extra)
    alone = pace(PLAN, CALENDAR, [(made, 4)])
    both = pace(PLAN, CALENDAR, [(made, 4), (later, monitors)])
    assert np.array_equal(alone.run_length(made), both.run_length(made))


def test_a_month_after_a_stop_falls_back_on_the_plan() -> None:
    made = np.concatenate(
        [every_working_day("2025-01-06", "2025-02-28"), every_working_day("2025-04-01", "2025-04-30")]
    )
    shared = pace(PLAN, CALENDAR, [(made, 4)])
    assert shared.scores(int(month_of(days("2025-04-10"))[0])) == planned_scores(PLAN)
