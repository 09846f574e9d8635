"""The shop's working calendar: which days count, when a day ends, how long a usual gap is."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

    from ingest.plans.model import Plan

DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
GAPS_LOOKED_AT = 50
DAYS_A_MONTH = 30.4
"""Mean length of a month in days (365 / 12, rounded), wherever a rate a month becomes an interval in days."""


@dataclass(frozen=True)
class Calendar:
    """Working days of the shop in its own zone.

    Parameters
    ----------
    zone : ZoneInfo
        The shop's time zone.
    weekdays : tuple of int
        Working days of the week, Monday = 0.
    closed : tuple of (date, date)
        Closures, both days counted.
    """

    zone: ZoneInfo
    weekdays: tuple[int, ...]
    closed: tuple[tuple[date, date], ...] = ()

    @classmethod
    def of(cls, zone: str, days: Iterable[str], closed: Iterable[tuple[date, date]]) -> Calendar:
        """Make a calendar from the plan's words ("Mon" ... "Sun")."""
        return cls(ZoneInfo(zone), tuple(DAY_NAMES.index(d) for d in days), tuple(closed))

    @cached_property
    def _week_mask(self) -> list[bool]:
        return [i in self.weekdays for i in range(7)] if self.weekdays else [True] * 7

    @cached_property
    def _holidays(self) -> NDArray[np.datetime64]:
        days = [a + timedelta(days=i) for a, b in self.closed for i in range((b - a).days + 1)]
        return np.array(sorted(set(days)), dtype="datetime64[D]")

    def working_days_between(self, first: date, last: date) -> int:
        """Working days after `first`, up to and including `last`; 0 when `last` is not later."""
        if last <= first:
            return 0
        one = np.timedelta64(1, "D")
        return int(
            np.busday_count(
                np.datetime64(first) + one,
                np.datetime64(last) + one,
                weekmask=self._week_mask,
                holidays=self._holidays,
            )
        )

    def working_days_in_month(self, year: int, month: int) -> int:
        """Working days of a calendar month."""
        start = np.datetime64(f"{year:04d}-{month:02d}", "M")
        return int(
            np.busday_count(
                start.astype("datetime64[D]"),
                (start + 1).astype("datetime64[D]"),
                weekmask=self._week_mask,
                holidays=self._holidays,
            )
        )

    def end_of_day(self, day: date) -> datetime:
        """Last representable instant of a day in the shop's zone, as an aware datetime."""
        following = datetime.combine(day + timedelta(days=1), time(0), tzinfo=self.zone)
        return (following.astimezone(UTC) - timedelta(microseconds=1)).astimezone(self.zone)

    def local(self, instant: datetime) -> datetime:
        """An instant in the shop's zone; a naive one is taken as UTC, as the store keeps it."""
        aware = instant if instant.tzinfo is not None else instant.replace(tzinfo=UTC)
        return aware.astimezone(self.zone)

    def usual_gap(self, days: Sequence[date]) -> float | None:
        """Median working days from one day with parts to the next, over the last 50; never under one day.

        None with fewer than two such days. Common practice, no source: the median, so that a holiday week or
        one long repair does not stretch what counts as usual.
        """
        distinct = sorted(set(days))[-GAPS_LOOKED_AT - 1 :]
        if len(distinct) < 2:
            return None
        gaps = [self.working_days_between(a, b) for a, b in itertools.pairwise(distinct)]
        return max(1.0, float(np.median(gaps)))


def microseconds(instant: pd.Timestamp) -> int:
    """A naive UTC instant as microseconds since 1970-01-01."""
    return int(instant.to_datetime64().astype("datetime64[us]").astype(np.int64))


def instant_of(since_1970: int) -> datetime:
    """The inverse of `microseconds`, as an aware datetime."""
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=since_1970)


def calendar_of(plan: Plan) -> Calendar:
    """The working calendar of a plan."""
    shop = plan.shop
    return Calendar.of(shop.time_zone, shop.working_days, [(c.from_, c.to) for c in shop.closed])
