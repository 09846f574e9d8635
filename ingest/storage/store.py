"""The database of a shop: opening, migrating, and safe access from several threads.

The store is derived: archive and journal are the truth. It still must never be wrong silently, so a mark
outside it remembers how far it had come; a store that is missing or shorter than that is refused.
"""

from __future__ import annotations

import errno
import json
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import duckdb

from ingest.problems import StoreError
from ingest.storage.durable import fsync_folder, replace_durably

_DAMAGE = (duckdb.IOException, duckdb.FatalException, duckdb.InternalException, duckdb.SerializationException)
_MIGRATION = re.compile(r"(\d{3})_\w+\.sql")


class StoreLost(StoreError):  # noqa: N818 - a state of the store
    """The store is missing or older than it was; it must be rebuilt from archive and journal."""


class NewerStore(StoreError):  # noqa: N818 - a state of the store
    """The store was made by a newer version of the program; this one must leave it alone."""


def migrations() -> list[tuple[int, str, str]]:
    """Number, name and SQL of every migration, in order."""
    found = []
    for entry in Path(__file__).with_name("schema").iterdir():
        match = _MIGRATION.fullmatch(entry.name)
        if match:
            found.append((int(match.group(1)), entry.name, entry.read_text(encoding="utf-8")))
    return sorted(found)


