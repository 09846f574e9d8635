"""The line hone: main bores, shoes that wear, and a service that cured nothing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta

from sample_data.arrivals import Block
from sample_data.calendar import at, shop_temperature
from sample_data.families import FAMILIES
from sample_data.gauges import GAUGES
from sample_data.shop import Event, Pass, Shop, Waiting, work_off
from sample_data.stories import LH1_SERVICE, SHOES_REPLACED

LINE_HONE = 0  # number of the operation
MINUTES, DAY_MINUTES, A_DAY = 35.0, 490.0, 11
HANDWORK = 0.4  # a second pass is stroked by hand: the ends open less


class LineHone:
    """Runs all blocks through LH1."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self._worn = 0

    def run(self) -> dict[int, list[Block]]:
        """Blocks that leave for the deck, by day number."""
        shop = self._shop
        if shop.stories.has("service"):
            note = "belt and bearing renewed, invoice 3100"
            shop.events.append(Event(at(LH1_SERVICE, 360), "LH1", "service", "", note, 3100, 6))
        if shop.stories.has("shoes"):
            note = "mandrel shoes replaced, parts 480"
            shop.events.append(Event(at(SHOES_REPLACED, 300), "LH1", "shoes", "", note, 480, 5))
        first: defaultdict[int, list[Waiting]] = defaultdict(list)
        for block in shop.blocks:
            first[block.arrived].append((block, 0))
        return work_off(shop.days, first, self._capacity, self._day)

    def _opens(self, day: date) -> float:
        """Minutes after opening at which the hone is free."""
        if day == LH1_SERVICE and self._shop.stories.has("service"):
            return 365.0
        if day == SHOES_REPLACED and self._shop.stories.has("shoes"):
            return 305.0
        return 12.0

    def _capacity(self, day: date, _waiting: list[Waiting]) -> int:
        return min(A_DAY, int((520.0 - self._opens(day)) // (MINUTES + 5)))

    def _day(self, day: date, today: list[Waiting]) -> Iterator[tuple[Block, int, bool]]:
        opens = self._opens(day)
        slot = (DAY_MINUTES + 30.0 - opens) / max(len(today), 1)
        for place, (block, number) in enumerate(today):
            free = self._shop.start_jitter(block.index, LINE_HONE, number) * max(slot - MINUTES, 0.0)
            done = self._hone(block, number, day, opens + place * slot + free)
            back = self._shop.mains.out_of_tolerance(
                GAUGES["MG1"].read(done.deviation), FAMILIES[block.family]
            )
            self._shop.passes.append(done)
            yield block, number, back and self._shop.comes_back(block.index, LINE_HONE)

    def _hone(self, block: Block, number: int, day: date, minutes: float) -> Pass:
        shop = self._shop
        ends = 0.0 if day >= SHOES_REPLACED else shop.stories.end_bores(self._worn)
        if number == 0 and shop.stories.shoes_wear_on(day):
            self._worn += 1
        if number > 0:
            ends *= HANDWORK
        deviation = shop.mains.readings(
            block.index, number, FAMILIES[block.family], ends, shop.setting.on(day)
        )
        started = at(day, minutes)
        ended = started + timedelta(minutes=MINUTES)
        return Pass(
            block,
            "line_hone",
            "LH1",
            number,
            started,
            ended,
            "",
            shop.operator(block.index, LINE_HONE, number),
            deviation,
            "MG1",
            block_c=shop_temperature(ended, shop.warmth[block.index, 0]),
            note="honed again" if number else "",
        )
