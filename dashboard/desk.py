"""The one open shop behind pages and commands: reads are remembered until a change, writes queue up."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, TypeVar

from dashboard.long_work import Work
from ingest.answers.processes import BoardRow, LogEntry, PartView, ProcessView, ReceiptFact, SetAsideFact

if TYPE_CHECKING:
    from ingest.shop.shop import Shop
    from spc.capability.histogram import Histogram
    from spc.capability.process_capability import Capability
    from spc.capability.shapes import Drawable

T = TypeVar("T")
REMEMBERED = 128
KEPT = 2048


class Desk:
    """A shop, the lock its writers take, and what its readers were told last.

    Parameters
    ----------
    shop : Shop
        Open; the desk does not close it.
    """

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.version = 0
        """Counts the writes; a page that was told a lower number is out of date."""
        self.looked: datetime | None = None
        """When the inbox was last looked at, by the machine's clock."""
        self._writing = threading.RLock()
        self._remembering = threading.Lock()
        self._told: OrderedDict[Hashable, object] = OrderedDict()
        self._kept: dict[Hashable, tuple[object, object]] = {}
        self.work = Work(lambda: self.version)
        """Long work that pages wait for."""

    def write(self, work: Callable[[Shop], T]) -> T:
        """Run work that changes the shop, one at a time, and forget what was told before."""
        with self._writing:
            try:
                return work(self.shop)
            finally:
                self.forget()

    def forget(self) -> None:
        """Something changed: what was told before is no longer true."""
        with self._remembering:
            self.version += 1
            self._told.clear()

    def scan_inbox(self) -> int:
        """Take in what lies ready in the inbox; how many files that were. An empty inbox disturbs nobody."""
        with self._writing:
            before = self.shop.inbox.large
            receipts = self.shop.scan_inbox()
        self.looked = datetime.now(UTC)
        if receipts or self.shop.inbox.large != before:
            self.forget()
        return len(receipts)

    def swap(self, reopen: Callable[[Shop], Shop]) -> None:
        """Close the shop and put another in its place (after a rebuild), with no writer in between."""

        def work(shop: Shop) -> None:
            self.shop = reopen(shop)

        self.write(work)

    def now(self) -> datetime:
        """The shop's clock."""
        return self.shop.now()

    def remember(self, key: tuple[Hashable, ...], ask: Callable[[], T]) -> T:
        """What was answered to this question since the last change and within this minute, or a new answer."""
        # Ages and silence move with the clock, so a minute is as long as an answer may live.
        full = (*key, self.version, self.now().replace(second=0, microsecond=0))
        with self._remembering:
            if full in self._told:
                self._told.move_to_end(full)
                return self._told[full]  # type: ignore[return-value]
        answer = ask()
        with self._remembering:
            self._told[full] = answer
            while len(self._told) > REMEMBERED:
                self._told.popitem(last=False)
        return answer

    def keep(self, key: Hashable, basis: object, make: Callable[[], T]) -> T:
        """What was made under this key last time if it was made from an equal basis, or a new one; changes or not.

        Most changes leave most of the list as it was: what is drawn of a row is good while the row is the same.
        """
        kept = self._kept.get(key)
        if kept is not None and kept[0] == basis:
            return kept[1]  # type: ignore[return-value]
        answer = make()
        if len(self._kept) >= KEPT:
            self._kept.clear()
        self._kept[key] = (basis, answer)
        return answer

    def board(self, as_of: date | None = None) -> list[BoardRow]:
        """Every process, worst first."""
        return self.remember(("board", as_of), lambda: self.shop.board(as_of))

    def process(self, process: str) -> ProcessView:
        """Everything about one process.

        Raises
        ------
        LookupError
            There is no such process.
        """
        view = self.remember(("process", process), lambda: self.shop.process(process))
        if view is None:
            raise LookupError(process)
        return view

    def part(self, serial: str) -> PartView | None:
        """One part by serial; None when nobody has heard of it."""
        return self.remember(("part", serial), lambda: self.shop.part(serial))

    def capability(self, process: str, family: str) -> Capability | None:
        """What a process can hold in a family; None when it has no part there."""
        return self.remember(("capability", process, family), lambda: self.shop.capability(process, family))

    def histogram(self, process: str, family: str, fit: Drawable | None) -> Histogram | None:
        """The readings behind a capability in classes; None when there are none."""
        key = ("histogram", process, family, fit)
        return self.remember(key, lambda: self.shop.histogram(process, family, fit))

    def log(self) -> list[LogEntry]:
        """Every event, signal, decision and file, newest first."""
        return self.remember(("log",), lambda: self.shop.log())

    def withdrawn(self, most: int) -> list[LogEntry]:
        """The newest signals that late rows removed."""
        return self.remember(("withdrawn", most), lambda: self.shop.withdrawn(most))

    def receipts(self) -> list[ReceiptFact]:
        """Every file received."""
        return self.remember(("receipts",), lambda: self.shop.receipts())

    def set_aside_rows(self, receipt: int | None = None) -> list[SetAsideFact]:
        """Rows and cells that do not count."""
        return self.remember(("aside", receipt), lambda: self.shop.set_aside_rows(receipt))
