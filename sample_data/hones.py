"""The two cylinder hones: stone sets that glaze, a slide that wears, bores honed to a gauge."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np

from sample_data.arrivals import Block
from sample_data.calendar import at, shop_temperature
from sample_data.families import FAMILIES
from sample_data.finish import Trace
from sample_data.gauges import BORE_GAUGE_OF, GAUGES
from sample_data.shop import Event, Pass, Shop, Waiting, work_off
from sample_data.stories import (
    K27_AFTER_DRESS,
    K27_DRESSED_AT,
    K27_FITTED,
    K33_FITTED,
    SLIDE_SERVICE,
    WARM_BLOCK_C,
    WARM_SIZE_LOST,
)

FINISH_HONE = 2  # number of the operation
SETTING_UP, OPENS, CLOSES = 10.0, 12.0, 525.0  # minutes
SET_LIFE = 195
DIAMOND_HEAD = "D-04"


class StoneSets:
    """The conventional stone sets of HN1, one after another."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self._order = 0  # sets fitted so far; they get their names at the end
        self.bores = 0  # honed by this set
        self.since_dress: int | None = None
        self._phase = ""

    @property
    def used(self) -> int:
        """Bores since the stones were set or dressed."""
        return self.bores if self.since_dress is None else self.since_dress

    @property
    def name(self) -> str:
        """The sets of the stories have their names from the start, the others a running number."""
        return self._phase or f"set {self._order}"

    def _fit(self, day: date, minutes: float, note: str = "", phase: str = "") -> None:
        self._order += 1
        self.bores, self.since_dress, self._phase = 0, None, phase
        self._shop.events.append(Event(at(day, minutes), "HN1", "stone_new", self.name, note, 38, 0.3))

    def morning(self, day: date) -> None:
        """What is done to the stones before the first bore of a day."""
        if self._order == 0:
            self._fit(day, 3)
        elif day == K27_FITTED:
            self._fit(day, 3, "new box opened", "K-27")
        elif day == K33_FITTED:
            self._fit(day, 3, "last set had a chipped stone", "K-33")

    def before_block(self, day: date, minutes: float) -> None:
        """Change or dress between two blocks when it is due."""
        if self._phase == "K-27" and self._shop.stories.has("k27"):
            if self.since_dress is None and self.bores >= K27_DRESSED_AT:
                self.since_dress = 0
                note = "glazed, cutting slowly"
                self._shop.events.append(Event(at(day, minutes), "HN1", "stone_dress", "K-27", note, 0, 0.3))
            elif self.since_dress is not None and self.since_dress >= K27_AFTER_DRESS:
                self._fit(day, minutes, "K-27 glazed again")
        elif self.bores >= SET_LIFE:
            self._fit(day, minutes)

    def hone(self, bores: int) -> None:
        """Count bores."""
        self.bores += bores
        if self.since_dress is not None:
            self.since_dress += bores


def set_names(events: list[Event]) -> dict[str, str]:
    """Shop names of the sets that had only a running number.

    They are numbered back from K-27 and on from it; the set before K-33 is
    K-32, and numbers between that were never fitted are left out.
    """
    fitted = [
        e.tool for e in sorted(events, key=lambda e: e.when) if (e.target, e.kind) == ("HN1", "stone_new")
    ]
    first, last = fitted.index("K-27"), fitted.index("K-33")
    between = fitted[first + 1 : last]
    names = {tool: f"K-{27 - first + i:02d}" for i, tool in enumerate(fitted[:first])}
    names |= {tool: f"K-{28 + i:02d}" for i, tool in enumerate(between)}
    if between:
        names[between[-1]] = "K-32"
    return names


