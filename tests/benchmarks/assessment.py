"""Assessment of every process of the demonstration against one pass of numpy, and the scores against statsmodels.

Every process is assessed from its readings, as happens when a plan changes or the database is made again.
"""

import warnings

import numpy as np

from ingest.assessing.facts import ProcessFacts
from ingest.shop.folder import Folder
from ingest.shop.shop import Shop
from ingest.state import queries
from ingest.state.moment import Moment
from ingest.storage.store import Store
from spc.score.assess import assess
from spc.score.recursion import level_residuals, normal_scores
from tests.benchmarks.pairs import compare, show
from tests.benchmarks.shop import demo_folder

SHORTEST = 30
"""Series of fewer values are no work worth timing."""


def facts_of_demo() -> list[ProcessFacts]:
    """Every process of the demonstration, ready to be assessed."""
    path = demo_folder()
    Shop.open(path).close()
    folder = Folder(path)
    store = Store.open(folder.database, folder.run)
    try:
        return list(Moment(queries.known(store, folder.shelf)).facts.processes.values())
    finally:
        store.close()


def assess_all(processes: list[ProcessFacts]) -> None:
    """As ingest does it, events and closings included."""
    for facts in processes:
        assess(facts.data, facts.options, facts.cures, facts.closings)


def series_of(processes: list[ProcessFacts]) -> list[np.ndarray]:
    """Part means of each family of each process, in order, positions not yet evened out."""
    found = []
    for facts in processes:
        known = np.isfinite(facts.data.readings)
        readings = np.log(facts.data.readings) if facts.options.log else facts.data.readings
        measured = known.any(axis=1)
        mean = np.where(known, readings, 0.0)[measured].sum(axis=1) / known[measured].sum(axis=1)
        family = facts.data.family[measured]
        found += [mean[family == code] for code in np.unique(family)]
    return [series for series in found if len(series) >= SHORTEST]


def our_residuals(value: np.ndarray) -> np.ndarray:
    """Standardised recursive residuals of a level; NaN for the first."""
    expected, variance = level_residuals(value, np.ones(len(value)), np.ones(len(value), bool))
    return (value - expected) / np.sqrt(variance)


def their_residuals(value: np.ndarray) -> np.ndarray:
    """The same by the general library; the first means nothing."""
    from statsmodels.regression.recursive_ls import RecursiveLS

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return RecursiveLS(value, np.ones(len(value))).fit().resid_recursive


def our_scores(series: list[np.ndarray]) -> None:
    """Recursive residuals, made standard normal by the scatter of those before them."""
    for value in series:
        residual = our_residuals(value)
        squares = np.cumsum(np.where(np.isfinite(residual), residual, 0.0) ** 2)
        freedom = np.maximum(np.arange(len(value), dtype=float) - 1.0, 0.0)
        before = np.concatenate([[0.0], squares[:-1]])
        normal_scores(residual, np.sqrt(before / np.maximum(freedom, 1.0)), freedom)


def their_scores(series: list[np.ndarray]) -> None:
    """The library's recursive residuals; it makes no scores of them."""
    for value in series:
        their_residuals(value)


def main() -> None:
    """Print the ratios."""
    processes = facts_of_demo()
    stacks = [facts.data.readings for facts in processes]
    parts, cells = sum(len(s) for s in stacks), sum(s.size for s in stacks)
    show(
        f"assessment of {len(processes)} processes, {parts} parts / numpy sum of the {cells} cells",
        compare(lambda: assess_all(processes), lambda: [np.nansum(s) for s in stacks], pairs=3),
    )
    series = series_of(processes)
    show(
        f"recursive scores of {len(series)} series / statsmodels RecursiveLS",
        compare(lambda: our_scores(series), lambda: their_scores(series), pairs=3),
    )
    show(
        "whole assessment, all monitors / RecursiveLS of the levels alone",
        compare(lambda: assess_all(processes), lambda: their_scores(series), pairs=1, warm=False),
    )
