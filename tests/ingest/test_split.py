"""Lines to rows: runs of plain lines and single odd lines are split alike; quotes and damage are contained."""

import csv
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.layouts import bulk as layout_bulk
from ingest.layouts.bulk import Column
from ingest.layouts.split import LINE_LIMIT, Rows, _Splitter, is_rule, split_record, split_rows
from ingest.layouts.text import Text, read_text
from ingest.problems import Complaint

NAMES = ("when", "serial", "value")
cells = st.text(st.characters(codec="utf-8", exclude_characters="\n\r"), max_size=6)


@given(st.lists(st.text(st.sampled_from("ab1 ,;\"'.\x00\x1b"), max_size=10), min_size=1, max_size=5))
def test_records_that_can_be_read_are_read_as_the_csv_module_does(texts: list[str]) -> None:
    record = ",".join('"' + t.replace('"', '""') + '"' if set(t) & set(',"') else t for t in texts)
    assert split_record(record, ",") == (next(csv.reader([record], strict=True)) or [""])


@pytest.mark.parametrize("record", ['"a', 'a,"b', '"a"b,c', '"a""', 'x,"a" b'])
def test_open_or_broken_quotes_are_no_record(record: str) -> None:
    assert split_record(record, ",") is None


def test_an_inch_mark_is_not_a_quote() -> None:
    assert split_record('2.6411",in', ",") == ['2.6411"', "in"]


def one_by_one(lines: list[str], separator: str = ",") -> Rows:
    rows = Rows([Column() for _ in NAMES])
    splitter = _Splitter(lines, NAMES, 0, separator, True, rows)
    at = 0
    while at < len(lines):
        at += splitter.one(at)
    return rows


plain_line = st.tuples(*[st.text(st.sampled_from("ab12.- "), min_size=1, max_size=4)] * 3).map(",".join)
odd_line = st.text(st.sampled_from('a1,"\x00 w'), max_size=9) | st.just("WHEN, serial,Value")


@given(st.lists(plain_line | odd_line, max_size=30))
def test_runs_of_plain_lines_give_what_line_by_line_gives(lines: list[str]) -> None:
    assert split_rows(lines, 0, NAMES, 0, ",", True) == one_by_one(lines)


seldom = st.text(st.sampled_from('a1 ,;\t\xa0"\x00\x1b\x85\u200bµÄßé\ufeff'), max_size=9)


@given(
    st.lists(
        plain_line | odd_line | seldom | st.sampled_from(["WHEN,x,VALUE", "x,y,value ", "serial", ",,"]),
        max_size=30,
    ),
    st.sampled_from([",", ";", "\t", " "]),
    st.integers(0, 2),
)
def test_long_runs_split_by_column_give_what_short_ones_give(
    lines: list[str], separator: str, trailing: int
) -> None:
    given = [",".join(NAMES), *lines]
    short = split_rows(given, 1, NAMES, trailing, separator, True)
    with patch.object(layout_bulk, "BULK", 1):
        assert split_rows(given, 1, NAMES, trailing, separator, True) == short


@given(st.lists(plain_line | odd_line, max_size=30))
def test_every_line_is_a_row_or_bad_or_blank(lines: list[str]) -> None:
    rows = split_rows(lines, 0, NAMES, 0, ",", True)
    assert sum(rows.span) + sum(b.span for b in rows.bad) + rows.blank == len(lines)
    assert {len(column) for column in rows.cells} == {len(rows.line)}


blank_line = st.lists(
    st.text(st.sampled_from("ab12.,-"), min_size=1, max_size=4) | st.sampled_from(['"a  b"', '2.6"', "---"]),
    min_size=2, max_size=4,
).flatmap(lambda cells: st.lists(st.sampled_from([" ", "   ", "\t", " \t "]), min_size=5, max_size=5).map(
    lambda gaps: gaps[0] + "".join(c + g for c, g in zip(cells, gaps[1:], strict=False))
))  # fmt: skip


