"""Puts a shop together: work, readings, paperwork, traps."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

from sample_data.calendar import at
from sample_data.deck_mills import mill_decks
from sample_data.exports import Book, Export, write
from sample_data.hones import Hone, set_names
from sample_data.line_hone import LineHone
from sample_data.paperwork import audits, checks, events, jobs
from sample_data.readings import Recorder
from sample_data.shop import Event, Shop
from sample_data.stories import BG2_REPAIRED, Stories
from sample_data.traps import set_traps
from sample_data.trial import trial

PLAN, DECISIONS = "plan.toml", "decisions.toml"


def work(seed: int, without: Iterable[str] = ()) -> Shop:
    """Run the whole period of one seed."""
    shop = Shop(seed, Stories(without))
    on_decks = LineHone(shop).run()
    on_hones = mill_decks(shop, on_decks)
    Hone(shop, "HN1").run(on_hones)
    Hone(shop, "HN2").run(on_hones)
    if shop.stories.has("bg2"):
        note = "read low on the ring, spring and anvil replaced, set again"
        shop.events.append(Event(at(BG2_REPAIRED, 2), "BG2", "gauge_repair", "", note, 140, None))
    names = set_names(shop.events)
    shop.events = [replace(event, tool=names.get(event.tool, event.tool)) for event in shop.events]
    shop.passes = [replace(done, tool=names.get(done.tool, done.tool)) for done in shop.passes]
    return shop


def exports_of(shop: Shop) -> list[Export]:
    """Every file of the shop, with the traps set."""
    book = Book()
    recorder = Recorder(shop, book)
    for done in sorted(shop.passes, key=lambda p: p.started):
        recorder.record(done)
    jobs(shop, book)
    events(shop, book)
    checks(shop, book)
    audits(shop, book)
    trial(shop, book)
    return set_traps(book.exports())


def make_shop(folder: Path, seed: int, without: Iterable[str] = ()) -> list[Export]:
    """Write plan, decisions, exports and deliveries of one seed into a folder.

    Raises
    ------
    FileExistsError
        The folder already holds exports; they are never mixed or overwritten.
    """
    if (folder / "exports").exists():
        raise FileExistsError(f"{folder / 'exports'} exists already; name an empty folder")
    made = exports_of(work(seed, without))
    folder.mkdir(parents=True, exist_ok=True)
    write(folder, made)
    for name in (PLAN, DECISIONS):
        source = Path(str(files("sample_data") / name))
        if source.resolve() != (folder / name).resolve():
            shutil.copyfile(source, folder / name)
    return made
