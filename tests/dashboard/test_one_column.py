"""A column out of a CSV file is read as it stands or refused with the line; nothing is guessed silently."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.commands.one_column import Column, UnreadableColumn, read_column


@pytest.fixture
def read(tmp_path: Path):
    def write_and_read(text: str | bytes, column: str = "x", **how: object) -> Column:
        path = tmp_path / "file.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return read_column(path, column, **how)  # type: ignore[arg-type]

    return write_and_read


@pytest.mark.parametrize(
    ("text", "how"),
    [
        ("n,x\n1,1.5\n2,2.5\n", "comma, decimal point"),
        ("n;x\n1;1,5\n2;2,5\n", "semicolon, decimal comma"),
        ("n\tx\n1\t1.5\n2\t2.5\n", "tab, decimal point"),
        ("n|x\r\n1|1.5\r\n2|2.5\r\n", "bar, decimal point"),
        ("x\n1.5\n2.5\n", "none (one column), decimal point"),
        ('\ufeffn,"x"\n1,"1,5"\n2,"2,5"\n', "comma, decimal comma"),
        ("n   x\n----  ---\n 1  1.5\n 2   2.5  \n", "spaces, decimal point"),
        ("a b,x\n1,1.5\n2,2.5\n", "comma, decimal point"),
        ("\ufeffn,x\n1,1.5\n\n2,2.5\n".encode("utf-16"), "comma, decimal point"),
    ],
)
def test_the_marks_are_found_and_said(read, text: str | bytes, how: str) -> None:
    column = read(text)
    assert column.values == (1.5, 2.5)
    assert how in column.understood


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("n,x\n1,1.5\n2,abc\n", "line 3 holds 'abc'"),
        ("n,x\n1,1.5\n2,\n", "line 3 is empty"),
        ("n,x\n1,1.5\n2\n", "line 3 has 1 cells where 2 are expected"),
        ("n,x\n1,1.5,9\n", "line 2 has 3 cells"),
        ("n,x\n1,1_5\n", "line 2 holds '1_5'"),
        ("n,x\n1,nan\n", "line 2 holds 'nan'"),
        ("n,x\n1,١٢\n", "line 2 holds"),
        ("n;x\n1;1.5\n2;2,5\n", "decimal point and numbers with a decimal comma"),
        ("n,y\n1,1.5\n", "no column 'x'; it has: 'n', 'y'"),
        ("x,x\n1,1.5\n", "2 times the column"),
        ("n,x\n", "no number in column 'x'"),
        ("", "is empty"),
        (b"PK\x03\x04\0\0\0", "is not text"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(read, text: str | bytes, told: str) -> None:
    with pytest.raises(UnreadableColumn) as refused:
        read(text)
    assert told in str(refused.value)


def test_bad_cells_are_left_out_only_on_request_and_named(read) -> None:
    column = read("n,x\n1,1.5\n2,abc\n3,\n4,2.5\n", skip_bad=True)
    assert column.values == (1.5, 2.5)
    assert column.lines == (2, 5)
    assert "2 left out: line 3 holds 'abc', which is no number; line 4 is empty" in column.left_out[0]


def test_an_open_separator_is_asked_for(read) -> None:
    with pytest.raises(UnreadableColumn, match="--separator"):
        read("x;y,x\n1;2,3\n")
    assert read("x;y,x\n1;2\n", separator=";").values == (1.0,)


def test_a_missing_file_and_a_folder_are_told(tmp_path: Path) -> None:
    with pytest.raises(UnreadableColumn, match="cannot be read: No such file"):
        read_column(tmp_path / "none.csv", "x")
    with pytest.raises(UnreadableColumn, match="is a folder"):
        read_column(tmp_path, "x")


@settings(max_examples=60, deadline=None)
@given(
    values=st.lists(st.decimals(-(10**6), 10**6, places=4), min_size=1, max_size=30),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    comma=st.booleans(),
)
def test_numbers_survive_in_order_whatever_the_marks(
    tmp_path_factory: pytest.TempPathFactory, values: list, separator: str, comma: bool
) -> None:
    cells = [str(v).replace(".", ",") if comma else str(v) for v in values]
    quote = '"' if separator == "," and comma else ""
    rows = [f"{i}{separator}{quote}{cell}{quote}" for i, cell in enumerate(cells)]
    path = tmp_path_factory.mktemp("csv") / "f.csv"
    path.write_text(f"n{separator}x\n" + "\n".join(rows), encoding="utf-8")
    column = read_column(path, "x")
    assert column.values == tuple(float(v) for v in values)
    assert column.lines == tuple(range(2, 2 + len(values)))


def test_names_may_stand_further_down(read) -> None:
    text = "Export of the gauge\nn and x: see below\n\nn  x\n------\n1  1.5\n2  2.5\n"
    column = read(text, names_in_line=4)
    assert (column.values, column.lines) == ((1.5, 2.5), (6, 7))
    assert "names in line 4" in column.understood
    with pytest.raises(UnreadableColumn, match=r"line 3 has no column 'x'.*--names-in-line"):
        read(text, names_in_line=3)
    with pytest.raises(UnreadableColumn, match="has 7 lines: line 9 cannot hold"):
        read(text, names_in_line=9)
    with pytest.raises(UnreadableColumn, match="line 7 has 1 cells where 2"):
        read(text.replace("2  2.5", "2.5"), names_in_line=4)
