"""The store: opened, brought up to date, refused with a sentence when it cannot be right."""

import hashlib
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from ingest.problems import ShopBusy, StoreError
from ingest.storage import store as store_module
from ingest.storage.archive import Archive, Archived
from ingest.storage.lock import FolderLock
from ingest.storage.store import Store, StoreLost, migrations
from tests.ingest.desk import RECEIVED, Desk, long_file, long_row


def test_migrations_are_numbered_one_after_another() -> None:
    assert [number for number, _, _ in migrations()] == list(range(1, len(migrations()) + 1))


def test_a_newer_store_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "s.duckdb"
    store = Store.open(path)
    with store.transaction() as cursor:
        cursor.execute("insert into schema_version values (999, '999_future.sql')")
    store.close()
    with pytest.raises(StoreError, match=r"made by a newer version .* update the program"):
        Store.open(path)


def test_a_migration_that_fails_leaves_the_old_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "s.duckdb"
    Store.open(path).close()
    known = migrations()
    bad = (
        len(known) + 1,
        "x.sql",
        "create table half (a int); insert into half values (1); select error('no')",
    )
    monkeypatch.setattr(store_module, "migrations", lambda: [*known, bad])
    with pytest.raises(duckdb.Error):
        Store.open(path)
    monkeypatch.undo()
    store = Store.open(path)
    with store.cursor() as cursor:
        names = {row[0] for row in cursor.execute("select table_name from duckdb_tables()").fetchall()}
    assert "half" not in names
    assert "reading" in names
    store.close()


def test_a_store_that_vanished_or_shrank_is_noticed(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.take(long_file(long_row(0)), long_file(long_row(1)))
    desk.close()
    path = tmp_path / "store.duckdb"
    kept = path.read_bytes()
    path.unlink()
    with pytest.raises(StoreLost, match="missing although it held 2 files"):
        Store.open(path)
    assert not path.exists()
    empty = Store.open(tmp_path / "other" / "store.duckdb")
    empty.close()
    path.write_bytes((tmp_path / "other" / "store.duckdb").read_bytes())
    with pytest.raises(StoreLost, match="holds 0 files but held 2"):
        Store.open(path)
    path.write_bytes(kept)
    Store.open(path).close()


def test_a_damaged_store_is_refused_with_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "s.duckdb"
    path.write_bytes(b"this is no database" * 1000)
    with pytest.raises(StoreError, match=r"cannot be opened \(.*\): rebuild it"):
        Store.open(path)


def test_a_store_in_use_names_its_owner(tmp_path: Path) -> None:
    path = tmp_path / "s.duckdb"
    hold = f"import duckdb, os; c = duckdb.connect({str(path)!r}); print(os.getpid(), flush=True); input()"
    child = subprocess.Popen(
        [sys.executable, "-c", hold], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    pid = child.stdout.readline().strip()
    with pytest.raises(StoreError, match=f"in use by process {pid}"):
        Store.open(path)
    child.communicate("\n")


def test_sql_reaches_no_other_file(tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("a\n1\n", encoding="utf-8")
    store = Store.open(tmp_path / "shop" / "s.duckdb")
    with store.cursor() as cursor, pytest.raises(duckdb.PermissionException):
        cursor.execute(f"select * from read_csv('{secret}')").fetchall()
    store.close()


def test_one_owner_of_a_folder(tmp_path: Path) -> None:
    lock = FolderLock(tmp_path / "run")
    lock.acquire()
    run = str(tmp_path / "run")
    take = f"from pathlib import Path; from ingest.storage.lock import FolderLock; FolderLock(Path({run!r})).acquire()"
    done = subprocess.run([sys.executable, "-c", take], capture_output=True, text=True, check=False)
    assert "in use by process" in done.stderr
    with pytest.raises(ShopBusy) as busy:
        FolderLock(tmp_path / "run").acquire()
    assert busy.value.pid is not None
    lock.release()
    again = FolderLock(tmp_path / "run")
    again.acquire()
    again.release()


@pytest.mark.parametrize("count", [6, 60])  # flushed one by one, and all together
def test_the_archive_keeps_bytes_and_the_moment_they_came(count: int, tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    datas = [f"file {n}".encode() for n in range(count)]
    entries = [
        Archived(hashlib.sha256(d).hexdigest(), f"{n}.csv", RECEIVED, len(d), n, 0)
        for n, d in enumerate(datas)
    ]
    archive.put(list(zip(entries, datas, strict=True)))
    assert archive.history() == entries
    assert [archive.read(e.sha256) for e in entries] == datas
    renamed = Archived(entries[0].sha256, "other.csv", RECEIVED, 6, 99, 0)
    archive.put([(renamed, datas[0])])
    assert archive.entry(entries[0].sha256) == entries[0]
    assert archive.verify() == []
    archive.path(entries[2].sha256).write_bytes(b"changed")
    assert [p.file for p in archive.verify()] == ["2.csv"]
    assert not [*tmp_path.rglob("*.tmp")]


def test_bytes_that_never_came_on_the_list_are_written_again(tmp_path: Path) -> None:
    data = b"cut off by a power cut"
    sha = hashlib.sha256(data).hexdigest()
    archive = Archive(tmp_path)
    archive.path(sha).parent.mkdir()
    archive.path(sha).write_bytes(data[:5])
    assert not archive.holds(sha)
    archive.put([(Archived(sha, "a.csv", RECEIVED, len(data), 1, 0), data)])
    assert archive.read(sha) == data
    assert Archive(tmp_path).history() == archive.history()


def test_half_a_line_at_the_end_of_the_list_is_removed_and_a_damaged_one_named(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    for n, data in enumerate((b"one", b"two")):
        entry = Archived(hashlib.sha256(data).hexdigest(), "caf\udce9.csv", RECEIVED, 3, n, 0)
        archive.put([(entry, data)])
    path = tmp_path / "received.jsonl"
    whole = path.read_bytes()
    path.write_bytes(whole + whole[:30])
    assert Archive(tmp_path).history() == archive.history()
    assert path.read_bytes() == whole
    path.write_bytes(whole.replace(b"sha256", b"sha257", 1))
    with pytest.raises(StoreError, match=r"Line 1 of received\.jsonl"):
        Archive(tmp_path)


def test_a_full_disk_leaves_the_archive_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = Archive(tmp_path)
    entry = Archived(hashlib.sha256(b"x").hexdigest(), "a.csv", RECEIVED, 1, 0, 0)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("ingest.storage.durable.os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        archive.put([(entry, b"x")])
    monkeypatch.undo()
    assert archive.history() == Archive(tmp_path).history() == []
    archive.put([(entry, b"x")])
    assert Archive(tmp_path).history() == [entry]
