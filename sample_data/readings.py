"""What every gauge writes about every pass."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np

from sample_data.cylinders import ACROSS, DEPTHS
from sample_data.exports import Book
from sample_data.families import (
    FAMILIES,
    MAX_CYLINDERS,
    MAX_DECKS,
    MAX_MAINS,
    MAX_POINTS,
    PASSES,
    SPOTS,
)
from sample_data.gauges import GAUGES, THOU
from sample_data.mains import DIRECTIONS
from sample_data.scatter import Fates
from sample_data.shop import Pass, Shop

SECOND = timedelta(seconds=1)
FINISH_REPEAT = 0.05  # of the value


def moment(when: datetime) -> str:
    """Date and time as most exports write them."""
    return f"{when:%Y-%m-%d %H:%M:%S}"


class Recorder:
    """Writes the readings of passes into the book."""

    def __init__(self, shop: Shop, book: Book) -> None:
        n, streams = len(shop.blocks), shop.streams
        self._shop, self._book = shop, book
        self._main = Fates(streams, "mains", n, PASSES, MAX_MAINS, len(DIRECTIONS))
        self._bore = Fates(streams, "cylinders", n, PASSES, MAX_CYLINDERS, len(DEPTHS), len(ACROSS))
        self._deck = Fates(streams, "decks", n, PASSES, MAX_DECKS, MAX_POINTS)
        self._deck_finish = Fates(streams, "deck finish", n, PASSES, MAX_DECKS, SPOTS, 3)
        self._bore_finish = Fates(streams, "bore finish", n, PASSES, MAX_CYLINDERS, 5)
        self._finish_again = np.exp(
            FINISH_REPEAT * streams.normal("finish repeat", n, PASSES, MAX_CYLINDERS + MAX_DECKS * SPOTS, 4)
        )

    def record(self, done: Pass) -> None:
        """Every reading of one pass."""
        {"line_hone": self._mains, "deck": self._decks, "finish_hone": self._cylinders}[done.operation](done)

    def _bore_row(self, done: Pass, when: datetime, place: tuple[str, str], cell: str, set_mm: float) -> None:
        self._book.add(
            done.gauge, when, stamp=moment(when), block=done.block.serial, place=place[0], dir=place[1],
            dev_thou=cell, set_mm=f"{set_mm:.3f}", gauge=done.gauge, who=done.operator,
            block_c=f"{done.block_c:.1f}", tool=done.tool,
        )  # fmt: skip

    def _mains(self, done: Pass) -> None:
        family, index = FAMILIES[done.block.family], (done.block.index, done.number)
        repeat = done.deviation + (self._shop.mains.repeat - self._shop.mains.noise)[index][: family.mains]
        when = done.ended - 6 * SECOND * done.deviation.size
        for main, direction in np.ndindex(done.deviation.shape):
            fate = self._main.of(*index, main, direction)
            place = f"M{main + 1}", DIRECTIONS[direction]
            values = (done.deviation, repeat) if fate.repeated else (done.deviation,)
            for i, value in enumerate(values):
                cell = fate.cell(_thou("MG1", float(value[main, direction]) - family.main_tolerance))
                if not fate.absent:
                    set_mm = family.main_mm + family.main_tolerance / 1000
                    self._bore_row(done, when + 3 * i * SECOND, place, cell, set_mm)
            when += 6 * SECOND

    def _cylinders(self, done: Pass) -> None:
        family, index = FAMILIES[done.block.family], (done.block.index, done.number)
        other = (self._shop.cylinders.repeat - self._shop.cylinders.noise)[index][: family.cylinders]
        repeat = done.deviation + other
        when = done.ended - 6 * SECOND * done.deviation.size
        for bore, depth, side in np.ndindex(done.deviation.shape):
            fate = self._bore.of(*index, bore, depth, side)
            place = f"C{bore + 1}{DEPTHS[depth]}", ACROSS[side]
            values = (done.deviation, repeat) if fate.repeated else (done.deviation,)
            for i, value in enumerate(values):
                cell = fate.cell(
                    _thou(done.gauge, float(value[bore, depth, side]) - family.cylinder_tolerance)
                )
                if not fate.absent:
                    set_mm = family.cylinder_mm + family.cylinder_tolerance / 1000
                    self._bore_row(done, when + 3 * i * SECOND, place, cell, set_mm)
            when += 6 * SECOND
        self._bore_traces(done)

    def _decks(self, done: Pass) -> None:
        family, index = FAMILIES[done.block.family], (done.block.index, done.number)
        noise = GAUGES[done.gauge].repeat_sd * (self._shop.decks.point_again - self._shop.decks.point)[index]
        for deck, point in np.ndindex(done.deviation.shape):
            fate = self._deck.of(*index, deck, point)
            when = _deck_time(done, deck) + 5 * point * SECOND
            deviation = done.deviation[deck, point]
            values = (deviation, deviation + noise[deck, point]) if fate.repeated else (deviation,)
            for i, value in enumerate(values):
                height = family.deck_mm + float(GAUGES[done.gauge].read(value)) / 1000
                if not fate.absent:
                    self._deck_row(done, deck, point, when + 2 * i * SECOND, height, fate.cell)
        self._deck_finish_rows(done)

    def _deck_row(
        self, done: Pass, deck: int, point: int, when: datetime, height: float, cell: Callable[[str], str]
    ) -> None:
        name, spot = FAMILIES[done.block.family].decks[deck], f"D{point + 1}"
        if done.gauge == "HG1":
            self._book.add(
                "HG1", when, block=done.block.serial, deck=name, point=spot,
                height_in=cell(f"{height / 25.4:.5f}"), who=done.operator, when_=moment(when),
            )  # fmt: skip
            return
        self._book.add(
            "TP1", when, date=f"{when:%d.%m.%Y}", time=f"{when:%H:%M:%S}", block=done.block.serial, deck=name,
            point=spot, z_mm=cell(f"{height:.3f}"), program=f"{done.block.family}-FINAL",
            spindle_min=f"{done.cold[deck]:.0f}",
        )  # fmt: skip

    def _deck_finish_rows(self, done: Pass) -> None:
        assert done.ra is not None and done.rz is not None
        family, index = FAMILIES[done.block.family], (done.block.index, done.number)
        when = done.ended + 60 * SECOND
        for deck, spot in np.ndindex(done.ra.shape):
            site = f"{family.decks[deck]}D{spot + 1}"
            values = {"Ra": done.ra[deck, spot], "Rz": done.rz[deck, spot]}
            fates = [self._deck_finish.of(*index, deck, spot, k, row_can_be_absent=False) for k in range(3)]
            cells = {k: f.cell(f"{v:.3f}") for (k, v), f in zip(values.items(), fates, strict=False)}
            self._finish_row(done, when, site, cells)
            if fates[2].repeated:
                again = self._finish_again[(*index, MAX_CYLINDERS + deck * SPOTS + spot)]
                cells = {k: f"{v * again[i]:.3f}" for i, (k, v) in enumerate(values.items())}
                self._finish_row(done, when + 12 * SECOND, site, cells)
            when += 30 * SECOND

    def _bore_traces(self, done: Pass) -> None:
        trace, index = done.trace, (done.block.index, done.number)
        assert trace is not None
        when = done.ended + 60 * SECOND
        for bore in range(len(trace.ra)):
            values = {
                "Ra": trace.ra[bore],
                "Rk": trace.rk[bore],
                "Rpk": trace.rpk[bore],
                "Rvk": trace.rvk[bore],
            }
            fates = [self._bore_finish.of(*index, bore, k, row_can_be_absent=False) for k in range(5)]
            cells = {k: f.cell(f"{v:.3f}") for (k, v), f in zip(values.items(), fates, strict=False)}
            self._finish_row(done, when, f"C{bore + 1}", cells)
            if fates[4].repeated:
                again = self._finish_again[(*index, bore)]
                cells = {k: f"{v * again[i]:.3f}" for i, (k, v) in enumerate(values.items())}
                self._finish_row(done, when + 12 * SECOND, f"C{bore + 1}", cells)
            when += 25 * SECOND

    def _finish_row(self, done: Pass, when: datetime, site: str, cells: dict[str, str]) -> None:
        self._book.add(
            "PF1", when, block=done.block.serial, site=site, cutoff_mm="0.8", who=done.operator,
            when_=moment(when), **cells,
        )  # fmt: skip


def _thou(gauge: str, deviation: float) -> str:
    """A deviation from the set master as the dial shows it. [0.001 in]"""
    return f"{float(GAUGES[gauge].read(deviation)) / THOU:.1f}"


def _deck_time(done: Pass, deck: int) -> datetime:
    """When a deck was probed: ten minutes into its cut on DM1, at the end on DM2."""
    if done.cold:
        return done.started + timedelta(minutes=done.cold[deck] - done.cold[0] + 10)
    return done.ended - 60 * SECOND
