"""A shop folder, opened: everything the pages and commands ask of it goes through here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from ingest.assessing.assessed import up_to_date
from ingest.intake import again as intake_again
from ingest.intake.in_parts import TooLarge, parts_of
from ingest.intake.receipt import IncomingFile, Receipt
from ingest.plans.file import decode_plan, parse_plan
from ingest.plans.model import Plan
from ingest.shop.asked import AnsweringShop
from ingest.shop.backup import snapshot, unpack, write_backup
from ingest.shop.folder import Folder, catch_up, mirror
from ingest.shop.open import ShopError
from ingest.shop.rows import RowDecidingShop
from ingest.state import queries
from ingest.storage.lock import FolderLock
from ingest.storage.store import Store
from ingest.views.export import table, write_table

__all__ = ["Shop", "ShopError"]

LARGE_MEMORY_MB = 300
"""What the database may hold in memory while a very large file comes in."""
PARTS_A_LOOK = 3
"""New parts of a large file taken in at one look at the inbox, so that small files never wait long behind it."""
PLAN_FILE = "plan file"
"""Stands for who accepted a plan that was edited by hand in the folder."""


class Shop(RowDecidingShop, AnsweringShop):
    """An open shop folder. Make one with `create` or `open`; close it to give the folder back.

    Safe to share between threads: reading takes a cursor for each call, writing one turn at a time.
    """

    @classmethod
    def create(cls, folder: Path, plan_text: str, known_at: datetime | None = None) -> Shop:
        """Make a shop in an empty or new folder and open it.

        Raises
        ------
        PlanError
            The plan is wrong.
        ShopError
            The folder already holds a shop.
        """
        plan = parse_plan(plan_text, "plan.toml")
        folder = Path(folder)
        if (folder / "plan.toml").exists() or _says_something(folder / "journal.jsonl"):
            raise ShopError(f"{folder} already holds a shop: open it, or choose an empty folder.")
        folder.mkdir(parents=True, exist_ok=True)
        lock = FolderLock(folder / "run")
        lock.acquire()
        try:
            places = Folder(folder)
            places.drop_database()  # of a shop whose making was cut short before it had a plan
            store = Store.open(places.database, places.run)
            shop = cls(places, store, lock, plan)
            shop._accept(plan, PLAN_FILE, known_at)
        except BaseException:
            lock.release()
            raise
        return shop

    @classmethod
    def open(cls, folder: Path) -> Shop:
        """Open a shop: take its lock, accept a plan edited by hand, catch up with archive and journal.

        Raises
        ------
        ShopBusy
            Another process owns the folder; its number is in the message.
        PlanError
            The plan in the folder is wrong.
        ShopError
            The folder holds no shop.
        StoreLost
            The database is missing or too old: rebuild it.
        """
        return cls._start(Path(folder), again=False)

    @classmethod
    def rebuild(cls, folder: Path, progress: Callable[[int, int], None] | None = None) -> Shop:
        """Make the database again from archive, journal and plans, and open the shop.

        Raises
        ------
        ShopBusy, PlanError, ShopError
            As for `open`.
        """
        return cls._start(Path(folder), again=True, progress=progress)

    @classmethod
    def _start(cls, folder: Path, again: bool, progress: Callable[[int, int], None] | None = None) -> Shop:
        if not (folder / "plan.toml").exists():
            raise ShopError(f"{folder} holds no shop: there is no plan.toml in it. Make one with 'new'.")
        lock = FolderLock(folder / "run")
        lock.acquire()
        store = None
        try:
            places = Folder(folder)
            plan = parse_plan(decode_plan(places.plan_file.read_bytes(), "plan.toml"), "plan.toml")
            if again:
                places.drop_database()
            store = Store.open(places.database, places.run)
            shop = cls(places, store, lock, plan)
            if places.accepted() is None or places.accepted().sha256 != plan.sha256:  # type: ignore[union-attr]
                shop._accept(plan, PLAN_FILE, None)
            before = queries.latest(store)
            missed = catch_up(places, store, progress)
            if missed or not up_to_date(store, plan.sha256):
                shop._refresh(_names(missed) or "files found in the archive", before)
        except BaseException:
            if store is not None:
                store.close()
            lock.release()
            raise
        return shop

    def close(self) -> None:
        """Close the database and give the folder back."""
        with self._turn:
            self._store.close()
            self._lock.release()

    def __enter__(self) -> Shop:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def take_in(
        self, files: Sequence[Path | IncomingFile], known_at: datetime | None = None
    ) -> list[Receipt]:
        """Take files in and assess the processes they touch.

        Parameters
        ----------
        files : sequence of Path or IncomingFile
        known_at : datetime, optional
            When the shop came to know them; by default now.

        Returns
        -------
        list of Receipt
            In the order of `files`; ``already`` marks one whose bytes were known.

        Raises
        ------
        OSError
            A file cannot be read; nothing has been taken in.
        """
        return self.take_in_batches([(known_at, files)])

    def take_in_batches(
        self,
        batches: Sequence[tuple[datetime | None, Sequence[Path | IncomingFile]]],
        progress: Callable[[int, int], None] | None = None,
    ) -> list[Receipt]:
        """Take in files that became known at several moments; assess once, at the end.

        Parameters
        ----------
        batches : sequence of (known_at, files)
            Oldest first.
        progress : callable, optional
            Told files done and files in all.
        """
        with self._turn:
            before = queries.latest(self._store)
            stamped = [(self._stamp(known), [_incoming(f) for f in files]) for known, files in batches]
            receipts = self._folder.take_batches(self._store, self.plan, stamped, progress)
            self._refresh(_names(receipts), before if len(batches) > 1 else None)
            return receipts

    def take_in_large(
        self,
        path: Path,
        known_at: datetime | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> list[Receipt]:
        """Take a very large file in by parts, and assess once at the end; parts known already are passed over.

        Parameters
        ----------
        progress : callable, optional
            Told bytes done and bytes in all.

        Raises
        ------
        TooLarge
            It cannot be split: no layout knows it, or its encoding does not allow it.
        OSError
            The file cannot be read; parts taken in before stay.
        """
        receipts: list[Receipt] = []
        total = path.stat().st_size
        with self._turn:
            stamp = self._stamp(known_at)
            try:
                with self._store.little_memory(LARGE_MEMORY_MB):
                    for part, done in parts_of(path, self.plan):
                        receipts += self._folder.take_batches(self._store, self.plan, [(stamp, [part])])
                        if progress is not None:
                            progress(done, total)
            finally:
                if any(not r.already for r in receipts):
                    self._refresh(path.name)
        return receipts

    def scan_inbox(self) -> list[Receipt]:
        """Take in what has settled in the inbox (unchanged for two looks); files taken in leave the folder.

        Of a large file a few parts at each look: how far it is stands in `inbox`, removing it stops it, and what
        is in stays. A full disk or a folder out of reach is told by `inbox` and tried again at the next look.
        """
        with self._turn:
            found = self._inbox.settled(datetime.now(UTC))
            if self._inbox.given_up():
                self._refresh("parts of a large file")
            try:
                receipts = self.take_in([file for _, file in found]) if found else []
            except OSError as error:
                self._inbox.failed(
                    f"{_names_of(found)} could not be taken in ({error.strerror or error}); nothing is lost, they are "
                    "tried again."
                )
                return []
            for path, _ in found:
                self._inbox.done(path)
            for path in self._inbox.large():
                receipts += self._some_parts(path)
            return receipts

    def _some_parts(self, path: Path) -> list[Receipt]:
        """Take the next parts of a large file of the inbox in; assess and remove the file at its end."""
        receipts: list[Receipt] = []
        try:
            total = path.stat().st_size
            with self._store.little_memory(LARGE_MEMORY_MB):
                for part, done in self._inbox.parts(path, self.plan):
                    given = self._folder.take_batches(self._store, self.plan, [(self._stamp(None), [part])])
                    receipts += [r for r in given if not r.already]
                    self._inbox.so_far(path, done)
                    if len(receipts) == PARTS_A_LOOK and done < total:
                        return receipts
        except TooLarge as error:
            self._inbox.stuck(path, str(error))
            return receipts
        except OSError as error:
            self._inbox.stuck(
                path,
                f"{path.name} cannot go on ({error.strerror or error}); what is in stays, the rest is tried again.",
            )
            return receipts
        except BaseException:  # the part at work is not in: it must not be passed over
            self._inbox.stuck(path, f"{path.name} cannot go on; what is in stays, the rest is tried again.")
            raise
        self._refresh(path.name)
        self._inbox.done(path)
        return receipts

    def backup(self, target: Path, step: Callable[[int, int], None] | None = None) -> int:
        """Write the shop as it stands into one file; work goes on meanwhile. Returns the files in it.

        Raises
        ------
        BackupError
            The file is there already or cannot be written, or the archive is damaged.
        """
        with self._turn:
            held = snapshot(self._folder, self.digest())
        return write_backup(held, Path(target), step)

    def export(self, target: Path) -> int:
        """Write every stored reading, with its source and what it counts as, as CSV; returns how many.

        Raises
        ------
        OSError
            The file is there already or cannot be written.
        """
        moment = self._now_moment()
        return write_table(table(self._store, moment), Path(target))

    @classmethod
    def restore(
        cls, source: Path, folder: Path, progress: Callable[[int, int], None] | None = None
    ) -> tuple[Shop, bool]:
        """Make a shop from a backup and open it.

        Returns
        -------
        shop : Shop
        equal : bool
            Whether its digest is that of the shop when the backup was made; not so when this program judges
            differently than the one that made it.

        Raises
        ------
        BackupError
            The folder is not empty, or the backup is not whole.
        ShopBusy, PlanError, ShopError
            As for `open`.
        """
        digest = unpack(Path(source), Path(folder))
        shop = cls.rebuild(Path(folder), progress)
        return shop, shop.digest() == digest

    def accept_plan(self, text: str, known_at: datetime | None = None, who: str = PLAN_FILE) -> Plan:
        """Use another plan from now on; files that waited for a layout are tried again.

        Raises
        ------
        PlanError
            The plan is wrong; the old one stays.
        """
        plan = parse_plan(text, "plan.toml")
        with self._turn:
            self._accept(plan, who, known_at)
            self._refresh("a new plan")
        return plan

    def _accept(self, plan: Plan, who: str, known_at: datetime | None) -> None:
        self._folder.keep_plan(plan)
        line = self._folder.journal.append(
            "plan_accepted", who, False, {"sha256": plan.sha256}, self._stamp(known_at)
        )
        mirror(self._store, line)
        self._use(plan)
        intake_again.retry(self._store, self._folder.archive, self._folder.journal, plan, line.known_at)


def _incoming(file: Path | IncomingFile) -> IncomingFile:
    return file if isinstance(file, IncomingFile) else IncomingFile(Path(file).name, Path(file).read_bytes())


def _says_something(path: Path) -> bool:
    """Whether a file is there with anything in it; one without is what a making leaves that was cut short."""
    return path.exists() and path.stat().st_size > 0


def _names_of(found: Sequence[tuple[Path, IncomingFile]]) -> str:
    return found[0][1].name if len(found) == 1 else f"{len(found)} files"


def _names(receipts: Sequence[Receipt]) -> str:
    names = [r.name for r in receipts if not r.already]
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
