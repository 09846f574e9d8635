"""Taking files in: once, whole, in any company; what contradicts waits for a person; what waits is released."""

import threading
from datetime import datetime, timedelta
from pathlib import Path

import pyarrow as pa
import pytest

from ingest.intake import batches as intake
from ingest.intake.receipt import Tally
from ingest.storage.store import Store
from tests.ingest.desk import RECEIVED, Desk, case_plan, long_file, long_row, plan_with

JOBS = """
[layouts.jobs]
role = "jobs"
columns = [
  { name = "block", is = "serial" },
  { name = "family", is = "family" },
  { name = "operation", is = "operation" },
  { name = "machine", is = "machine" },
  { name = "pass", is = "pass" },
  { name = "started", is = "started", form = "%Y-%m-%d %H:%M" },
  { name = "ended", is = "ended", form = "%Y-%m-%d %H:%M" },
  { name = "cycle_min", is = "value", unit = "min", feature = "cycle" },
]
[features.cycle]
name = "cycle time"
operation = "hone"
unit = "min"
display = "min"
kind = "time"
[layouts.events]
role = "events"
columns = [
  { name = "when", is = "time", form = "%Y-%m-%d %H:%M" },
  { name = "machine_or_gauge", is = "target" },
  { name = "kind", is = "kind" },
  { name = "cost", is = "cost" },
]
[events.service]
name = "service"
effect = "restarts"
[masters.RING]
size = "2.6400 in"
[features.ring_size]
name = "ring"
operation = "bore"
axes = ["trial"]
kind = "check"
[layouts.ring]
role = "checks"
columns = [
  { name = "when", is = "time", form = "%Y-%m-%d %H:%M" },
  { name = "gauge", is = "gauge" },
  { name = "ring", is = "master" },
  { name = "one", is = "value", unit = "thou", measures = "deviation", feature = "ring_size", at = { trial = "1" } },
  { name = "two", is = "value", unit = "thou", measures = "deviation", feature = "ring_size", at = { trial = "2" } },
]
[layouts.dial]
role = "readings"
gauge = "BG-01"
columns = [
  { name = "when", is = "time", form = "%Y-%m-%d %H:%M" },
  { name = "block", is = "serial" },
  { name = "place", is = "place" },
  { name = "dev_thou", is = "value", unit = "thou", measures = "deviation", sign = -1 },
  { name = "set_in", is = "set_size", unit = "in" },
]
places = [{ pattern = 'M(?P<main>\\d)(?P<direction>[VH])', features = { dev_thou = "main_bore" } }]
"""


@pytest.fixture
def desk(tmp_path: Path):
    made = Desk(
        tmp_path,
        plan_with(
            ("[layouts.long]", JOBS + "\n[layouts.long]"),
            ('end = ["F", "R"]', 'end = ["F", "R"]\ntrial = ["1", "2"]'),
        ),
    )
    yield made
    made.close()


def test_a_reading_keeps_everything_about_itself(desk: Desk) -> None:
    receipt = desk.one(long_file(long_row(reading=" 2.6413")))
    (row,) = desk.rows(
        "select receipt, line, col, role, time, serial, feature, position, raw, raw_unit, gauge, operator, "
        "family, machine from reading"
    )
    assert row == (
        receipt.id, 2, "reading", "readings", datetime.fromisoformat("2026-03-10T13:00:00"), "A1001", "main_bore",
        "main=1;direction=V", " 2.6413", "in", "BG-01", "JM", "FAM-A", "BORE-1",
    )  # fmt: skip
    assert desk.rows("select value from reading")[0][0] == pytest.approx(2.6413 * 25400, abs=1e-9)


def test_the_same_bytes_give_the_first_receipt_again(desk: Desk) -> None:
    data = long_file(long_row())
    first, twin = desk.take(("a.csv", data), ("b.csv", data))
    later = desk.take(("c.csv", data), at=RECEIVED + timedelta(days=1))[0]
    assert (first.already, twin.already, later.already) == (False, True, True)
    assert {first.id, twin.id, later.id} == {1}
    assert later.known_at == RECEIVED
    assert len(desk.readings()) == 1


def test_a_grown_export_adds_only_what_is_new(desk: Desk) -> None:
    rows = [long_row(m, reading=f"2.64{m:02d}") for m in range(6)]
    desk.one(long_file(*rows[:4]))
    grown = desk.one(long_file(*rows))
    assert grown.lines == Tally(total=7, stored=2, known=4, blank=1)
    assert grown.warnings["already_known"] == 4
    assert len(desk.readings()) == 6


