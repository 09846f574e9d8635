"""Prints what was simulated, with Monte Carlo errors.

Run `python -m tests.simulation.table [--runs N] [--part NAME]`; 2,000 runs of every row take some ten minutes on two
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


def alarms(pool: ProcessPoolExecutor, runs: int) -> Iterator[str]:
    """Rows of false alarms."""
    begun = {name: start(pool, job, runs, 100 + n) for n, (name, job) in enumerate(HOLDING.items())}
    yield f"Alarms over those granted (1 is nominal: one in 5,000 scores of a monitor), {runs} runs each,"
    yield "+- one Monte Carlo standard error"
    for name, futures in begun.items():
        situation = HOLDING[name]
        yield f"  {name} ({situation.parts} parts)"
        for monitor, rate in rates(outcomes(futures), situation.run_length).items():
            if rate.scores:
                told = f"{rate.alarms} alarms in {rate.scores} scores"
                yield f"    {monitor:24s} {rate.per_nominal:6.2f} +- {rate.error:.2f}   {told}"


def changes(pool: ProcessPoolExecutor, runs: int) -> Iterator[str]:
    """Rows of delays."""
    begun = {name: start(pool, job, runs, 200 + n) for n, (name, job) in enumerate(DELAYS.items())}
    glazed = start(pool, glazing, max(runs // 4, 1), 300)
    yield f"Changes, {runs} runs each without those that alarmed before: told under the right name within 40"
    yield "and 60 parts; under any name within 60; quartiles of the delay in parts (right name)"
    for name, futures in begun.items():
        told = [outcome for outcome in outcomes(futures) if outcome is not None]
        delays = [outcome.by_name for outcome in told]
        shares = "  ".join(_share(found_within(delays, parts)) for parts in (40, 60))
        seen = _share(found_within([outcome.by_any for outcome in told], 60))
        yield f"  {name:46s} {shares}  {seen}  {' / '.join(f'{q:g}' for q in quartiles(delays))}"
    yield f"  {'a tool that glazes, -0.4 sd a part':46s} told in its life {_share(share(outcomes(glazed)))}"


def clearing(pool: ProcessPoolExecutor, runs: int) -> Iterator[str]:
    """Rows of full loops from a shift to the end of its signal."""
    loops = {(d, c): start(pool, EventLoop(d, c), runs, 400) for d in _SHIFTS for c in (True, False)}
    alone = {(d, n): start(pool, NoEventLoop(d, n), runs, 500) for d in _SHIFTS for n in (None, 3)}
    accepted = {d: start(pool, AcceptedLoop(d), runs, 600) for d in _SHIFTS}
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


PARTS = {"alarms": alarms, "changes": changes, "clearing": clearing}


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
    parser.add_argument("--part", choices=PARTS, help="this part of the table only")
    asked = parser.parse_args()
    with workers() as pool:
        for name, part in PARTS.items():
            if asked.part in (None, name):
                for row in part(pool, max(asked.runs, 1)):
                    sys.stdout.write(row + "\n")
                    sys.stdout.flush()


if __name__ == "__main__":
    main()
