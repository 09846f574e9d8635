"""The demonstration as the benchmarks use it: its files in memory, and its shop built once."""

import atexit
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from itertools import count
from pathlib import Path

import sample_data
from dashboard.commands.demo import prepare_demo
from dashboard.commands.terminal import Step
from ingest.intake.batches import take_in
from ingest.intake.receipt import IncomingFile
from ingest.plans.file import load_plan
from ingest.plans.model import Plan
from ingest.storage.archive import Archive
from ingest.storage.journal import Journal
from ingest.storage.store import Store


@dataclass(frozen=True)
class Files:
    """Plan, files in memory, their paths, and the moment they are taken in."""

    plan: Plan
    files: list[IncomingFile]
    paths: list[Path]
    known_at: datetime


@cache
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


@cache
def scratch() -> Path:
    """A folder for this run, removed at its end."""
    folder = Path(tempfile.mkdtemp(prefix="tenthwise-benchmarks-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


@contextmanager
def _silent(_title: str, _total: int) -> Iterator[Step]:
    yield lambda done, total=None: None  # noqa: ARG005 - nobody is looking


@cache
def _built() -> Path:
    folder = scratch() / "demonstration"
    prepare_demo(folder, _silent).close()
    return folder


_turn = count()


def demo_folder() -> Path:
    """A copy of the demonstration shop's folder, closed, to do anything with."""
    copy = scratch() / f"shop{next(_turn)}"
    shutil.copytree(_built(), copy)
    return copy
