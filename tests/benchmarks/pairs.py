"""Fair comparison of two ways on a shared machine: in turn, pair by pair, wall and processor time."""

import gc
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median

Work = Callable[[], object]


@dataclass(frozen=True)
class Ratio:
    """Ours over theirs, taken pair by pair."""

    wall: float
    low: float
    high: float
    cpu: float
    ours_ms: float
    theirs_ms: float


def _cpu() -> float:
    """Processor time of this process and of the children it has waited for. [s]"""
    spent = os.times()
    return time.process_time() + spent.children_user + spent.children_system


def _once(work: Work, _calls: int, before: Work) -> tuple[float, float]:
    before()
    gc.collect()
    cpu, wall = _cpu(), time.perf_counter()
    work()
    return time.perf_counter() - wall, _cpu() - cpu


def _typical(work: Work, calls: int, before: Work) -> tuple[float, float]:
    gc.collect()
    spent, walls = 0.0, []
    for _ in range(calls):
        before()
        cpu, wall = _cpu(), time.perf_counter()
        work()
        walls.append(time.perf_counter() - wall)
        spent += _cpu() - cpu
    return median(walls), spent / calls


def _nothing() -> None:
    """Nothing to be done before a measurement."""


def compare(
    ours: Work, theirs: Work, pairs: int = 5, calls: int = 1, warm: bool = True, before: Work = _nothing
) -> Ratio:
    """Median ratio of `ours` to `theirs` over interleaved pairs.

    Parameters
    ----------
    ours, theirs : callable
        Each does one piece of work.
    pairs : int
        How often each is measured.
    calls : int
        With more than one, a measurement is the median of so many calls: for work of a few milliseconds.
    warm : bool
        Do each once before the first measurement.
    before : callable
        Done before every call of `ours`, not measured.

    Returns
    -------
    Ratio
        Processor time counts all threads of this process and the children it waited for; it hardly moves when
        a neighbour uses the machine, so it is the one to believe where the two disagree.
    """
    measure = _once if calls == 1 else _typical
    if warm:
        ours()
        theirs()
    walls, cpus, own, other = [], [], [], []
    for _ in range(pairs):
        a, b = measure(ours, calls, before), measure(theirs, calls, _nothing)
        walls.append(a[0] / max(b[0], 1e-9))
        cpus.append(a[1] / max(b[1], 1e-9))
        own.append(a[0])
        other.append(b[0])
    return Ratio(median(walls), min(walls), max(walls), median(cpus), 1e3 * median(own), 1e3 * median(other))


def verdict(ratio: Ratio, at_most: float | None) -> str:
    """The goal and whether this run kept it, by the wall clock."""
    if at_most is None:
        return "no goal set"
    return f"goal <= {at_most:g}: {'kept' if ratio.wall <= at_most else 'MISSED'}"


def show(name: str, ratio: Ratio, at_most: float | None = None, *, cpu: bool = True) -> None:
    """One line of the table, written for a person; without processor time where others spend most of it."""
    spent = f"cpu {ratio.cpu:9.3f}x" if cpu else " " * 14
    say(
        f"{name:<70} {ratio.wall:9.3f}x [{ratio.low:.3f}..{ratio.high:.3f}]  {spent}  "
        f"{ratio.ours_ms:9.2f} / {ratio.theirs_ms:9.2f} ms   {verdict(ratio, at_most)}"
    )


def say(text: str) -> None:
    """A line of the table that is no ratio."""
    print(text, flush=True)  # noqa: T201 - a benchmark's whole purpose is to print
