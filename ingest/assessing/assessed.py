"""How far the stored assessments have come: whether they rest on everything that is there now."""

from __future__ import annotations

import duckdb

from ingest.storage.store import Store

METHOD = 7
"""Rises when parts or signals are judged or kept differently than before: every shop is then assessed again."""


def up_to_date(store: Store, plan_sha: str) -> bool:
    """Whether the stored assessments rest on everything that is stored, under this plan and this method."""
    with store.cursor() as cursor:
        row = cursor.execute(
            "select count(*) = 1 from assessed where plan_sha = $1 and method = $2 "
            "and receipts = (select coalesce(max(id), 0) from receipt) "
            "and decisions = (select coalesce(max(line), 0) from decision)",
            [plan_sha, METHOD],
        ).fetchone()
    return bool(row and row[0])


def mark(cursor: duckdb.DuckDBPyConnection, plan_sha: str, complete: bool) -> None:
    """Note what the assessments stored in this transaction rest on; nothing while on the way there."""
    cursor.execute("delete from assessed")
    if not complete:
        return
    cursor.execute(
        "insert into assessed select (select coalesce(max(id), 0) from receipt), "
        "(select coalesce(max(line), 0) from decision), $1, $2",
        [plan_sha, METHOD],
    )
