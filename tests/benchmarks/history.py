"""The list of what is going off with a history, and with one ten times as long.

The longer shop is the demonstration's folder copied, and everything its database keeps of the past laid down nine
times more, each copy one span of the history earlier: readings, jobs, events, parts with their first verdicts, set
aside rows, and signals (settled ones, as those of past years are). In the stored state of each process the signals
are multiplied alike. Files received are not multiplied: their number is that of the archive.
"""

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb

from dashboard.desk import Desk
from dashboard.pages import board
from ingest.folder import Folder
from ingest.shop import Shop
from tests.benchmarks.pairs import compare, show
from tests.benchmarks.shop import demo_folder

TIMES = 10
SPAN_DAYS = 430
"""A little over fourteen months: no copy overlaps another."""
MOMENTS = {"reading": ("time",), "job": ("started", "ended"), "event": ("time",), "part": ("time",)}
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
        states = base.execute("select process, state from process_state").fetchall()
        facts = base.execute("select * from signal").fetchall()
        once = base.execute("select max(id) from reading").fetchall()[0][0]
        base.begin()
        for table, columns in MOMENTS.items():
            changed = ", ".join(f"{name} - to_days($1::integer) as {name}" for name in columns)
            base.execute(f"create temp table once as select * from {table}")
            for days in shifts:
                base.execute(f"insert into {table} select * replace ({changed}) from once", [days])
            base.execute("drop table once")
        base.execute("create temp table verdicts as select * from first_verdict")
        base.execute("create temp table aside as select * from set_aside")
        for days in shifts:
            base.execute(
                "insert into first_verdict select * replace (known_at - to_days($1::integer) as known_at) "
                "from verdicts",
                [days],
            )
            base.execute("insert into set_aside select * from aside")
            for row in facts:
                old = _earlier(json.loads(row[7]), days)
                since = row[6] - timedelta(days=days)
                base.execute(
                    "insert into signal values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
                    [*row[:5], "closed", since, json.dumps(old), None],
                )
        for process, text in states:
            state = json.loads(text)
            state["signals"] += [_earlier(s, days) for days in shifts for s in state["signals"]]
            base.execute(
                "update process_state set state = $1 where process = $2", [json.dumps(state), process]
            )
        base.commit()
        total = base.execute("select count(*) from reading").fetchall()[0][0]
    assert total >= TIMES * once, "the history was not multiplied"


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
            compare(lambda: fresh(desks[1]), lambda: fresh(desks[0]), pairs=7, calls=3),
            1.1,
        )
        show(
            f"the list as served between changes, {TIMES} x history / 1 x",
            compare(lambda: board.drawn(desks[1]), lambda: board.drawn(desks[0]), pairs=7, calls=50),
            1.1,
        )
