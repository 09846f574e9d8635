"""The gauges: how finely they read, how well they repeat, and the rings they are checked on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sample_data.calendar import working_days
from sample_data.stories import Stories
from sample_data.streams import Streams

THOU = 25.4  # µm
DAILY_SETTING_SD = 0.8  # µm, MG1 is set to a micrometer every morning
CHECK_SD = 0.6  # µm, one reading of a ring


@dataclass(frozen=True)
class Gauge:
    """One gauge; lengths in µm."""

    resolution: float
    repeat_sd: float

    @property
    def noise_sd(self) -> float:
        """Scatter before rounding: the repeat spread includes what rounding to the scale adds."""
        return float(np.sqrt(max(self.repeat_sd**2 - self.resolution**2 / 12.0, 0.0)))

    def read(self, values: ArrayLike) -> NDArray[np.float64]:
        """The nearest mark of the scale; + 0.0 turns a rounded -0.0 into 0.0."""
        return np.round(np.asarray(values, dtype=float) / self.resolution) * self.resolution + 0.0


GAUGES = {
    "BG1": Gauge(0.1 * THOU, 0.9),
    "BG2": Gauge(0.1 * THOU, 0.9),
    "BG3": Gauge(0.05 * THOU, 0.6),
    "MG1": Gauge(0.1 * THOU, 0.9),
    "TP1": Gauge(1.0, 1.2),
    "HG1": Gauge(1.0, 2.0),
}
BORE_GAUGE_OF = {"A.K.": "BG1", "D.W.": "BG1", "M.R.": "BG2", "J.T.": "BG2"}
CHECK_RING = {"BG1": ("R-2", 83.280), "BG2": ("R-2", 83.280), "BG3": ("R-2", 83.280), "MG1": ("R-1", 63.780)}


@dataclass(frozen=True)
class RingCheck:
    """Two readings of one ring, as deviations from its size. [µm]"""

    day: date
    gauge: str
    ring: str
    ring_mm: float
    readings: tuple[float, float]


class DailySetting:
    """How far off MG1 was set each morning. [µm]"""

    def __init__(self, streams: Streams) -> None:
        days = working_days()
        errors = DAILY_SETTING_SD * streams.normal("main gauge setting", len(days))
        self._error = dict(zip(days, errors.tolist(), strict=True))

    def on(self, day: date) -> float:
        """The error of that day's setting."""
        return self._error[day]


def ring_checks(streams: Streams, stories: Stories, setting: DailySetting) -> list[RingCheck]:
    """Bore gauges every Monday, the main bore gauge on the first Monday of a month."""
    days = [day for day in working_days() if day.weekday() == 0]
    noise = CHECK_SD * streams.normal("ring check", len(days), len(CHECK_RING), 2)
    checks = []
    for i, day in enumerate(days):
        for j, (gauge, (ring, size)) in enumerate(CHECK_RING.items()):
            if gauge == "MG1" and day.day > 7:
                continue
            bias = setting.on(day) if gauge == "MG1" else stories.gauge_drift(gauge, day)
            first, second = GAUGES[gauge].read(bias + noise[i, j]).tolist()
            checks.append(RingCheck(day, gauge, ring, size, (first, second)))
    return checks
