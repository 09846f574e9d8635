"""The sheet of a planned gauge trial: every part by every person several times, in an order drawn by chance."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Sequence

from dashboard.commands.study_file import COLUMNS

MOST = 5000


class SheetError(ValueError):
    """The trial asked for cannot be; the message says why and what to ask instead."""


def trial_sheet(parts: int, people: Sequence[str], trials: int, seed: int) -> str:
    """A CSV to print, fill in and hand to ``tenthwise study``.

    Each person measures all parts once, in an order of their own, before anybody begins the next round: nobody
    can remember what a part read, and a drift of the gauge falls on all alike.

    Parameters
    ----------
    parts : int
        2 or more.
    people : sequence of str
        1 or more, each once.
    trials : int
        2 or more.
    seed : int
        Draws the order.

    Returns
    -------
    str
        Columns order, part, operator, trial, reading; the last empty.

    Raises
    ------
    SheetError
        Too few parts, people or trials, a person twice or without a name, or more readings than anybody makes.

    References
    ----------
    .. [1] Random order within rounds: a randomised block design, Box, Hunter & Hunter, Statistics for Experimenters
       (from memory).
    """
    if parts < 2:
        raise SheetError(f"{parts} parts cannot show how parts differ: take 2 at the least, 10 are usual.")
    if trials < 2:
        raise SheetError(
            f"{trials} trial cannot show how well a gauge repeats: let each measure 2 times or more."
        )
    if not people or any(not name for name in people):
        raise SheetError("Somebody has no name: write who measures like --by A,B,C.")
    twice = sorted({name for name in people if people.count(name) > 1})
    if twice:
        raise SheetError(f"{', '.join(twice)} is named twice: name each person once.")
    if parts * len(people) * trials > MOST:
        raise SheetError(
            f"{parts * len(people) * trials:,} readings are more than a trial can hold ({MOST:,})."
        )
    # Shuffled numbers keep neighbouring parts from being told by their place in the row.
    draw = random.Random(seed)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("order", *COLUMNS))
    order = 0
    for trial in range(1, trials + 1):
        for person in draw.sample(list(people), len(people)):
            for part in draw.sample(range(1, parts + 1), parts):
                order += 1
                writer.writerow((order, part, person, trial, ""))
    return out.getvalue()
