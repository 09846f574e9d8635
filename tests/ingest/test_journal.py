"""The journal: what was decided stays as it was written, and a change is found with its line."""

import random
from datetime import datetime
from pathlib import Path

import pytest

from ingest.storage.journal import Journal, JournalError

WHEN = datetime.fromisoformat("2026-03-12T19:00:00.000005")


def written(path: Path, lines: int) -> Journal:
    journal = Journal(path)
    for n in range(lines):
        journal.append("note_event", "AB", False, {"target": "M1", "note": f"Nr. {n} µ\n=1+1"}, WHEN)
    return journal


def test_lines_come_back_as_they_were_written(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    before = written(path, 3).lines()
    journal = Journal(path)
    assert journal.lines() == before
    assert len(journal) == 3
    line = journal.append("undo", "CD", True, {"line": 2}, WHEN)
    assert (line.n, line.known_at, line.who, line.verified, line.body) == (4, WHEN, "CD", True, {"line": 2})
    assert line.prev == before[-1].hash
    assert path.read_bytes().count(b"\n") == 4
    assert journal.verify(at_least=4) == []


def test_any_changed_byte_is_found_in_its_line(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    journal = written(path, 12)
    data = path.read_bytes()
    for seed in range(100):
        chance = random.Random(seed)
        at = chance.randrange(len(data) - 1)
        changed = bytearray(data)
        changed[at] ^= 1 << chance.randrange(8)
        path.write_bytes(changed)
        (problem,) = journal.verify(at_least=12)
        assert problem.line == data.count(b"\n", 0, at) + 1
        assert str(problem.line) in str(problem)


def test_any_lost_moved_or_doubled_line_is_found(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    journal = written(path, 8)
    lines = path.read_bytes().splitlines(keepends=True)
    for n in range(8):
        path.write_bytes(b"".join(lines[:n] + lines[n + 1 :]))
        assert [p.line for p in journal.verify(at_least=8)] == [n + 1]
        path.write_bytes(b"".join([*lines[: n + 1], *lines[n:]]))
        assert [p.line for p in journal.verify(at_least=8)] == [n + 2]
    path.write_bytes(b"".join([*lines[:2], lines[3], lines[2], *lines[4:]]))
    assert [p.line for p in journal.verify()] == [3]
    with pytest.raises(JournalError, match=r"journal.jsonl:3"):
        Journal(path)


def test_half_a_line_left_by_a_power_cut_is_removed_and_writing_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    written(path, 3)
    whole = path.read_bytes()
    for cut in range(1, 40, 7):
        path.write_bytes(whole + whole.splitlines()[1][:cut])
        journal = Journal(path)
        assert len(journal) == 3
        assert path.read_bytes() == whole
        journal.append("undo", "CD", False, {}, WHEN)
        assert Journal(path).verify(at_least=4) == []


def test_a_line_that_could_not_be_written_leaves_no_trace(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "journal.jsonl"
    journal = written(path, 2)
    before = path.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("ingest.storage.journal.os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        journal.append("undo", "CD", False, {}, WHEN)
    monkeypatch.undo()
    assert path.read_bytes() == before
    assert journal.append("undo", "CD", False, {}, WHEN).n == 3
    assert journal.verify(at_least=3) == []
