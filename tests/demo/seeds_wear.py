"""Other shops from other seeds: stories found and how soon, false findings, and whether the range of uses left holds.

    python -m tests.demo.seeds_wear 11 12 13

prints one line a seed and a table at the end; without numbers it takes 20 seeds. About a minute a seed. Nothing is
tuned to a seed: dates are those of `tests.demo.seeds`, true crossings follow from the scenario's own curves.
"""

import sys
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from statistics import median

import numpy as np

from ingest.assessing.forecast import fit_of, limits_now, lives_of_process
from ingest.shop.shop import Shop
from spc.wear.forecast import left_before
from spc.wear.model import fit_wear
from tests.demo.seeds import STORIES, grow, report

MONTHS = 14


@dataclass(frozen=True)
class Wearing:
    """A life whose true crossing the scenario fixes: a tool by name, in uses."""

    process: str
    tool: str
    crossing: float


# Rpk: 0.235 - 0.00018 u - slope (u - from) = 0.12. Ra: 0.42 + 0.0035 n + 0.00002 (n - 60)^2 = 0.75.
LIVES = (
    Wearing("HN1/finish_hone/bore_rpk", "K-27", (0.235 + 0.0013 * 70 - 0.12) / (0.00018 + 0.0013)),
    Wearing("HN1/finish_hone/bore_rpk", "K-33", (0.235 + 0.0009 * 60 - 0.12) / (0.00018 + 0.0009)),
    Wearing("DM1/deck/deck_ra", "", 88.7),
)
LOOKS = (0.0, 15.0, 30.0)
"""Uses after the signal at which the forecast is read."""


def forecasts(shop: Shop) -> list[tuple[str, float | None, float | None, float | None, float]]:
    """(life, p10, p50, p90, truth) of uses left, read from the signal on, from what was measured by then."""
    moment, found = shop._now_moment(), []
    for one in LIVES:
        done = moment.assessed(one.process)
        facts = done.facts
        table = lives_of_process(facts, done.assessment)
        tools = facts.parts["tool"].to_numpy(object)
        for number, at in table.signal_at.items():
            mine = np.flatnonzero(facts.data.life == number)
            long = one.tool == "" and facts.data.wear[mine].max() > 90
            if not (long or (one.tool and tools[mine[0]] == one.tool)):
                continue
            if facts.data.wear[mine[0]] > 10:
                continue
            clean = table.clean[table.clean < number]
            fit = fit_wear(table.rows, clean) if number in table.finished else fit_of(table)
            rows = table.rows.of(table.rows.life == number)
            finished = table.finished[table.finished < number]
            for later in LOOKS:
                now = at + later
                if now >= one.crossing or now > rows.uses.max() + 5:
                    break
                longest = float(table.rows.uses[table.rows.life < number].max(initial=now))
                left = left_before(
                    rows.of(rows.uses < now), now, limits_now(moment.known.plan, facts), fit, max(longest, now),
                    len(finished) - len(clean), len(finished), True,
                )  # fmt: skip
                name = one.tool or "inserts"
                found.append((f"{name} +{later:.0f}", left.p10, left.p50, left.p90, one.crossing - now))
    return found


def held(p10: float | None, p90: float | None, truth: float) -> bool:
    """The truth lies in the 80 % range; an end that cannot be said is as far as it gets."""
    return (np.inf if p10 is None else p10) <= truth <= (np.inf if p90 is None else p90)


def main(seeds: list[int]) -> None:
    """Print a line a seed and the table."""
    delays: dict[str, list[int | None]] = defaultdict(list)
    false_counts: list[int] = []
    told: dict[str, list[tuple[bool, float | None]]] = defaultdict(list)
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            shop = grow(seed, Path(folder))
            found, false = report(shop)
            lines = forecasts(shop)
            shop.close()
        for story in STORIES:
            word = found[story.name].split(" ")[0]
            days_late = (date.fromisoformat(word) - story.begins).days if word[:1].isdigit() else None
            delays[story.name].append(days_late)
        false_counts.append(len(false))
        for name, p10, p50, p90, truth in lines:
            told[name].append((held(p10, p90, truth), None if p50 is None else p50 - truth))
        good = sum(held(p10, p90, truth) for _, p10, _, p90, truth in lines)
        days = [delays[s.name][-1] for s in STORIES]
        print(f"seed {seed}: days {days}, false {len(false)}, ranges held {good} of {len(lines)}", flush=True)  # noqa: T201
    print(f"\n{len(seeds)} shops\n{'story':28} found   days of delay (middle)")  # noqa: T201
    for name, values in delays.items():
        known = [v for v in values if v is not None]
        print(f"{name:28} {len(known):2d}/{len(values)}   {median(known) if known else '-'}")  # noqa: T201
    print(f"\nfalse findings a month: {np.mean(false_counts) / MONTHS:.2f} (budget 1)")  # noqa: T201
    print("\nuses left, 80 % range: held, of, middle error")  # noqa: T201
    everything: list[tuple[bool, float | None]] = []
    for name, values in sorted(told.items()):
        errors = [e for _, e in values if e is not None]
        everything += values
        middle = f"{median(errors):+.0f}" if errors else "-"
        print(f"{name:28} {sum(h for h, _ in values):3d} {len(values):3d}  {middle}")  # noqa: T201
    if everything:
        print(f"{'all':28} {sum(h for h, _ in everything) / len(everything):.0%} of {len(everything)}")  # noqa: T201


if __name__ == "__main__":
    main([int(text) for text in sys.argv[1:]] or list(range(31, 51)))
