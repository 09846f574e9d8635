"""Errors that spc raises for data it cannot work with."""

from __future__ import annotations


class SpcError(ValueError):
    """Data or a setting that a computation cannot use; the message says what, and what is legal."""


class TooFewReadings(SpcError):
    """Fewer values than the smallest number the computation can answer for.

    Parameters
    ----------
    what
        The computation, in words.
    got, needed
        Number of values given and the smallest number that works.
    """

    def __init__(self, what: str, got: int, needed: int) -> None:
        super().__init__(f"{what} needs at least {needed} values and got {got}")
        self.got = got
        self.needed = needed
