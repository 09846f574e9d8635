"""The file of a gauge study, read strictly: one row a reading, with part, operator, trial and reading."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from dashboard.commands.one_column import (
    NUMBER,
    SEPARATORS,
    SHOWN,
    UnreadableColumn,
    cells_of,
    decimal_of,
    text_of,
)

COLUMNS = ("part", "operator", "trial", "reading")


@dataclass(frozen=True)
class StudyRows:
    """Readings of a study in the order of the file, and how the file was understood."""

    part: tuple[str, ...]
    operator: tuple[str, ...]
    reading: tuple[float, ...]
    understood: str


def read_study(path: Path, *, separator: str | None = None, decimal: str | None = None) -> StudyRows:
    """Read the four columns of a gauge study; other columns are passed over.

    Parameters
    ----------
    path : Path
        A CSV file whose first line names the columns part, operator, trial and reading, in any order and
        capitals or not.
    separator, decimal : str, optional
        The marks, where the file leaves them open.

    Returns
    -------
    StudyRows

    Raises
    ------
    UnreadableColumn
        The file cannot be read, a column is not there or there twice, a row is short, a cell is empty or holds
        no number, or one trial of a part by an operator stands there twice.
    """
    text, encoding = text_of(path)
    lines = text.splitlines()
    mark = _mark(path, lines[0], separator)
    names = [name.lower() for name in cells_of(lines[0], mark)]
    for wanted in COLUMNS:
        if names.count(wanted) != 1:
            many = "no" if wanted not in names else f"{names.count(wanted)} times the"
            raise UnreadableColumn(
                f"{path} line 1 has {many} column {wanted!r}; it has: {', '.join(map(repr, names))}. "
                f"A study needs the columns {', '.join(COLUMNS)}, once each."
            )
    places = [names.index(wanted) for wanted in COLUMNS]
    reader = csv.reader(lines, delimiter=mark, strict=True)
    try:
        rows = [(reader.line_num, row) for row in reader][1:]
    except csv.Error as error:
        raise UnreadableColumn(
            f"{path} line {reader.line_num}: {error}. Mend the quotes and try again."
        ) from None
    bad: list[str] = []
    found: list[tuple[int, str, str, str, str]] = []
    for line, row in rows:
        cells = [cell.strip() for cell in row]
        if not any(cells):
            continue
        if len(cells) != len(names):
            bad.append(f"line {line} has {len(cells)} cells where {len(names)} are expected")
            continue
        part, operator, trial, reading = (cells[place] for place in places)
        empty = [
            name for name, cell in zip(COLUMNS, (part, operator, trial, reading), strict=True) if not cell
        ]
        if empty:
            bad.append(f"line {line} has no {' and no '.join(empty)}")
        else:
            found.append((line, part, operator, trial, reading))
    point = decimal_of(path, [(row[0], row[4]) for row in found], mark, decimal)
    seen: dict[tuple[str, str, str], int] = {}
    for line, part, operator, trial, reading in found:
        if not NUMBER[point].fullmatch(reading):
            bad.append(f"line {line} holds {reading!r}, which is no number")
        first = seen.setdefault((part, operator, trial), line)
        if first != line:
            bad.append(f"line {line} repeats trial {trial} of part {part} by {operator} from line {first}")
    if bad:
        listed = "; ".join(bad[:SHOWN]) + (f"; and {len(bad) - SHOWN} more" if len(bad) > SHOWN else "")
        raise UnreadableColumn(f"{path}: {listed}. Mend the file and try again.")
    if not found:
        raise UnreadableColumn(f"{path} holds no reading below its line of names.")
    return StudyRows(
        part=tuple(row[1] for row in found),
        operator=tuple(row[2] for row in found),
        reading=tuple(float(row[4].replace(",", ".")) for row in found),
        understood=f"read as {encoding}, separator {SEPARATORS[mark]}, "
        f"decimal {'point' if point == '.' else 'comma'}",
    )


def _mark(path: Path, header: str, wanted: str | None) -> str:
    if wanted is not None:
        if wanted not in SEPARATORS:
            raise UnreadableColumn(
                f"{wanted!r} is not a separator: choose comma, semicolon, tab, bar or spaces."
            )
        return wanted
    fitting = [
        mark for mark in SEPARATORS if set(COLUMNS) <= {name.lower() for name in cells_of(header, mark)}
    ]
    if fitting:
        return fitting[0]
    held = [mark for mark in SEPARATORS if mark in header and mark != " "]
    names = cells_of(header, held[0] if held else ",")
    missing = [name for name in COLUMNS if name not in {n.lower() for n in names}]
    raise UnreadableColumn(
        f"{path} line 1 has no column {' and no column '.join(map(repr, missing))}; "
        f"it has: {', '.join(map(repr, names))}. A study needs the columns {', '.join(COLUMNS)}."
    )