def test_one_reading_in_two_units_is_known(desk: Desk) -> None:
    desk.one(long_file(long_row(reading="2.6413", unit="in")))
    assert desk.one(long_file(long_row(reading="67.08902", unit="mm"))).lines.known == 1


def test_another_value_from_another_file_waits_for_a_person(desk: Desk) -> None:
    desk.one(long_file(long_row(reading="2.6413")))
    second, third = desk.take(
        long_file(long_row(reading="2.6414")), long_file(long_row(reading="2.6414"), long_row(5))
    )
    assert second.lines == Tally(total=2, set_aside=1, blank=1)
    assert third.lines == Tally(total=3, stored=1, set_aside=1, blank=1)
    assert desk.aside() == {"duplicate_conflict": 2}
    assert [round(v / 25400, 4) for _, _, v in desk.readings()] == [2.6413, 2.6413]


def test_within_one_file_another_value_is_a_repeat_and_the_same_a_duplicate(desk: Desk) -> None:
    receipt = desk.one(
        long_file(long_row(reading="2.6413"), long_row(reading="2.6412"), long_row(reading="2.6413"))
    )
    assert receipt.lines == Tally(total=4, stored=2, known=1, blank=1)
    assert receipt.warnings["same_key_repeat"] == 1
    assert receipt.warnings["duplicate_row"] == 1
    assert desk.one(long_file(long_row(reading="2.6412"))).lines.known == 1


def test_one_bad_cell_of_a_wide_row_does_not_lose_the_others(desk: Desk) -> None:
    header = "measured_at,serial,family,feature,unit,gauge,operator,machine," + ",".join(
        f"M{m}-{d}" for m in range(1, 6) for d in "VH"
    )
    start = "2026-03-10 09:00:00,A1001,FAM-A,main_bore,in,BG-01,JM,BORE-1"
    good = ",".join(["2.6413"] * 7)
    receipt = desk.one(long_file(f"{start},OL,,2.64x,{good}", f"{start},,,,,,,,,,", header=header))
    assert receipt.lines == Tally(total=3, partly=1, set_aside=1, blank=1)
    assert receipt.cells == Tally(total=20, stored=7, set_aside=2, blank=11)
    rows = desk.rows("select line, col, kind from set_aside order by id")
    assert rows == [(2, "M1-V", "bad_number"), (2, "M2-V", "bad_number"), (3, None, "missing_value")]


def test_a_deviation_is_added_to_the_set_size_with_its_sign(desk: Desk) -> None:
    rows = (
        "2026-03-10 09:00,A1001,M1V,0.5,2.6412",
        "2026-03-10 09:01,A1001,m2h,-1.0,2.6412",
        "2026-03-10 09:02,A1001,M3V,1.0,",
    )
    receipt = desk.one(long_file(*rows, header="when,block,place,dev_thou,set_in"))
    assert [(p, round(v / 25.4, 6)) for _, p, v in desk.readings()] == [
        ("main=1;direction=V", 2640.7), ("main=2;direction=H", 2642.2),
    ]  # fmt: skip
    assert desk.aside(receipt.id) == {"missing_value": 1}


def test_numbers_in_inch_under_a_thou_heading_set_the_whole_file_aside(desk: Desk) -> None:
    def file(start: int, *deviations: str) -> bytes:
        rows = [f"2026-03-10 09:{i:02d},A1001,M1V,{d},2.6412" for i, d in enumerate(deviations, start)]
        return long_file(*rows, header="when,block,place,dev_thou,set_in")

    wrong = desk.one(file(0, "0.0003", "-0.0001", "0.0002", "0", "0.0004", "-0.0002"))
    assert wrong.lines == Tally(total=7, set_aside=6, blank=1)
    assert desk.aside() == {"scale_suspect": 6}
    right = desk.one(file(10, "0.3", "-0.1", "0.2", "0", "0.4", "-0.2"))
    assert right.lines.stored == 6
    half_steps = desk.one(file(20, "0.35", "-0.15", "0.25", "0.05", "0.45", "1.25"))
    assert half_steps.lines.set_aside == 0  # finer than the gauge shows, but by no unit


def test_a_check_is_read_against_its_master(desk: Desk) -> None:
    data = long_file("2026-03-10 07:05,BG-01,RING,-0.1,0.2", header="when,gauge,ring,one,two")
    desk.one(data)
    rows = desk.rows("select role, serial, master, position, value from reading order by id")
    assert [(r[:4], round(r[4], 6)) for r in rows] == [
        (("checks", None, "RING", "trial=1"), 67053.46),
        (("checks", None, "RING", "trial=2"), 67061.08),
    ]


JOB_HEADER = "block,family,operation,machine,pass,started,ended,cycle_min"


