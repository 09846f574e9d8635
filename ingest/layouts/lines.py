"""The lines of a large file without a text of each: cut out of its bytes when somebody asks for one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import overload

import numpy as np
from numpy.typing import NDArray

MANY_BYTES = 1_000_000
"""From so many bytes on the lines of a file are not cut apart beforehand."""
_HEAD = 65_536


class Lines(Sequence[str]):
    """Lines of an ASCII text whose line ends are all line feeds.

    Parameters
    ----------
    data : bytes
        The whole text.
    """

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.ended = data.endswith(b"\n")
        self._count = data.count(b"\n") + (not self.ended)
        self._before: NDArray[np.int64] | None = None

    @cached_property
    def _head(self) -> list[str]:
        """The first lines, of which most questions are."""
        head = self.data[:_HEAD]
        return head[: head.rfind(b"\n") + 1].decode("ascii").split("\n")[:-1]

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, at: int) -> str: ...
    @overload
    def __getitem__(self, at: slice) -> list[str]: ...
    def __getitem__(self, at: int | slice) -> str | list[str]:
        if isinstance(at, int):
            if not -self._count <= at < self._count:
                raise IndexError(at)
            return self._cut(at % self._count, at % self._count + 1)[0]
        start, stop, step = at.indices(self._count)
        if step != 1:
            return [self[i] for i in range(start, stop, step)]
        return self._cut(start, stop) if stop > start else []

    def __iter__(self) -> Iterator[str]:
        return iter(self[:])

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment]

    def _cut(self, start: int, stop: int) -> list[str]:
        if stop <= len(self._head):
            return self._head[start:stop]
        return (
            self.data[self.offset(start) : self.offset(stop)].decode("ascii").removesuffix("\n").split("\n")
        )

    def offset(self, line: int) -> int:
        """Byte at which a line begins; the end of the text for the line after the last."""
        if line == 0:
            return 0
        if line <= len(self._head):
            return sum(map(len, self._head[:line])) + line
        if line >= self._count:
            return len(self.data)
        if self._before is None:  # line ends before each piece of the text
            pieces = range(0, len(self.data), _HEAD)
            self._before = np.cumsum([0, *(self.data.count(b"\n", at, at + _HEAD) for at in pieces)])
        piece = int(np.searchsorted(self._before, line)) - 1  # the one with the end of the line before
        start = piece * _HEAD
        ends = np.flatnonzero(np.frombuffer(self.data[start : start + _HEAD], dtype=np.uint8) == ord("\n"))
        return start + int(ends[line - 1 - self._before[piece]]) + 1

    def longest_at_most(self, limit: int) -> bool:
        """Whether surely no line is longer; False where that takes a closer look."""
        half = limit // 2
        return all(
            self.data.find(b"\n", at, at + half) >= 0 for at in range(0, max(len(self.data) - half, 1), half)
        )
