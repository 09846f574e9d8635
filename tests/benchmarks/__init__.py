"""Speed as ratios within one run: `python -m tests.benchmarks` prints them; nothing is asserted on a clock."""
