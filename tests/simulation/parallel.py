"""Many simulated runs on all cores, the same whatever the number of cores."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

import numpy as np

Outcome = TypeVar("Outcome")
Job = Callable[[int, np.random.Generator], list[Outcome]]

# Runs of one task: short enough that cores end together, long enough that starting it costs nothing.
CHUNK = 50


@contextmanager
def workers() -> Iterator[ProcessPoolExecutor]:
    """A pool with one process a core.

    Fresh processes, not forks: a fork of a process with threads may hang. One thread each, for the
    matrices are small and the cores are taken.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=os.cpu_count() or 1, mp_context=context) as pool:
        yield pool


def _task(job: Job[Outcome], runs: int, seed: np.random.SeedSequence) -> list[Outcome]:
    return job(runs, np.random.default_rng(seed))


def start(pool: ProcessPoolExecutor, job: Job[Outcome], runs: int, seed: int) -> list[Future[list[Outcome]]]:
    """Begin a job of so many runs; every chunk of runs has a stream of random numbers of its own."""
    sizes = [min(CHUNK, runs - done) for done in range(0, runs, CHUNK)]
    streams = np.random.SeedSequence(seed).spawn(len(sizes))
    return [pool.submit(_task, job, size, stream) for size, stream in zip(sizes, streams, strict=True)]


def outcomes(begun: list[Future[list[Outcome]]]) -> list[Outcome]:
    """One outcome per run, once all are in."""
    return [outcome for future in begun for outcome in future.result()]
