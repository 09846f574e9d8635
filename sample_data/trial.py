"""A planned trial of a bore gauge after its repair: ten bores, three people, three times each."""

from __future__ import annotations

from datetime import date, timedelta

from sample_data.calendar import at
from sample_data.cylinders import ACROSS
from sample_data.exports import Book
from sample_data.families import FAMILIES
from sample_data.gauges import GAUGES
from sample_data.paperwork import MIDDLE
from sample_data.readings import moment
from sample_data.shop import Shop

DAY = date(2025, 4, 10)  # three days after the spring and anvil of BG2 were replaced
GAUGE = "BG2"
FAMILY = "F1"  # the family whose ring the gauge is set to
PEOPLE = ("M.R.", "J.T.", "A.K.")
PARTS, ROUNDS = 10, 3
PERSON_SD = 0.3  # µm, how differently people hold the gauge


def trial(shop: Shop, book: Book) -> None:
    """Ten blocks honed last before that day, the first bore of each; everyone in an order of their own each round."""
    last = {
        done.block.serial: done
        for done in sorted(shop.passes, key=lambda p: p.started)
        if done.operation == "finish_hone" and done.block.family == FAMILY and done.ended.date() < DAY
    }
    chosen = list(last.values())[-PARTS:]
    family, scale = FAMILIES[FAMILY], GAUGES[GAUGE]
    people = PERSON_SD * shop.streams.normal("trial people", len(PEOPLE))
    noise = scale.noise_sd * shop.streams.normal("trial readings", ROUNDS, len(PEOPLE), PARTS)
    order = shop.streams.uniform("trial order", ROUNDS, len(PEOPLE), PARTS).argsort(axis=2)
    when, number = at(DAY, 300.0), 0
    for again in range(ROUNDS):
        for who, person in enumerate(PEOPLE):
            for part in order[again, who].tolist():
                done = chosen[part]
                assert done.true_deviation is not None
                size = float(done.true_deviation[0, MIDDLE, 0]) + people[who] + noise[again, who, part]
                dial = float(scale.read(size - family.cylinder_tolerance)) + family.cylinder_tolerance
                when, number = when + timedelta(seconds=25), number + 1
                book.add(
                    "trial", when, when_=moment(when), order=str(number), block=done.block.serial,
                    place=f"C1M/{ACROSS[0]}", size_mm=f"{family.cylinder_mm + dial / 1000:.4f}", gauge=GAUGE,
                    who=person,
                )  # fmt: skip
