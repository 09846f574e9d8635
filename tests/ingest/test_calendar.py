"""Working days, the end of a day, and the usual gap."""

from datetime import UTC, date, datetime

from ingest.plans.calendar import Calendar

SHOP = Calendar.of(
    "Europe/London", ["Mon", "Tue", "Wed", "Thu", "Fri"], [(date(2024, 12, 23), date(2025, 1, 3))]
)


def test_weekend_and_closure_do_not_count() -> None:
    friday, monday = date(2024, 12, 20), date(2025, 1, 6)
    assert SHOP.working_days_between(friday, monday) == 1
    assert SHOP.working_days_between(date(2025, 1, 6), date(2025, 1, 13)) == 5


def test_nothing_lies_between_a_day_and_itself_or_an_earlier_one() -> None:
    day = date(2025, 1, 8)
    assert SHOP.working_days_between(day, day) == 0
    assert SHOP.working_days_between(day, date(2025, 1, 7)) == 0


def test_working_days_of_months() -> None:
    assert SHOP.working_days_in_month(2024, 12) == 15
    assert SHOP.working_days_in_month(2025, 1) == 20


def test_end_of_day_follows_summer_time() -> None:
    winter, summer = SHOP.end_of_day(date(2025, 1, 10)), SHOP.end_of_day(date(2025, 7, 10))
    assert winter.astimezone(UTC) == datetime(2025, 1, 10, 23, 59, 59, 999999, UTC)
    assert summer.astimezone(UTC) == datetime(2025, 7, 10, 22, 59, 59, 999999, UTC)
    # the day on which clocks go forward has 23 hours
    assert SHOP.end_of_day(date(2025, 3, 30)).astimezone(UTC) == datetime(
        2025, 3, 30, 22, 59, 59, 999999, UTC
    )


def test_usual_gap_is_the_median_and_at_least_a_day() -> None:
    daily = [date(2025, 1, d) for d in (6, 7, 8, 9, 10, 13, 14)]
    weekly = [date(2025, 1, 6), date(2025, 1, 13), date(2025, 1, 20), date(2025, 1, 27)]
    assert SHOP.usual_gap(daily) == 1.0
    assert SHOP.usual_gap([*daily, *daily]) == 1.0
    assert SHOP.usual_gap(weekly) == 5.0
    assert SHOP.usual_gap([date(2025, 1, 6)]) is None


def test_one_long_stop_does_not_stretch_the_usual_gap() -> None:
    days = [date(2025, 1, d) for d in (6, 7, 8, 9, 10)] + [date(2025, 3, d) for d in (3, 4, 5)]
    assert SHOP.usual_gap(days) == 1.0
