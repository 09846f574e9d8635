"""The job list, the event log, the ring checks and quality's audits."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta

from sample_data.calendar import at, shop_temperature
from sample_data.cylinders import ACROSS
from sample_data.exports import Book
from sample_data.families import FAMILIES
from sample_data.gauges import GAUGES, THOU
from sample_data.readings import moment
from sample_data.shop import Pass, Shop

QUALITY = "L.P."
ONE_IN = 5  # blocks of a hone and gauge are audited
MIDDLE = 1  # of the three depths


def jobs(shop: Shop, book: Book) -> None:
    """One row for every pass."""
    for done in shop.passes:
        cycle = "" if done.trace is None else f"{done.trace.minutes.mean():.2f}"
        book.add(
            "jobs", done.started, block=done.block.serial, family=done.block.family, operation=done.operation,
            machine=done.machine, tool=done.tool, pass_=str(done.number + 1), started=moment(done.started),
            ended=moment(done.ended), cycle_min=cycle, note=done.note,
        )  # fmt: skip


def events(shop: Shop, book: Book) -> None:
    """One row for everything done to a machine, a tool or a gauge."""
    for event in shop.events:
        book.add(
            "events", event.when, when_=moment(event.when), machine_or_gauge=event.target, kind=event.kind,
            tool=event.tool, note=event.note, cost="" if event.cost is None else f"{event.cost:.0f}",
            down_h="" if event.down_hours is None else f"{event.down_hours:g}",
        )  # fmt: skip


def checks(shop: Shop, book: Book) -> None:
    """Gauges on their rings, before work on Mondays."""
    noise = shop.streams.normal("ring check temperature", len(shop.checks))
    for i, check in enumerate(shop.checks):
        when = at(check.day, 4.0 + 3.0 * (i % 4))
        temperature = 21.0 + 0.2 * noise[i] if check.gauge == "BG3" else shop_temperature(when, noise[i])
        scale = "{:.2f}" if check.gauge == "BG3" else "{:.1f}"
        first, second = (scale.format(reading / THOU) for reading in check.readings)
        book.add(
            "rings", when, when_=moment(when), gauge=check.gauge, ring=check.ring,
            ring_mm=f"{check.ring_mm:.3f}", read1_thou=first, read2_thou=second,
            temp_c=f"{temperature:.1f}", who=QUALITY,
        )  # fmt: skip


def audits(shop: Shop, book: Book) -> None:
    """Quality measures every fifth block of each hone and gauge at 21 °C, the working day after."""
    last: dict[int, Pass] = {}
    for done in sorted(shop.passes, key=lambda p: p.started):
        if done.operation == "finish_hone":
            last[done.block.index] = done
    seen: defaultdict[tuple[str, str], int] = defaultdict(int)
    today: defaultdict[int, int] = defaultdict(int)
    noise = shop.streams.normal("audit temperature", len(shop.blocks))
    for done in sorted(last.values(), key=lambda p: p.started):
        key = (done.machine, done.gauge)
        seen[key] += 1
        day = shop.days.index(done.started.date()) + 1
        if seen[key] % ONE_IN != 0 or day >= len(shop.days):
            continue
        when = at(shop.days[day], 90.0 + 12.0 * today[day])
        today[day] += 1
        _audit(shop, book, done, when, 21.0 + 0.25 * float(noise[done.block.index]))


def _audit(shop: Shop, book: Book, done: Pass, when: datetime, temperature: float) -> None:
    family, true = FAMILIES[done.block.family], done.true_deviation
    assert true is not None
    seen = true[:, MIDDLE, :] + shop.cylinders.audit[done.block.index, done.number, : family.cylinders]
    dial = GAUGES["BG3"].read(seen - family.cylinder_tolerance) + family.cylinder_tolerance
    for bore in range(family.cylinders):
        for side, name in enumerate(ACROSS):
            when += timedelta(seconds=8)
            book.add(
                "audit", when, when_=moment(when), block=done.block.serial, place=f"C{bore + 1}M/{name}",
                size_mm=f"{family.cylinder_mm + dial[bore, side] / 1000:.4f}", gauge="BG3",
                temp_c=f"{temperature:.1f}", who=QUALITY,
            )  # fmt: skip
