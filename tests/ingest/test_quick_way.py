"""The quick way through a large plain file and the careful one, line by line, store the same in every detail."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.intake import judged
from ingest.intake.judged import judge_readings
from ingest.layouts.lines import Lines
from ingest.layouts.table import Coded, combine
from tests.ingest.desk import CASES, HEADER, Desk, long_file, long_row
from tests.ingest.test_damage import QUICK, damaged

NEVER = 1 << 60
SIZES = ("ingest.layouts.text.MANY_BYTES", "ingest.layouts.joined.LEAST", "ingest.layouts.draft.MANY",
         "ingest.intake.judged.MANY")  # fmt: skip
WAYS = {"careful": (NEVER, NEVER, NEVER, NEVER), "large": (1, NEVER, 1, 1), "joined": (NEVER, 1, 1, 1)}
"""Sizes from which on a quick way is taken, for large files and for many small ones."""


@contextmanager
def taking(way: str) -> Iterator[None]:
    """Take one way."""
    with ExitStack() as stack:
        for name, size in zip(SIZES, WAYS[way], strict=True):
            stack.enter_context(patch(name, size))
        yield


class Desks:
    """Desks that are given the same files, each going its own way."""

    def __init__(self, folder: Path) -> None:
        self.desks = {way: Desk(folder / way) for way in WAYS}

    def agree_on(self, *files: bytes) -> None:
        told = []
        for way, desk in self.desks.items():
            with taking(way):
                receipts = desk.take(*files)
            new = [r.id for r in receipts]
            tables = ("reading", "job", "event", "set_aside")
            sql = "select * from {} where list_contains($1, receipt) order by id"
            told.append((receipts, [desk.rows(sql.format(name), new) for name in tables]))
        assert told[1] == told[0]
        assert told[2] == told[0]

    def close(self) -> None:
        for desk in self.desks.values():
            desk.close()


@pytest.fixture(scope="module")
def desks(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desks]:
    made = Desks(tmp_path_factory.mktemp("ways"))
    yield made
    made.close()


days = st.sampled_from(["2026-03-10", "2025-03-30", "2025-10-26", "2025-06-01", "2024-02-29"])
moments = st.builds("{} {:02d}:{:02d}:00".format, days, st.integers(0, 23), st.integers(0, 59))
odd_moments = st.sampled_from(
    [
        "2026-02-30 09:00:00",
        "2026-3-1 09:00:00",
        "",
        " 2026-03-10 09:00:00",
        "2027-01-01 00:00:00",
        "2026-03-10",
    ]
)
serials = st.sampled_from(["A1001", "A1002", "B2001"])
odd_serials = st.sampled_from([" A1001", "a1001", "AI001", "", "A1001\xa0", "serial", "x" * 70])
numbers = st.builds("{:.4f}".format, st.floats(2.63, 2.65))
odd_numbers = st.sampled_from(
    ["", "2,6413", "1e400", "nan", '2.6413"', "999", "2.6413 in", "0", "-1", "1_0", "67,3"]
)
positions = st.sampled_from(["M1-V", "M2-H", "M5-V"])
odd_words = st.sampled_from(["", "?", "M9-V", "bg-01", "BG 01", "ZZ", "µm", "mm", "reading"])


@st.composite
def rows(draw: st.DrawFn, odd: int) -> str:
    """A line of the long layout; one cell in so many is odd."""

    def one(plain: st.SearchStrategy[str], strange: st.SearchStrategy[str]) -> str:
        return draw(strange if odd and draw(st.integers(1, odd)) == 1 else plain)

    just = st.just
    cells = [
        one(moments, odd_moments), one(serials, odd_serials), one(just("FAM-A"), odd_words),
        one(just("main_bore"), odd_words), one(positions, odd_words), one(numbers, odd_numbers),
        one(just("in"), odd_words), one(just("BG-01"), odd_words), one(st.sampled_from(["JM", "KT"]), odd_words),
        one(just("BORE-1"), odd_words),
    ]  # fmt: skip
    return ",".join(cells)


strange_lines = st.sampled_from(
    [
        "",
        ",,,,,,,,,",
        HEADER,
        HEADER.upper(),
        "a,b",
        '"open',
        "x" * 70_000,
        ",".join(reversed(HEADER.split(","))),
    ]
)


@st.composite
def exports(draw: st.DrawFn) -> bytes:
    """A file of the long layout: clean, with odd cells, or with odd lines and repeats as well."""
    odd = draw(st.sampled_from([0, 0, 12, 4]))
    lines = draw(st.lists(rows(odd), min_size=1, max_size=25))
    if odd:
        lines += draw(st.lists(st.sampled_from(lines), max_size=3))
    if odd == 4:
        lines.insert(draw(st.integers(0, len(lines))), draw(strange_lines))
    end = draw(st.sampled_from(["\n", "\n", "\r\n", "\r"]))
    above = draw(st.sampled_from(["", "", "export of a gauge" + end]))
    return (above + HEADER + end + end.join(lines) + draw(st.sampled_from([end, ""]))).encode()


@settings(QUICK, max_examples=120)
@given(files=st.lists(exports(), min_size=1, max_size=5))
def test_generated_files(desks: Desks, files: list[bytes]) -> None:
    desks.agree_on(*files)


@settings(QUICK, max_examples=80)
@given(data=damaged())
def test_damaged_files(desks: Desks, data: bytes) -> None:
    desks.agree_on(data)


@pytest.mark.parametrize("path", sorted(CASES.glob("*.csv")), ids=lambda p: p.stem)
def test_files_of_every_layout(path: Path, desks: Desks) -> None:
    desks.agree_on(path.read_bytes())


@pytest.mark.parametrize("way", ["large", "joined"])
def test_the_quick_way_is_really_taken(way: str, tmp_path: Path) -> None:
    """What is compared above must not be the careful way twice."""
    with taking(way), patch("ingest.layouts.split._Splitter", side_effect=AssertionError("careful")):
        desk = Desk(tmp_path / "d")
        desk.take(*(long_file(long_row(2 * n), long_row(2 * n + 1)) for n in range(5)))
        assert len(desk.readings()) == 10
        desk.close()


texts = st.text(st.sampled_from("a b\n"), max_size=40).filter(lambda t: t != "")


@given(texts, st.integers(0, 45), st.integers(0, 45))
def test_lines_cut_out_when_asked_for_are_those_cut_beforehand(text: str, a: int, b: int) -> None:
    cut = text.split("\n")
    if cut[-1] == "":
        cut.pop()
    with patch("ingest.layouts.lines._HEAD", 5):
        lines = Lines(text.encode())
        assert len(lines) == len(cut)
        assert lines[a:b] == cut[a:b]
        assert list(lines) == cut
        assert [lines[i] for i in range(-len(cut), len(cut))] == cut + cut
        assert [lines.offset(i) for i in range(len(cut))] == [
            sum(len(t) + 1 for t in cut[:i]) for i in range(len(cut))
        ]
        assert lines.longest_at_most(8) <= (max(map(len, cut)) <= 8)


@given(st.lists(st.lists(st.integers(0, 4), min_size=6, max_size=6), min_size=1, max_size=4))
def test_combinations_are_told_from_codes_alike_whichever_way(codes: list[list[int]]) -> None:
    columns = [Coded(np.array(each), list("abcde")) for each in codes]
    found, combinations = combine(columns)
    assert [combinations[code] for code in found] == list(zip(*codes, strict=True))
    assert sorted(set(combinations)) == combinations
    with patch("ingest.layouts.table._distinct", lambda n, _: np.unique(n, return_inverse=True)):
        again, same = combine(columns)
    assert (again.tolist(), same) == (found.tolist(), combinations)


keys = st.tuples(
    st.integers(0, 3), st.sampled_from(["S1", "S2", None]), st.none() | st.integers(0, 2), st.booleans()
)


@settings(QUICK, max_examples=60)
@given(given_keys=st.lists(keys, min_size=1, max_size=8), before=st.integers(0, 2))
def test_what_is_surely_new_is_new(desks: Desks, given_keys: list[tuple], before: int) -> None:
    n = len(given_keys)
    time, serial, seq, numbered = zip(*given_keys, strict=True)
    start = int(datetime(2001 + before, 1, 1).timestamp() * 1e6)  # noqa: DTZ001 - any moment before all files
    coded = {"role": ["readings"], "feature": ["f"], "position": [""], "gauge": [None], "operator": ["AB"]}
    table = pa.table(
        {name: pa.array(values * n, pa.string()).dictionary_encode() for name, values in coded.items()}
        | {
            "serial": pa.array(serial, pa.string()).dictionary_encode(),
            "time": pa.array([start + t for t in time], pa.timestamp("us")),
            "seq": pa.array(seq, pa.int64()),
            "timed": pa.array([True] * n),
            "numbered": pa.array(numbered),
            "value": pa.array(np.arange(n, dtype=float)),
            "file": pa.array(np.arange(n)),
        }
    )
    desk = desks.desks["careful"]
    with desk.store.cursor() as cursor:
        with patch.object(judged, "MANY", 1 << 60):
            slow = judge_readings(cursor, table).tolist()
        with patch.object(judged, "MANY", 1):
            assert judge_readings(cursor, table).tolist() == slow
