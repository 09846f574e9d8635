"""Very large files: whole lines in every part, each part once, a stop is resumed, memory does not grow."""

import contextlib
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


def stored(shop: Shop) -> int:
    with shop._store.cursor() as cursor:
        return cursor.execute("select count(*) from reading").fetchall()[0][0]


def test_the_inbox_takes_a_large_file_in_a_few_parts_at_a_look(big: Path, shop: Shop) -> None:
    dropped = shop.folder / "inbox" / "big.csv"
    dropped.write_bytes(big.read_bytes())
    assert shop.scan_inbox() == []
    far = []
    while dropped.exists():
        small = shop.folder / "inbox" / f"small{len(far)}.csv"
        small.write_text(
            f"{BORES}\n9{len(far)},2025-03-03 08:00:00,S0001,C1T,0.1,90.010,B1,AB\n", encoding="utf-8"
        )
        assert shop.scan_inbox()
        far += [file.done for file in shop.inbox.large]
    assert len(far) >= 2 and far == sorted(set(far)), "it moves on at each look"
    assert shop.inbox.large == ()
    waited = [r.name for r in reversed(shop.receipts())]
    assert waited.index("small0.csv") < waited.index(f"big.csv (part {len(waited) - len(far) - 1})")
    assert stored(shop) >= len(ROWS)
    dropped.write_bytes(big.read_bytes())
    shop.scan_inbox()
    assert shop.scan_inbox() == [] and not dropped.exists(), "known parts are passed over at once"
    digest, folder = shop.digest(), shop.folder
    shop.close()
    with Shop.rebuild(folder) as rebuilt:
        assert rebuilt.digest() == digest


def test_a_large_file_taken_out_of_the_inbox_stops_and_goes_on_when_put_back(big: Path, shop: Shop) -> None:
    dropped = shop.folder / "inbox" / "big.csv"
    dropped.write_bytes(big.read_bytes())
    shop.scan_inbox()
    first = shop.scan_inbox()
    assert [r.status for r in first] == ["taken"] * 3
    dropped.unlink()
    assert shop.scan_inbox() == []
    assert shop.inbox.large == ()
    board = shop.board()
    folder = shop.folder
    shop.close()
    with Shop.open(folder) as again:
        assert again.board() == board, "what is in was assessed when the rest was given up"
        dropped.write_bytes(big.read_bytes())
        names = {r.name for r in first}
        while dropped.exists():
            assert names.isdisjoint(r.name for r in again.scan_inbox())
        assert stored(again) == len(ROWS)


@pytest.mark.parametrize(
    "error", [OSError(errno.ENOSPC, "No space left on device"), RuntimeError("anything")]
)
def test_a_part_that_failed_in_the_inbox_is_not_passed_over(
    error: Exception, big: Path, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    dropped = shop.folder / "inbox" / "big.csv"
    dropped.write_bytes(big.read_bytes())
    shop.scan_inbox()
    shop.scan_inbox()
    take = shop._folder.take_batches

    def fails(*_: object) -> None:
        raise error

    monkeypatch.setattr(shop._folder, "take_batches", fails)
    with contextlib.suppress(RuntimeError):
        assert shop.scan_inbox() == []
    assert "what is in stays" in (shop.inbox.large[0].trouble or "")
    monkeypatch.setattr(shop._folder, "take_batches", take)
    while dropped.exists():
        shop.scan_inbox()
    assert stored(shop) == len(ROWS)


def test_a_large_file_that_no_layout_knows_says_so_in_the_inbox(big: Path, shop: Shop) -> None:
    text = big.read_text(encoding="utf-8").replace("dev_thou", "other_name")
    dropped = shop.folder / "inbox" / "big.csv"
    dropped.write_text(text, encoding="utf-8")
    shop.scan_inbox()
    assert shop.scan_inbox() == []
    assert "no declared layout" in (shop.inbox.large[0].trouble or "")
    assert dropped.exists()