class Store:
    """An open store. Make one with `Store.open`; share it between threads, take a cursor for each call."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path, mark: Path) -> None:
        self.path = path
        self._connection = connection
        self._mark = mark
        self._writing = threading.RLock()

    @classmethod
    def open(cls, path: Path, run: Path | None = None) -> Store:
        """Open the store, make it if it never existed, bring its tables up to date.

        Parameters
        ----------
        path : Path
            The database file. Nothing else in this process may open it, not even to copy it.
        run : Path, optional
            Folder for the high-water mark; by default ``run`` beside the file.

        Raises
        ------
        StoreLost
            The file is missing or holds less than it did; rebuild it.
        StoreError
            It was made by a newer version, is damaged, or is held by another process.
        """
        mark = (run or path.parent / "run") / "high_water.json"
        mark.parent.mkdir(parents=True, exist_ok=True)
        had = cls._read_mark(mark)
        if not path.exists():
            if had:
                raise StoreLost(
                    f"The database {path.name} is missing although it held {had} files: "
                    "rebuild it from the archive."
                )
            cls._create(path)
        store = cls(cls._connect(path), path, mark)
        try:
            store._migrate()
            if store.high_water() < had:
                raise StoreLost(
                    f"The database {path.name} holds {store.high_water()} files but held {had}: "
                    "rebuild it from the archive."
                )
        except _DAMAGE as error:
            store.close()
            raise cls._damaged(path, error) from None
        except BaseException:
            store.close()
            raise
        return store

    @staticmethod
    def _damaged(path: Path, error: duckdb.Error) -> StoreError:
        first = str(error).splitlines()[0]
        return StoreError(f"The database {path.name} is damaged ({first}): rebuild it.")

    @classmethod
    def _create(cls, path: Path) -> None:
        """Make the file under another name first: a half-made database cannot be opened."""
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = path.with_name(f".{path.name}.new")
        for leftover in (temporary, temporary.with_name(f"{temporary.name}.wal")):
            leftover.unlink(missing_ok=True)
        connection = cls._connect(temporary)
        try:
            cls(connection, temporary, path)._migrate()
            connection.execute("checkpoint")
        finally:
            connection.close()
        temporary.replace(path)
        fsync_folder(path.parent)

    @staticmethod
    def _connect(path: Path) -> duckdb.DuckDBPyConnection:
        config: dict[str, str | bool | int | float | list[str]] = {
            "checkpoint_threshold": "256MB",
            "autoinstall_known_extensions": False,
            "autoload_known_extensions": False,
        }
        try:
            connection = duckdb.connect(str(path), config=config)
            # a copy for the backup may be written beside the store, nothing else is reachable by SQL
            connection.execute("set allowed_directories = [$1]", [str(path.parent.resolve())])
            connection.execute("set enable_external_access = false")
            connection.execute("set enable_progress_bar = false")
        except duckdb.Error as error:
            text = str(error)
            if "lock" in text.lower():
                pid = re.search(r"PID (\d+)", text)
                holder = f"process {pid.group(1)}" if pid else "another process"
                raise StoreError(f"The database {path.name} is in use by {holder}.") from None
            first = text.splitlines()[0]
            raise StoreError(f"The database {path.name} cannot be opened ({first}): rebuild it.") from None
        return connection

    def _migrate(self) -> None:
        known = migrations()
        with self.transaction() as cursor:
            cursor.execute("create table if not exists schema_version (number integer, name varchar)")
            done = {row[0] for row in cursor.execute("select number from schema_version").fetchall()}
        newest = max(number for number, _, _ in known)
        if done and max(done) > newest:
            raise NewerStore(
                f"The database {self.path.name} was made by a newer version of this program "
                f"(schema {max(done)}, this version knows {newest}): update the program."
            )
        for number, name, sql in known:
            if number not in done:
                with self.transaction() as cursor:
                    cursor.execute(sql)
                    cursor.execute("insert into schema_version values ($1, $2)", [number, name])

    @contextmanager
    def cursor(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A cursor for one call. Never hand it to another thread: two threads on one would mix up answers."""
        cursor = self._connection.cursor()
        try:
            yield cursor
        finally:
            cursor.close()

    @contextmanager
    def transaction(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A cursor inside a transaction: committed at the end, undone whole if anything is raised.

        One writer at a time; readers are not held up.

        Raises
        ------
        OSError
            The disk took no more; nothing was stored, and the store can be used again.
        """
        with self._writing:
            try:
                with self._whole() as cursor:
                    yield cursor
            except (*_DAMAGE, duckdb.TransactionException) as error:
                self._start_again()
                text = str(error).lower()
                if "could not read" in text or (
                    not isinstance(error, duckdb.IOException) and "write" not in text
                ):
                    raise  # a file cut short is damage, not a full disk
                first = str(error).splitlines()[0].rsplit(": ", 1)[-1]
                raise OSError(
                    errno.EIO, f"the database could not be written: {first}", str(self.path)
                ) from None

    @contextmanager
    def _whole(self) -> Iterator[duckdb.DuckDBPyConnection]:
        with self.cursor() as cursor:
            cursor.begin()
            try:
                yield cursor
            except BaseException:
                with suppress(duckdb.Error):  # the engine undid it already, or must be opened anew
                    cursor.rollback()
                raise
            cursor.commit()

    def _start_again(self) -> None:
        """Open the database anew: after a disk was full the engine may answer nothing any more."""
        self._connection.close()
        self._connection = self._connect(self.path)

    @contextmanager
    def little_memory(self, megabytes: int) -> Iterator[None]:
        """Keep what the database holds in memory small for a while; otherwise it grows with the file."""
        with self.cursor() as cursor:
            row = cursor.execute("select current_setting('memory_limit')").fetchone()
            cursor.execute(f"set memory_limit = '{int(megabytes)}MB'")
        try:
            yield
        finally:
            with self.cursor() as cursor:
                cursor.execute(f"set memory_limit = '{row[0] if row else '4GB'}'")

    def acknowledge(self) -> None:
        """After a commit: make the folder entry durable and move the high-water mark up."""
        fsync_folder(self.path.parent)
        replace_durably(self._mark, json.dumps({"receipts": self.high_water()}).encode())

    def high_water(self) -> int:
        """Number of the newest receipt; 0 when there is none."""
        with self.cursor() as cursor:
            return int(cursor.execute("select coalesce(max(id), 0) from receipt").fetchall()[0][0])

    @staticmethod
    def _read_mark(mark: Path) -> int:
        try:
            return int(json.loads(mark.read_bytes())["receipts"])
        except (OSError, ValueError, KeyError, TypeError):
            return 0

    def checkpoint(self) -> None:
        """Fold the log into the database file; called at idle times, right after a backup."""
        with self._writing, self.cursor() as cursor:
            cursor.execute("checkpoint")

    def close(self) -> None:
        """Close the database; cursors still open become unusable."""
        self._connection.close()
