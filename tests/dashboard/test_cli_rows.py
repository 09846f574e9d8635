"""`tenthwise rows` on a real shop folder: listed, used, rejected, written anew, corrected, taken back."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.dashboard.test_cli import CALM, gauge_file, job_file, run

AB = ("--who", "AB")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A shop with one file of which a line cannot be read and one is beyond belief."""
    place = tmp_path / "shop"
    assert run("new", place).exit_code == 0
    bores = gauge_file(tmp_path / "bores.csv", CALM[:3])
    lines = bores.read_text(encoding="utf-8").splitlines()
    lines[2] = lines[2].replace("0.", "zero.", 1)
    lines[4] = re.sub(r",-?\d+\.\d\d,65", ",99.0,65", lines[4])
    bores.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = run("ingest", "--folder", place, job_file(tmp_path / "jobs.csv", 3), bores)
    assert done.exit_code == 0, done.output
    return place


def listed(folder: Path) -> list[dict]:
    return json.loads(run("rows", "list", "--json", "--folder", folder).stdout)


def test_rows_are_listed_and_decided_on_from_the_command_line(folder: Path) -> None:
    told = run("rows", "list", "--folder", folder)
    assert "bores.csv, line 3" in told.stdout and "zero." in told.stdout
    rows = {row["line"]: row for row in listed(folder)}
    assert set(rows) == {3, 5}
    receipt = rows[3]["receipt"]
    where = ("--folder", folder, *AB)

    wrong = run("rows", "fix", receipt, 3, "--text", rows[3]["text"], "--why", "same again", *where)
    assert wrong.exit_code == 2
    assert "cannot be stored so either" in wrong.stderr and "Nothing was changed" in wrong.stderr
    right = rows[3]["text"].replace("zero.", "0.")
    fixed = run("rows", "fix", receipt, 3, "--text", right, "--why", "a slip of the pen", *where)
    assert fixed.exit_code == 0, fixed.output
    assert [row["line"] for row in listed(folder)] == [5]

    used = run("rows", "use", receipt, "--line", 5, "--why", "measured twice", *where)
    assert (used.exit_code, used.stdout.strip()) == (0, "1 row count from now on.")
    entry = re.search(r"rows undo (\d+)", used.stderr)
    assert entry
    assert listed(folder) == []
    assert run("rows", "undo", entry.group(1), "--why", "not so", *where).exit_code == 0
    assert run("rows", "reject", receipt, "--kind", "implausible", "--why", "chip", *where).exit_code == 0
    assert [row["kind"] for row in listed(folder)] == ["rejected"]

    moved = run(
        "rows", "correct", receipt, "--field", "serial", "--to", "A1001", "--line", 2, "--why", "tag", *where
    )
    assert moved.exit_code == 0, moved.output
    nobody = run("rows", "reject", receipt, "--line", 5, "--why", "x", "--folder", folder, "--who", "ZZ")
    assert nobody.exit_code == 2
    assert "not among the plan's people" in nobody.stderr
    unsaid = run("rows", "correct", receipt, "--field", "serial", "--why", "tag", *where)
    assert unsaid.exit_code == 2
    assert "--to" in unsaid.stderr
