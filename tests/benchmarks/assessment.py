"""Full assessment against one pass of numpy, and the scores against statsmodels, on simulated processes."""

import warnings

import numpy as np

from spc.assess import assess
from spc.process import ProcessData, ProcessOptions
from tests.benchmarks.pairs import compare, show

PROCESSES, PARTS, POSITIONS = 30, 1300, 8


def processes() -> list[ProcessData]:
    """As many processes and parts as a year of the demonstration shop, holding still."""
    rng = np.random.default_rng(7)
    return [
        ProcessData(
            readings=rng.normal(size=(PARTS, POSITIONS)),
            strata=(np.repeat(np.arange(POSITIONS // 2), 2),),
            family=rng.integers(0, 3, PARTS),
            day=np.arange(PARTS) // 5,
            run_length=np.full(PARTS, 4000.0),
            level=np.zeros(PARTS, np.int64),
            life=np.full(PARTS, -1),
            wear=np.zeros(PARTS),
            learn=np.ones(PARTS, bool),
        )
        for _ in range(PROCESSES)
    ]


def main() -> None:
    """Print the ratios."""
    given = processes()
    options = ProcessOptions(log=False, wears=False, daily=False, resolution=0.0, pool_families=False)
    stack = np.stack([data.readings for data in given])
    ratio = compare(lambda: [assess(data, options) for data in given], lambda: np.nansum(stack), pairs=3)
    show(f"assessment of {PROCESSES} x {PARTS} parts / one numpy pass", ratio, "no figure set")

    from statsmodels.regression.recursive_ls import RecursiveLS

    means = [data.readings.mean(axis=1) for data in given[:5]]

    def recursive() -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for mean in means:
                RecursiveLS(mean, np.ones(PARTS)).fit()

    ratio = compare(lambda: [assess(data, options) for data in given[:5]], recursive, pairs=3)
    show("assessment (all monitors) / RecursiveLS of the level alone", ratio, "no figure set")
