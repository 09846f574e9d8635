"""The demonstration shop: fourteen months of deliveries, taken in and decided on in order of their days."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from contextlib import AbstractContextManager
from fnmatch import fnmatchcase
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import sample_data
from dashboard.commands.folders import PLAN, open_shop
from ingest.intake.receipt import IncomingFile
from ingest.problems import ShopBusy
from ingest.storage.lock import FolderLock

if TYPE_CHECKING:
    from dashboard.commands.terminal import Step
    from ingest.shop.shop import Shop

UNFINISHED = Path("run") / "building"
"""Mark in a folder whose demonstration is still being built."""

Progress = Callable[[str, int], AbstractContextManager["Step"]]


class ForeignFolder(Exception):  # noqa: N818 - reads as what it is
    """The folder holds something that is not the demonstration."""


def prepare_demo(folder: Path, progress: Progress) -> Shop:
    """Open the demonstration shop, built first if it is not there yet.

    Parameters
    ----------
    folder : Path
        Where it is kept; reused when it holds this very demonstration.
    progress : callable
        Makes a progress bar from a title and a total.

    Raises
    ------
    ForeignFolder
        The folder holds another shop, or something else.
    """
    text = sample_data.plan_path().read_text(encoding="utf-8")
    plan = folder / PLAN
    unfinished = folder / UNFINISHED
    if unfinished.exists():
        _clear(folder)
    elif plan.is_file():
        if plan.read_text(encoding="utf-8") == text:
            return open_shop(folder)
        raise ForeignFolder(
            f"{folder} holds another shop, or a demonstration of another version: name another place with --folder."
        )
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ForeignFolder(f"{folder} is there and is no shop: name another place with --folder.")
    unfinished.parent.mkdir(parents=True, exist_ok=True)
    unfinished.touch()
    shop = build_demo(folder, text, progress)
    unfinished.unlink()
    return shop


def _clear(folder: Path) -> None:
    """Remove a demonstration whose building was broken off; the mark says that nothing else is in it."""
    lock = FolderLock(folder / UNFINISHED.parent)
    try:
        lock.acquire()
    except ShopBusy as busy:
        raise ForeignFolder(
            f"{folder} is being built by process {busy.pid}: wait until it is done."
        ) from None
    lock.release()
    shutil.rmtree(folder)


def build_demo(folder: Path, plan_text: str, progress: Progress) -> Shop:
    """Make the shop and let its fourteen months happen: each file and each decision on its day."""
    from ingest.shop.shop import Shop

    deliveries = sample_data.deliveries()
    decisions = sorted(sample_data.decisions(), key=lambda decision: decision.at)
    first = min(delivery.known_at for delivery in deliveries)
    shop = Shop.create(folder, plan_text, known_at=first)
    with progress("Building the demonstration shop", len(deliveries)) as step:
        done = 0
        for decision in [*decisions, None]:
            coming = [d for d in deliveries[done:] if decision is None or d.known_at <= decision.at]
            batches = [
                (known_at, [IncomingFile(d.name, d.path.read_bytes()) for d in group])
                for known_at, group in groupby(coming, key=lambda delivery: delivery.known_at)
            ]
            if batches:
                start = done
                shop.take_in_batches(batches, lambda n, _of, start=start: step(start + n))
            done += len(coming)
            if decision:
                decide(shop, decision)
    return shop


def decide(shop: Shop, decision: sample_data.Decision) -> int:
    """Close what a decision of the demonstration closes; returns how many signals that were."""
    closed = 0
    for row in shop.board(decision.at):
        wanted = any(fnmatchcase(row.process, pattern) for pattern in decision.processes)
        if not wanted or any(fnmatchcase(row.process, pattern) for pattern in decision.but_not):
            continue
        for signal in row.open_signals:
            if signal.since_time < decision.raised_before:
                shop.close_signal(
                    row.process,
                    signal.monitor,
                    signal.serial,
                    signal.pass_no,
                    decision.outcome,
                    decision.cause,
                    decision.who,
                    known_at=decision.at,
                )
                closed += 1
    return closed
