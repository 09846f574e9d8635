"""The two deck mills: a cold spindle, inserts that wear, a clamping that comes loose."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np

from sample_data.arrivals import Block
from sample_data.calendar import at
from sample_data.families import FAMILIES
from sample_data.gauges import GAUGES
from sample_data.shop import Event, Pass, Shop, Waiting, work_off
from sample_data.stories import INSERT_CHANGED, INSERT_FITTED, WARMUP_RULE

DECK = 1  # number of the operation
A_DECK, FIRST_CUT, DECKS_A_DAY = 38.0, 10.0, 12  # minutes a deck, minutes to the first, decks that fit
INSERT_LIFE = 60


class NewMill:
    """Runs blocks through DM1, deck after deck."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self._set, self._cut = 0, 0
        self._forgotten = False

    def run(self, first: dict[int, list[Waiting]]) -> dict[int, list[Block]]:
        """Blocks that leave for the hones, by day number."""
        if self._shop.stories.has("warmup"):
            note = "25 minutes of warm-up before the first cut from today"
            self._shop.events.append(Event(at(WARMUP_RULE, 1), "DM1", "warmup_rule", "", note, None, 0.4))
        return work_off(self._shop.days, first, self._capacity, self._day)

    def _capacity(self, _day: date, waiting: list[Waiting]) -> int:
        decks = np.cumsum([len(FAMILIES[block.family].decks) for block, _ in waiting])
        return int(np.sum(decks <= DECKS_A_DAY))

    def _change(self, day: date, minutes: float, note: str = "") -> None:
        self._set, self._cut = self._set + 1, 0
        tool = f"C-{self._set:02d}"
        self._shop.events.append(Event(at(day, minutes), "DM1", "insert_change", tool, note, 46, 0.2))

    def _morning(self, day: date) -> None:
        if self._set == 0:
            self._change(day, 2)
        elif day == INSERT_FITTED:
            self._change(day, 2, "with the monthly clean")
            self._forgotten = self._shop.stories.has("insert")
        elif day == INSERT_CHANGED and self._forgotten:
            self._change(day, 2, "set was long overdue")
            self._forgotten = False

    def _day(self, day: date, today: list[Waiting]) -> Iterator[tuple[Block, int, bool]]:
        self._morning(day)
        opens = 12.0 + (20.0 if day >= WARMUP_RULE and self._shop.stories.has("warmup") else 0.0)
        decks = 0
        for place, (block, number) in enumerate(today):
            begins = opens + A_DECK * decks
            if self._cut >= INSERT_LIFE and not self._forgotten:
                self._change(day, begins - 1.0)
            decks_here = len(FAMILIES[block.family].decks)
            cold = tuple(FIRST_CUT + A_DECK * (decks + k) for k in range(decks_here))
            done = self._cut_block(block, number, day, begins, cold, first=place == 0)
            decks += decks_here
            self._cut += decks_here
            self._shop.passes.append(done)
            yield block, number, _back(self._shop, done, "TP1")

    def _cut_block(
        self, block: Block, number: int, day: date, begins: float, cold: tuple[float, ...], first: bool
    ) -> Pass:
        shop, family = self._shop, FAMILIES[block.family]
        left = np.array([shop.stories.warm_spindle(day, minutes) for minutes in cold])
        height = shop.decks.new_mill(
            block.index, number, family, left, shop.stories.deck_side_sd(block.family, day)
        )
        used = self._cut + np.arange(len(cold), dtype=float)
        blunt = [shop.stories.blunt(self._forgotten, int(n)) for n in used]
        ra, rz = shop.decks.new_mill_finish(block.index, number, 0.42 + 0.0035 * used + np.array(blunt))
        started = at(day, begins)
        early = shop.early_operator(block.index) if first else None
        return Pass(
            block,
            "deck",
            "DM1",
            number,
            started,
            started + timedelta(minutes=A_DECK * len(cold) - 2),
            f"C-{self._set:02d}",
            early or shop.operator(block.index, DECK, number),
            height,
            "TP1",
            cold=cold,
            ra=ra,
            rz=rz,
            note="cut again" if number else "",
        )


class OldMill:
    """Runs blocks through DM2."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop

    def run(self, first: dict[int, list[Waiting]]) -> dict[int, list[Block]]:
        """Blocks that leave for the hones, by day number."""
        return work_off(self._shop.days, first, lambda _day, _waiting: 8, self._day)

    def _day(self, day: date, today: list[Waiting]) -> Iterator[tuple[Block, int, bool]]:
        slot = 500.0 / max(len(today), 1)
        for place, (block, number) in enumerate(today):
            free = self._shop.start_jitter(block.index, DECK, number) * (slot - 50.0)
            done = self._cut_block(block, number, day, 15.0 + place * slot + free)
            self._shop.passes.append(done)
            yield block, number, _back(self._shop, done, "HG1")

    def _cut_block(self, block: Block, number: int, day: date, begins: float) -> Pass:
        shop, family = self._shop, FAMILIES[block.family]
        ra, rz = shop.decks.old_mill_finish(block.index, number, family)
        started = at(day, begins)
        return Pass(
            block,
            "deck",
            "DM2",
            number,
            started,
            started + timedelta(minutes=46),
            "",
            shop.operator(block.index, DECK, number),
            shop.decks.old_mill(block.index, number, family),
            "HG1",
            ra=ra,
            rz=rz,
            note="cut again" if number else "",
        )


def _back(shop: Shop, done: Pass, gauge: str) -> bool:
    """Whether a deck must be cut again and somebody notices."""
    assert done.ra is not None
    height = GAUGES[gauge].read(done.deviation)
    again = shop.decks.can_be_cut_again(height, done.ra, FAMILIES[done.block.family])
    return again and shop.comes_back(done.block.index, DECK)


def mill_decks(shop: Shop, arriving: dict[int, list[Block]]) -> dict[int, list[Block]]:
    """Both mills; blocks that leave for the hones, by day number."""
    leaving: defaultdict[int, list[Block]] = defaultdict(list)
    for name, mill in (("DM1", NewMill(shop)), ("DM2", OldMill(shop))):
        first = {day: [(b, 0) for b in blocks if b.mill == name] for day, blocks in arriving.items()}
        for day, blocks in mill.run(first).items():
            leaving[day].extend(blocks)
    return {day: sorted(blocks, key=lambda block: block.index) for day, blocks in leaving.items()}
