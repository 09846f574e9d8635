"""The demonstration's files as the benchmarks use them, and a store to take them into."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import sample_data
from ingest.archive import Archive
from ingest.intake import take_in
from ingest.journal import Journal
from ingest.plan import Plan
from ingest.plan_file import load_plan
from ingest.receipt import IncomingFile
from ingest.store import Store


@dataclass(frozen=True)
class Files:
    """Plan, files in memory, their paths, and the moment they are taken in."""

    plan: Plan
    files: list[IncomingFile]
    paths: list[Path]
    known_at: datetime


def demonstration() -> Files:
    """All exports of the demonstration shop."""
    deliveries = sample_data.deliveries()
    files = [IncomingFile(d.name, d.path.read_bytes()) for d in deliveries]
    return Files(
        load_plan(sample_data.plan_path()), files, [d.path for d in deliveries], deliveries[-1].known_at
    )


def take_all(place: Path, given: Files) -> None:
    """Archive, check and store every file in a fresh folder, as the program does."""
    place.mkdir(parents=True)
    store = Store.open(place / "shop.duckdb", place / "run")
    take_in(
        store,
        Archive(place / "archive"),
        Journal(place / "journal.jsonl"),
        given.plan,
        given.files,
        given.known_at,
    )
    store.close()
