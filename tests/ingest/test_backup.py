"""A shop in one file and back: equal, whole or not at all, also while files come in."""

import hashlib
import io
import json
import tarfile
import threading
from datetime import datetime
from pathlib import Path

import pytest

from ingest.problems import ShopBusy
from ingest.shop.backup import BackupError, unpack
from ingest.shop.shop import Shop
from tests.ingest.small_shop import PLAN, day_files, parts

DAYS = day_files(parts(9))


def filled(shop: Shop) -> Shop:
    shop.take_in_batches(DAYS)
    shop.note_event("H1", "service", datetime(2025, 3, 4, 12), "AB")  # noqa: DTZ001 - shop time
    shop.accept_plan(PLAN.replace('name = "hone one"', 'name = "hone 1"'))
    return shop


def test_a_restored_shop_equals_the_one_backed_up(shop: Shop, tmp_path: Path) -> None:
    filled(shop)
    target = tmp_path / "shop.tar.gz"
    seen: list[tuple[int, int]] = []
    files = shop.backup(target, lambda done, total: seen.append((done, total)))
    assert seen[-1] == (files, files)
    again, equal = Shop.restore(target, tmp_path / "again")
    assert equal
    assert again.digest() == shop.digest()
    assert again.plan.machines["H1"].name == "hone 1"
    assert again.board() == shop.board()
    with pytest.raises(ShopBusy):
        Shop.open(tmp_path / "again")
    again.close()


def test_a_backup_holds_what_was_acknowledged_before_it_began(shop: Shop, tmp_path: Path) -> None:
    shop.take_in_batches(DAYS[:1])
    digest = shop.digest()
    started = threading.Event()

    def busy(done: int, _total: int) -> None:
        if done and not started.is_set():
            started.set()
            worker.start()
            worker.join()  # a whole file comes in between two files of the backup

    worker = threading.Thread(target=lambda: shop.take_in_batches(DAYS[1:]))
    shop.backup(tmp_path / "b.tar.gz", busy)
    assert started.is_set()
    assert shop.digest() != digest
    again, equal = Shop.restore(tmp_path / "b.tar.gz", tmp_path / "again")
    assert equal
    assert again.digest() == digest
    again.close()


def test_nothing_is_overwritten(shop: Shop, tmp_path: Path) -> None:
    filled(shop)
    target = tmp_path / "b.tar.gz"
    target.write_bytes(b"an older backup")
    with pytest.raises(BackupError, match="is there already"):
        shop.backup(target)
    assert target.read_bytes() == b"an older backup"
    with pytest.raises(BackupError, match="cannot be written"):
        shop.backup(tmp_path / "nowhere" / "b.tar.gz")
    shop.backup(tmp_path / "good.tar.gz")
    with pytest.raises(BackupError, match="not empty"):
        unpack(tmp_path / "good.tar.gz", shop.folder)


def test_a_damaged_archive_displaces_no_backup(shop: Shop, tmp_path: Path) -> None:
    filled(shop)
    path = next((shop.folder / "archive").glob("??/*.csv"))
    path.write_bytes(path.read_bytes() + b"x")
    with pytest.raises(BackupError, match="not as it was received"):
        shop.backup(tmp_path / "b.tar.gz")
    assert [*tmp_path.glob("*b.tar.gz*")] == []


def test_a_backup_that_was_cut_or_changed_is_refused_and_leaves_nothing(shop: Shop, tmp_path: Path) -> None:
    filled(shop)
    whole = tmp_path / "b.tar.gz"
    shop.backup(whole)
    data = whole.read_bytes()
    flips = [bytearray(data) for _ in range(40)]
    for n, flipped in enumerate(flips):
        flipped[12 + n * (len(data) - 12) // 40] ^= 0x10
    cuts = [data[: len(data) * tenth // 10] for tenth in range(10)]
    refused = 0
    for n, damaged in enumerate([*cuts, *map(bytes, flips)]):
        bad, folder = tmp_path / f"{n}.tar.gz", tmp_path / f"again{n}"
        bad.write_bytes(damaged)
        try:
            unpack(bad, folder)
        except BackupError as error:
            assert "no whole backup" in str(error)
            assert not folder.exists()
            refused += 1
        else:  # only what pads the end can change without a trace
            assert (folder / "journal.jsonl").read_bytes() == (shop.folder / "journal.jsonl").read_bytes()
    assert refused >= 45


@pytest.mark.parametrize(
    "name", ["../evil.toml", "/evil", "archive/../../evil", "inbox/x.csv", "archive/plans/a/b"]
)
def test_a_name_cannot_leave_the_folder(name: str, tmp_path: Path) -> None:
    data = b"evil"
    told = {"format": 1, "digest": "", "files": {name: hashlib.sha256(data).hexdigest()}}
    with tarfile.open(tmp_path / "b.tar.gz", "w:gz") as tar:
        for inside, content in ((name, data), ("backup.json", json.dumps(told).encode())):
            entry = tarfile.TarInfo(inside)
            entry.size = len(content)
            tar.addfile(entry, io.BytesIO(content))
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(BackupError, match="which no backup does"):
        unpack(tmp_path / "b.tar.gz", tmp_path / "shop")
    assert sorted(tmp_path.rglob("*")) == before


def test_a_backup_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    with tarfile.open(tmp_path / "b.tar.gz", "w:gz") as tar:
        content = json.dumps({"format": 99, "digest": "", "files": {}}).encode()
        entry = tarfile.TarInfo("backup.json")
        entry.size = len(content)
        tar.addfile(entry, io.BytesIO(content))
    with pytest.raises(BackupError, match="newer version"):
        unpack(tmp_path / "b.tar.gz", tmp_path / "shop")
