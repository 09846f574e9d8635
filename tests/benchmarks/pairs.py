"""Fair comparison of two ways on a shared machine: in turn, pair by pair, wall and processor time."""

import gc
import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Ratio:
    """Ours over theirs, taken pair by pair."""

    wall: float
    low: float
    high: float
    cpu: float
    ours_ms: float
    theirs_ms: float


def _run(work: Callable[[], object]) -> tuple[float, float]:
    gc.collect()
    cpu, wall = time.process_time(), time.perf_counter()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def compare(ours: Callable[[], object], theirs: Callable[[], object], pairs: int = 5) -> Ratio:
    """Median ratio of `ours` to `theirs` over interleaved pairs, after one warm-up of each.

    Processor time counts all threads of this process; it hardly moves when a neighbour uses the machine, so it
    is the one to believe where the two disagree.
    """
    _run(ours), _run(theirs)
    walls, cpus, own, other = [], [], [], []
    for _ in range(pairs):
        a, b = _run(ours), _run(theirs)
        walls.append(a[0] / b[0])
        cpus.append(a[1] / max(b[1], 1e-9))
        own.append(a[0])
        other.append(b[0])
    return Ratio(median(walls), min(walls), max(walls), median(cpus), 1e3 * median(own), 1e3 * median(other))


def show(name: str, ratio: Ratio, goal: str) -> None:
    """One line of the table, written for a person."""
    print(  # noqa: T201 - a benchmark's whole purpose is to print
        f"{name:<58} {ratio.wall:8.3f}x [{ratio.low:.3f}..{ratio.high:.3f}]  cpu {ratio.cpu:8.3f}x  "
        f"{ratio.ours_ms:9.2f} ms / {ratio.theirs_ms:9.2f} ms   goal {goal}"
    )
