"""Files that say little: no times, no numbers of readings, blanks between columns, a rule under the names."""

import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.plans.file import parse_plan
from ingest.plans.model import Plan
from ingest.problems import PlanError
from tests.ingest.desk import RECEIVED, Desk, lines_in

LATER = RECEIVED + timedelta(hours=2)
PLAN = r"""
[shop]
name = "Test shop"
time_zone = "Etc/UTC"
parts_per_month = 20
opens = "07:00"
closes = "16:00"
oldest_plausible = 2020-01-01

[axes]
end = ["L", "R"]
trace = ["1", "2", "3"]

[families.A]
name = "a"

[operations.turn]
name = "turn"
order = 1

[machines.M]
name = "lathe"
operations = ["turn"]

[features.ra]
name = "roughness"
operation = "turn"
axes = ["end", "trace"]
kind = "finish"
scale = "log"

[layouts.plain]
role = "readings"
separator = "spaces"
time = "received"
number_rows = "trace"
columns = [
  { name = "LOT", is = ["serial", "tool"] },
  { name = "KIND", is = "family" },
  { name = "NO", is = "serial" },
  { name = "END", is = "place" },
  { name = "RA", is = "value", unit = "um" },
]
places = [{ pattern = '(?P<end>[LR])', features = { RA = "ra" } }]
"""
NAMES = "LOT KIND  NO   END RA"


def plan(*changes: tuple[str, str]) -> Plan:
    text = PLAN
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_plan(text, "plan.toml")


def file_of(*rows: str, above: tuple[str, ...] = (), below: tuple[str, ...] = ()) -> bytes:
    return ("\n".join((*above, NAMES, *below, *rows)) + "\n").encode()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    desk = Desk(tmp_path, plan())
    yield desk
    desk.close()


def test_serials_are_joined_rows_numbered_and_the_time_is_that_of_receipt(desk: Desk) -> None:
    rows = ("  x7  A 1  L  1.0", "x7 A 1 L 1.1", "x7 A 1 R 2.0", "x7 A 2 L 3.0", "\tx7 A 1 L 1.2")
    receipt = desk.one(file_of(*rows))
    assert receipt.lines.stored == 5
    assert receipt.warnings == {"no_time": 5}
    stored = desk.rows("select serial, position, value, time, seq, tool from reading order by id")
    assert [r[:3] for r in stored] == [
        ("x7/1", "end=L;trace=1", 1.0), ("x7/1", "end=L;trace=2", 1.1), ("x7/1", "end=R;trace=1", 2.0),
        ("x7/2", "end=L;trace=1", 3.0), ("x7/1", "end=L;trace=3", 1.2),
    ]  # fmt: skip
    assert [r[3:] for r in stored] == [(RECEIVED, line, "x7") for line in range(2, 7)]


def test_a_row_beyond_the_last_number_is_set_aside(desk: Desk) -> None:
    receipt = desk.one(file_of(*["x A 1 L 1.0"] * 4))
    assert (receipt.lines.stored, receipt.lines.set_aside) == (3, 1)
    assert desk.aside() == {"unknown_position": 1}


def test_a_serial_lacking_a_piece_is_no_serial(tmp_path: Path) -> None:
    commas = plan(('separator = "spaces"', 'separator = ","'))
    desk = Desk(tmp_path, commas)
    receipt = desk.one(b"LOT,KIND,NO,END,RA\nx,A,,L,1.0\n ,A,1,L,1.0\nx,A,1,L,1.0\n")
    assert (receipt.lines.stored, receipt.lines.set_aside) == (1, 2)
    assert desk.aside() == {"serial_missing": 2}
    desk.close()


@pytest.mark.parametrize("rule", ["---", "--------------------", "---- ---- -- === ---", "____ ____"])
def test_a_rule_under_the_names_is_no_row(desk: Desk, rule: str) -> None:
    receipt = desk.one(file_of("x A 1 L 1.0", above=("Export", ""), below=(rule,)))
    assert (receipt.lines.total, receipt.lines.stored, receipt.lines.blank) == (5, 1, 4)
    assert desk.rows("select line from reading") == [(5,)]


def test_a_rule_and_a_row_of_units_under_the_names(tmp_path: Path) -> None:
    desk = Desk(tmp_path, plan(('separator = "spaces"', 'separator = ","')))
    receipt = desk.one(b"LOT,KIND,NO,END,RA\n---,---,---,---,---\n,,,,um\nx,A,1,L,1.0\n")
    assert (receipt.lines.stored, receipt.lines.blank) == (1, 3)
    desk.close()


def test_a_rule_further_down_is_shown_to_people(desk: Desk) -> None:
    receipt = desk.one(file_of("x A 1 L 1.0", "-----", "x A 1 L 1.1"))
    assert (receipt.lines.stored, receipt.lines.set_aside) == (2, 1)
    assert desk.rows("select line, text, kind from set_aside") == [(3, "-----", "field_count")]


def test_a_sentence_with_all_the_names_gives_way_to_the_names(desk: Desk) -> None:
    above = ("READ FILE LOT KIND NO END RA", "")
    receipt = desk.one(file_of("x A 1 L 1.0", above=above))
    assert (receipt.lines.stored, receipt.lines.blank) == (1, 3)
    # but not when something stands between: that may be rows of the first
    receipt = desk.one(file_of("x A 1 L 1.0", above=(above[0], "a b x A 1 L 1.0")))
    assert receipt.lines.balances
    assert receipt.lines.set_aside > 0


def test_the_preamble_may_be_long(desk: Desk) -> None:
    receipt = desk.one(file_of("x A 1 L 1.0", above=("note",) * 40))
    assert (receipt.lines.stored, receipt.lines.blank) == (1, 41)


