"""What the commands do once a shop is open. The service runs the same functions for a command that hands its
work over, so both ways end in the same words and the same exit code."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.words.amounts import count
from dashboard.work import status as board_status

if TYPE_CHECKING:
    from ingest.intake.receipt import IncomingFile, Receipt
    from ingest.shop.shop import Shop

GOOD, OPEN_SIGNAL, MISUSE = 0, 1, 2
CHUNK = 25
"""Files taken in at once: few enough that a progress bar moves, enough that a year of files is quick."""


@dataclass(frozen=True)
class Outcome:
    """What a command says and how it ends."""

    out: str
    code: int
    err: str = ""

    def as_record(self) -> dict[str, Any]:
        """As it travels from the service to the command."""
        return {"out": self.out, "err": self.err, "code": self.code}


def both(first: Outcome, second: Outcome) -> Outcome:
    """Two outcomes one after another; the worse exit code stands."""
    out = "\n".join(text for text in (first.out, second.out) if text)
    err = "\n".join(text for text in (first.err, second.err) if text)
    return Outcome(out, max(first.code, second.code), err)


def receipt_line(receipt: Receipt) -> str:
    """What became of one file, in one line."""
    if receipt.already:
        return f"{receipt.name}: already taken in, nothing new"
    if receipt.status != "taken":
        word = "refused" if receipt.status == "refused" else "waits"
        return f"{receipt.name}: {word}. {receipt.message or receipt.reason or 'No reason is known.'}"
    lines = receipt.lines
    parts = [f"{lines.stored:,} of {count(lines.total, 'line')} stored"]
    for number, what in (
        (lines.partly, "partly stored"),
        (lines.known, "already known"),
        (lines.set_aside, "set aside"),
        (lines.blank, "blank or heading"),
    ):
        if number:
            parts.append(f"{number:,} {what}")
    return f"{receipt.name}: " + ", ".join(parts)


def ingest(
    shop: Shop, files: Sequence[IncomingFile], progress: Callable[[int, int], None] | None = None
) -> Outcome:
    """Take files in; exit code 2 when one was refused or waits, so that a script notices."""
    batches = [(None, files[start : start + CHUNK]) for start in range(0, len(files), CHUNK)]
    receipts = shop.take_in_batches(batches, progress)
    lines = [receipt_line(receipt) for receipt in receipts]
    stopped = [r for r in receipts if r.status != "taken"]
    err = ""
    if stopped:
        err = (
            f"{count(len(stopped), 'file')} could not be taken in; nothing is lost, the Intake page and "
            "`tenthwise check` say why."
        )
    return Outcome("\n".join(lines), MISUSE if stopped else GOOD, err)


def ingest_large(shop: Shop, path: Path, progress: Callable[[int, int], None] | None = None) -> Outcome:
    """Take a very large file in part by part; a stop is resumed by the same command."""
    from ingest.intake.in_parts import TooLarge

    try:
        receipts = shop.take_in_large(path, progress=progress)
    except TooLarge as error:
        return Outcome("", MISUSE, str(error))
    except OSError as error:
        again = "Parts taken in stay; run the same command again to go on."
        return Outcome("", MISUSE, f"{path} could not be taken in whole ({error.strerror or error}). {again}")
    fresh = [r for r in receipts if not r.already]
    stored, aside = (sum(getattr(r.lines, name) for r in fresh) for name in ("stored", "set_aside"))
    known = sum(r.lines.known for r in fresh)
    told = f"{path.name}: {count(len(receipts), 'part')}, {len(receipts) - len(fresh)} of them known before; "
    return Outcome(told + f"{stored:,} lines stored, {known:,} already known, {aside:,} set aside", GOOD)


def status(shop: Shop, as_of: date | None, *, json: bool) -> Outcome:
    """The board, as text or JSON; exit code 1 while a signal is open."""
    rows = shop.board(as_of)
    text = board_status.as_json(rows, shop.plan) if json else board_status.as_text(rows, shop.plan)
    return Outcome(text, board_status.exit_code(rows))


def backup(shop: Shop, target: Path, step: Callable[[int, int], None] | None = None) -> Outcome:
    """Write the shop into one file."""
    from ingest.shop.backup import BackupError

    try:
        files = shop.backup(target, step)
    except BackupError as error:
        return Outcome("", MISUSE, str(error))
    return Outcome(
        f"{target} holds {count(files, 'file')}: all that was received, decided and planned.", GOOD
    )


def export(shop: Shop, target: Path) -> Outcome:
    """Write every stored reading as CSV."""
    try:
        rows = shop.export(target)
    except OSError as error:
        return Outcome("", MISUSE, f"{target} cannot be written: {error.strerror or error}.")
    return Outcome(f"{target} holds {count(rows, 'reading')}.", GOOD)


def rebuilt(shop: Shop) -> Outcome:
    """What a rebuild says: the digest of everything that was brought back."""
    return Outcome(f"Everything is back from archive, journal and plans. Digest {shop.digest()}", GOOD)