@given(st.lists(blank_line | st.sampled_from(["", "  ", "WHEN  serial Value"]), max_size=30))
def test_runs_of_blanks_separate_alike_in_runs_of_lines_and_line_by_line(lines: list[str]) -> None:
    rows = split_rows(lines, 0, NAMES, 0, " ", True)
    assert rows == one_by_one(lines, " ")
    assert sum(rows.span) + sum(b.span for b in rows.bad) + rows.blank == len(lines)
    assert all(b.text == lines[b.line - 1] for b in rows.bad)
    for line, cells in zip(rows.line, zip(*rows.cells, strict=True), strict=True):
        if '"a  b"' not in lines[line - 1]:
            assert list(cells) == lines[line - 1].split()


def test_blanks_in_quotes_do_not_separate() -> None:
    rows = split_rows(['  a1\t "two  words"   2.64"  '], 0, NAMES, 0, " ", True)
    assert [column.first for column in rows.cells] == ["a1", "two  words", '2.64"']


@pytest.mark.parametrize(
    ("line", "separator", "expected"),
    [
        ("-------", ",", True), ("---- ----  --", " ", True), ("----,---,=====", ",", True),
        ("|---|----|", "|", True), ("--- ---", ",", True), ("----+----", "\t", True),
        ("", ",", False), ("--", ",", False), ("---,,---", ",", False), ("a---", ",", False),
        ("---,1", ",", False), ("-1.5", ",", False),
    ],
)  # fmt: skip
def test_a_rule_is_dashes_under_every_name(line: str, separator: str, expected: bool) -> None:
    assert is_rule(line, separator) is expected


def test_another_header_ends_what_is_known() -> None:
    lines = ["t,s,1", "serial,when,value", "s,t,2", "when,serial,value", "t,s,3"]
    rows = split_rows(lines, 0, NAMES, 0, ",", True)
    assert rows.cells[2] == ["1", "3"]
    assert [b.complaint.kind for b in rows.bad] == ["header_changed"] * 2


def test_an_unclosed_quote_costs_its_line_only() -> None:
    lines = ["t,s,1", 't,"s,2', "t,s,3"]
    rows = split_rows(lines, 0, NAMES, 0, ",", True)
    assert rows.cells[2] == ["1", "3"]
    assert [(b.line, b.complaint.kind) for b in rows.bad] == [(2, "quote_unbalanced")]


def test_an_endless_line_is_kept_short_beside_its_reason() -> None:
    rows = split_rows(["t,s," + "9" * LINE_LIMIT], 0, NAMES, 0, ",", True)
    assert rows.bad[0].complaint.kind == "line_too_long"
    assert len(rows.bad[0].text) == 2000


@given(st.lists(cells, max_size=8), st.sampled_from(["\n", "\r\n", "\r"]), st.booleans())
def test_lines_come_back_whatever_ends_them(texts: list[str], end: str, ended: bool) -> None:
    lines = ["head", *(t.replace("\x00", "0") for t in texts), "x"]
    data = (end.join(lines) + (end if ended else "")).encode()
    text = read_text(data)
    if isinstance(text, Complaint):
        assert text.kind == "not_text"
        return
    assert text.lines == lines
    assert text.ended == ended


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_encodings(encoding: str) -> None:
    data = "unit: µm\nhöhe,µ\n1,2\n".encode(encoding)
    text = read_text(b"\xfe\xff" + data if encoding == "utf-16-be" else data)
    assert isinstance(text, Text)
    assert text.lines == ["unit: µm", "höhe,µ", "1,2"]


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"", "empty_file"), (b"\r\n , ;\n", "empty_file"), (b"\x00" * 300, "empty_file"),
        (b"PK\x03\x04rest", "not_text"), (bytes(range(32)) * 9, "not_text"),
        (b"a,b\n\x81\x8d,1\n", "encoding_undecidable"),
    ],
)  # fmt: skip
def test_what_is_no_text(data: bytes, kind: str) -> None:
    complaint = read_text(data)
    assert isinstance(complaint, Complaint)
    assert complaint.kind == kind


def test_half_a_character_at_the_end_does_not_shorten_the_last_cell() -> None:
    text = read_text("\ufeffa,b\n1,2.6413".encode("utf-16-le")[:-1])
    assert isinstance(text, Text)
    assert text.lines[-1] == "1,2.641\ufffd"