def test_the_same_measurements_in_a_longer_file_are_known(desk: Desk) -> None:
    rows = ["x A 1 L 1.0", "x A 1 L 1.1"]
    desk.one(file_of(*rows))
    receipt = desk.one(file_of(*rows, "x A 1 L 1.2", above=("later",)), at=LATER)
    assert (receipt.lines.known, receipt.lines.stored) == (2, 1)
    assert desk.rows("select position, time from reading order by id")[-1] == ("end=L;trace=3", LATER)


def test_another_value_later_is_another_measurement(desk: Desk) -> None:
    desk.one(file_of("x A 1 L 1.0"))
    receipt = desk.one(file_of("x A 1 L 1.5"), at=LATER)
    assert (receipt.lines.stored, receipt.lines.set_aside) == (1, 0)
    assert [value for _, _, value in desk.readings()] == [1.0, 1.5]


def test_a_number_of_the_files_own_tells_readings_apart(tmp_path: Path) -> None:
    own = plan(
        ('number_rows = "trace"\n', ""),
        ('{ name = "LOT", is = ["serial", "tool"] }', '{ name = "LOT", is = "sequence" }'),
        ('axes = ["end", "trace"]', 'axes = ["end"]'),
    )
    desk = Desk(tmp_path, own)
    receipt = desk.one(file_of("8 A 1 L 1.0", "9 A 1 L 1.0", "9 A 1 L 1.0"))
    assert (receipt.lines.stored, receipt.lines.known) == (2, 1)
    assert desk.rows("select seq from reading order by id") == [(8,), (9,)]
    receipt = desk.one(file_of("9 A 1 L 1.0", "10 A 1 L 1.0"), at=LATER)
    assert (receipt.lines.stored, receipt.lines.known) == (1, 1)
    desk.close()


row = st.tuples(
    st.sampled_from(["x", "y"]), st.sampled_from(["A", "Z"]), st.sampled_from(["1", "2"]),
    st.sampled_from(["L", "R", "Q"]), st.sampled_from(["1.0", "1.1", "0", "x", "1,5"]),
).flatmap(lambda cells: st.sampled_from([" ", "  ", "\t"]).map(lambda gap: gap.join(cells)))  # fmt: skip
line = row | row | row | st.sampled_from(["", "   ", "-----", NAMES, "x A 1", '"x', "a b c d e f"])
plain_file = st.tuples(
    st.lists(line, max_size=10), st.sampled_from([(), ("title",), ("READ LOT KIND NO END RA IT", " ")]),
    st.sampled_from([(), ("-----",), ("--- --- --- --- ---",)]),
).map(lambda f: file_of(*f[0], above=f[1], below=f[2]))  # fmt: skip


@settings(max_examples=30, deadline=None)
@given(st.lists(plain_file, min_size=1, max_size=4))
def test_lines_balance_and_files_together_give_what_they_give_one_by_one(files: list[bytes]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        together, single = Desk(Path(folder) / "a", plan()), Desk(Path(folder) / "b", plan())
        try:
            for data, receipt in zip(files, together.take(*files), strict=True):
                assert receipt.lines.total == lines_in(data)
                assert receipt.lines.balances and receipt.cells.balances
            for number, data in enumerate(files):
                single.take((f"file{number}.csv", data))
            assert together.facts() == single.facts()
        finally:
            together.close()
            single.close()


@pytest.mark.parametrize(
    ("old", "new", "key", "told"),
    [
        ('time = "received"\n', "", "layouts.plain.columns", "needs a column that is 'time'"),
        ('time = "received"', 'time = "now"', "layouts.plain.time", "'received'"),
        ('{ name = "KIND", is = "family" }', '{ name = "KIND", is = "time", form = "%Y-%m-%d" }',
         "layouts.plain.time", "the layout has a time column"),
        ('role = "readings"', 'role = "events"', "layouts.plain.time", "needs the times of its rows"),
        ('number_rows = "trace"', 'number_rows = "row"', "layouts.plain.number_rows", "end, trace"),
        ('number_rows = "trace"', 'number_rows = "end"', "layouts.plain.number_rows", "given by a place"),
        ('number_rows = "trace"', "", "layouts.plain.places.1.pattern", "(?P<trace>...)"),
        ('separator = "spaces"', 'separator = "space"', "layouts.plain.separator", '"spaces"'),
        ('name = "KIND"', 'name = "KIND OF"', "layouts.plain.columns.2.name", "blanks separate"),
        ('["serial", "tool"]', '["serial", "value"]', "layouts.plain.columns.1.is", "can be nothing else"),
        ('["serial", "tool"]', '["serial", "serial"]', "layouts.plain.columns.1.is", "stands there twice"),
        ('["serial", "tool"]', '["serial", "family"]', "layouts.plain.columns.1.is", "only one column"),
        ('["serial", "tool"]', "[]", "layouts.plain.columns.1.is", "'serial'"),
    ],
)  # fmt: skip
def test_a_plan_that_cannot_be_meant_is_told(old: str, new: str, key: str, told: str) -> None:
    with pytest.raises(PlanError) as caught:
        plan((old, new))
    found = [p for p in caught.value.problems if p.column == key]
    assert found, str(caught.value)
    assert any(told in str(p) for p in found), str(caught.value)
    assert all(p.line is not None for p in found)


def test_moments_are_kept_to_the_second_of_receipt(desk: Desk) -> None:
    moment = datetime.fromisoformat("2026-03-12T21:00:07")
    desk.one(file_of("x A 1 L 1.0"), at=moment)
    assert desk.rows("select time from reading") == [(moment,)]
