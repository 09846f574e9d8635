"""On which line of a TOML text each key stands.

TOML readers forget the lines once a text is read, but a person who must mend a plan needs them. This
walks a text that is already known to be valid TOML and only notes positions; it never judges.
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_LITERAL = re.compile(r"[^,\]\}#\n]+")


class _Walk:
    """One pass over a valid TOML text, filling `lines`: path of keys and list indexes -> line."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}

    def line(self) -> int:
        return self.text.count("\n", 0, self.at) + 1

    def here(self, *starts: str) -> bool:
        return self.text.startswith(starts, self.at)

    def done(self) -> bool:
        return self.at >= len(self.text)

    def skip(self) -> None:
        """Pass white space, line ends and comments."""
        while not self.done():
            if self.text[self.at] in " \t\r\n":
                self.at += 1
            elif self.here("#"):
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            else:
                return

    def string(self) -> str:
        quote = self.text[self.at]
        mark = quote * 3 if self.here(quote * 3) else quote
        start = self.at = self.at + len(mark)
        while not self.done() and not self.here(mark):
            self.at += 2 if quote == '"' and self.here("\\") else 1
        found = self.text[start : self.at]
        self.at += len(mark)
        while len(mark) == 3 and self.here(quote):  # a triple-quoted text may end in its own quote
            self.at += 1
        return found

    def key(self) -> Path:
        parts: list[str | int] = []
        while True:
            self.blanks()
            if self.here('"', "'"):
                parts.append(self.string())
            else:
                match = _BARE.match(self.text, self.at)
                if match is None:
                    return tuple(parts)
                parts.append(match.group())
                self.at = match.end()
            self.blanks()
            if not self.here("."):
                return tuple(parts)
            self.at += 1

    def blanks(self) -> None:
        while self.here(" ", "\t"):
            self.at += 1

    def pair(self, table: Path) -> None:
        line = self.line()
        path = table
        for part in self.key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self.skip()
        self.at += 1  # the equals sign
        self.value(path)

    def value(self, path: Path) -> None:
        self.skip()
        if self.here('"', "'"):
            self.string()
        elif self.here("["):
            self.items(path, "]")
        elif self.here("{"):
            self.items(path, "}")
        else:
            match = _LITERAL.match(self.text, self.at)
            self.at = match.end() if match else self.at + 1

    def items(self, path: Path, end: str) -> None:
        self.at += 1
        index = 0
        while True:
            self.skip()
            if self.done() or self.here(end):
                self.at += 1
                return
            if self.here(","):
                self.at += 1
            elif end == "}":
                self.pair(path)
            else:
                self.lines.setdefault((*path, index), self.line())
                self.value((*path, index))
                index += 1

    def header(self) -> Path:
        line = self.line()
        many = self.here("[[")
        self.at += 2 if many else 1
        written = self.key()
        self.at += 2 if many else 1
        path: Path = ()
        for depth, part in enumerate(written):
            path = (*path, part)
            last = depth == len(written) - 1
            self.lines.setdefault(path, line)
            if last and many:
                self.counts[path] = self.counts.get(path, 0) + 1
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
                self.lines.setdefault(path, line)
        return path

    def run(self) -> dict[Path, int]:
        table: Path = ()
        while True:
            self.skip()
            if self.done():
                return self.lines
            if self.here("["):
                table = self.header()
            else:
                self.pair(table)


def key_lines(text: str) -> dict[Path, int]:
    """Line of every key, table and list item of a valid TOML text.

    Parameters
    ----------
    text : str
        TOML that `tomllib` accepts, line ends as ``\\n``.

    Returns
    -------
    lines : dict
        ``("layouts", "bore", "columns", 2, "form")`` -> line from 1.
    """
    return _Walk(text).run()


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Line of the path, or of the nearest table that holds it."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None