def test_a_job_that_ends_later_is_filled_in_and_one_that_changes_waits(desk: Desk) -> None:
    start = "A1001,FAM-A,hone,HONE-1,1,2026-03-10 09:00"
    assert desk.one(long_file(f"{start},,", header=JOB_HEADER)).lines.stored == 1
    done = desk.one(long_file(f"{start},2026-03-10 09:30,4.2", header=JOB_HEADER))
    assert (done.lines.stored, done.cells.stored) == (1, 1)
    again = desk.one(long_file(f"{start},2026-03-10 09:30,4.20", header=JOB_HEADER))
    assert (again.lines.known, again.cells.known) == (1, 1)
    changed = desk.one(long_file(f"{start},2026-03-10 10:30,", header=JOB_HEADER))
    assert desk.aside(changed.id) == {"duplicate_conflict": 1}
    ended = [t for (t,) in desk.rows("select ended from job order by id")]
    assert ended == [None, datetime.fromisoformat("2026-03-10T13:30:00")]
    assert desk.rows("select value, time, feature from reading") == [(4.2, ended[1], "cycle")]


def test_jobs_and_events_with_impossible_rows(desk: Desk) -> None:
    desk.one(
        long_file(
            "A1001,FAM-A,hone,HONE-1,1,2026-03-10 09:30,2026-03-10 09:00,",
            "A1001,FAM-A,hone,,1,2026-03-10 09:30,,",
            "A1001,FAM-A,hone,HONE-1,zero,2026-03-10 09:30,,",
            "A1001,FAM-A,hone,HONE-1,1,,,",
            header=JOB_HEADER,
        )
    )
    assert desk.aside() == {"time_implausible": 1, "unknown_machine": 1, "bad_number": 1, "bad_timestamp": 1}
    events = long_file(
        "2026-03-10 09:00,HONE-1,service,310.50",
        "2026-03-10 09:00,BG-01,Service,",
        "2026-03-10 09:00,HONE-1,party,",
        "2026-03-10 09:00,HONE-1,service,many",
        header="when,machine_or_gauge,kind,cost",
    )
    receipt = desk.one(events)
    assert receipt.lines == Tally(total=5, stored=2, set_aside=2, blank=1)
    assert desk.rows("select target, kind, cost from event order by id") == [
        ("HONE-1", "service", 310.5), ("BG-01", "service", None),
    ]  # fmt: skip
    assert desk.one(events + b"\n").lines.known == 2


