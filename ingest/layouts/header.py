"""Which layout a file has: told by the names in its header line, never guessed from its content."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ingest.layouts.split import plain_line, split_record
from ingest.plans.check_layouts import fold_name
from ingest.plans.model import Column, Layout, Plan
from ingest.problems import Complaint

PREAMBLE_LIMIT = 50
"""Lines searched for a header."""
_NEAREST = 3


@dataclass(frozen=True)
class Header:
    """A header line that a layout recognises.

    Attributes
    ----------
    columns : tuple of (Column or None)
        The declared column of each field of the line; None for one that is not declared.
    folded : tuple of str
        The names as compared.
    trailing : int
        Nameless fields at the end.
    warnings : tuple of str
        Kinds.
    """

    layout: Layout
    separator: str
    columns: tuple[Column | None, ...]
    folded: tuple[str, ...]
    trailing: int
    warnings: tuple[str, ...]

    @property
    def width(self) -> int:
        """Fields a line has, nameless ones at the end included."""
        return len(self.columns) + self.trailing


@dataclass(frozen=True)
class Found:
    """A header and the line it stands on (index from 0)."""

    header: Header
    at: int


@dataclass
class HeaderReader:
    """Finds headers for one plan; remembers lines it has seen, as files of one gauge begin alike."""

    plan: Plan
    _seen: dict[str, Header | Complaint | None] = field(default_factory=dict)

    def find(self, lines: Sequence[str]) -> Found | Complaint:
        """The first line that is the header of a declared layout.

        A sentence above the header may hold all its names and more. So a line with names nobody declared
        gives way to one of the same layout without them, when only blank lines stand between the two.

        Returns
        -------
        found : Found or Complaint
            ``header_duplicate`` when a column stands twice; ``header_unrecognised`` with the nearest
            declared layouts and the differing columns.
        """
        for at, line in enumerate(lines[:PREAMBLE_LIMIT]):
            match = self._seen_match(line)
            if isinstance(match, Header):
                return self._nearer(lines, Found(match, at))
            if match is not None:
                return match
        return self._unrecognised(lines)

    def _seen_match(self, line: str) -> Header | Complaint | None:
        if line not in self._seen:
            self._seen[line] = self._match(line)
        return self._seen[line]

    def _nearer(self, lines: Sequence[str], found: Found) -> Found:
        """The next line with anything in it, if it is the same header without names nobody declared."""
        if None not in found.header.columns:
            return found
        below = next((i for i in range(found.at + 1, len(lines)) if lines[i].strip()), None)
        match = None if below is None else self._seen_match(lines[below])
        if below is None or not isinstance(match, Header) or None in match.columns:
            return found
        return Found(match, below) if match.layout is found.header.layout else found

    def _match(self, line: str) -> Header | Complaint | None:
        if not line.strip():
            return None
        best: Header | None = None
        trouble: Complaint | None = None
        for layout in self.plan.layouts.values():
            for separator in layout.separator:
                match = _match_layout(line, layout, separator)
                if isinstance(match, Complaint):
                    trouble = trouble or match
                elif match is not None and (best is None or _fit(match) > _fit(best)):
                    best = match
        return best or trouble

    def _unrecognised(self, lines: Sequence[str]) -> Complaint:
        near = [n for n in (self._distance(layout, lines) for layout in self.plan.layouts.values()) if n]
        near.sort(key=lambda n: n[0])
        described = " ".join(text for _, text in near[:_NEAREST])
        reason = "no declared layout has these columns."
        if described:
            reason += f" Nearest: {described}"
        else:
            shown = next((line for line in lines if line.strip()), "")[:120]
            reason += f" The file begins: {shown}"
        remedy = (
            "Add a layout, or an alias of a renamed column, to the plan; the file is then taken in by itself."
        )
        return Complaint("header_unrecognised", reason, remedy)

    def _distance(self, layout: Layout, lines: Sequence[str]) -> tuple[int, str] | None:
        """How far the best line of the file is from a layout, and in which columns; None if in nearly all."""
        best: tuple[int, str] | None = None
        for line in lines[:PREAMBLE_LIMIT]:
            for separator in layout.separator:
                cells = split_record(plain_line(line, separator), separator)
                if cells is None or not line.strip():
                    continue
                there = {fold_name(c): c.strip() for c in cells if c.strip()}
                wanted = {c.name: {fold_name(n) for n in (c.name, *c.aliases)} for c in layout.columns}
                missing = [n for n, names in wanted.items() if not names & there.keys()]
                known = set().union(*wanted.values())
                extra = [shown for folded, shown in there.items() if folded not in known]
                required = [c.name for c in layout.columns if c.name in missing and not c.optional]
                if len(missing) * 2 > len(wanted):
                    continue
                distance = len(required) + len(extra)
                if best is None or distance < best[0]:
                    text = f"'{layout.key}' (missing: {_named(required)}; not declared: {_named(extra)})."
                    best = (distance, text)
        return best


def _named(names: Sequence[str]) -> str:
    return ", ".join(names[:12]) + (" ..." if len(names) > 12 else "") if names else "none"


def _fit(header: Header) -> tuple[int, int]:
    """Better fit, larger: fewest columns that nobody declared, then most that somebody did."""
    return -sum(c is None for c in header.columns), sum(c is not None for c in header.columns)


def _by_name(layout: Layout) -> Mapping[str, Column]:
    names = {fold_name(n): c for c in layout.columns for n in c.aliases}
    return names | {fold_name(c.name): c for c in layout.columns}


def _match_layout(line: str, layout: Layout, separator: str) -> Header | Complaint | None:
    line = plain_line(line, separator)
    if separator not in line and len(layout.columns) > 1:
        return None
    cells = split_record(line, separator)
    if cells is None:
        return None
    folded = [fold_name(cell) for cell in cells]
    trailing = 0
    while folded and not folded[-1]:
        folded.pop()
        trailing += 1
    names = _by_name(layout)
    columns = [names.get(name) for name in folded]
    present = [c for c in columns if c is not None]
    if any(c not in present for c in layout.columns if not c.optional):
        return None
    twice = sorted({c.name for c in present if present.count(c) > 1})
    if twice:
        reason = f"layout '{layout.key}': the column '{twice[0]}' stands in the header more than once."
        return Complaint("header_duplicate", reason, "Remove one of the two columns from the export.")
    warnings = []
    if any(c is None and name for c, name in zip(columns, folded, strict=True)):
        warnings.append("extra_column_ignored")
    if any(c and fold_name(c.name) != n for c, n in zip(columns, folded, strict=True)):
        warnings.append("column_alias")
    if trailing:
        warnings.append("trailing_delimiter")
    return Header(layout, separator, tuple(columns), tuple(folded), trailing, tuple(warnings))
