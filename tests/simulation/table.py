"""Prints what was simulated, with Monte Carlo errors.

Run `python -m tests.simulation.table [--runs N]`; 2,000 runs of every row take some ten minutes on two
cores. Rows are printed as they are done.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor

from tests.simulation.changes import (
    DELAYS,
    AcceptedLoop,
    Ending,
    EventLoop,
    NoEventLoop,
    Share,
    found_within,
    glazing,
    quartiles,
    share,
)
from tests.simulation.parallel import outcomes, start, workers
from tests.simulation.rates import rates
from tests.simulation.situations import HOLDING

_SHIFTS = (1.0, 2.0)


def rows(pool: ProcessPoolExecutor, runs: int) -> Iterator[str]:
    """The table, line by line, all of it begun at once."""
    begun = {name: start(pool, job, runs, 100 + n) for n, (name, job) in enumerate(HOLDING.items())}
    delays = {name: start(pool, job, runs, 200 + n) for n, (name, job) in enumerate(DELAYS.items())}
    glazed = start(pool, glazing, max(runs // 4, 1), 300)
    loops = {(d, c): start(pool, EventLoop(d, c), runs, 400) for d in _SHIFTS for c in (True, False)}
    alone = {(d, n): start(pool, NoEventLoop(d, n), runs, 500) for d in _SHIFTS for n in (None, 3)}
    accepted = {d: start(pool, AcceptedLoop(d), runs, 600) for d in _SHIFTS}

    yield f"Alarms over those granted (1 is nominal: one in 5,000 scores of a monitor), {runs} runs each,"
    yield "+- one Monte Carlo standard error"
    for name, futures in begun.items():
        situation = HOLDING[name]
        yield f"  {name} ({situation.parts} parts)"
        for monitor, rate in rates(outcomes(futures), situation.run_length).items():
            if rate.scores:
                told = f"{rate.alarms} alarms in {rate.scores} scores"
                yield f"    {monitor:24s} {rate.per_nominal:6.2f} +- {rate.error:.2f}   {told}"
    yield f"Changes: found within 40 and 60 parts, and quartiles of the delay in parts, {runs} runs each"
    for name, futures in delays.items():
        found = outcomes(futures)
        shares = "  ".join(_share(found_within(found, parts)) for parts in (40, 60))
        yield f"  {name:46s} {shares}  {' / '.join(f'{q:g}' for q in quartiles(found))}"
    yield f"  {'a tool that glazes, -0.4 sd a part':46s} found in its life {_share(share(outcomes(glazed)))}"
    yield f"Clearing in a full loop (shift after 60 parts, event 15 parts after the signal), {runs} runs each"
    for (shift, cures), futures in loops.items():
        what = f"shift {shift:g} sd, the event {'cures' if cures else 'does not cure'}"
        yield f"  {what:46s} {_ending(outcomes(futures))}"
    for (shift, lasts), back in alone.items():
        what = f"shift {shift:g} sd, no event, {'stays' if lasts is None else f'ends {lasts} parts after'}"
        yield f"  {what:46s} said to have gone {_share(share(outcomes(back)))}"
    for shift, again in accepted.items():
        what = f"shift {shift:g} sd accepted as the new level"
        yield f"  {what:46s} alarms again in 200 parts {_share(share(outcomes(again)))}"


def _share(found: Share) -> str:
    return f"{found.value:.3f} +- {found.error:.3f}"


def _ending(endings: list[Ending | None]) -> str:
    def of(what: Callable[[Ending], bool]) -> str:
        return _share(share([None if ending is None else what(ending) for ending in endings]))

    return (
        f"cleared by it {of(lambda e: e.cleared)}, by itself {of(lambda e: e.alone)}, "
        f"alarms again {of(lambda e: e.again)}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Print what was simulated, with Monte Carlo errors.")
    parser.add_argument("--runs", type=int, default=2_000, help="simulated histories per row")
    runs = max(parser.parse_args().runs, 1)
    with workers() as pool:
        for row in rows(pool, runs):
            sys.stdout.write(row + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
