"""The inbox: files still written to wait, a folder may vanish and come back, nothing is removed that is not kept."""

import errno
import json
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ingest.intake import inbox as inbox_module
from ingest.intake.inbox import Inbox
from ingest.shop.shop import Shop
from tests.ingest.small_shop import day_files, parts

START = datetime(2025, 3, 3, 9, tzinfo=UTC)
FILES = [file for _, batch in day_files(parts(4)) for file in batch]


class Watched:
    """An inbox that is looked at when the test says so."""

    def __init__(self, root: Path) -> None:
        self.folder = root / "inbox"
        self.folder.mkdir()
        self.beat = root / "run" / "heartbeat.json"
        self.inbox = Inbox(self.folder, self.beat)
        self.clock = START

    def look(self) -> dict[str, bytes]:
        self.clock += timedelta(seconds=3)
        return {path.name: file.data for path, file in self.inbox.settled(self.clock)}


@pytest.fixture
def watched(tmp_path: Path) -> Watched:
    return Watched(tmp_path)


def test_a_growing_file_waits_and_is_named(watched: Watched) -> None:
    path = watched.folder / "g.csv"
    for size in (1, 2, 3):
        path.write_bytes(b"x" * size)
        assert watched.look() == {}
        assert watched.inbox.state.growing == ("g.csv",)
    assert watched.look() == {"g.csv": b"xxx"}
    assert watched.inbox.state.growing == ()


def test_a_file_rewritten_with_the_same_size_waits(watched: Watched) -> None:
    path = watched.folder / "g.csv"
    path.write_bytes(b"aa")
    watched.look()
    path.write_bytes(b"bb")
    os.utime(path, ns=(1, 1))
    assert watched.look() == {}
    assert watched.look() == {"g.csv": b"bb"}


def test_a_file_that_grew_since_it_was_read_stays(watched: Watched) -> None:
    path = watched.folder / "g.csv"
    path.write_bytes(b"one")
    watched.look()
    assert watched.look() == {"g.csv": b"one"}
    with path.open("ab") as gauge:
        gauge.write(b"two")
    watched.inbox.done(path)
    assert path.read_bytes() == b"onetwo"
    watched.look()
    assert watched.look() == {"g.csv": b"onetwo"}
    watched.inbox.done(path)
    assert not path.exists()


def test_a_folder_that_vanishes_is_waited_for_and_never_made(watched: Watched, tmp_path: Path) -> None:
    (watched.folder / "g.csv").write_bytes(b"x")
    watched.look()
    watched.folder.rename(tmp_path / "elsewhere")
    assert watched.look() == {}
    assert "cannot be reached" in (watched.inbox.state.trouble or "")
    assert json.loads(watched.beat.read_bytes())["trouble"] == watched.inbox.state.trouble
    assert not watched.folder.exists()
    (tmp_path / "elsewhere").rename(watched.folder)
    assert watched.look() == {}, "what was seen before it vanished says nothing now"
    assert watched.inbox.state.trouble is None
    assert watched.look() == {"g.csv": b"x"}
    assert watched.inbox.state.looked == watched.clock


def test_a_locked_file_is_named_and_the_others_go_on(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("a.csv", "locked.csv"):
        (watched.folder / name).write_bytes(b"x")
    watched.look()
    read = Path.read_bytes

    def locked(path: Path) -> bytes:
        if path.name == "locked.csv":
            raise PermissionError(errno.EACCES, "in use", str(path))
        return read(path)

    monkeypatch.setattr(inbox_module.Path, "read_bytes", locked)
    assert watched.look() == {"a.csv": b"x"}
    assert watched.inbox.state.locked == ("locked.csv",)
    monkeypatch.undo()
    watched.look()
    assert "locked.csv" in watched.look()


def test_a_file_that_cannot_be_removed_is_taken_in_once(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = watched.folder / "g.csv"
    path.write_bytes(b"x")
    watched.look()
    assert watched.look() == {"g.csv": b"x"}

    def denied(_: Path, missing_ok: bool = False) -> None:  # noqa: ARG001 - as the real one
        raise PermissionError(errno.EACCES, "read only")

    monkeypatch.setattr(inbox_module.Path, "unlink", denied)
    watched.inbox.done(path)
    assert watched.look() == {}
    assert watched.look() == {}
    assert watched.inbox.state.staying == ("g.csv",)
    monkeypatch.undo()
    assert watched.look() == {}
    assert not path.exists()
    assert watched.look() == {}
    assert watched.inbox.state.staying == ()


def test_links_hidden_and_half_written_names_are_passed_over(watched: Watched, tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("secret", encoding="utf-8")
    (watched.folder / "link.csv").symlink_to(tmp_path / "secret.txt")
    for name in (".x.csv", "x.csv.part", "x.tmp", "x.csv~"):
        (watched.folder / name).write_bytes(b"x")
    (watched.folder / "sub").mkdir()
    watched.look()
    assert watched.look() == {}


def test_a_full_disk_is_told_and_tried_again(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    inbox = shop.folder / "inbox"
    for file in FILES:
        (inbox / file.name).write_bytes(file.data)
    shop.scan_inbox()

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("ingest.storage.durable.os.fsync", full)
    assert shop.scan_inbox() == []
    assert "No space left on device" in (shop.inbox.trouble or "")
    assert "nothing is lost" in (shop.inbox.trouble or "")
    assert len([*inbox.glob("*.csv")]) == len(FILES)
    monkeypatch.undo()
    assert sorted(r.name for r in shop.scan_inbox()) == sorted(file.name for file in FILES)
    assert shop.inbox.trouble is None
    assert [*inbox.glob("*.csv")] == []


def test_an_inbox_that_vanishes_keeps_the_shop_going(shop: Shop) -> None:
    (shop.folder / "inbox").rmdir()
    assert shop.scan_inbox() == []
    assert "cannot be reached" in (shop.inbox.trouble or "")
    assert shop.take_in(FILES[:2])[0].status == "taken"
    (shop.folder / "inbox").mkdir()
    assert shop.scan_inbox() == []
    assert shop.inbox.trouble is None
