"""Any damage to an export: the lines always add up, no exception escapes, and no number is stored that is not there."""

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.ingest.desk import CASES, Desk

FILES = sorted(path for path in CASES.glob("*.csv") if path.stat().st_size < 20_000)
SOUND = [CASES / "reference_plain_long.csv", CASES / "reference_plain_wide.csv"]
ENCODINGS = (
    "utf-8",
    "utf-8-sig",
    "utf-16",
    "utf-16-le",
    "utf-16-be",
    "cp1252",
    "latin-1",
    "cp437",
    "utf-32",
    "utf-7",
)
SEPARATORS = (",", ";", "\t", "|", " ", ":", "\x1f", "")


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """An export with one to three damages."""
    data = draw(st.sampled_from(FILES)).read_bytes()
    for _ in range(draw(st.integers(1, 3))):
        data = draw(st.sampled_from(DAMAGES))(draw, data)
    return data


def cut(draw: st.DrawFn, data: bytes) -> bytes:
    start, end = sorted((draw(st.integers(0, len(data))), draw(st.integers(0, len(data)))))
    return draw(st.sampled_from((data[:end], data[start:], data[:start] + data[end:])))


def flip(draw: st.DrawFn, data: bytes) -> bytes:
    if not data:
        return data
    at = draw(st.integers(0, len(data) - 1))
    return data[:at] + bytes([data[at] ^ draw(st.integers(1, 255))]) + data[at + 1 :]


def insert(draw: st.DrawFn, data: bytes) -> bytes:
    at = draw(st.integers(0, len(data)))
    return data[:at] + draw(st.binary(min_size=1, max_size=12)) + data[at:]


def encode(draw: st.DrawFn, data: bytes) -> bytes:
    text = data.decode("utf-8", "replace")
    return text.encode(draw(st.sampled_from(ENCODINGS)), "replace")


def separate(draw: st.DrawFn, data: bytes) -> bytes:
    return data.replace(b",", draw(st.sampled_from(SEPARATORS)).encode())


def line_ends(draw: st.DrawFn, data: bytes) -> bytes:
    return data.replace(b"\n", draw(st.sampled_from((b"\r\n", b"\r", b"\n\n", b"\n\r", b"\x0b", b"\x85"))))


def shuffle_columns(draw: st.DrawFn, data: bytes) -> bytes:
    rows = [line.split(b",") for line in data.split(b"\n")]
    wide = max(map(len, rows))
    order = draw(st.permutations(range(wide)))
    return b"\n".join(b",".join(row[i] for i in order if i < len(row)) for row in rows)


def repeat_rows(draw: st.DrawFn, data: bytes) -> bytes:
    lines = data.split(b"\n")
    chosen = draw(st.lists(st.integers(0, len(lines) - 1), max_size=8))
    return b"\n".join([*lines, *(lines[i] for i in chosen)])


def change_cell(draw: st.DrawFn, data: bytes) -> bytes:
    cells = re.split(rb"([,;\t|\n])", data)
    at = draw(st.integers(0, len(cells) - 1))
    cells[at] = draw(
        st.one_of(
            st.text(max_size=30).map(lambda s: s.encode("utf-8", "surrogatepass")),
            st.sampled_from(
                (b'"', b"=1+1", b"1e999", b"-0", b"\xef\xbc\x91", b"9" * 400, b"nan", b"99999-99-99")
            ),
            st.floats().map(lambda v: repr(v).encode()),
            st.datetimes().map(lambda v: str(v).encode()),
        )
    )
    return b"".join(cells)


DAMAGES = (cut, flip, insert, encode, separate, line_ends, shuffle_columns, repeat_rows, change_cell)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    return Desk(tmp_path_factory.mktemp("damage"))


def check(desk: Desk, data: bytes) -> None:
    before = desk.rows("select count(*) from reading")[0][0]
    receipt = desk.one(data)
    assert receipt.lines.balances
    assert receipt.cells.balances
    assert desk.archive.read(receipt.sha256) == data
    stored = desk.rows("select raw, line from reading where receipt = $1", receipt.id)
    if not receipt.already:
        assert desk.rows("select count(*) from reading")[0][0] == before + len(stored)
    lines = desk.rows("select line, reason, remedy from set_aside where receipt = $1", receipt.id)
    assert all(1 <= line <= receipt.lines.total and reason and remedy for line, reason, remedy in lines)
    if receipt.status != "taken":
        assert receipt.message
        assert stored == []
    texts = [data.decode(encoding, "replace") for encoding in ("utf-8", "cp1252", "utf-16-le", "utf-16-be")]
    for raw, line in stored:
        assert 1 <= line <= receipt.lines.total
        assert re.search(r"\d", raw)
        assert any(raw in text for text in texts), f"{raw!r} was stored and stands nowhere in the file"


QUICK = settings(
    deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@settings(QUICK, max_examples=150)
@given(data=damaged())
def test_damage_of_any_sort_is_counted_to_the_last_line(desk: Desk, data: bytes) -> None:
    check(desk, data)


@pytest.mark.slow
@settings(QUICK, max_examples=1000)
@given(data=damaged())
def test_much_damage_of_any_sort_is_counted_to_the_last_line(desk: Desk, data: bytes) -> None:
    check(desk, data)


@settings(QUICK, max_examples=60)
@given(data=st.binary(max_size=400))
def test_bytes_that_are_no_export_are_kept_and_refused(desk: Desk, data: bytes) -> None:
    check(desk, data)


@pytest.mark.parametrize("path", SOUND, ids=lambda p: p.stem)
def test_a_sound_export_cut_at_every_byte_stores_no_number_that_was_not_whole(path: Path, desk: Desk) -> None:
    """What is stored of a part of a file is stored with the same value of the whole file."""
    data = path.read_bytes()
    whole = Desk(desk.folder / f"whole_{path.stem}")
    whole.one(data)
    key = "select serial, feature, position, time, value from reading"
    sound = set(whole.rows(key))
    whole.close()
    first = data.index(b"\n", data.index(b"\n") + 1)
    sizes = {*range(0, len(data), max(1, len(data) // 25)), *range(first - 6, first + 2)}
    for size in sorted(sizes):
        part = Desk(desk.folder / f"part_{path.stem}_{size}")
        receipt = part.one(data[:size])
        assert receipt.lines.balances
        assert set(part.rows(key)) <= sound
        part.close()
