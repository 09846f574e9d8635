"""Every row that does not count, why, and what to do: never stored, or stored and held back."""

from __future__ import annotations

import pandas as pd

from ingest.answers.processes import SetAsideFact
from ingest.assessing.reasons import REJECTED, RELEASES_ITSELF, explain
from ingest.state.moment import Moment
from ingest.state.queries import receipt_names
from ingest.storage.store import Store


def set_aside_facts(
    store: Store, moment: Moment, receipt: int | None, naming: str | None = None
) -> list[SetAsideFact]:
    """Rows that could not be stored, and stored readings that do not count for now; newest file first.

    A row that a person wrote anew counts through what was written, and one that a later reading of its file
    could store counts by itself: neither is among them. One that a person rejected stays, as rejected.
    With `naming`, only rows never stored whose text holds it.
    """
    names = receipt_names(store)
    verdicts = moment.known.verdicts_on_rows
    found = []
    for r in _never_stored(store, receipt, naming).to_dict("records"):
        line, col = int(r["line"]), r["col"] if isinstance(r["col"], str) else None
        sha = names[int(r["receipt"])][1]
        verdict = verdicts.get((sha, line, col)) or verdicts.get((sha, line, None))
        if verdict == "fixed":
            continue
        kind, reason, remedy = r["kind"], r["reason"], r["remedy"]
        if verdict == "rejected":
            kind, (reason, remedy) = "rejected", REJECTED
        found.append(
            SetAsideFact(
                int(r["receipt"]),
                r["name"],
                line,
                col,
                r["text"],
                kind,
                reason,
                remedy,
                releases_itself=False,
                stored=False,
            )
        )
    if naming is not None:
        return found
    held = moment.resolved.held()
    if receipt is not None:
        held = held[held["receipt"] == receipt]
    for r in held.to_dict("records"):
        code = int(r["fam"])
        family = moment.resolved.families[code] if code >= 0 else None
        reason, remedy = explain(moment.known.plan, {**r, "family_key": family})
        found.append(
            SetAsideFact(
                receipt=int(r["receipt"]),
                name=names[int(r["receipt"])][0],
                line=int(r["line"]),
                col=r["col"],
                text=f"{r['raw']} {r['raw_unit']}",
                kind=r["kind"],
                reason=reason,
                remedy=remedy,
                releases_itself=r["kind"] in RELEASES_ITSELF,
                suggestion=r["hint"] if isinstance(r["hint"], str) else None,
            )
        )
    return sorted(found, key=lambda f: (-f.receipt, f.line, f.col or ""))


def _never_stored(store: Store, receipt: int | None, naming: str | None) -> pd.DataFrame:
    """Rows and cells that could not be stored when their file was read last, with the name of the file."""
    with store.cursor() as cursor:
        return cursor.execute(
            "select s.*, f.name from set_aside s join receipt f on f.id = s.receipt "
            "where f.released_by is null and ($1 is null or s.receipt = $1) "
            "and ($2 is null or contains(s.text, $2)) "
            "order by s.receipt desc, s.line, s.col",
            [receipt, naming],
        ).df()
