"""Receipts in the store: written in one go, and found again by the hash of a file."""

from __future__ import annotations

import json

import duckdb
import pyarrow as pa

from ingest.intake.receipt import Receipt, Tally
from ingest.storage.store import Store

_COLUMNS = (
    "id", "sha256", "name", "bytes", "known_at", "layout", "role", "status", "lines", "stored", "partly",
    "known", "set_aside", "blank", "cells", "cells_stored", "cells_known", "cells_set_aside", "cells_blank",
    "reason", "message", "plan_sha", "warnings", "released_by",
)  # fmt: skip


def insert_table(cursor: duckdb.DuckDBPyConnection, table: str, rows: pa.Table) -> None:
    """Insert an Arrow table into a table of the store, column by name."""
    names = ", ".join(rows.column_names)
    cursor.register("incoming", rows)
    try:
        cursor.execute(f"insert into {table} ({names}) select {names} from incoming")
    finally:
        cursor.unregister("incoming")


def store_receipts(cursor: duckdb.DuckDBPyConnection, receipts: list[Receipt]) -> None:
    """Insert receipts; their ids are already given."""
    columns: dict[str, list] = {name: [] for name in _COLUMNS}
    for r in receipts:
        lines, cells = r.lines, r.cells
        values = (
            r.id, r.sha256, _printable(r.name), r.bytes, r.known_at, r.layout, r.role, r.status, lines.total,
            lines.stored, lines.partly, lines.known, lines.set_aside, lines.blank, cells.total, cells.stored,
            cells.known, cells.set_aside, cells.blank, r.reason, r.message, r.plan_sha,
            json.dumps(dict(r.warnings), sort_keys=True), r.released_by,
        )  # fmt: skip
        for name, value in zip(_COLUMNS, values, strict=True):
            columns[name].append(value)
    numbers = {"id", "bytes", "released_by", *_COLUMNS[8:19]}
    types = {name: pa.int64() if name in numbers else pa.string() for name in _COLUMNS}
    types["known_at"] = pa.timestamp("us")
    table = pa.table({name: pa.array(column, types[name]) for name, column in columns.items()})
    insert_table(cursor, "receipt", table)


def _printable(name: str) -> str:
    """A file name as text: bytes that are no characters are shown as escapes."""
    return name.encode("utf-8", "backslashreplace").decode()


def receipts_of(store: Store, hashes: set[str]) -> dict[str, Receipt]:
    """The receipt that stands for each hash: the first that was taken or refused, else the one that waits."""
    with store.cursor() as cursor:
        cursor.register("wanted", pa.table({"sha256": pa.array(sorted(hashes), pa.string())}))
        rows = cursor.execute(
            f"select {', '.join(_COLUMNS)} from receipt semi join wanted using (sha256) order by id"
        ).fetchall()
        cursor.unregister("wanted")
    found: dict[str, Receipt] = {}
    for row in rows:
        receipt = _from_row(dict(zip(_COLUMNS, row, strict=True)))
        if receipt.released_by is None:
            found.setdefault(receipt.sha256, receipt)
    return found


def _from_row(row: dict) -> Receipt:
    lines = Tally(row["lines"], row["stored"], row["partly"], row["known"], row["set_aside"], row["blank"])
    cells = Tally(
        row["cells"],
        row["cells_stored"],
        0,
        row["cells_known"],
        row["cells_set_aside"],
        row["cells_blank"],
    )
    kept = ("id", "sha256", "name", "bytes", "known_at", "layout", "role", "status", "reason", "message",
            "plan_sha", "released_by")  # fmt: skip
    return Receipt(
        lines=lines, cells=cells, warnings=json.loads(row["warnings"]), **{name: row[name] for name in kept}
    )
