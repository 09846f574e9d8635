"""The shop folder as a whole: order of arrival, as of a day, decisions, inbox, rebuild."""

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.answers.processes import BoardRow, State
from ingest.intake.receipt import IncomingFile
from ingest.problems import PlanError, ShopBusy
from ingest.shop.shop import Shop, ShopError
from tests.ingest.small_shop import BORES, EVENTS, JOBS, PLAN, Made, csv, day_files, parts, small_plan, stamp

START = datetime(2025, 3, 1, 8)  # noqa: DTZ001 - shop time


def shifted(n: int, at: int, by: float) -> list[Made]:
    """Parts of which those from `at` on are larger by `by`."""
    return [
        replace(p, deviation=p.deviation + (by if i >= at else 0.0)) for i, p in enumerate(parts(n, sd=2.5))
    ]


def service(when: datetime) -> IncomingFile:
    return csv(f"{when:%Y-%m-%d}_events.csv", EVENTS, [f"{stamp(when)},H1,service,"])


def plain(rows: Sequence[BoardRow]) -> list[str]:
    return [repr(row) for row in rows]


def fill(shop: Shop, batches: Sequence[tuple[datetime, Sequence[IncomingFile]]]) -> Shop:
    shop.take_in_batches(batches)
    return shop


@pytest.fixture(scope="module")
def gone_off(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a shop whose hones cut 8 µm larger from the 60th part on."""
    folder = tmp_path_factory.mktemp("gone-off") / "shop"
    with Shop.create(folder, PLAN, START) as shop:
        fill(shop, day_files(shifted(100, 60, 8.0)))
    return folder


def copy_of(folder: Path, to: Path) -> Shop:
    import shutil

    shutil.copytree(folder, to)
    return Shop.open(to)


def test_a_shift_goes_off_with_day_size_and_start(gone_off: Path, tmp_path: Path) -> None:
    with copy_of(gone_off, tmp_path / "s") as shop:
        board = shop.board()
        assert {r.process for r in board[:2]} == {"H1/hone/size", "H2/hone/size"}
        row = next(r for r in board if r.process == "H1/hone/size")
        assert row.state in (State.GOING_OFF, State.OUT_OF_TOLERANCE)
        signal = row.open_signals[-1]
        assert signal.monitor == "level"
        assert signal.direction == 1
        assert signal.size == pytest.approx(8.0, abs=2.5)
        first = next(p for p in shifted(100, 60, 8.0)[60:] if p.machine == "H1").ended.date()
        assert signal.change_from <= first <= signal.change_to
        assert row.since is not None
        assert row.since >= first


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=st.randoms(use_true_random=False), cuts=st.sets(st.integers(1, 30), max_size=4))
def test_any_split_and_order_of_the_same_files_ends_in_the_same_assessment(
    tmp_path_factory: pytest.TempPathFactory, order: random.Random, cuts: set[int]
) -> None:
    made = shifted(45, 25, 9.0)
    files = [f for _, batch in day_files(made) for f in batch] + [
        service(made[33].ended + timedelta(minutes=5))
    ]
    folder = tmp_path_factory.mktemp("order")
    known = datetime(2025, 6, 1, 17)  # noqa: DTZ001 - shop time
    with Shop.create(folder / "a", PLAN, START) as shop:
        shop.take_in(files, known)
        expected, wanted = shop.digest(), plain(shop.board())
    shuffled = list(files)
    order.shuffle(shuffled)
    with Shop.create(folder / "b", PLAN, START) as shop:
        for a, b in pairwise(sorted({0, len(shuffled), *cuts})):
            shop.take_in(shuffled[a:b], known)
        assert shop.digest() == expected
        told = [
            replace(r, signals=tuple(replace(s, events=(), cure=None) for s in r.signals))
            for r in shop.board()
        ]
    with Shop.open(folder / "a") as shop:
        before = [
            replace(r, signals=tuple(replace(s, events=(), cure=None) for s in r.signals))
            for r in shop.board()
        ]
        assert plain(shop.board()) == wanted
    assert plain(told) == plain(before)


@pytest.mark.parametrize("day", [date(2025, 3, 20), date(2025, 4, 2), date(2025, 4, 15)])
def test_as_of_a_day_equals_a_folder_that_received_only_what_was_known_by_then(
    gone_off: Path, tmp_path: Path, day: date
) -> None:
    batches = [b for b in day_files(shifted(100, 60, 8.0)) if b[0].date() <= day]
    with Shop.create(tmp_path / "part", PLAN, START) as shop:
        fill(shop, batches)
        expected = plain(shop.board(day))
    with copy_of(gone_off, tmp_path / "whole") as shop:
        assert plain(shop.board(day)) == expected
        later = plain(shop.board())
        assert later != expected
        assert (
            plain(shop.board(date(2025, 12, 30)))[0].split("last_time")[0] == later[0].split("last_time")[0]
        )


def test_today_from_the_store_equals_the_same_day_from_the_facts(gone_off: Path, tmp_path: Path) -> None:
    with copy_of(gone_off, tmp_path / "s") as shop:
        stored = shop.board()
        computed = shop.board(datetime(2025, 12, 31, 16))  # noqa: DTZ001 - shop time
        assert stored == computed


def test_late_data_that_removes_a_signal_withdraws_it_by_name(tmp_path: Path) -> None:
    """Parts that reach the shop late move the learned level, and with it a verdict that rested on few parts."""
    early = [replace(p, machine="H1", family="F4", deviation=p.deviation) for p in parts(26, seed=3, sd=0.8)]
    jump = [replace(p, deviation=p.deviation + 7.0) for p in early[14:]]
    missing = [
        replace(p, serial=f"S1{i:03d}", machine="H1", family="F4", deviation=(-1) ** i * 9.0)
        for i, p in enumerate(parts(24, seed=4, start=datetime(2025, 2, 3, 8)))  # noqa: DTZ001
    ]
    with Shop.create(tmp_path / "s", PLAN, datetime(2025, 2, 1, 8)) as shop:  # noqa: DTZ001
        fill(shop, day_files([*early[:14], *jump]))
        raised = shop.process("H1/hone/size")
        assert raised is not None
        assert [s.status for s in raised.signals] == ["open"]
        rows = [row for p in missing for row in p.readings()]
        late = [csv("late_jobs.csv", JOBS, [p.job() for p in missing]), csv("late.csv", BORES, rows)]
        shop.take_in(late, datetime(2025, 4, 30, 17))  # noqa: DTZ001
        view = shop.process("H1/hone/size")
        assert view is not None
        withdrawn = [s for s in view.signals if s.status == "withdrawn"]
        assert len(withdrawn) == 1
        assert "late.csv" in (withdrawn[0].withdrawn_by or "")
        assert not [s for s in view.row.signals if s.status == "withdrawn"]
        entry = next(e for e in shop.log() if e.kind == "withdrawn")
        assert "late.csv" in entry.detail
        changed = [p for p in view.parts if p.first_verdict is not None]
        assert changed  # what was said first is still told


def test_a_closed_signal_stays_closed_with_its_cause_and_can_be_taken_back(
    gone_off: Path, tmp_path: Path
) -> None:
    with copy_of(gone_off, tmp_path / "s") as shop:
        board = shop.board()
        signal = next(s for row in board for s in row.open_signals if s.monitor == "level")
        line = shop.close_signal(
            signal.process, signal.monitor, signal.serial, signal.pass_no,
            "new level accepted", "new stones cut larger", "AB",
        )  # fmt: skip
        row = next(r for r in shop.board() if r.process == signal.process)
        assert not [s for s in row.signals if s.monitor == "level"]
        view = shop.process(signal.process)
        assert view is not None
        closed = next(s for s in view.signals if s.monitor == "level")
        assert closed.status == "closed"
        assert closed.closing is not None
        assert (closed.closing.cause, closed.closing.who) == ("new stones cut larger", "AB")
        shop.undo(line, "AB", "wrong signal")
        assert [r.open_signals for r in shop.board()] == [r.open_signals for r in board]
        undone = next(e for e in shop.log() if e.journal_line == line)
        assert undone.undone


def test_what_cannot_be_decided_is_refused_with_what_is_legal(gone_off: Path, tmp_path: Path) -> None:
    with copy_of(gone_off, tmp_path / "s") as shop:
        lines = len(shop.log())
        with pytest.raises(ShopError, match="H1, H2"):
            shop.note_event("H9", "service", START, "AB")
        with pytest.raises(ShopError, match="stones"):
            shop.note_event("H1", "polish", START, "AB")
        with pytest.raises(ShopError, match="yet to come"):
            shop.note_event("H1", "service", datetime(2026, 1, 5), "AB")  # noqa: DTZ001
        with pytest.raises(ShopError, match="no signal"):
            shop.close_signal("H1/hone/size", "level", "S9999", 1, "fixed", "", "AB")
        with pytest.raises(ShopError, match="fixed"):
            shop.close_signal("H1/hone/size", "level", "S0001", 1, "dunno", "", "AB")
        with pytest.raises(ShopError, match="taken back"):
            shop.undo(1, "AB", "the plan cannot be undone")
        with pytest.raises(ShopError, match="why"):
            shop.set_part_aside(None, "S0001", 1, "  ", "AB")
        assert len(shop.log()) == lines


def test_an_event_noted_and_taken_back_leaves_the_assessment_as_it_was(
    gone_off: Path, tmp_path: Path
) -> None:
    with copy_of(gone_off, tmp_path / "s") as shop:
        before = plain(shop.board())
        line = shop.note_event("H1", "service", datetime(2025, 4, 1, 12), "AB", note="spindle")  # noqa: DTZ001
        view = shop.process("H1/hone/size")
        assert view is not None
        assert [(e.kind, e.note, e.journal_line) for _, e in view.events] == [("service", "spindle", line)]
        assert plain(shop.board()) != before
        shop.undo(line, "AB", "it was the other hone")
        assert plain(shop.board()) == before
        with pytest.raises(ShopError, match="already"):
            shop.undo(line, "AB", "again")


def test_a_part_set_aside_is_not_learned_from_and_stays_visible(gone_off: Path, tmp_path: Path) -> None:
    with copy_of(gone_off, tmp_path / "s") as shop:
        process = "H1/hone/size"
        before = shop.process(process)
        assert before is not None
        point = before.parts[20]
        shop.set_part_aside(process, point.serial, point.pass_no, "dropped on the floor", "AB")
        after = shop.process(process)
        assert after is not None
        assert (after.parts[20].serial, after.parts[20].verdict) == (point.serial, "aside")
        assert after.parts[20].aside == "dropped on the floor"
        assert after.parts[20].first_verdict == point.verdict
        assert [p.serial for p in after.parts] == [p.serial for p in before.parts]
        same = [p.family == point.family for p in after.parts]
        later = [i for i in range(21, len(same)) if same[i]]
        assert any(after.parts[i].expected != before.parts[i].expected for i in later)
        shop.restore_part(process, point.serial, point.pass_no, "it was fine", "AB")
        assert repr(shop.process(process).parts) == repr(before.parts)  # type: ignore[union-attr]


def test_rebuild_brings_everything_back(gone_off: Path, tmp_path: Path) -> None:
    with copy_of(gone_off, tmp_path / "s") as shop:
        shop.note_event("H1", "service", datetime(2025, 4, 1, 12), "AB")  # noqa: DTZ001
        shop.set_part_aside(None, "S0010", 1, "core shifted", "AB")
        digest, board = shop.digest(), plain(shop.board())
    (tmp_path / "s" / "tenthwise.duckdb").unlink()
    seen: list[tuple[int, int]] = []
    with Shop.rebuild(tmp_path / "s", lambda done, total: seen.append((done, total))) as shop:
        assert shop.digest() == digest
        assert plain(shop.board()) == board
    assert seen[-1][0] == seen[-1][1] > 0


def test_what_was_archived_but_not_stored_is_taken_in_at_the_next_opening(shop: Shop) -> None:
    import hashlib

    from ingest.storage.archive import Archive, Archived

    files = day_files(parts(3))[0][1]
    folder = shop.folder
    shop.close()
    known = datetime(2025, 3, 3, 17)  # noqa: DTZ001
    Archive(folder / "archive").put(
        [
            (Archived(hashlib.sha256(f.data).hexdigest(), f.name, known, len(f.data), n, 1), f.data)
            for n, f in enumerate(files)
        ]
    )
    with Shop.open(folder) as again:
        assert {r.name for r in again.receipts()} == {f.name for f in files}
        assert again.board()


def test_the_inbox_takes_a_file_once_it_has_stopped_growing(shop: Shop) -> None:
    _, (jobs, bores) = day_files(parts(3))[0]
    inbox = shop.folder / "inbox"
    (inbox / "jobs.csv").write_bytes(jobs.data[:40])
    assert shop.scan_inbox() == []
    (inbox / "jobs.csv").write_bytes(jobs.data)
    (inbox / ".hidden.csv").write_bytes(b"x")
    (inbox / "half.part").write_bytes(b"x")
    assert shop.scan_inbox() == []  # it has grown since the last look
    assert [r.name for r in shop.scan_inbox()] == ["jobs.csv"]
    assert not (inbox / "jobs.csv").exists()
    assert (inbox / ".hidden.csv").exists()
    assert (shop.folder / "run" / "heartbeat.json").exists()
    (inbox / "bores.csv").write_bytes(bores.data)
    shop.scan_inbox()
    assert [r.name for r in shop.scan_inbox()] == ["bores.csv"]
    assert shop.board()


def test_the_same_bytes_again_change_nothing(shop: Shop) -> None:
    files = day_files(parts(3))[0][1]
    first = shop.take_in(files)
    digest = shop.digest()
    again = shop.take_in(files)
    assert [r.already for r in again] == [True, True]
    assert [r.id for r in again] == [r.id for r in first]
    assert shop.digest() == digest


def test_a_part_shows_every_reading_with_its_line(shop: Shop) -> None:
    shop.take_in(day_files(parts(3))[0][1])
    view = shop.part("S0001")
    assert view is not None
    assert [p.operation for p in view.passes] == ["hone"]
    reading = next(r for r in view.readings if r.feature == "size")
    row = shop.source(reading.receipt, reading.line)
    assert "S0001" in row.text
    assert reading.raw in row.text.split(",")
    with pytest.raises(ShopError, match="no line"):
        shop.source(reading.receipt, 10_000)
    with pytest.raises(ShopError, match="no receipt"):
        shop.source(999, 1)
    assert shop.part("S7777") is None
    assert shop.process("H1/hone/nothing") is None


def test_one_process_owns_the_folder(shop: Shop) -> None:
    with pytest.raises(ShopBusy):
        Shop.open(shop.folder)
    with pytest.raises(ShopError, match="already holds"):
        Shop.create(shop.folder, PLAN)
    with pytest.raises(ShopError, match="no shop"):
        Shop.open(shop.folder / "inbox")


def test_a_plan_edited_by_hand_is_accepted_at_the_next_opening_and_a_wrong_one_is_not(shop: Shop) -> None:
    folder = shop.folder
    shop.close()
    (folder / "plan.toml").write_text(
        PLAN.replace('name = "hone one"', 'name = "first hone"'), encoding="utf-8"
    )
    with Shop.open(folder) as again:
        assert again.plan.machines["H1"].name == "first hone"
        accepted = [e for e in again.log() if e.title == "Plan accepted"]
        assert len(accepted) == 2
    (folder / "plan.toml").write_text(PLAN.replace("[shop]", "[shpo]"), encoding="utf-8")
    with pytest.raises(PlanError):
        Shop.open(folder)
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    Shop.open(folder).close()  # the lock was given back


def test_a_plan_that_knows_a_waiting_file_takes_it_in(shop: Shop) -> None:
    shop.accept_plan(
        PLAN.replace('name = "dev_thou"', 'name = "deviation"').replace("dev_thou =", "deviation =")
    )
    files = day_files(parts(3))[0][1]
    assert [r.status for r in shop.take_in(files)] == ["taken", "waiting"]
    shop.accept_plan(PLAN)
    assert "H1/hone/size" in {row.process for row in shop.board()}


def test_capability_of_a_family_comes_with_its_limits(gone_off: Path, tmp_path: Path) -> None:
    with copy_of(gone_off, tmp_path / "s") as shop:
        found = shop.capability("H1/hone/size", "F4", until=date(2025, 3, 28))
        assert found is not None
        assert (found.lower_limit, found.upper_limit) == (79_990.0, 80_010.0)
        assert found.ppk is not None
        assert found.ppk.lower < found.ppk.estimate < found.ppk.upper
        assert shop.capability("H1/hone/size", "F9") is None
    assert small_plan().spec_for("size", "F4", date(2025, 3, 28)) is not None


@pytest.mark.parametrize("database", [False, True])
def test_a_shop_whose_making_was_cut_short_is_made_by_the_same_command(
    database: bool, tmp_path: Path
) -> None:
    """Killed after the journal was laid out and before the plan was: neither a shop nor an empty folder."""
    folder = tmp_path / "shop"
    Shop.create(folder, PLAN).close()
    (folder / "plan.toml").unlink()
    (folder / "journal.jsonl").write_bytes(b"")
    if not database:
        (folder / "tenthwise.duckdb").unlink()
    with Shop.create(folder, PLAN) as shop:
        assert shop.take_in(day_files(parts(2))[0][1])[0].status == "taken"
    with pytest.raises(ShopError, match="already holds a shop"):
        Shop.create(folder, PLAN)
