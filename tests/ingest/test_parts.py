"""Very large files: whole lines in every part, each part once, a stop is resumed, memory does not grow."""

import errno
from pathlib import Path

import pytest

from ingest.intake import in_parts as parts_module
from ingest.intake.in_parts import TooLarge, parts_of
from ingest.shop.shop import Shop
from tests.ingest.small_shop import BORES, parts, small_plan

ROWS = [row for n, part in enumerate(parts(60)) for row in part.readings(seq=100 * n)]


@pytest.fixture
def big(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file that counts as large, of about ten parts."""
    monkeypatch.setattr(parts_module, "PART", 4_000)
    monkeypatch.setattr(parts_module, "LARGE", 10_000)
    path = tmp_path / "big.csv"
    path.write_text("\n".join(["Gauge export", BORES, *ROWS, ""]), encoding="utf-8")
    return path


def test_parts_hold_every_line_once_and_begin_with_the_heading(big: Path) -> None:
    found = [*parts_of(big, small_plan())]
    assert len(found) > 5
    head = f"Gauge export\n{BORES}\n".encode()
    assert all(part.data.startswith(head) for part, _ in found)
    assert b"".join(part.data.removeprefix(head) for part, _ in found) == big.read_bytes().removeprefix(head)
    assert [done for _, done in found] == sorted({done for _, done in found})
    assert found[-1][1] == big.stat().st_size


@pytest.mark.parametrize("end", ["\n", "", "\r\n"])
def test_a_quoted_line_break_is_not_torn(end: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts_module, "PART", 300)
    rows = [f'{n},2025-03-03 08:00:00,S0001,C1T,0.1,90.010,B1,"A\nB"' for n in range(30)]
    path = tmp_path / "q.csv"
    path.write_bytes(("\n".join([BORES, *rows]) + end).encode())
    found = [part.data for part, _ in parts_of(path, small_plan())]
    assert len(found) > 3
    assert all(data.count(b'"') % 2 == 0 for data in found)


def test_a_large_file_is_stored_as_a_small_one_would_be(big: Path, shop: Shop) -> None:
    seen: list[tuple[int, int]] = []
    receipts = shop.take_in_large(big, progress=lambda done, total: seen.append((done, total)))
    assert sum(r.lines.stored for r in receipts) == len(ROWS)
    assert seen[-1] == (big.stat().st_size, big.stat().st_size)
    again = shop.take_in_large(big)
    assert all(r.already for r in again)
    digest = shop.digest()
    folder = shop.folder
    shop.close()
    with Shop.rebuild(folder) as rebuilt:
        assert rebuilt.digest() == digest


def test_a_stop_is_resumed(big: Path, shop: Shop) -> None:
    def stop(done: int, _total: int) -> None:
        if done > 15_000:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        shop.take_in_large(big, progress=stop)
    first = len(shop.receipts())
    assert first
    receipts = shop.take_in_large(big)
    assert [r.already for r in receipts].count(True) == first
    with shop._store.cursor() as cursor:
        assert cursor.execute("select count(*) from reading").fetchall() == [(len(ROWS),)]


def test_a_full_disk_keeps_the_parts_before(big: Path, shop: Shop) -> None:
    def full(done: int, _total: int) -> None:
        if done > 15_000:
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OSError, match="No space"):
        shop.take_in_large(big, progress=full)
    assert sum(r.lines.stored for r in shop.take_in_large(big) if not r.already) < len(ROWS)
    with shop._store.cursor() as cursor:
        assert cursor.execute("select count(*) from reading").fetchall() == [(len(ROWS),)]


@pytest.mark.parametrize(
    ("data", "said"), [("a,b\n1,2\n".encode("utf-16"), "UTF-16"), (b"a,b\n1,2\n", "no declared layout")]
)
def test_a_large_file_that_cannot_be_split_says_why(data: bytes, said: str, tmp_path: Path) -> None:
    path = tmp_path / "big.csv"
    path.write_bytes(data)
    with pytest.raises(TooLarge, match=said):
        next(parts_of(path, small_plan()))


def test_the_inbox_leaves_a_large_file_to_a_person_and_names_it(big: Path, shop: Shop) -> None:
    (shop.folder / "inbox" / "big.csv").write_bytes(big.read_bytes())
    shop.scan_inbox()
    assert shop.scan_inbox() == []
    assert shop.inbox.large == ("big.csv",)
