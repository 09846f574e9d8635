"""The line shown is the line of the file, in whatever encoding the gauge's computer wrote it."""

import pytest

from ingest.views.history import NoSuchLine, source_row


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_a_line_is_shown_as_it_was_written(encoding: str, ending: str) -> None:
    lines = ["block,Ra,unit", "B1,0.41,µm", "B2,0.43,µm", "B3,0.40,µm"]
    row = source_row((ending.join(lines) + ending).encode(encoding), 7, "finish.csv", "0" * 64, 3)
    assert (row.text, row.before, row.after) == (lines[2], tuple(lines[:2]), (lines[3],))


def test_a_line_beyond_the_end_is_named() -> None:
    with pytest.raises(NoSuchLine, match=r"finish\.csv has 1 lines; there is no line 2"):
        source_row(b"block,Ra\n", 1, "finish.csv", "0" * 64, 2)


def test_what_is_no_text_is_said_to_be_none() -> None:
    with pytest.raises(NoSuchLine, match=r"cannot be shown line by line"):
        source_row(b"PK\x03\x04" + bytes(range(256)), 1, "book.csv", "0" * 64, 1)