def test_a_file_nobody_knows_waits_names_the_nearest_layouts_and_is_released(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    header = "measured_at,serial,family,feature,position,reading_in,unit,gauge,operator,machine"
    data = long_file(long_row(), header=header)
    waiting = desk.one(data)
    assert waiting.status == "waiting"
    assert waiting.message is not None
    assert "'long' (missing: reading; not declared: reading_in)" in waiting.message
    assert waiting.lines == Tally(total=2, set_aside=1 + 1)
    assert desk.one(data).already
    assert desk.retry(case_plan(), RECEIVED) == []
    later = RECEIVED + timedelta(days=3)
    (released,) = desk.retry(plan_with(('aliases = ["value"]', 'aliases = ["value", "reading_in"]')), later)
    assert (released.status, released.lines.stored, released.known_at) == ("taken", 1, later)
    assert desk.rows("select released_by from receipt order by id") == [(released.id,), (None,)]
    assert desk.retry(desk.plan, later) == []
    assert desk.one(data).id == released.id
    assert len(desk.readings()) == 1
    desk.close()


def test_a_file_of_another_shape_says_how_it_begins(desk: Desk) -> None:
    receipt = desk.one(b"colour,taste\nred,sweet\n")
    assert receipt.message is not None
    assert "The file begins: colour,taste" in receipt.message


def test_nothing_is_stored_of_a_batch_that_is_stopped_and_sending_it_again_completes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = [long_file(long_row(m, reading=f"2.64{m:02d}")) for m in range(3)]
    undisturbed = Desk(tmp_path / "a")
    undisturbed.take(*files)
    desk = Desk(tmp_path / "b")

    def power_cut(*_: object) -> None:
        raise KeyboardInterrupt

    for step in ("store_receipts", "_store_aside", "insert_table"):
        with monkeypatch.context() as patch:
            patch.setattr(intake, step, power_cut)
            with pytest.raises(KeyboardInterrupt):
                desk.take(*files)
        assert all(rows == [] for rows in desk.facts().values())
    # the archive has the bytes; the moment they came stays the first one
    desk.take(*files, at=RECEIVED + timedelta(hours=5))
    assert desk.facts() == undisturbed.facts()
    undisturbed.close()
    desk.close()


def test_a_store_opened_again_goes_on_where_it_was(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.one(long_file(long_row(0)))
    desk.close()
    desk = Desk(tmp_path)
    assert desk.one(long_file(long_row(0))).already
    assert desk.one(long_file(long_row(1))).id == 2
    assert desk.rows("select id from reading order by id") == [(1,), (2,)]
    desk.close()


def test_names_are_shown_and_never_used_as_paths(desk: Desk, tmp_path: Path) -> None:
    before = set(tmp_path.parent.iterdir())
    names = [
        "../../evil.csv",
        "C:\\evil.csv",
        "=1+1.csv",
        "<img src=x>.csv",
        "x" * 300,
        "caf\udce9.csv",
        "a\0b",
    ]
    receipts = desk.take(*((name, long_file(long_row(n))) for n, name in enumerate(names)))
    assert all(r.status == "taken" for r in receipts)
    assert set(tmp_path.parent.iterdir()) == before
    assert desk.rows("select name from receipt where id = 6") == [("caf\\udce9.csv",)]


def test_readers_on_other_threads_see_whole_files_and_their_own_answers(desk: Desk) -> None:
    wrong: list[object] = []
    stop = threading.Event()

    def ask(number: int) -> None:
        while not stop.is_set():
            with desk.store.cursor() as cursor:
                if cursor.execute("select $1::int", [number]).fetchall() != [(number,)]:
                    wrong.append(number)
                rows, files = cursor.execute(
                    "select (select count(*) from reading), (select count(*) from receipt)"
                ).fetchall()[0]
                if rows != 5 * files:
                    wrong.append((rows, files))

    threads = [threading.Thread(target=ask, args=(n,)) for n in range(3)]
    for thread in threads:
        thread.start()
    for n in range(12):
        desk.one(long_file(*(long_row(m, serial=f"A{1000 + n}") for m in range(5))))
    stop.set()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_a_rolled_back_transaction_leaves_nothing(desk: Desk) -> None:
    def half(store: Store) -> None:
        with store.transaction() as cursor:
            cursor.execute("insert into decision values (1, now(), 'x', false, 'undo', '{}')")
            raise RuntimeError("stopped")

    with pytest.raises(RuntimeError, match="stopped"):
        half(desk.store)
    assert desk.rows("select count(*) from decision") == [(0,)]


def test_a_batch_is_as_large_as_it_may_be(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    files = [long_file(*(long_row(m, serial=f"A{1000 + n}") for m in range(20))) for n in range(6)]
    monkeypatch.setattr(intake, "BATCH_BYTES", 2 * len(files[0]) + 1)
    receipts = desk.take(*files)
    assert [r.id for r in receipts] == [1, 2, 3, 4, 5, 6]
    assert len(desk.readings()) == 120


def test_every_reading_of_the_store_is_finite(desk: Desk) -> None:
    import duckdb

    row = pa.table({"id": [1], "value": [float("inf")]})
    with pytest.raises(duckdb.ConstraintException), desk.store.transaction() as cursor:
        cursor.register("bad", row)
        cursor.execute(
            "insert into reading (id, receipt, line, col, role, time, feature, position, raw, raw_unit, value) "
            "select id, 1, 1, 'c', 'readings', now()::timestamp, 'f', '', '', 'um', value from bad"
        )


@pytest.mark.parametrize(
    ("last", "kept"), [("2.64", False), ("2.641", False), ("2.6413", True), ("2", False), ("", True)]
)
def test_a_last_number_that_may_be_cut_short_is_not_believed(last: str, kept: bool, desk: Desk) -> None:
    header = "when,block,place,set_in,dev_thou"
    rows = [f"2026-03-10 09:0{n},A1001,M{n}V,2.6400,{d}" for n, d in ((1, "1.2131"), (2, "-0.1200"))]
    data = long_file(*rows, f"2026-03-10 09:03,A1001,M3V,2.6400,{last}", header=header)[:-1]
    receipt = desk.one(data)
    kinds = desk.aside(receipt.id)
    if last == "":
        assert kinds == {"missing_value": 1}
    else:
        assert kinds == ({} if kept else {"row_truncated": 1})
    assert receipt.warnings["no_final_newline"] == 1


def test_shop_time_that_came_never_or_twice_is_set_aside_unless_the_file_tells(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    rows = [long_row(n, position=f"M{n}-V").replace("2026-03-10 09", "2026-03-08 02") for n in (1, 2)]
    desk.one(long_file(*rows))
    assert desk.aside() == {"time_nonexistent": 2}
    desk.one(long_file(long_row(1).replace("2026-03-10 09", "2025-11-02 01")))
    assert desk.aside() == {"time_nonexistent": 2, "ambiguous_timestamp": 1}
    desk.close()
