"""A shop at work in a process of its own, to be killed: takes files in, decides, folds the log into the database."""

from __future__ import annotations

import traceback
from datetime import datetime
from multiprocessing.connection import Connection
from pathlib import Path

from ingest.intake.receipt import IncomingFile
from ingest.shop.shop import Shop
from tests.ingest.small_shop import BORES, PLAN, csv, day_files, parts

DAYS = day_files(parts(12))
BAD = "900,2025-03-03 08:10:00,S0001,C1T,-0,,3,90.010,B1,AB"


def files() -> list[tuple[datetime, IncomingFile]]:
    """Every file the shop is given, in order; some hold a row that cannot be stored."""
    given = []
    for known_at, batch in DAYS:
        given += [(known_at, file) for file in batch]
        given.append(
            (known_at, csv(f"{known_at.date()}_bad.csv", BORES, [BAD.replace("900", f"9{len(given)}")]))
        )
    return given


def work(folder: Path, told: Connection) -> None:
    """Take everything in that is not there yet, one file at a time, and decide on a row now and then.

    Tells what was acknowledged; an exception that escapes is told too.
    """
    try:
        shop = Shop.open(folder) if (folder / "plan.toml").exists() else Shop.create(folder, PLAN)
        for n, (known_at, file) in enumerate(files()):
            receipt = shop.take_in([file], known_at=known_at)[0]
            told.send(("file", receipt.sha256))
            if file.name.endswith("_bad.csv") and not receipt.already:
                shop.judge_rows(receipt.id, False, f"a slip, number {n}", "AB", known_at=known_at)
                told.send(("decided", n))
            if n % 5 == 4:
                shop._store.checkpoint()
                told.send(("checkpoint", n))
        shop.close()
    except Exception:  # the parent must hear of it
        told.send(("wrong", traceback.format_exc()))
