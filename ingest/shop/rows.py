"""What people decide about rows: use them, reject them, write them anew, put right what stored ones say."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from ingest.answers.processes import SetAsideFact
from ingest.assessing.reasons import WAITING
from ingest.intake import batches as intake
from ingest.intake.fixes import fix_body, fix_name, fixes_of
from ingest.intake.judged import contradicted
from ingest.intake.receipt import IncomingFile, Receipt
from ingest.intake.tally import complaints_of
from ingest.layouts.context import Registers
from ingest.layouts.draft import Draft
from ingest.layouts.header import HeaderReader
from ingest.layouts.sheet import NoSheet, read_sheet
from ingest.readings.corrections import FIELDS, WORDS
from ingest.shop.decisions import DecidingShop
from ingest.shop.folder import mirror
from ingest.shop.open import ShopError
from ingest.state import queries
from spc.units import UnitError, dimension, parse_unit

SETTLED_BY_WORD = ("scale_suspect", "duplicate_conflict", "row_truncated", "header_changed")
"""Reasons for which a row was not stored although it can be read: a person's word is enough."""


@dataclass(frozen=True)
class Decided:
    """What a decision on rows came to.

    Attributes
    ----------
    journal_lines : tuple of int
        To take it back by.
    rows : int
        Rows and cells it was about.
    receipts : tuple of Receipt
        Of rows that were not stored before.
    """

    journal_lines: tuple[int, ...]
    rows: int
    receipts: tuple[Receipt, ...] = ()


