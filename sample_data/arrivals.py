"""The blocks that come in: how many of each family, when, under which number, and where they go.

Each fortnight brings the same number of a family and its days are drawn, so the
count on one day is practically Poisson while the size of the shop is the same
for every seed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from sample_data.calendar import working_days
from sample_data.families import FAMILIES
from sample_data.stories import K33_FITTED
from sample_data.streams import Streams

FORTNIGHTS = 29
OTHER_WORK = 0.21  # heads and cranks take numbers of the same running register
FIRST_NUMBER = 781  # the register starts anew each January
TYPO_DAY, TYPO_NUMBER = date(2025, 5, 20), 512
SWAP_DAY, SWAP_BLOCKS = date(2025, 3, 11), 6
# Days on which something is wrong with a bore gauge's file, so that there must be one.
BORE_DAYS = (date(2024, 10, 8), date(2024, 12, 5), date(2025, 4, 2), date(2025, 6, 30))
# The last stone set on HN1 has honed about 150 bores when the period ends, in a slack fortnight and in a busy one.
LAST_SET, LAST_DAY, LAST_BORES = K33_FITTED, date(2025, 10, 31), (134, 160)


@dataclass(frozen=True)
class Block:
    """One engine block of the period."""

    index: int
    serial: str
    family: str
    arrived: int  # number of the working day, from 0
    mill: str
    hone: str


def _drawn(streams: Streams) -> list[tuple[int, str, str, str]]:
    """Day, family, mill and hone of every block, in order of arrival."""
    days = len(working_days())
    found: list[tuple[int, float, str, str, str]] = []
    for family in FAMILIES.values():
        rng = streams.generator(f"arrivals {family.code}")
        draw, order, mill, hone = rng.random((4, family.blocks))
        fortnight = np.arange(family.blocks) * FORTNIGHTS // family.blocks
        when = ((fortnight + draw) * days / FORTNIGHTS).astype(int)
        for i in range(family.blocks):
            to_mill = "DM2" if family.code == "F3" or (family.code == "F1" and mill[i] >= 0.82) else "DM1"
            to_hone = "HN2" if family.code == "F3" or (family.code == "F1" and hone[i] >= 0.65) else "HN1"
            found.append((int(when[i]), float(order[i]), family.code, to_mill, to_hone))
    found.sort()
    return [(day, family, mill, hone) for day, _, family, mill, hone in found]


def _bring_forward(rows: list[tuple[int, str, str, str]], machine: str, day: int, wanted: int) -> None:
    """Move the nearest blocks of a machine to an arrival day that must have so many of them."""
    missing = wanted - sum(row[0] == day and machine in row for row in rows)
    others = sorted((abs(row[0] - day), i) for i, row in enumerate(rows) if machine in row and row[0] != day)
    for _, i in others[: max(missing, 0)]:
        rows[i] = (day, *rows[i][1:])
    rows.sort(key=lambda row: row[0])


def _keep_pace(rows: list[tuple[int, str, str, str]], first: int, last: int) -> None:
    """Let so many bores come to HN1 between two arrival days: blocks from just before come in, or wait out there."""
    least, most = LAST_BORES

    inside = [i for i, row in enumerate(rows) if first <= row[0] <= last and row[3] == "HN1"]
    before = [i for i, row in enumerate(rows) if row[0] < first and row[3] == "HN1"]
    bores = sum(FAMILIES[rows[i][1]].cylinders for i in inside)
    turn = 0
    while not least <= bores <= most:
        few = bores < least
        i = before[-1 - turn] if few else inside[len(inside) // 2 + turn]
        rows[i] = (first + 2 * turn % (last - first + 1) if few else first - 1 - turn, *rows[i][1:])
        bores += FAMILIES[rows[i][1]].cylinders if few else -FAMILIES[rows[i][1]].cylinders
        turn += 1
    rows.sort(key=lambda row: row[0])


def _numbers(rows: list[tuple[int, str, str, str]], years: list[int], streams: Streams) -> list[int]:
    """Register numbers: rising, with gaps, so that a block for DM2 on the typo day gets its number."""
    gap = streams.uniform("register gaps", len(rows)) < OTHER_WORK
    typo_arrival = working_days().index(TYPO_DAY) - 1  # the deck is cut the day after the mains
    first_2025 = years.index(2025)
    typo = next(i for i, row in enumerate(rows) if row[0] == typo_arrival and row[2] == "DM2")
    ranks = np.argsort(streams.uniform("register order", typo - first_2025), kind="stable")
    missing = TYPO_NUMBER - (typo - first_2025 + 1)
    gap[first_2025 : typo + 1] = False
    gap[first_2025 + ranks[: max(missing, 0)]] = True
    numbers, last = [], FIRST_NUMBER - 1
    for i, year in enumerate(years):
        if i and year != years[i - 1]:
            last = 0
        last += 2 if gap[i] else 1
        numbers.append(last)
    return numbers


def arrivals(streams: Streams) -> list[Block]:
    """Every block of the period in order of arrival."""
    days = working_days()
    rows = _drawn(streams)
    for day in BORE_DAYS:
        _bring_forward(rows, "HN1", days.index(day) - 2, 2)
    _bring_forward(rows, "DM2", days.index(TYPO_DAY) - 1, 1)
    _bring_forward(rows, "DM1", days.index(SWAP_DAY) - 1, SWAP_BLOCKS)
    # A block is honed two days after it came.
    _keep_pace(rows, days.index(LAST_SET) - 2, days.index(LAST_DAY) - 2)
    years = [days[row[0]].year for row in rows]
    numbers = _numbers(rows, years, streams)
    return [
        Block(i, f"QB-{years[i] % 100:02d}-{numbers[i]:04d}", family, day, mill, hone)
        for i, (day, family, mill, hone) in enumerate(rows)
    ]
