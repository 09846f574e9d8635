"""The errors that `spc` raises on input it cannot answer for."""

from __future__ import annotations

LARGEST = 1e60
"""Values beyond this are no measurement, and their fourth powers leave the range of a float."""


class SpcError(ValueError):
    """Input from which no honest figure can be computed; the message says what, why and what would do."""


class TooFewReadings(SpcError):  # noqa: N818 - reads as what it is
    """Fewer readings, parts or groups than the method needs.

    Attributes
    ----------
    what : str
        The quantity that was asked for.
    need : str
        What the least input is, in words.
    got : int
        How many there were.
    """

    def __init__(self, what: str, need: str, got: int) -> None:
        super().__init__(f"{what} needs at least {need}; got {got}")
        self.what = what
        self.need = need
        self.got = got
