"""Deciding about rows that do not count: what the page and the commands ask for, in the same words."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from dashboard.words.amounts import count
from dashboard.work.shop_work import GOOD, MISUSE, Outcome

if TYPE_CHECKING:
    from ingest.answers.processes import SetAsideFact
    from ingest.shop.shop import Shop

SHOWN = 40
"""Rows listed at most, unless JSON is asked for."""


class Mistake(ValueError):  # noqa: N818 - reads as what it is
    """Something left out or written so that it cannot be used; the text is shown as it is."""


def spoken_by(shop: Shop, who: str) -> str:
    """Who speaks, checked against the plan.

    Raises
    ------
    Mistake
        Nobody of that name is in the plan.
    """
    if who not in shop.plan.people:
        people = ", ".join(shop.plan.people) or "none are named"
        raise Mistake(f"{who!r} is not among the plan's people: {people}.")
    return who


def list_rows(shop: Shop, receipt: int | None, kind: str | None, *, as_json: bool) -> Outcome:
    """Rows that do not count, with the number of their file, the reason and what to do."""
    rows = [r for r in shop.set_aside_rows(receipt) if kind in (None, r.kind)]
    if as_json:
        return Outcome(json.dumps([asdict(row) for row in rows], ensure_ascii=False), GOOD)
    if not rows:
        return Outcome("Every row counts.", GOOD)
    lines = [_told(row) for row in rows[:SHOWN]]
    if len(rows) > SHOWN:
        lines.append(f"{count(len(rows) - SHOWN, 'more row')}: name a file or a kind, or ask for --json.")
    return Outcome("\n".join(lines), GOOD)


def _told(row: SetAsideFact) -> str:
    column = f", column {row.col}" if row.col else ""
    means = f" It probably means {row.suggestion}." if row.suggestion else ""
    text = row.text if len(row.text) <= 120 else row.text[:117] + "..."
    head = f"receipt {row.receipt}  {row.name}, line {row.line}{column}  ({row.kind})"
    return f"{head}\n    {text}\n    {row.reason}{means} {row.remedy}"


def judge(shop: Shop, asked: Mapping[str, Any]) -> tuple[str, tuple[int, ...]]:
    """Use or reject rows of a file; what was done, and the journal lines to take it back by."""
    done = shop.judge_rows(
        int(asked["receipt"]),
        bool(asked["use"]),
        str(asked["reason"]),
        spoken_by(shop, str(asked["who"])),
        lines=asked.get("lines"),
        kind=asked.get("kind"),
        col=asked.get("col"),
        everything=bool(asked.get("everything")),
    )
    rows = count(done.rows, "row")
    said = (
        f"{rows} count from now on." if asked["use"] else f"{rows} rejected; what was received stays visible."
    )
    return said, done.journal_lines


def fix(shop: Shop, asked: Mapping[str, Any]) -> tuple[str, tuple[int, ...]]:
    """Write one line anew."""
    done = shop.fix_row(
        int(asked["receipt"]),
        int(asked["line"]),
        str(asked["text"]),
        str(asked["reason"]),
        spoken_by(shop, str(asked["who"])),
    )
    lines = done.receipts[0].lines
    if lines.stored + lines.partly == 0:
        said = (
            "Nothing new: what it says is stored already."
            if lines.known
            else "It was kept but set aside again."
        )
    else:
        said = "The line counts as written now; what was received stays beside it."
    return said, done.journal_lines


def correct(shop: Shop, asked: Mapping[str, Any]) -> tuple[str, tuple[int, ...]]:
    """Put right what stored rows say."""
    line = shop.correct_rows(
        int(asked["receipt"]),
        str(asked["field"]),
        str(asked["to"]),
        str(asked["reason"]),
        spoken_by(shop, str(asked["who"])),
        lines=asked.get("lines"),
        col=asked.get("col"),
    )
    return f"The {asked['field']} is put right; what stood there first stays in the note.", (line,)


def undo(shop: Shop, asked: Mapping[str, Any]) -> tuple[str, tuple[int, ...]]:
    """Take a decision back."""
    shop.undo(int(asked["entry"]), spoken_by(shop, str(asked["who"])), str(asked["reason"]))
    return f"Entry {asked['entry']} of the log is taken back; both stay in it.", ()


WORK = {"judge": judge, "fix": fix, "correct": correct, "undo": undo}


def run(shop: Shop, asked: Mapping[str, Any]) -> Outcome:
    """Do what a command asks; its mistakes become one sentence and exit code 2."""
    from ingest.shop.shop import ShopError

    if asked["act"] == "list":
        return list_rows(shop, asked.get("receipt"), asked.get("kind"), as_json=bool(asked.get("json")))
    try:
        said, lines = WORK[asked["act"]](shop, asked)
    except (Mistake, ShopError) as error:
        return Outcome("", MISUSE, str(error))
    back = "".join(f" Take it back with: tenthwise rows undo {line}" for line in lines[:1])
    return Outcome(said, GOOD, back.strip())
