"""Prints what was simulated, with Monte Carlo errors: python -m tests.simulation.table [runs]."""

from __future__ import annotations

import sys
from collections.abc import Iterator

from tests.simulation.changes import (
    Delay,
    accepted_loop,
    event_loop,
    glazing,
    level_shift,
    no_event_loop,
    scatter_change,
    spread_change,
)
from tests.simulation.rates import false_alarms
from tests.simulation.shops import HOLDING


def lines(runs: int) -> Iterator[str]:
    """The table, line by line."""
    yield f"Alarms per 5,000 scores of a monitor (nominal 1), {runs} runs of 600 parts, +- one Monte Carlo error"
    for number, (name, shop) in enumerate(HOLDING.items()):
        rates = false_alarms(shop, runs, 600, 100 + number)
        cells = [f"{m} {r.per_nominal:.2f}+-{r.error:.2f}" for m, r in rates.items() if r.scores]
        yield f"  {name:36s} " + "  ".join(cells)
    yield f"Found within 60 parts, and quartiles of the delay in parts, {runs} runs"
    for shift in (1.0, 2.0):
        for before in (20, 40):
            for families in (False, True):
                delay = level_shift(shift, before, runs, 7, families)
                what = f"level +{shift:g} sd after {before} parts{', three families' if families else ''}"
                yield _delay_line(what, delay)
    for before in (20, 40):
        yield _delay_line(f"scatter x 2 after {before} parts", scatter_change(2.0, before, runs, 8))
        yield _delay_line(
            f"spread within part x 1.5 after {before} parts", spread_change(1.5, before, runs, 9)
        )
    share = glazing(max(runs // 4, 50), 10)
    yield f"  {'glazing tool, -0.4 sd a part':44s} found in its life {share.value:.3f}+-{share.error:.3f}"
    yield f"Clearing in a full loop, {runs} runs"
    for shift in (1.0, 2.0):
        for cured in (True, False):
            loop = event_loop(shift, cured, runs, 11)
            yield (
                f"  shift {shift:g} sd, event {'cures' if cured else 'does not cure'}: cleared after it "
                f"{loop.cleared.value:.3f}+-{loop.cleared.error:.3f}, by itself {loop.wrong_cause.value:.3f}, "
                f"signals again {loop.again.value:.3f}+-{loop.again.error:.3f}"
            )
        for lasts in (None, 3):
            share = no_event_loop(shift, lasts, runs, 12)
            what = "stays" if lasts is None else f"ends {lasts} parts after the signal"
            yield f"  shift {shift:g} sd {what}, no event: back by itself {share.value:.3f}+-{share.error:.3f}"
        share = accepted_loop(shift, max(runs // 2, 50), 13)
        yield f"  shift {shift:g} sd accepted: alarms again in 200 parts {share.value:.3f}+-{share.error:.3f}"


def _delay_line(what: str, delay: Delay) -> str:
    low, middle, high = delay.quartiles
    return f"  {what:44s} {delay.found.value:.3f}+-{delay.found.error:.3f}  {low:g} / {middle:g} / {high:g}"


if __name__ == "__main__":
    for line in lines(int(sys.argv[1]) if len(sys.argv) > 1 else 2_000):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
