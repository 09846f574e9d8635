"""Nothing is lost: for any file, the lines counted from its bytes are exactly the lines accounted for."""

import tempfile
from collections import Counter
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.intake.batches import Receipt
from tests.ingest.desk import HEADER, Desk, lines_in

WIDE = "measured_at,serial,family,feature,unit,gauge,operator,machine," + ",".join(
    f"M{m}-{d}" for m in range(1, 6) for d in "VH"
)

pick = st.sampled_from
time = pick([f"2026-03-10 09:{m:02d}:00" for m in range(12)]) | pick(["2026-03-08 02:30:00", "yesterday", ""])
serial = pick(["A1001", "A1002", "a1001", "A10O1", "", "B2001", '"A1001"'])
reading = pick(["2.6413", "2.6412", "2.6411", "", "OL", "2.641_3", '"2,6413"', "nan", "-2.6411", "2.6413 mm"])
long_row = st.tuples(
    time, serial, pick(["FAM-A", "FAM-Z", ""]), pick(["main_bore", "main bor"]), pick(["M1-V", "M1-H", "M9-V"]),
    reading, pick(["in", "in", "mm", "cubit", ""]), pick(["BG-01", "BG-77", ""]),
    pick(["JM", "XX", '"two\nlines"', "J\x07M"]), pick(["BORE-1", "BORE-9"]),
).map(",".join)  # fmt: skip
wide_row = st.tuples(
    time, serial, pick(["FAM-A"]), pick(["main_bore"]), pick(["in"]), pick(["BG-01"]), pick(["JM"]),
    pick(["BORE-1"]), *[reading] * 10,
).map(",".join)  # fmt: skip
junk = pick(["", "   ", ",,,,,,,,,", "Mean,2.6412", '"open quote', "\x00\x00", "a" * 70_000, HEADER, WIDE])
end = pick(["\n", "\r\n", "\r"])


@st.composite
def a_file(draw: st.DrawFn) -> bytes:
    header, row = draw(pick([(HEADER, long_row), (WIDE, wide_row)]))
    above = draw(st.lists(pick(["Export", "Gauge;7", ""]), max_size=2))
    lines = [*above, header, *draw(st.lists(st.one_of(row, row, row, row, junk), max_size=14))]
    text = "".join(line + draw(end) for line in lines[:-1]) + lines[-1] + draw(pick(["", "\n", "\r\n"]))
    return text.encode(draw(pick(["utf-8", "utf-8-sig"])))


def check(desk: Desk, receipt: Receipt, data: bytes) -> None:
    if receipt.already:
        return
    assert receipt.lines.balances
    assert receipt.cells.balances
    if receipt.status == "taken":
        assert receipt.lines.total == lines_in(data)
    seen: Counter[int] = Counter()
    for table in ("reading", "set_aside"):
        for (line,) in desk.rows(f"select distinct line from {table} where receipt = $1", receipt.id):
            seen[line] += 1
            assert 1 <= line <= receipt.lines.total
    # what can be looked up agrees with the receipt: no reading and no reason without its line, and the reverse
    (readings,) = desk.rows("select count(*) from reading where receipt = $1", receipt.id)[0]
    assert readings == receipt.cells.stored
    if receipt.status == "taken":
        assert (receipt.lines.stored + receipt.lines.partly > 0) >= (readings > 0)
        assert len(seen) <= receipt.lines.stored + receipt.lines.partly + receipt.lines.set_aside
        reasons = desk.rows("select distinct line from set_aside where receipt = $1", receipt.id)
        assert bool(reasons) == (receipt.lines.set_aside + receipt.lines.partly > 0)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(a_file(), min_size=1, max_size=3), min_size=1, max_size=3))
def test_lines_and_cells_balance_for_any_file(batches: list[list[bytes]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(Path(folder))
        try:
            for batch in batches:
                for data, receipt in zip(batch, desk.take(*batch), strict=True):
                    check(desk, receipt, data)
        finally:
            desk.close()


@settings(max_examples=60, deadline=None)
@given(a_file(), st.data())
def test_no_damage_to_the_bytes_escapes(data: bytes, draw: st.DataObject) -> None:
    cut = draw.draw(st.integers(0, len(data)))
    at = draw.draw(st.integers(0, max(0, cut - 1)))
    damaged = data[:at] + draw.draw(st.binary(max_size=3)) + data[at + 1 : cut]
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(Path(folder))
        try:
            receipt = desk.one(damaged)
            assert receipt.lines.balances
            assert receipt.cells.balances
            assert desk.archive.read(receipt.sha256) == damaged
        finally:
            desk.close()


@settings(max_examples=20, deadline=None)
@given(st.lists(a_file(), min_size=2, max_size=5))
def test_files_together_give_what_they_give_one_by_one(files: list[bytes]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        together, single = Desk(Path(folder) / "a"), Desk(Path(folder) / "b")
        try:
            together.take(*files)
            for number, data in enumerate(files):
                single.take((f"file{number}.csv", data))
            assert together.facts() == single.facts()
        finally:
            together.close()
            single.close()
