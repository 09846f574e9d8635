"""The list of what is going off with a history, and with one ten times as long.

The longer shop is the demonstration's folder copied, and everything its database keeps of the past laid down nine
times more, each copy one span of the history earlier: receipts, readings, jobs, events, set aside rows, parts with
their first verdicts, and signals (settled ones, as those of past years are; a stored state holds only what nobody has
settled). The archive is not multiplied; the list does not read it.
"""

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb

from dashboard.desk import Desk
from dashboard.pages import board
from ingest.shop.folder import Folder
from ingest.shop.shop import Shop
from tests.benchmarks.pairs import compare, show
from tests.benchmarks.shop import demo_folder

TIMES = 10
SPAN_DAYS = 430
"""A little over fourteen months: no copy overlaps another."""
BEFORE = "- to_days($days::integer)"
COPIED = {
    "receipt": f"id - $back as id, md5(sha256 || $days) as sha256, known_at {BEFORE} as known_at",
    "reading": f"receipt - $back as receipt, time {BEFORE} as time",
    "job": f"receipt - $back as receipt, started {BEFORE} as started, ended {BEFORE} as ended",
    "event": f"receipt - $back as receipt, time {BEFORE} as time",
    "set_aside": "receipt - $back as receipt",
    "part": f"time {BEFORE} as time, day - $days as day",
    "first_verdict": f"known_at {BEFORE} as known_at",
}
"""What differs in a copy, by table; receipts get numbers below those there are."""
DATED = ("since", "since_time", "change_from", "change_to", "changed", "cleared_on")


def _earlier(signal: dict[str, Any], days: int) -> dict[str, Any]:
    """A signal of past years: the same, dated back and confirmed by a person."""
    old = signal | {"status": "closed", "closing": None}
    for key in DATED:
        if old.get(key):
            moment = datetime.fromisoformat(old[key]) - timedelta(days=days)
            old[key] = moment.date().isoformat() if len(old[key]) == 10 else moment.isoformat()
    return old


def lengthen(database: Path) -> None:
    """Lay the history of a closed shop down nine times more."""
    shifts = [turn * SPAN_DAYS for turn in range(1, TIMES)]
    with duckdb.connect(str(database)) as base:
        facts = base.execute("select * from signal").fetchall()
        once = base.execute("select count(*) from reading").fetchall()[0][0]
        files = base.execute("select max(id) from receipt").fetchall()[0][0]
        base.begin()
        for table, changed in COPIED.items():
            base.execute(f"create temp table once as select * from {table}")
            for turn, days in enumerate(shifts, 1):
                given = {"days": days, "back": turn * files}
                used = {name: value for name, value in given.items() if f"${name}" in changed}
                base.execute(f"insert into {table} select * replace ({changed}) from once", used)
            base.execute("drop table once")
        for days in shifts:
            for row in facts:
                old = _earlier(json.loads(row[7]), days)
                since = row[6] - timedelta(days=days)
                base.execute(
                    "insert into signal values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
                    [*row[:5], "closed", since, json.dumps(old), None],
                )
        base.commit()
        total = base.execute("select count(*) from reading").fetchall()[0][0]
    assert total == TIMES * once, "the history was not multiplied"


def main() -> None:
    """Print the ratios."""
    once, longer = demo_folder(), demo_folder()
    lengthen(Folder(longer).database)
    with Shop.open(once) as short, Shop.open(longer) as long:
        desks = Desk(short), Desk(long)

        def fresh(desk: Desk) -> object:
            desk.forget()
            return board.drawn(desk)

        show(
            f"rows of the list, {TIMES} x history / 1 x",
            compare(long.board, short.board, pairs=7, calls=10),
            1.1,
        )
        show(
            f"the list drawn after a change, {TIMES} x history / 1 x",
            compare(lambda: fresh(desks[1]), lambda: fresh(desks[0]), pairs=3, calls=3),
            1.1,
        )
