"""Disks that are full, folders that may only be read, files cut short: it opens again, or says what to do."""

import errno
import os
import random
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from ingest.problems import StoreError
from ingest.shop.shop import Shop
from ingest.storage import durable
from ingest.storage.archive import ArchiveError
from ingest.storage.journal import JournalError
from tests.conftest import lacking
from tests.faults.checks import assert_sound, opened
from tests.faults.conftest import FAULTS
from tests.ingest.small_shop import PLAN, day_files, parts

DAYS = day_files(parts(9))
DATABASE = "tenthwise.duckdb"
ANY_USER = 65534
"""Number of the user who owns nothing, on most systems."""


@pytest.fixture(scope="module")
def stopped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop folder as a stop of the power leaves it: the log of the database not yet folded in."""
    folder = tmp_path_factory.mktemp("stopped") / "shop"
    shop = Shop.create(folder, PLAN)
    shop.take_in_batches(DAYS[:2])
    shop._store.checkpoint()
    for day in DAYS[2:]:
        shop.take_in_batches([day])
    copy = folder.with_name("copy")
    shutil.copytree(folder, copy)  # this process never opens the copy's database before the test does
    assert (copy / f"{DATABASE}.wal").stat().st_size > 0
    shop.close()
    return copy


@pytest.fixture
def folder(stopped: Path, tmp_path: Path) -> Path:
    shutil.copytree(stopped, tmp_path / "shop")
    return tmp_path / "shop"


def hashes(folder: Path) -> set[str]:
    return {path.stem for path in (folder / "archive").glob("??/*.csv")}


@pytest.mark.parametrize("seed", range(FAULTS))
def test_a_log_cut_anywhere_loses_nothing(seed: int, folder: Path) -> None:
    wal = folder / f"{DATABASE}.wal"
    whole = wal.read_bytes()
    cut = random.Random(seed).randrange(len(whole))
    tail = (
        b"\0" * (len(whole) - cut) if seed % 2 else b""
    )  # what a file system leaves of a block it never wrote
    wal.write_bytes(whole[:cut] + tail)
    assert_sound(folder, hashes(folder))


@pytest.mark.parametrize("seed", range(FAULTS))
def test_a_database_cut_anywhere_is_made_again(seed: int, folder: Path) -> None:
    path = folder / DATABASE
    whole = path.read_bytes()
    path.write_bytes(whole[: random.Random(seed).randrange(len(whole))])
    assert_sound(folder, hashes(folder))


@pytest.mark.parametrize("seed", range(FAULTS))
def test_a_torn_page_of_the_database_is_noticed(seed: int, folder: Path) -> None:
    path = folder / DATABASE
    whole = bytearray(path.read_bytes())
    at = random.Random(seed).randrange(len(whole) // 4096) * 4096
    whole[at : at + 4096] = b"\0" * len(whole[at : at + 4096])
    path.write_bytes(bytes(whole))
    assert_sound(folder, hashes(folder))


@pytest.mark.parametrize("gone", [(DATABASE,), (f"{DATABASE}.wal",), (DATABASE, f"{DATABASE}.wal")])
def test_a_database_or_log_that_is_gone_is_noticed(gone: tuple[str, ...], folder: Path) -> None:
    for name in gone:
        (folder / name).unlink()
    assert_sound(folder, hashes(folder))


@pytest.mark.parametrize("seed", range(FAULTS))
def test_a_journal_cut_anywhere_opens_or_names_the_line(seed: int, folder: Path) -> None:
    path = folder / "journal.jsonl"
    whole = path.read_bytes()
    cut = random.Random(seed).randrange(len(whole))
    path.write_bytes(whole[:cut])
    _opens_or_tells(folder)


@pytest.mark.parametrize("seed", range(FAULTS))
def test_a_changed_journal_or_list_names_the_line_and_the_way_out(seed: int, folder: Path) -> None:
    rng = random.Random(seed)
    path = folder / ("journal.jsonl" if seed % 2 else "archive/received.jsonl")
    data = bytearray(path.read_bytes())
    data[rng.randrange(len(data) - 1)] ^= 1 << rng.randrange(8)
    path.write_bytes(bytes(data))
    _opens_or_tells(folder)


def _opens_or_tells(folder: Path) -> None:
    """Opening works, or ends in one sentence with a way out; nothing else ever."""
    try:
        opened(folder).close()
    except (JournalError, ArchiveError) as error:
        assert "backup" in str(error)
    except StoreError as error:
        assert "rebuild" in str(error) or "backup" in str(error)


def _every_call(fails: Callable[[int], bool]) -> Callable[[Callable], Callable]:
    """A wrapper that lets the calls fail whose number says so."""
    count = 0

    def wrap(real: Callable) -> Callable:
        def call(*args: object, **kwargs: object) -> object:
            nonlocal count
            count += 1
            if fails(count):
                raise OSError(errno.ENOSPC, "No space left on device")
            return real(*args, **kwargs)

        return call

    return wrap


@pytest.mark.parametrize("nth", range(1, 4 * FAULTS, 3))
def test_the_nth_write_fails_on_a_full_disk(
    nth: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One write after another fails, and then the disk stays full; once there is room again nothing is missing."""
    folder = tmp_path / "shop"
    shop = Shop.create(folder, PLAN)
    acknowledged: set[str] = set()
    wrap = _every_call(lambda n: n >= nth)
    monkeypatch.setattr(durable.os, "write", wrap(os.write))
    monkeypatch.setattr(durable.os, "fsync", wrap(os.fsync))
    failed = 0
    for known_at, batch in DAYS:
        for file in batch:
            try:
                acknowledged |= {r.sha256 for r in shop.take_in([file], known_at=known_at)}
            except OSError as error:
                assert "No space left" in str(error)
                failed += 1
    assert failed
    monkeypatch.undo()
    for known_at, batch in DAYS:  # there is room again: the same shop goes on, without being opened anew
        acknowledged |= {r.sha256 for r in shop.take_in(batch, known_at=known_at)}
    shop.close()
    assert len(acknowledged) == sum(len(batch) for _, batch in DAYS)
    assert_sound(folder, acknowledged)


