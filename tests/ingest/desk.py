"""A store, archive and journal in an empty folder, and short ways to ask them."""

from __future__ import annotations

import re
from collections import Counter
from datetime import datetime
from functools import cache
from pathlib import Path

from ingest.intake.again import retry
from ingest.intake.batches import IncomingFile, Receipt, take_in
from ingest.plans.file import load_plan, parse_plan
from ingest.plans.model import Plan
from ingest.storage.archive import Archive
from ingest.storage.journal import Journal
from ingest.storage.store import Store

CASES = Path(__file__).parent / "cases"
RECEIVED = datetime.fromisoformat("2026-03-12T19:00:00")
HEADER = "measured_at,serial,family,feature,position,reading,unit,gauge,operator,machine"


@cache
def case_plan() -> Plan:
    """The register of the damaged exports."""
    return load_plan(CASES / "plan.toml")


def plan_with(*changes: tuple[str, str]) -> Plan:
    """The same with pieces of its text replaced, each exactly once."""
    text = (CASES / "plan.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_plan(text, "plan.toml")


def long_row(
    minute: int = 0, serial: str = "A1001", position: str = "M1-V", reading: str = "2.6413", unit: str = "in"
) -> str:
    """One line of the long layout."""
    time = f"2026-03-10 09:{minute:02d}:00"
    return f"{time},{serial},FAM-A,main_bore,{position},{reading},{unit},BG-01,JM,BORE-1"


def long_file(*rows: str, header: str = HEADER) -> bytes:
    """A file of the long layout."""
    return ("\n".join((header, *rows)) + "\n").encode()


def lines_in(data: bytes) -> int:
    """Lines of a file counted from its bytes alone: CR LF, LF or CR ends a line, the last may lack its end."""
    return len([*re.finditer(rb"\r\n|\n|\r", data)]) + (not re.search(rb"[\r\n]\Z", data) and data != b"")


class Desk:
    """Where files are taken in."""

    def __init__(self, folder: Path, plan: Plan | None = None) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.plan = plan or case_plan()
        self.archive = Archive(folder / "archive")
        self.journal = Journal(folder / "journal.jsonl")
        self.store = Store.open(folder / "store.duckdb")

    def take(self, *files: bytes | tuple[str, bytes], at: datetime = RECEIVED) -> list[Receipt]:
        """Take files in together."""
        named = [f if isinstance(f, tuple) else (f"file{n}.csv", f) for n, f in enumerate(files)]
        incoming = [IncomingFile(name, data) for name, data in named]
        return take_in(self.store, self.archive, self.journal, self.plan, incoming, at)

    def one(self, data: bytes, at: datetime = RECEIVED) -> Receipt:
        """Take one file in."""
        return self.take(data, at=at)[0]

    def retry(self, plan: Plan, at: datetime) -> list[Receipt]:
        """Read waiting files under another plan."""
        self.plan = plan
        return retry(self.store, self.archive, self.journal, plan, at)

    def rows(self, sql: str, *values: object) -> list[tuple]:
        """Answer of a query."""
        with self.store.cursor() as cursor:
            return cursor.execute(sql, list(values)).fetchall()

    def readings(self) -> list[tuple[str, str, float]]:
        """Serial, position and value of every stored reading, in order."""
        return self.rows("select serial, position, value from reading order by id")

    def aside(self, receipt: int | None = None) -> Counter[str]:
        """Reason kinds of what was set aside."""
        rows = self.rows("select kind, receipt from set_aside")
        return Counter(kind for kind, of in rows if receipt is None or of == receipt)

    def facts(self) -> dict[str, list[tuple]]:
        """All of the store, to compare two stores."""
        tables = ("receipt", "reading", "job", "event", "set_aside")
        return {name: self.rows(f"select * from {name} order by id") for name in tables}

    def close(self) -> None:
        """Close the store."""
        self.store.close()