class RowDecidingShop(DecidingShop):
    """Decisions on rows. Use `ingest.shop.shop.Shop`."""

    def judge_rows(
        self,
        receipt: int,
        use: bool,
        reason: str,
        who: str,
        lines: Collection[int] | None = None,
        kind: str | None = None,
        col: str | None = None,
        known_at: datetime | None = None,
        verified: bool = False,
        everything: bool = False,
    ) -> Decided:
        """Use rows of a file that were set aside, or reject them for good; either answers a question about them.

        Parameters
        ----------
        lines : collection of int, optional
            By default every row of the file that does not count. A line that counts may be named too.
        kind, col : str, optional
            Only rows set aside for this reason, only this column.
        everything : bool
            Every row of the file, also those that count.

        Raises
        ------
        ShopError
            There is no such row, or one cannot be used as it stands: it has to be written anew.
        """
        if not reason.strip():
            raise ShopError("Say why: the log keeps the reason beside the decision.")
        with self._turn:
            sha, name = self._file(receipt)
            counting = (
                self._counting(sha, None if everything else lines, kind, col) if lines or everything else []
            )
            rest = None if lines is None else sorted({*lines} - {line for line, _ in counting})
            try:
                chosen = self._chosen(receipt, rest, kind, col) if rest != [] else []
            except ShopError:
                if not (everything and counting):
                    raise
                chosen = []
            stored = [(f.line, f.col) for f in chosen if f.stored]
            others = [f for f in chosen if not f.stored]
            unusable = [f for f in chosen if f.kind in WAITING or not (f.stored or f.kind in SETTLED_BY_WORD)]
            if use and unusable:
                first = unusable[0]
                way = (
                    "Correct what it says, or reject it."
                    if first.stored
                    else "Write the line anew, or reject it."
                )
                raise ShopError(
                    f"{name}, line {first.line} cannot be used as it stands: {first.reason} {way}"
                )
            cells = counting + (stored if use else [(f.line, f.col) for f in chosen])
            numbers: list[int] = []
            receipts: list[Receipt] = []
            if use and others:
                rows = {f.line: f.text for f in others}
                number, given = self._fix(receipt, rows, True, reason, who, known_at, verified)
                numbers.append(number)
                receipts.append(given)
            if cells:
                body = {"sha256": sha, "name": name, "cells": [list(c) for c in cells], "reason": reason}
                what = "release_row" if use else "reject_row"
                numbers.append(self._decide(what, who, body, known_at, verified))
            return Decided(tuple(numbers), len(chosen) + len(counting), tuple(receipts))

    def fix_row(
        self,
        receipt: int,
        line: int,
        text: str,
        reason: str,
        who: str,
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> Decided:
        """Write a line that was set aside anew; the line as received stays beside it.

        Parameters
        ----------
        text : str
            The whole line, as the file should have had it.

        Raises
        ------
        ShopError
            The line was not set aside, or the new text cannot be stored either: the reason is told.
        """
        if not reason.strip():
            raise ShopError("Say why: the log keeps the reason beside the decision.")
        if not text.strip():
            raise ShopError("Write the whole line as it should be; to drop it, reject it.")
        with self._turn:
            chosen = self._chosen(receipt, [line], None, None)
            if any(fact.stored for fact in chosen):
                raise ShopError(
                    f"Line {line} is stored and in doubt: use it, reject it, or correct what it says."
                )
            number, given = self._fix(
                receipt, {line: text.strip("\r\n")}, False, reason, who, known_at, verified
            )
            return Decided((number,), 1, (given,))

    def correct_rows(
        self,
        receipt: int,
        field: str,
        to: str,
        reason: str,
        who: str,
        lines: Collection[int] | None = None,
        col: str | None = None,
        known_at: datetime | None = None,
        verified: bool = False,
    ) -> int:
        """Put right what stored readings (and jobs) of a file say; what they said first stays visible.

        Parameters
        ----------
        field : str
            One of `ingest.readings.corrections.FIELDS`.
        to : str
            What it should say; for the sign ``turned``.
        lines : collection of int, optional
            By default the whole file.

        Raises
        ------
        ShopError
            Field or value are not legal, or no stored row is meant.
        """
        if not reason.strip():
            raise ShopError("Say why: the log keeps the reason beside the decision.")
        sha, name = self._file(receipt)
        with self._turn:
            known = self._now_moment().known
            rows = known.readings[known.readings["sha"] == sha]
            told = {int(n) for n in rows["line"]}
            told |= {int(n) for n in known.jobs.loc[known.jobs["sha"] == sha, "line"]}
            missing = sorted(set(lines or ()) - told)
            if missing or not told:
                where = f"line {missing[0]}" if missing else "any line"
                raise ShopError(
                    f"Nothing is stored of {where} of {name}: look for it among what was set aside."
                )
            body = {
                "sha256": sha,
                "name": name,
                "lines": sorted(set(lines)) if lines is not None else None,
                "col": col,
                "field": field,
                "to": self._legal(field, to, set(rows["raw_unit"].dropna())),
                "reason": reason,
            }
            return self._decide("correct_rows", who, body, known_at, verified)

    def _legal(self, field: str, to: str, units: set[str]) -> str:
        """The value a field is put right to, as the store writes it."""
        text = to.strip()
        closed = {"family": self.plan.families, "machine": self.plan.machines}
        if field not in FIELDS:
            raise ShopError(f"{field!r} cannot be corrected; only {', '.join(FIELDS)} can.")
        if field in closed and text not in closed[field]:
            raise ShopError(f"The plan has no {field} {text!r}; it has {', '.join(sorted(closed[field]))}.")
        if field in WORDS and not text:
            raise ShopError(f"Say what the {field} should be.")
        if field == "sign":
            return "turned"
        if field == "unit":
            try:
                unit = parse_unit(text)
            except UnitError as error:
                raise ShopError(str(error)) from None
            if any(dimension(unit) != dimension(other) for other in units):
                raise ShopError(f"{unit} measures something else than {', '.join(sorted(units))}.")
            return unit
        return text

    def _file(self, receipt: int) -> tuple[str, str]:
        names = queries.receipt_names(self._store)
        if receipt not in names:
            raise ShopError(f"There is no receipt {receipt}: look its number up on the Intake page.")
        name, sha = names[receipt]
        return sha, name

    def _counting(
        self, sha: str, lines: Collection[int] | None, kind: str | None, col: str | None
    ) -> list[tuple[int, str | None]]:
        """Lines of a file (by default all) with readings that count, none of which is set aside or in doubt."""
        if kind is not None:
            return []
        resolved = self._now_moment().resolved
        rows = resolved.readings[resolved.readings["sha"] == sha]
        aside = resolved.held()
        held = {int(n) for n in aside["line"][aside["sha"] == sha]}
        told = {int(n) for n in rows["line"]} - held
        return [(n, col) for n in sorted(told if lines is None else told & set(lines))]

    def _chosen(
        self, receipt: int, lines: Collection[int] | None, kind: str | None, col: str | None
    ) -> list[SetAsideFact]:
        self._file(receipt)
        facts = [
            f
            for f in self.set_aside_rows(receipt)  # type: ignore[attr-defined] - of the shop that answers
            if (kind is None or f.kind == kind) and (col is None or f.col == col)
        ]
        held = {f.line for f in facts}
        missing = sorted(set(lines or ()) - held)
        if missing:
            raise ShopError(f"Line {missing[0]} of receipt {receipt} is not among the rows set aside.")
        chosen = [f for f in facts if lines is None or f.line in set(lines)]
        if not chosen:
            raise ShopError(f"No row of receipt {receipt} is set aside" + (f" as {kind}." if kind else "."))
        return chosen

    def _fix(
        self,
        receipt: int,
        rows: dict[int, str],
        believed: bool,
        reason: str,
        who: str,
        known_at: datetime | None,
        verified: bool,
    ) -> tuple[int, Receipt]:
        """Note the rows in the journal, and take the file in that they make."""
        sha, name = self._file(receipt)
        folder, store = self._folder, self._store
        original = folder.archive.read(sha)
        sheet = read_sheet(0, name, original, 0, HeaderReader(self.plan))
        if isinstance(sheet, NoSheet):
            raise ShopError(f"{name} cannot be read under the plan of today: {sheet.complaint.reason}")
        number = len(folder.journal) + 1
        body, data = fix_body(original, sha, name, sheet.preamble, rows, number, believed, [], reason)
        drafts = self._tried(sha, name, data, believed)
        if believed:
            withdrawn = [s for s, fix in fixes_of(folder.journal).items() if fix.withdrawn]
            with store.cursor() as cursor:
                body["instead"] = [
                    list(place) for one in drafts for place in contradicted(cursor, one.readings, withdrawn)
                ]
        line = folder.journal.append("fix_rows", who, verified, body, self._stamp(known_at))
        mirror(store, line)
        made = IncomingFile(fix_name(line), data)
        given = intake.take_in(store, folder.archive, folder.journal, self.plan, [made], line.known_at)
        self._refresh(f"line {line.n} of the journal (rows written anew by {who})")
        return line.n, given[0]

    def _tried(self, sha: str, name: str, data: bytes, believed: bool) -> Sequence[Draft]:
        """Read a file before it is kept, and refuse one that holds a row that cannot be stored."""
        first = self._folder.archive.entry(sha)
        came = first.known_at if first else self._stamp(None)
        item = intake.Item("", name, data, came, None, came, believed)
        read, drafts = intake.drafts_of([item], self.plan, HeaderReader(self.plan), Registers(self.plan))
        if isinstance(read[0], NoSheet):
            raise ShopError(f"With this line {name} could not be read any more: {read[0].complaint.reason}")
        wrong = [complaint for one in drafts for complaint in complaints_of(one)]
        if wrong:
            raise ShopError(
                f"The line cannot be stored so either: {wrong[0].reason} {wrong[0].remedy} Nothing was changed."
            )
        return drafts