@pytest.fixture
def small_disk() -> Iterator[Callable[[int], None]]:
    """Limits the size any file of this process may reach, as a disk does that is nearly full."""
    try:
        import resource
    except ImportError:
        lacking("this system cannot limit the size of a file")
    import signal

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    yield lambda size: resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    resource.setrlimit(resource.RLIMIT_FSIZE, before)
    signal.signal(signal.SIGXFSZ, handler)


@pytest.mark.parametrize("seed", range(FAULTS))
def test_a_database_that_cannot_grow_loses_nothing(
    seed: int, folder: Path, small_disk: Callable[[int], None]
) -> None:
    held = hashes(folder)
    shop = Shop.open(folder)
    wal = folder / f"{DATABASE}.wal"
    size = wal.stat().st_size if wal.exists() else 0
    small_disk(size + random.Random(seed).randrange(60_000))
    more = day_files(parts(30))[3:]
    told = []
    for known_at, batch in more:
        try:
            held |= {r.sha256 for r in shop.take_in(batch, known_at=known_at)}
        except OSError as error:
            told.append(str(error))
    small_disk(-1)
    shop.close()
    assert_sound(folder, held)


@contextmanager
def nobody_special() -> Iterator[None]:
    """For a while the process may do no more than any user: the owner of the machine may write anywhere."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(ANY_USER)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_folder_that_may_only_be_read_says_so(stopped: Path) -> None:
    # Not below tmp_path, which another user may not even enter.
    with tempfile.TemporaryDirectory() as outer:
        Path(outer).chmod(0o755)
        folder = Path(outer) / "shop"
        shutil.copytree(stopped, folder)
        held = hashes(folder)
        everything = (folder, *folder.rglob("*"))
        for path in everything:
            path.chmod(0o555 if path.is_dir() else 0o444)
        with nobody_special(), pytest.raises(OSError, match="ermission") as told:
            Shop.open(folder)
        assert str(folder) in str(told.value)
        for path in everything:
            path.chmod(0o755 if path.is_dir() else 0o644)
        assert_sound(folder, held)
