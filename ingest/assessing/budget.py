"""How often chance may raise an alarm: the shop's budget, shared over all monitors.

Every monitor gets the same in-control run length, counted in its own scores. A month's run length follows the
pace of the calendar month before it (by when parts were made, not when they became known), so that no later
fact changes how an earlier part was judged unless it belongs to the month before.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.plans.calendar import DAYS_A_MONTH, Calendar
from ingest.plans.model import Plan
from ingest.plans.positions import slots

KNOWN_DAYS = 30
SHORTEST = 20.0
"""Run length below which no monitor is set, however slow the shop: it would alarm on ordinary parts."""
LONGEST_DAYS = 36525.0
"""Longest chance interval that is told, a hundred years: nobody can tell a thousand from ten thousand."""

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Pace:
    """Scores of all monitors together, month by month.

    Attributes
    ----------
    by_month : dict of int to float
        Scores a month that the budget of a month rests on, by month number (12 * year + month - 1).
    planned : float
        Scores a month by the plan alone; for months without a fact before them.
    false_alarms : float
        Allowed a month in the whole shop.
    """

    by_month: Mapping[int, float]
    planned: float
    false_alarms: float

    def scores(self, month: int) -> float:
        """Scores a month that judge a part of this month."""
        return self.by_month.get(month, self.planned)

    def run_length(self, days: Ints) -> NDArray[np.float64]:
        """Run length, in scores of one monitor, granted to parts made on these local days (since 1970)."""
        months = month_of(days)
        distinct, index = np.unique(months, return_inverse=True)
        granted = np.array([self.scores(int(m)) / self.false_alarms for m in distinct])
        return np.maximum(granted, SHORTEST)[index]

    def chance_days(self, run_length: float, month: int) -> float | None:
        """Days between chance findings this strong somewhere in the shop; a hundred years stand for more."""
        days = DAYS_A_MONTH * run_length / self.scores(month)
        return round(min(days, LONGEST_DAYS), 1) if not np.isnan(days) else None


def month_of(days: Ints) -> Ints:
    """Month number (12 * year + month - 1) of days since 1970-01-01."""
    return np.asarray(days, dtype="datetime64[D]").astype("datetime64[M]").astype(np.int64) + 12 * 1970


def monitors_of(positions: int, strata: int) -> int:
    """Monitors that score every part: level, scatter, and one per stratum of several positions."""
    return 2 + (strata + 1 if positions > 1 else 0)


def planned_scores(plan: Plan) -> float:
    """Scores a month when every part that the plan expects passes every operation once."""
    total = 0
    for key, feature in plan.features.items():
        if feature.monitor and feature.kind != "check":
            own = slots(plan, key)
            total += monitors_of(len(own.positions), len(own.strata))
    return max(1.0, plan.shop.parts_per_month * total)


def pace(plan: Plan, calendar: Calendar, made: Sequence[tuple[Ints, int]]) -> Pace:
    """Pace of the shop from the parts it made.

    Parameters
    ----------
    plan : Plan
    calendar : Calendar
    made : sequence of (days, monitors)
        Per process the local day of each judged part (since 1970) and the number of its monitors.

    Returns
    -------
    Pace
        A month rests on the scores a working day of the month before it, times its own working days, once 30
        days are known at its start; on the plan until then, and after a month without parts.
    """
    planned = planned_scores(plan)
    counts: dict[int, float] = {}
    first: int | None = None
    for days, monitors in made:
        if not len(days):
            continue
        start = int(days.min())
        first = start if first is None else min(first, start)
        months, number = np.unique(month_of(days), return_counts=True)
        for month, n in zip(months, number, strict=True):
            counts[int(month)] = counts.get(int(month), 0.0) + float(n) * monitors
    by_month: dict[int, float] = {}
    for month, scores in counts.items():
        following = month + 1
        begins = int(
            (np.datetime64("1970-01", "M") + (following - 12 * 1970)).astype("datetime64[D]").astype(int)
        )
        worked = calendar.working_days_in_month(*divmod_month(month))
        ahead = calendar.working_days_in_month(*divmod_month(following))
        if first is not None and begins - first >= KNOWN_DAYS and worked > 0 and ahead > 0:
            by_month[following] = scores / worked * ahead
    return Pace(by_month, planned, plan.shop.false_alarms_per_month)


def divmod_month(month: int) -> tuple[int, int]:
    """Year and month (1-12) of a month number."""
    return month // 12, month % 12 + 1
