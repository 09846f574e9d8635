"""Print how often 95 % intervals hold the truth, at 5, 10, 25 and 100 parts, as a table of DEVELOPERS.md.

A cell reads "lower limit missed / truth held", in per cent. `python -m tests.simulation.coverage`; `--part` prints one
part of it, `--runs` sets the simulated histories a cell.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import redirect_stdout
from io import StringIO

from tests.simulation import test_gauge_coverage as gauges
from tests.simulation import test_shape_coverage as shapes
from tests.simulation.test_ppk_coverage import Case, simulate, size_rates

PARTS = (5, 10, 25, 100)
Cell = tuple[float, float]
"""Share of runs whose lower limit lay above the truth, and share that held it."""


def near(runs: int, **how: object) -> Callable[[int], Cell]:
    """Cpk or Ppk."""

    def cell(parts: int) -> Cell:
        found = simulate(Case(parts, **how), runs)  # type: ignore[arg-type]
        return found.low, found.covered

    return cell


def wide(runs: int, **how: object) -> Callable[[int], Cell]:
    """Cp or Pp."""

    def cell(parts: int) -> Cell:
        found = simulate(Case(parts, **how), runs)  # type: ignore[arg-type]
        return found.width_low, 1 - found.width_low - found.width_high

    return cell


def flat(runs: int, **how: object) -> Callable[[int], Cell]:
    """Ppk when every reading is taken as independent."""

    def cell(parts: int) -> Cell:
        return math.nan, simulate(Case(parts, **how), runs).flat  # type: ignore[arg-type]

    return cell


def quiet(found: Callable[[], tuple[float, float, float]]) -> Cell:
    """A row of the tests of shapes, without its own line of print."""
    with redirect_stdout(StringIO()):
        low, covered, _ = found()
    return low, covered


def indices(runs: int) -> Iterator[str]:
    """Rows of normal readings."""
    yield row("Cp, single readings", wide(runs, positions=1, within=True))
    yield row("Cpk, single readings, centred", near(runs, positions=1, within=True))
    yield row("Cpk, single readings, off centre", near(runs, positions=1, within=True, aside=1.0))
    yield row("Pp, single readings", wide(runs, positions=1))
    yield row("Ppk, single readings, centred", near(runs, positions=1))
    yield row("Ppk, single readings, off centre", near(runs, positions=1, aside=1.0))
    yield row("Ppk, single readings, one limit", near(runs, positions=1, two_sided=False))
    yield row("Cp, 14 readings in pairs", wide(runs, within=True, pattern=0.1))
    yield row("Cpk, 14 readings in pairs, centred", near(runs, within=True, pattern=0.1))
    yield row("Cpk, the same off centre", near(runs, within=True, pattern=0.1, aside=1.0))
    yield row("Cpk, the same, a fifth missing", near(runs, within=True, pattern=0.1, aside=1.0, missing=0.2))
    yield row("Pp, 14 readings in pairs", wide(runs, pattern=0.1))
    yield row("Ppk, 14 readings in pairs, centred", near(runs, pattern=0.1))
    yield row("Ppk, the same off centre", near(runs, pattern=0.1, aside=1.0))
    yield row("Ppk, the same, a fifth missing", near(runs, pattern=0.1, aside=1.0, missing=0.2))
    yield row("(readings counted as independent)", flat(runs, pattern=0.1, aside=1.0))


def others(runs: int) -> Iterator[str]:
    """Rows of other shapes, of shares out of tolerance and of the bootstrap."""
    yield row("Ppk, lognormal, single", near(runs, positions=1, shape="lognormal"))
    yield row("Ppk, lognormal, 14 readings", near(runs, groups=0.0, shape="lognormal", two_sided=False))
    yield row(
        "Ppk, folded normal, 14 signed readings", near(runs, groups=0.0, shape="folded normal", mean=0.3)
    )
    yield row("Ppk, sizes without a sign", lambda parts: _sizes(parts, runs))
    for positions in (1, 4):
        yield row(
            f"Ppk, Weibull, {positions} a part",
            lambda parts, p=positions: quiet(
                lambda: shapes.by_percentiles("weibull", "weibull", parts, p, runs)[1]
            ),
        )
    for positions in (1, 4):
        yield row(
            f"Ppk, Johnson of gamma readings, {positions} a part",
            lambda parts, p=positions: quiet(
                lambda: shapes.by_percentiles("johnson", "gamma", parts, p, runs)[1]
            ),
            of=(25, 100),
        )
    for positions, two_sided in ((1, False), (4, False), (4, True)):
        yield row(
            f"Ppk, bootstrap, {positions} a part, {'two limits' if two_sided else 'one limit'}",
            lambda parts, p=positions, both=two_sided: quiet(
                lambda: shapes.by_bootstrap(parts, p, both, runs)
            ),
        )
    for positions in (1, 14):
        yield row(
            f"share out of tolerance, {positions} a part",
            lambda parts, p=positions: quiet(lambda: shapes.share(parts, runs, p)),
        )


def studies(runs: int) -> Iterator[str]:
    """Rows of gauge studies with 3 operators and 2 readings a cell: lowest and highest cover of the components."""
    for truth in gauges.TRUTHS:
        for words, rates in (("complete", gauges.rates), ("with gaps", gauges.rates_with_gaps)):
            cells = []
            for parts in PARTS:
                held = [share for share, _ in rates((parts, 3, 2), truth, runs).values()]
                cells.append(f"{100 * min(held):.1f} to {100 * max(held):.1f}")
            sds = ", ".join(f"{sd:g}" for sd in truth)
            yield f"| {words}; sd of part, operator, both, gauge {sds} | " + " | ".join(cells) + " |"


def row(name: str, cell: Callable[[int], Cell], of: Sequence[int] = PARTS) -> str:
    """One row: each cell's misses of the lower limit and its cover."""
    cells = []
    for parts in PARTS:
        if parts not in of:
            cells.append("refused")
            continue
        low, covered = cell(parts)
        cells.append(f"{100 * covered:.1f}" if math.isnan(low) else f"{100 * low:.1f} / {100 * covered:.1f}")
    return f"| {name} | " + " | ".join(cells) + " |"


def _sizes(parts: int, runs: int) -> Cell:
    found = size_rates(parts, 0.7, runs)
    return found.low, found.covered


TABLE = {"indices": indices, "others": others, "studies": studies}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Print how often 95 % intervals hold the truth.")
    parser.add_argument("--runs", type=int, default=2_000, help="simulated histories a cell")
    parser.add_argument("--part", choices=TABLE, help="this part of the table only")
    asked = parser.parse_args()
    sys.stdout.write("| parts | " + " | ".join(str(parts) for parts in PARTS) + " |\n|---|---|---|---|---|\n")
    for name, part in TABLE.items():
        if asked.part in (None, name):
            for line in part(max(asked.runs, 1)):
                sys.stdout.write(line + "\n")
                sys.stdout.flush()
    error = 100 * math.sqrt(0.05 * 0.95 / max(asked.runs, 1))
    sys.stdout.write(f"Monte Carlo error of a share of 95 %: {error:.1f} %\n")


if __name__ == "__main__":
    main()
