"""One column of numbers out of a CSV file, read strictly: what cannot be read is named, never guessed."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

from ingest.layouts.split import is_rule, plain_line

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "spaces"}
NUMBER = {
    ".": re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?"),
    ",": re.compile(r"[+-]?([0-9]+(,[0-9]*)?|,[0-9]+)([eE][+-]?[0-9]{1,3})?"),
}
LARGEST = 256 * 2**20
SHOWN = 10


class UnreadableColumn(Exception):  # noqa: N818 - reads as what it is
    """The file or the column cannot be used; the text says what, where and what to do."""


@dataclass(frozen=True)
class Column:
    """The numbers of one column.

    Attributes
    ----------
    values : tuple of float
        In the order of the file.
    lines : tuple of int
        Line of each value, from 1, as an editor counts.
    understood : str
        How the file was understood: encoding, separator, decimal mark.
    left_out : tuple of str
        What was left out on request.
    """

    values: tuple[float, ...]
    lines: tuple[int, ...]
    understood: str
    left_out: tuple[str, ...] = ()


def text_of(path: Path) -> tuple[str, str]:
    """Text of a CSV file and the name of its encoding.

    Parameters
    ----------
    path : Path

    Returns
    -------
    text, encoding : str

    Raises
    ------
    UnreadableColumn
        There is no such file, it is empty, too large, or not text.
    """
    try:
        size = path.stat().st_size
        if size > LARGEST:
            raise UnreadableColumn(
                f"{path} is larger than {LARGEST // 2**20} MB: split it, or set up a shop."
            )
        data = path.read_bytes()
    except IsADirectoryError:
        raise UnreadableColumn(f"{path} is a folder: name a CSV file.") from None
    except OSError as error:
        raise UnreadableColumn(f"{path} cannot be read: {error.strerror}. Check the path.") from None
    if not data.strip():
        raise UnreadableColumn(f"{path} is empty: it needs a line of column names and a reading.")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError:
            raise UnreadableColumn(f"{path} is not text: save it as CSV in UTF-8.") from None
    if b"\0" in data:
        raise UnreadableColumn(f"{path} is not text: export it as CSV and try again.")
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        try:
            return data.decode("cp1252"), "Windows-1252"
        except UnicodeDecodeError:
            raise UnreadableColumn(
                f"{path} is not text in a known encoding: save it as CSV in UTF-8."
            ) from None


def _separator(path: Path, at: int, header: str, column: str, wanted: str | None) -> str | None:
    """The separator under which the header in line `at` holds the column; None for a file of one column.

    Blanks are taken only where nothing else fits: they also stand inside names and beside other separators.
    """
    if wanted is not None:
        if wanted not in SEPARATORS:
            raise UnreadableColumn(
                f"{wanted!r} is not a separator: choose comma, semicolon, tab, bar or spaces."
            )
        return wanted
    holding = [mark for mark in SEPARATORS if mark in header and column in cells_of(header, mark)]
    fitting = [mark for mark in holding if mark != " "]
    if len(fitting) == 1:
        return fitting[0]
    if len(fitting) > 1:
        names = " or ".join(SEPARATORS[mark] for mark in fitting)
        raise UnreadableColumn(
            f"{path} line {at} holds the column {column!r} with {names} as the separator: "
            "say which with --separator."
        )
    if header.strip().strip('"') == column:
        return None
    if holding:
        return " "
    marks = [mark for mark in SEPARATORS if mark in header]
    names = cells_of(header, marks[0]) if marks else [header.strip()]
    raise UnreadableColumn(
        f"{path} line {at} has no column {column!r}; it has: {', '.join(repr(name) for name in names)}. "
        "Name one of them with --column, or say with --names-in-line which line holds the names."
    )


def cells_of(line: str, separator: str) -> list[str]:
    """Cells of one line without the blanks around them; a quoted cell may hold the separator."""
    return [cell.strip() for cell in next(csv.reader([plain_line(line, separator)], delimiter=separator), [])]


def decimal_of(path: Path, cells: list[tuple[int, str]], separator: str | None, wanted: str | None) -> str:
    """The decimal mark: the one that reads every cell, or, if some are bad, the one that reads more.

    Parameters
    ----------
    path : Path
        For messages.
    cells : list of (line, text)
    separator : str or None
        None in a file of one column.
    wanted : str or None
        What the user said, if anything.

    Raises
    ------
    UnreadableColumn
        What was said is no decimal mark, or both marks occur.
    """
    if wanted is not None:
        if wanted not in NUMBER:
            raise UnreadableColumn(f"{wanted!r} is not a decimal mark: choose '.' or ','.")
        return wanted
    if separator == ",":
        with_comma = any("," in text for _, text in cells)
        with_point = any("." in text for _, text in cells)
        return "," if with_comma and not with_point else "."
    reads = {mark: sum(NUMBER[mark].fullmatch(text) is not None for _, text in cells) for mark in NUMBER}
    with_point = any("." in text for _, text in cells if NUMBER["."].fullmatch(text))
    with_comma = any("," in text for _, text in cells if NUMBER[","].fullmatch(text))
    if with_point and with_comma:
        raise UnreadableColumn(
            f"{path} has numbers with a decimal point and numbers with a decimal comma in this column: "
            "mend the file, or say which is right with --decimal."
        )
    return "," if reads[","] > reads["."] else "."


def read_column(
    path: Path,
    column: str,
    *,
    separator: str | None = None,
    decimal: str | None = None,
    skip_bad: bool = False,
    names_in_line: int = 1,
) -> Column:
    """Read one declared column.

    Parameters
    ----------
    path : Path
        A CSV file.
    column : str
        Name of the column, exactly as it stands there.
    separator, decimal : str, optional
        The marks, where the file leaves them open.
    skip_bad : bool
        Leave out cells that hold no number, and say so, instead of refusing the file.
    names_in_line : int
        Line that holds the column names; what stands above it is passed over, and so is a line of dashes
        right below it.

    Returns
    -------
    Column
        At least one value.

    Raises
    ------
    UnreadableColumn
        The file cannot be read, the column is not there or there twice, a row has too few or too many cells,
        or a cell holds no number.
    """
    text, encoding = text_of(path)
    all_lines = text.splitlines()
    if not 1 <= names_in_line <= len(all_lines):
        raise UnreadableColumn(
            f"{path} has {len(all_lines)} lines: line {names_in_line} cannot hold its names."
        )
    above = names_in_line - 1
    mark = _separator(path, names_in_line, all_lines[above], column, separator)
    split = mark or "\x1f"
    below = [plain_line(line, split) for line in all_lines[above:]]
    if len(below) > 1 and is_rule(below[1], split):
        below[1] = ""
    reader = csv.reader(below, delimiter=split, strict=True)
    try:
        rows = [(above + reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise UnreadableColumn(
            f"{path} line {above + reader.line_num}: {error}. Mend the quotes and try again."
        ) from None
    names = [name.strip() for name in rows[0][1]]
    if names.count(column) != 1:
        many = "no" if column not in names else f"{names.count(column)} times the"
        raise UnreadableColumn(
            f"{path} line {names_in_line} has {many} column {column!r}; it has: {', '.join(map(repr, names))}."
        )
    place = names.index(column)
    cells: list[tuple[int, str]] = []
    bad: list[str] = []
    for line, row in rows[1:]:
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(names):
            bad.append(f"line {line} has {len(row)} cells where {len(names)} are expected")
        else:
            cells.append((line, row[place].strip()))
    point = decimal_of(path, cells, mark, decimal)
    values, lines = [], []
    for line, cell in cells:
        if NUMBER[point].fullmatch(cell):
            values.append(float(cell.replace(",", ".")))
            lines.append(line)
        else:
            bad.append(f"line {line} holds {cell!r}, which is no number" if cell else f"line {line} is empty")
    where = f"names in line {names_in_line}, " if above else ""
    understood = (
        f"read as {encoding}, {where}separator {SEPARATORS[mark] if mark else 'none (one column)'}, "
        f"decimal {'point' if point == '.' else 'comma'}"
    )
    left_out: tuple[str, ...] = ()
    if bad:
        listed = "; ".join(bad[:SHOWN]) + (f"; and {len(bad) - SHOWN} more" if len(bad) > SHOWN else "")
        if not skip_bad:
            raise UnreadableColumn(
                f"{path}, column {column!r}: {listed}. Mend the file, or leave these out with --skip-bad."
            )
        left_out = (f"{len(bad)} left out: {listed}",)
    if not values:
        raise UnreadableColumn(f"{path} has no number in column {column!r}.")
    return Column(tuple(values), tuple(lines), understood, left_out)
