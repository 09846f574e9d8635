"""What must be true of a shop folder after anything that happened to the machine."""

from __future__ import annotations

from pathlib import Path

from ingest.problems import StoreError
from ingest.shop.shop import Shop
from ingest.storage.archive import ArchiveError


def opened(folder: Path) -> Shop:
    """The shop, opened, or made again when opening says that this is what to do."""
    try:
        return Shop.open(folder)
    except ArchiveError:
        raise
    except StoreError as error:
        assert "rebuild" in str(error), f"a message that says what to do: {error}"
        return Shop.rebuild(folder)


def assert_sound(folder: Path, acknowledged: set[str]) -> None:
    """Every acknowledged file is in, every file is wholly in or out, lines add up, and a rebuild agrees.

    Parameters
    ----------
    acknowledged : set of str
        Hashes of the files whose receipt was given.
    """
    shop = opened(folder)
    receipts = shop.receipts()
    assert acknowledged <= {r.sha256 for r in receipts}
    with shop._store.cursor() as cursor:
        held = dict(cursor.execute("select receipt, count(*) from reading group by receipt").fetchall())
        jobs = dict(cursor.execute("select receipt, count(*) from job group by receipt").fetchall())
    for r in receipts:
        assert r.lines == r.stored + r.partly + r.known + r.set_aside + r.blank
        rows = jobs.get(r.id, 0) if r.role == "jobs" else held.get(r.id, 0)
        assert rows == r.stored, f"{r.name} is wholly in or wholly out"
    assert shop._folder.archive.verify() == []
    assert shop._folder.journal.verify() == []
    digest, board = shop.digest(), shop.board()
    shop.close()
    again = Shop.rebuild(folder)
    assert again.digest() == digest
    assert again.board() == board
    again.close()