class Hone:
    """Runs blocks through one of the hones."""

    def __init__(self, shop: Shop, machine: str) -> None:
        self._shop, self._machine = shop, machine
        self._stones = StoneSets(shop) if machine == "HN1" else None
        self._diamond = 0

    def run(self, arriving: dict[int, list[Block]]) -> None:
        """Hone every block that comes to this machine."""
        shop = self._shop
        if self._stones is None:
            note = "diamond head fitted"
            shop.events.append(Event(at(shop.days[0], 3), "HN2", "stone_new", DIAMOND_HEAD, note, 890, 0.5))
            if shop.stories.has("slide"):
                note = "slide scraped and gibs renewed, invoice 6900, three days down"
                shop.events.append(Event(at(SLIDE_SERVICE[1], 500), "HN2", "service", "", note, 6900, 24))
        first = {day: [(b, 0) for b in blocks if b.hone == self._machine] for day, blocks in arriving.items()}
        work_off(shop.days, first, self._capacity, self._day)

    def _capacity(self, day: date, _waiting: list[Waiting]) -> int:
        if self._stones is not None:
            return 8
        down = self._shop.stories.has("slide") and SLIDE_SERVICE[0] <= day <= SLIDE_SERVICE[1]
        return 0 if down else 7

    def _day(self, day: date, today: list[Waiting]) -> Iterator[tuple[Block, int, bool]]:
        if self._stones is not None:
            self._stones.morning(day)
        slot = (CLOSES - OPENS) / max(len(today), 1)
        for place, (block, number) in enumerate(today):
            begins = OPENS + place * slot
            if self._stones is not None:
                self._stones.before_block(day, begins - 2.0)
            done = self._hone_block(block, number, day, begins, slot)
            self._shop.passes.append(done)
            family = FAMILIES[block.family]
            again = self._shop.cylinders.can_be_honed_again(GAUGES["BG1"].read(done.deviation), family)
            yield block, number, again and self._shop.comes_back(block.index, FINISH_HONE)

    def _cut(self, block: Block, number: int) -> tuple[Trace, np.ndarray, str]:
        """The trace, the factor on size spread and the name of the tool."""
        n = FAMILIES[block.family].cylinders
        finish = self._shop.finish
        stones = self._stones
        if stones is None:
            trace = finish.diamond(
                block.index, number, block.family, self._diamond + np.arange(n, dtype=float)
            )
            self._diamond += n
            return trace, np.ones(n), DIAMOND_HEAD
        dressed = stones.since_dress
        glaze = [
            self._shop.stories.glaze(stones.name, stones.bores + k, None if dressed is None else dressed + k)
            for k in range(n)
        ]
        trace = finish.stones(block.index, number, stones.used + np.arange(n, dtype=float), glaze)
        name = stones.name
        stones.hone(n)
        return trace, np.array([g.size_spread for g in glaze]), name

    def _hone_block(self, block: Block, number: int, day: date, begins: float, slot: float) -> Pass:
        shop, family = self._shop, FAMILIES[block.family]
        trace, spread, tool = self._cut(block, number)
        minutes = SETTING_UP + float(trace.minutes.sum()) + 4.0
        free = shop.start_jitter(block.index, FINISH_HONE, number) * max(slot - minutes, 0.0)
        started = at(day, begins + free)
        ended = started + timedelta(seconds=round(60 * minutes))
        operator = shop.operator(block.index, FINISH_HONE, number)
        gauge = BORE_GAUGE_OF[operator]
        shape = shop.cylinders.shape(
            block.index, number, family, shop.stories.taper(self._machine, day), spread
        )
        warm = shop.stories.measured_warm(block.family, day, ended.hour, shop.warm_chance[block.index])
        lost = WARM_SIZE_LOST if warm else 0.0
        return Pass(
            block,
            "finish_hone",
            self._machine,
            number,
            started,
            ended,
            tool,
            operator,
            shop.cylinders.readings(block.index, number, shape),
            gauge,
            block_c=WARM_BLOCK_C if warm else shop_temperature(ended, shop.warmth[block.index, 1]),
            trace=trace,
            true_deviation=shape - shop.stories.gauge_drift(gauge, day) - lost,
            note="honed again" if number else "",
        )
