"""The days the shop works, and how warm it is."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

FIRST_DAY = date(2024, 9, 2)
LAST_DAY = date(2025, 10, 31)
CLOSED = ((date(2024, 12, 23), date(2025, 1, 3)), (date(2025, 8, 4), date(2025, 8, 8)))
ZONE = ZoneInfo("Europe/London")
OPENING_HOUR = 7


def working_days() -> list[date]:
    """Every day the shop is open, Monday to Friday, in order."""
    days = (FIRST_DAY + timedelta(n) for n in range((LAST_DAY - FIRST_DAY).days + 1))
    return [day for day in days if day.weekday() < 5 and not any(a <= day <= b for a, b in CLOSED)]


def fraction(day: date, start: date, end: date) -> float:
    """How far a day lies between two dates: 0 before `start`, 1 after `end`, straight between."""
    return float(np.clip((day - start).days / (end - start).days, 0.0, 1.0))


def at(day: date, minutes: float) -> datetime:
    """The wall-clock moment so many minutes after opening, to the second."""
    opening = datetime.combine(day, time(OPENING_HOUR))  # gauges write local time without a zone
    return opening + timedelta(seconds=round(60.0 * minutes))


def shop_temperature(moment: datetime, noise: float | NDArray[np.float64]) -> float:
    """Air temperature in the shop: a season, a rise over the day, and a little chance. [degC]

    Parameters
    ----------
    moment : datetime
        Local time.
    noise : float
        A standard normal number.
    """
    season = 4.5 * np.sin(2 * np.pi * (moment.timetuple().tm_yday - 110) / 365)
    hour = moment.hour + moment.minute / 60
    return float(20.5 + season + 1.2 * (hour - 11) / 5 + 0.5 * noise)
