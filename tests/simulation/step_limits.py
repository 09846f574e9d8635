"""Makes spc/score/step_limits.py: run lengths of the step test by number of scores, by simulation.

To make the stored table again (some ten minutes on one core; the seed is fixed, so it comes out the same):

    python -m tests.simulation.step_limits > step_limits.txt
    mv step_limits.txt spc/score/step_limits.py && ruff format spc/score/step_limits.py

`--chunks N` simulates N times 1,000 paths instead of 500 times, to try it out. That the stored table agrees
with a fresh simulation is tested in test_step_limits.py.
"""

from __future__ import annotations

import argparse
import sys

import numpy as np

WINDOW = 300
CLIP = 2.5
# First and last score (counted since watching began) of the stretches over which a limit is constant.
STRETCHES = (
    (2, 3), (4, 5), (6, 7), (8, 9), (10, 12), (13, 16), (17, 22), (23, 30), (31, 42), (43, 60),
    (61, 90), (91, 130), (131, 190), (191, 270), (271, 340), (341, 400),
)  # fmt: skip
RUN_LENGTHS = (50, 100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000)


def stretch_maxima(paths: int, rng: np.random.Generator) -> np.ndarray:
    """Largest step statistic in every stretch, (paths, stretches), for a self-starting stream of scores.

    Score number m has m + 1 earlier parts: two parts give a first residual, the third a first score.
    """
    last = STRETCHES[-1][1]
    ending = {stop: number for number, (_, stop) in enumerate(STRETCHES)}
    maxima = np.zeros((paths, len(STRETCHES)), np.float32)
    running = np.zeros(paths, np.float32)
    score_sum = np.zeros(paths, np.float32)
    before = np.zeros((paths, WINDOW), np.float32)  # sums of z / sqrt(n (n + 1)) up to each start
    square_before = np.zeros(WINDOW)
    earlier = np.zeros(WINDOW)
    square = 0.0
    for m in range(1, last + 1):
        n = m + 1.0
        slot = (m - 1) % WINDOW
        before[:, slot] = score_sum
        square_before[slot] = square
        earlier[slot] = n
        z = np.clip(rng.standard_normal(paths, dtype=np.float32), -CLIP, CLIP)
        score_sum = score_sum + z * np.float32(1.0 / np.sqrt(n * (n + 1.0)))
        square += 1.0 / (n * (n + 1.0))
        used = min(m, WINDOW)
        # n0 cancels between the sum and its standard deviation with one stream
        scale = (1.0 / np.sqrt(square - square_before[:used])).astype(np.float32)
        gap = np.abs(score_sum[:, None] - before[:, :used])
        gap *= scale
        np.maximum(running, gap.max(axis=1), out=running)
        if m == 1:
            running[:] = 0.0
        if m in ending:
            maxima[:, ending[m]] = running
            running[:] = 0.0
    return maxima


def limits(maxima: np.ndarray) -> np.ndarray:
    """Limits (run lengths, stretches) at which the survivors of each stretch alarm at the nominal rate."""
    table = np.zeros((len(RUN_LENGTHS), len(STRETCHES)))
    for row, run_length in enumerate(RUN_LENGTHS):
        alive = np.ones(len(maxima), bool)
        for column, (start, stop) in enumerate(STRETCHES):
            share = -np.expm1(-(stop - start + 1) / run_length)
            table[row, column] = np.quantile(maxima[alive, column], 1.0 - share)
            alive &= maxima[:, column] <= table[row, column]
    return table


def main(chunks: int = 500, paths: int = 1_000) -> None:
    """Print the module with the table."""
    rng = np.random.default_rng(20_260)
    maxima = np.concatenate([stretch_maxima(paths, rng) for _ in range(chunks)])
    table = limits(maxima)
    out = sys.stdout
    out.write('"""Limits of the step test, simulated by tests/simulation/step_limits.py; do not edit."""\n\n')
    out.write(f"PATHS = {chunks * paths:_}\n")
    out.write(f"WINDOW = {WINDOW}\nCLIP = {CLIP}\n")
    out.write("# scores since watching began: middle of each stretch (geometric), the last is stationary\n")
    middles = [round(float(np.sqrt(a * b)), 2) for a, b in STRETCHES]
    out.write(f"SCORES = {tuple(middles)}\n")
    out.write(f"RUN_LENGTHS = {RUN_LENGTHS}\n")
    out.write("# one row per run length, one column per number of scores\nLIMITS = (\n")
    for row in table:
        out.write("    (" + ", ".join(f"{value:.3f}" for value in row) + "),\n")
    out.write(")\n")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Simulate the limits of the step test.")
    parser.add_argument("--chunks", type=int, default=500, help="chunks of 1,000 simulated paths")
    main(parser.parse_args().chunks)
