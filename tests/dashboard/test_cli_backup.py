"""`backup` and `restore` as commands, and several commands on one shop at the same time."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from dashboard.commands import handing
from ingest.intake import in_parts as parts
from ingest.storage.lock import FolderLock
from tests.dashboard.test_cli import CALM, ROOT, command, gauge_file, job_file, run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A shop with two files in it."""
    place = tmp_path / "shop"
    assert run("new", place).exit_code == 0
    bores = gauge_file(tmp_path / "bores.csv", CALM[:4])
    assert run("ingest", "--folder", place, job_file(tmp_path / "jobs.csv", 4), bores).exit_code == 0
    return place


def test_backup_while_serving_and_restore(folder: Path, tmp_path: Path) -> None:
    service = subprocess.Popen(
        [sys.executable, "-m", "dashboard", "serve", "--folder", str(folder), "--port", "0"],
        stdout=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    assert service.stdout is not None
    assert "http://127.0.0.1:" in service.stdout.readline()
    try:
        done = command("backup", tmp_path / "b.tar.gz", "--folder", folder)
        assert (done.returncode, done.stderr) == (0, "")
        twice = command("backup", tmp_path / "b.tar.gz", "--folder", folder)
        assert twice.returncode == 2
        assert "is there already" in twice.stderr
    finally:
        service.send_signal(signal.SIGTERM)
        service.communicate(timeout=30)
    back = run("restore", tmp_path / "b.tar.gz", tmp_path / "again")
    assert back.exit_code == 0, back.output
    assert "equals the one the backup was made of" in back.stdout
    assert run("status", "--folder", tmp_path / "again").stdout == run("status", "--folder", folder).stdout
    again = run("restore", tmp_path / "b.tar.gz", tmp_path / "again")
    assert (again.exit_code, again.stdout) == (2, "")
    assert "not empty" in again.stderr
    torn = tmp_path / "torn.tar.gz"
    torn.write_bytes((tmp_path / "b.tar.gz").read_bytes()[:500])
    refused = run("restore", torn, tmp_path / "third")
    assert refused.exit_code == 2
    assert "no whole backup" in refused.stderr
    assert "Traceback" not in refused.output


def test_two_commands_at_once_both_get_their_work_done(folder: Path, tmp_path: Path) -> None:
    files = [gauge_file(tmp_path / f"more{n}.csv", CALM[:6], start=4 + 6 * n) for n in range(4)]
    started = [
        subprocess.Popen(
            [sys.executable, "-m", "dashboard", "ingest", str(file), "--folder", str(folder)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
        )
        for file in files
    ]  # fmt: skip
    for process in started:
        out, err = process.communicate(timeout=120)
        assert process.returncode == 0, err
        assert "lines stored" in out
        assert "Traceback" not in err
    again = run("ingest", *files, "--folder", folder)
    assert again.stdout.count("already taken in") == len(files)


def test_a_command_that_waits_in_vain_ends_with_a_sentence(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(handing, "PATIENCE_S", 0.0)
    lock = FolderLock(folder / "run")
    lock.acquire()
    for words in (("status",), ("rebuild",), ("rows", "list"), ("serve", "--port", "0")):
        done = run(*words, "--folder", folder)
        assert done.exit_code == 2
        assert "is in use by process" in done.stderr
        assert "wait until it is done, or stop it" in done.stderr
    lock.release()
    assert run("status", "--folder", folder).exit_code in (0, 1)


def test_a_very_large_file_is_taken_in_by_parts_and_resumed(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parts, "LARGE", 20_000)
    monkeypatch.setattr(parts, "PART", 5_000)
    big = gauge_file(tmp_path / "big.csv", CALM * 4, start=10)
    small = gauge_file(tmp_path / "small.csv", CALM[:2], start=200)
    done = run("ingest", big, small, "--folder", folder)
    assert done.exit_code == 0, done.output
    assert "640 lines stored" in done.stdout and "small.csv: 20 of 21 lines stored" in done.stdout
    again = run("ingest", big, "--folder", folder)
    assert "0 lines stored" in again.stdout and "known before" in again.stdout
    big.write_bytes(big.read_bytes().replace(b"when,serial", b"clock,serial", 1))
    unknown = run("ingest", big, "--folder", folder)
    assert unknown.exit_code == 2
    assert "Nothing was taken in" in unknown.stderr
