"""Prints how soon monitors that know more than the score can tell a step: what delays may be aimed at.

Run `python -m tests.simulation.delay_bound [--runs N]`; 40,000 runs take less than a minute.

The ideal monitors know the standard deviation, and the last one also the size of the step and that its sides are
equally likely. The level before it is unknown to all, as is where the step begins. Each grants every part after the
tenth the same chance of a false alarm, one in 5,000 of the histories without one so far.
"""

from __future__ import annotations

import argparse
import math
import sys

import numpy as np
from numpy.typing import NDArray

_BUDGET = 5_000
_FIRST = 10
_WITHIN = 60

Floats = NDArray[np.float64]


def statistics(values: Floats, size: float) -> dict[str, Floats]:
    """Statistic of each ideal monitor after each part.

    Parameters
    ----------
    values
        (runs, parts) of known standard deviation 1 and unknown level.
    size
        Size of the step that the last monitor knows, in standard deviations.

    Returns
    -------
    dict
        (runs, parts) each, by what is known; minus infinity up to the tenth part.

    Notes
    -----
    Of n parts the step after the first k is judged by the mean of those after it less that of those
    before it, times sqrt(k (n - k) / n): standard normal without a step. It is sufficient when level and
    step are the only unknowns. The largest over k is the likelihood ratio test; the sum over k and sides of
    the likelihood ratios for a known size is that of Shiryaev and Roberts (from memory).
    """
    total = np.cumsum(values, axis=1)
    runs, parts = values.shape
    largest = np.full((runs, parts), -np.inf)
    summed = np.full((runs, parts), -np.inf)
    for n in range(_FIRST + 1, parts + 1):
        k = np.arange(1, n)
        root = np.sqrt(k * (n - k) / n)
        before = total[:, : n - 1]
        step = np.abs(((total[:, n - 1 : n] - before) / (n - k) - before / k) * root)
        largest[:, n - 1] = step.max(axis=1)
        mean = size * root
        ratio = np.exp(mean * step - mean**2 / 2.0) + np.exp(-mean * step - mean**2 / 2.0)
        summed[:, n - 1] = np.log(ratio.sum(axis=1))
    return {"sd known": largest, "sd and size of the step known": summed}


def limits(statistic: Floats) -> Floats:
    """Limit at each part that 1 in 5,000 of the histories without an alarm so far pass."""
    parts = statistic.shape[1]
    limit = np.full(parts, np.inf)
    quiet = np.ones(statistic.shape[0], bool)
    for n in range(_FIRST, parts):
        limit[n] = np.quantile(statistic[quiet, n], 1.0 - 1.0 / _BUDGET)
        quiet &= statistic[:, n] <= limit[n]
    return limit


def told(statistic: Floats, limit: Floats, after: int) -> tuple[float, float]:
    """Share of the histories without an earlier alarm that alarm within 60 parts of the step, and its error."""
    beyond = statistic > limit
    quiet = ~beyond[:, :after].any(axis=1)
    share = float(beyond[quiet].any(axis=1).mean())
    return share, math.sqrt(share * (1.0 - share) / quiet.sum())


def main() -> None:
    """Print the shares."""
    parser = argparse.ArgumentParser(description="Print how soon ideal monitors tell a step.")
    parser.add_argument("--runs", type=int, default=40_000, help="simulated histories")
    runs = max(parser.parse_args().runs, _BUDGET)
    sys.stdout.write(
        f"A step told within {_WITHIN} parts, {runs} runs each, +- one Monte Carlo standard error\n"
    )
    rng = np.random.default_rng(700)
    for size in (1.0, 2.0):
        for after in (20, 40):
            steady = statistics(rng.standard_normal((runs, after + _WITHIN)), size)
            values = rng.standard_normal((runs, after + _WITHIN))
            values[:, after:] += size
            for name, moved in statistics(values, size).items():
                share, error = told(moved, limits(steady[name]), after)
                sys.stdout.write(
                    f"  {size:g} sd after {after} parts, {name:30s} {share:.3f} +- {error:.3f}\n"
                )
                sys.stdout.flush()


if __name__ == "__main__":
    main()
