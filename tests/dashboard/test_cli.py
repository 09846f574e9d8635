"""Commands on a real shop folder: what they print, how they end, and that a running service takes them over."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from dashboard.commands.cli import app
from dashboard.serving import running

ROOT = Path(__file__).resolve().parents[2]
CALM = [0.0, 0.1, -0.1, 0.05, -0.05, 0.1, 0.0, -0.1, 0.05, 0.0, 0.1, -0.05, 0.0, 0.05, -0.1, 0.0]


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def gauge_file(path: Path, deviations: list[float], start: int = 0) -> Path:
    """Main bores of one block a day, as the starting plan's bore gauge writes them."""
    lines = ["when,serial,place,deviation_thou,set_mm,gauge,who"]
    for i, deviation in enumerate(deviations, start=start):
        day, month = 1 + i % 27, 1 + i // 27
        for main in range(1, 6):
            for k, direction in enumerate("VH"):
                value = deviation + 0.02 * ((7 * i + 3 * main + k) % 5 - 2)
                stamp = f"2025-{month:02d}-{day:02d} 09:{main:02d}:{k:02d}"
                lines.append(f"{stamp},A{1000 + i},M{main}{direction},{value:.2f},65.000,BORE-A,AB")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def job_file(path: Path, parts: int) -> Path:
    lines = ["serial,family,operation,machine,tool,pass,started,ended"]
    for i in range(parts):
        day, month = 1 + i % 27, 1 + i // 27
        stamp = f"2025-{month:02d}-{day:02d}"
        lines.append(f"A{1000 + i},FOUR,line_hone,LINE-1,,1,{stamp} 08:00,{stamp} 08:40")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A shop as `new` makes it."""
    place = tmp_path / "shop"
    assert run("new", place).exit_code == 0
    return place


@pytest.fixture
def files(tmp_path: Path) -> list[Path]:
    return [job_file(tmp_path / "jobs.csv", len(CALM)), gauge_file(tmp_path / "bores.csv", CALM)]


COMMANDS = (
    "demo", "new", "check", "ingest", "rows", "serve", "status", "month", "service-case", "part", "gauges", "backtest",
    "quick", "study", "export", "backup", "restore", "rebuild",
)  # fmt: skip


def test_help_answers_without_the_heavy_libraries() -> None:
    code = (
        "import sys; sys.argv = ['tenthwise', '--help']\n"
        "from dashboard.commands.cli import main\n"
        "try: main()\nexcept SystemExit: pass\n"
        "heavy = ('statsmodels', 'scipy', 'pandas', 'dash', 'duckdb', 'plotly', 'numpy')\n"
        "print([m for m in heavy if m in sys.modules])"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    ).stdout
    assert told.strip().endswith("[]")
    for command in COMMANDS:
        assert re.search(rf"\b{command}\b", told)


def test_every_command_has_help() -> None:
    for command in COMMANDS:
        told = run(command, "--help")
        assert told.exit_code == 0
        assert len(told.output) > 200


def test_new_writes_a_plan_that_is_in_order_and_never_overwrites(folder: Path) -> None:
    told = run("check", folder)
    assert told.exit_code == 0
    assert "is in order" in told.output
    again = run("new", folder)
    assert again.exit_code == 2
    assert "not empty" in again.stderr


def test_a_plan_with_a_mistake_is_told_with_file_line_and_key(folder: Path) -> None:
    plan = folder / "plan.toml"
    lines = plan.read_text(encoding="utf-8").splitlines()
    where = next(i for i, line in enumerate(lines) if line.startswith('display = "thou"'))
    lines[where] = 'display = "furlong"'
    plan.write_text("\n".join(lines), encoding="utf-8")
    told = run("check", folder)
    assert told.exit_code == 2
    assert f"plan.toml:{where + 1}" in told.stderr
    assert "display" in told.stderr and "thou" in told.stderr
    assert run("status", "--folder", folder).exit_code == 2


def test_check_finds_the_folder_either_way_and_never_two(folder: Path, tmp_path: Path) -> None:
    told = [run("check", folder), run("check", "--folder", folder), run("check", folder, "--folder", folder)]
    assert [answer.exit_code for answer in told] == [0, 0, 0]
    assert len({answer.output for answer in told}) == 1
    both = run("check", folder, "--folder", tmp_path)
    assert both.exit_code == 2 and "name one" in both.stderr


def test_files_go_in_once_and_the_board_follows(folder: Path, files: list[Path]) -> None:
    told = run("ingest", *files, "--folder", folder)
    assert told.exit_code == 0, told.output
    assert "bores.csv: 160 of 161 lines stored, 1 blank or heading" in told.output
    again = run("ingest", *files, "--folder", folder)
    assert again.exit_code == 0
    assert again.output.count("already taken in") == 2
    board = run("status", "--folder", folder, "--json")
    rows = json.loads(board.stdout)
    mains = next(row for row in rows if row["process"] == "LINE-1/line_hone/main_size")
    assert list(mains) == [
        "process", "machine", "operation", "feature", "state", "since", "change_from", "chance_interval_days",
        "parts_left", "unit", "reason",
    ]  # fmt: skip
    assert mains["parts_left"] is None and mains["unit"] is None
    assert "main bore size" in mains["reason"]


def test_status_is_the_same_bytes_every_time(folder: Path, files: list[Path]) -> None:
    run("ingest", *files, "--folder", folder)
    said = {run("status", "--folder", folder, "--json", "--as-of", "2025-01-14").stdout for _ in range(2)}
    assert len(said) == 1
    text = run("status", "--folder", folder, "--as-of", "2025-01-14")
    assert "Traceback" not in text.output


def test_an_open_signal_ends_in_exit_code_one(folder: Path, tmp_path: Path) -> None:
    """Twenty calm blocks, then fifteen that lie half a thou higher: ten times the usual difference."""
    moved = CALM + CALM[:4] + [0.5 + value for value in CALM[:15]]
    jobs = job_file(tmp_path / "jobs.csv", len(moved))
    bores = gauge_file(tmp_path / "bores.csv", moved)
    assert run("ingest", jobs, bores, "--folder", folder).exit_code == 0
    told = run("status", "--folder", folder, "--json")
    states = {row["process"]: row for row in json.loads(told.stdout)}
    assert told.exit_code == 1, told.stdout
    row = states["LINE-1/line_hone/main_size"]
    assert row["state"] in ("going-off", "out-of-tolerance")
    assert row["since"] is not None
    assert run("status", "--folder", folder).output.startswith(("GOING OFF", "OUT OF TOLERANCE"))


@pytest.mark.parametrize(
    ("data", "told"),
    [(b"", ""), (b"\x00\x01\x02" * 50, ""), (b"nobody,knows\n1,2\n", "")],
    ids=["empty", "binary", "unknown layout"],
)
def test_a_file_that_cannot_be_used_ends_in_two_and_is_kept(
    folder: Path, tmp_path: Path, data: bytes, told: str
) -> None:
    del told
    strange = tmp_path / "strange.csv"
    strange.write_bytes(data)
    answer = run("ingest", strange, "--folder", folder)
    assert answer.exit_code == 2
    assert "strange.csv: " in answer.output
    assert "nothing is lost" in answer.stderr
    assert len(list((folder / "archive").rglob("*.csv"))) == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("status", "--folder", "nowhere"), "no folder nowhere"),
        (("status",), "no shop here"),
        (("ingest", "none.csv"), "no shop here"),
        (("check", "nowhere"), "no folder nowhere"),
        (("serve", "--folder", "nowhere"), "no folder nowhere"),
        (("rebuild", "--folder", "nowhere"), "no folder nowhere"),
        (("status", "--as-of", "soon"), "is not a day"),
        (("nonsense",), "No such command"),
        (("quick", "none.csv", "--column", "x"), "cannot be read"),
        (("serve", "--port", "99999"), "65535"),
    ],
)
def test_a_mistake_is_one_sentence_and_exit_code_two(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    answer = run(*words)
    assert answer.exit_code == 2
    assert told in answer.stderr
    assert "Traceback" not in answer.output


def test_a_missing_file_stops_before_anything_is_taken_in(folder: Path, files: list[Path]) -> None:
    answer = run("ingest", files[0], "none.csv", "--folder", folder)
    assert answer.exit_code == 2
    assert "Nothing was taken in" in answer.stderr
    assert not list((folder / "archive").rglob("*.csv"))


def test_quick_prints_its_contract(tmp_path: Path) -> None:
    path = tmp_path / "ra.csv"
    path.write_text("block;Ra\n" + "".join(f"{i};0,4{i % 5}\n" for i in range(20)), encoding="utf-8")
    answer = run("quick", path, "--column", "Ra", "--upper", "0.75", "--json")
    assert answer.exit_code == 0, answer.output
    told = json.loads(answer.stdout)
    assert list(told) == [
        "n", "mean", "sigma_within", "sigma_overall", "limits", "signals", "capability", "distribution", "warnings",
    ]  # fmt: skip
    assert told["n"] == 20
    assert told["mean"] == pytest.approx(0.42)
    # Of the 19 moving ranges 16 are 0.01 and 3 are 0.04; d2(2) = 1.128.
    assert told["sigma_within"] == pytest.approx((16 * 0.01 + 3 * 0.04) / 19 / 1.1283791671)
    assert set(told["limits"]) == {"center", "lower", "upper"}
    assert set(told["capability"]) == {"cp", "cpk", "pp", "ppk"}
    assert told["capability"]["cp"] is None
    assert set(told["capability"]["ppk"]) == {"estimate", "lower", "upper", "confidence"}
    assert "decimal comma" in answer.stderr
    assert json.loads(run("quick", path, "--column", "Ra", "--json").stdout)["capability"] is None


def test_quick_names_the_bad_cell_and_the_signal(tmp_path: Path) -> None:
    path = tmp_path / "d.csv"
    path.write_text(
        "x\n" + "\n".join(["1", "2", "1", "2", "1", "2", "1", "2", "9", "one"]) + "\n", encoding="utf-8"
    )
    answer = run("quick", path, "--column", "x")
    assert answer.exit_code == 2 and "line 11 holds 'one'" in answer.stderr
    told = json.loads(run("quick", path, "--column", "x", "--skip-bad", "--json").stdout)
    assert told["signals"] == [{"index": 8, "rule": "beyond limits"}]
    assert any("line 11" in warning for warning in told["warnings"])


def test_rebuild_brings_the_same_board_back(folder: Path, files: list[Path]) -> None:
    run("ingest", *files, "--folder", folder)
    before = run("status", "--folder", folder, "--json").stdout
    told = run("rebuild", "--folder", folder)
    assert told.exit_code == 0 and "Digest" in told.output
    assert run("status", "--folder", folder, "--json").stdout == before


def command(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """A command in a process of its own, as a person starts it."""
    return subprocess.run(
        [sys.executable, "-m", "dashboard", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=120,
    )


@pytest.fixture
def served(folder: Path, files: list[Path]) -> Iterator[subprocess.Popen[str]]:
    """The service in a process of its own, ready to answer."""
    run("ingest", files[0], "--folder", folder)
    process = subprocess.Popen(
        [sys.executable, "-m", "dashboard", "serve", "--folder", str(folder), "--port", "0"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    assert process.stdout is not None
    line = process.stdout.readline()
    assert "http://127.0.0.1:" in line, line + (process.stderr.read() if process.stderr else "")
    yield process
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=30)


def test_a_running_service_takes_commands_over(
    served: subprocess.Popen[str], folder: Path, files: list[Path]
) -> None:
    note = running.find(folder)
    assert note is not None and note.pid == served.pid
    if os.name == "posix":
        assert (folder / running.NOTE).stat().st_mode & 0o077 == 0, "the token is its owner's only"
    taken = command("ingest", files[1], "--folder", folder)
    assert taken.returncode == 0, taken.stderr
    assert "bores.csv: 160 of 161 lines stored" in taken.stdout
    over = command("status", "--folder", folder, "--json")
    assert any(row["process"] == "LINE-1/line_hone/main_size" for row in json.loads(over.stdout))
    second = command("serve", "--folder", folder)
    assert second.returncode == 2
    assert str(served.pid) in second.stderr and note.address in second.stderr
    rebuilt = command("rebuild", "--folder", folder)
    assert rebuilt.returncode == 0 and "Digest" in rebuilt.stdout
    served.send_signal(signal.SIGTERM)
    served.wait(timeout=30)
    assert served.returncode == 0
    assert running.find(folder) is None
    own = run("status", "--folder", folder, "--json")
    assert own.stdout == over.stdout, "the same bytes with and without the service"
    assert own.exit_code == over.returncode


def test_the_service_listens_on_this_machine_only(served: subprocess.Popen[str], folder: Path) -> None:
    del served
    note = running.find(folder)
    assert note is not None
    with socket.socket() as other:
        other.settimeout(2)
        # Another loopback address reaches a server that listens on every interface, but not ours.
        assert other.connect_ex(("127.0.0.2", note.port)) != 0


def test_a_note_left_by_a_crash_is_not_believed(folder: Path) -> None:
    running.leave_note(folder, running.Running(1, 9, "t"))
    assert running.find(folder) is None
    assert run("status", "--folder", folder).exit_code == 0
