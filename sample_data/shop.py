"""What happens to the blocks: passes through the machines, tool changes, services.

Blocks go line hone, deck, finish hone, a day apart; a block that cannot be left
as it is comes back the next day for a second pass. Each stage is worked off day
by day, and what does not fit into a day waits for the next.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from sample_data.arrivals import Block, arrivals
from sample_data.calendar import working_days
from sample_data.cylinders import Cylinders
from sample_data.decks import Decks
from sample_data.finish import Finish, Trace
from sample_data.gauges import DailySetting, RingCheck, ring_checks
from sample_data.mains import Mains
from sample_data.stories import Stories
from sample_data.streams import Streams

PEOPLE = ("A.K.", "D.W.", "M.R.", "J.T.")
NOT_NOTICED = 0.12  # of the blocks that need a second pass leave without one


@dataclass(frozen=True)
class Event:
    """Something done to a machine, a tool or a gauge."""

    when: datetime
    target: str
    kind: str
    tool: str = ""
    note: str = ""
    cost: float | None = None
    down_hours: float | None = None


@dataclass(frozen=True)
class Pass:
    """One trip of a block through one operation, with everything that was measured after it."""

    block: Block
    operation: str
    machine: str
    number: int  # 0 is the first
    started: datetime
    ended: datetime
    tool: str
    operator: str
    deviation: NDArray[np.float64]  # size or height, before the scale of the gauge rounds it [µm]
    gauge: str
    block_c: float = 0.0
    cold: tuple[float, ...] = ()  # minutes of spindle time before each deck
    ra: NDArray[np.float64] | None = None
    rz: NDArray[np.float64] | None = None
    trace: Trace | None = None
    true_deviation: NDArray[np.float64] | None = None  # cylinders at 20 °C [µm]
    note: str = ""


@dataclass
class Shop:
    """The fourteen months of one seed."""

    seed: int
    stories: Stories
    streams: Streams = field(init=False)
    blocks: list[Block] = field(init=False)
    days: list[date] = field(init=False)
    passes: list[Pass] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    checks: list[RingCheck] = field(init=False)

    def __post_init__(self) -> None:
        self.streams = Streams(self.seed)
        self.days = working_days()
        self.blocks = arrivals(self.streams)
        n = len(self.blocks)
        self.setting = DailySetting(self.streams)
        self.checks = ring_checks(self.streams, self.stories, self.setting)
        self.mains = Mains.draw(self.streams, n)
        self.cylinders = Cylinders.draw(self.streams, n)
        self.decks = Decks.draw(self.streams, n)
        self.finish = Finish.draw(self.streams, n)
        self._operator = self.streams.uniform("operator", n, 3, 2)
        self._early = self.streams.uniform("early operator", n)
        self._noticed = self.streams.uniform("noticed", n, 3)
        self._start = self.streams.uniform("start", n, 3, 2)
        self.warmth = self.streams.normal("temperature", n, 2)
        self.warm_chance = self.streams.uniform("warm blocks", n)

    def operator(self, block: int, operation: int, number: int) -> str:
        """Who works on this pass, everybody alike."""
        return PEOPLE[int(len(PEOPLE) * self._operator[block, operation, number])]

    def early_operator(self, block: int) -> str | None:
        """Who opens the deck mill: M.R. on four mornings of five, else whoever is there."""
        return "M.R." if self._early[block] < 0.80 else None

    def comes_back(self, block: int, operation: int) -> bool:
        """Whether somebody notices that the block needs a second pass."""
        return bool(self._noticed[block, operation] >= NOT_NOTICED)

    def start_jitter(self, block: int, operation: int, number: int) -> float:
        """Where in its slot of the day a pass starts, 0 to 1."""
        return float(self._start[block, operation, number])


Waiting = tuple[Block, int]  # a block and the number of its pass
Work = Callable[[date, list[Waiting]], Iterable[tuple[Block, int, bool]]]


def work_off(
    days: list[date],
    first: dict[int, list[Waiting]],
    capacity: Callable[[date, list[Waiting]], int],
    work: Work,
) -> dict[int, list[Block]]:
    """Work off one machine's queue day by day.

    Parameters
    ----------
    days : list of date
        Working days.
    first : dict
        Blocks that reach the machine on each day (by its number).
    capacity : callable
        How many of the waiting passes fit into a day.
    work : callable
        Does the day's passes; yields block, pass number and whether it must come back.

    Returns
    -------
    done : dict
        Blocks that leave for the next operation, by the number of the day after.
    """
    again: defaultdict[int, list[Waiting]] = defaultdict(list)
    left: list[Waiting] = []
    leaving: defaultdict[int, list[Block]] = defaultdict(list)
    for number, day in enumerate(days):
        waiting = left + first.get(number, []) + again.pop(number, [])
        room = capacity(day, waiting)
        today, left = waiting[:room], waiting[room:]
        for block, trip, back in work(day, today):
            if back and trip == 0:
                again[number + 1].append((block, 1))
            else:
                leaving[number + 1].append(block)
    return dict(leaving)
