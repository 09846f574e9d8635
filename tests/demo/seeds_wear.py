"""Other shops from other seeds: stories found and how soon, false findings, and whether the range of uses left holds.

    python -m tests.demo.seeds_wear --keep FOLDER 11 12 13

prints one line a seed and a table at the end of every seed that FOLDER holds, so that a long run can be made in pieces;
without numbers it takes 20 seeds. About a minute a seed. Nothing is tuned to a seed: dates are those of
`tests.demo.seeds`, true crossings follow from the scenario's own curves.
"""

import argparse
import json
import tempfile
from collections import defaultdict
from dataclasses import asdict, dataclass
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


@dataclass(frozen=True)
class Grown:
    """What one reseeded shop showed.

    Attributes
    ----------
    days
        Days from the begin of each story until it was found; None where it was not found in time.
    false
        Findings that nobody planted.
    lines
        (life, p10, p50, p90, truth) of uses left.
    """

    days: dict[str, int | None]
    false: list[str]
    lines: list[tuple[str, float | None, float | None, float | None, float]]


def grown(seed: int) -> Grown:
    """One shop from its seed, taken in whole."""
    with tempfile.TemporaryDirectory() as folder:
        shop = grow(seed, Path(folder))
        found, false = report(shop)
        lines = forecasts(shop)
        shop.close()
    days = {}
    for story in STORIES:
        word = found[story.name].split(" ")[0]
        days[story.name] = (date.fromisoformat(word) - story.begins).days if word[:1].isdigit() else None
    return Grown(days, false, lines)


def main(seeds: list[int], keep: Path) -> None:
    """Grow the seeds that the folder does not hold yet, then print the table of all that it holds."""
    for seed in seeds:
        place = keep / f"{seed}.json"
        if not place.exists():
            place.write_text(json.dumps(asdict(grown(seed))), encoding="utf-8")
        one = Grown(**json.loads(place.read_text(encoding="utf-8")))
        good = sum(held(p10, p90, truth) for _, p10, _, p90, truth in one.lines)
        print(  # noqa: T201
            f"seed {seed}: days {list(one.days.values())}, false {len(one.false)}, "
            f"ranges held {good} of {len(one.lines)}",
            flush=True,
        )
    table([Grown(**json.loads(p.read_text(encoding="utf-8"))) for p in sorted(keep.glob("*.json"))])


def table(shops: list[Grown]) -> None:
    """Print what all of them showed."""
    told: dict[str, list[tuple[bool, float | None]]] = defaultdict(list)
    for shop in shops:
        for name, p10, p50, p90, truth in shop.lines:
            told[name].append((held(p10, p90, truth), None if p50 is None else p50 - truth))
    print(f"\n{len(shops)} shops\n{'story':28} found   days of delay: middle, least, most")  # noqa: T201
    for story in STORIES:
        values = [shop.days[story.name] for shop in shops]
        known = [v for v in values if v is not None]
        late = f"{median(known):.0f}, {min(known)}, {max(known)}" if known else "-"
        print(f"{story.name:28} {len(known):2d}/{len(values)}   {late}")  # noqa: T201
    counts = [len(shop.false) for shop in shops]
    print(  # noqa: T201
        f"\nfalse findings a month: {np.mean(counts) / MONTHS:.2f} (budget 1), {min(counts)} to {max(counts)} a shop"
    )
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
    parser = argparse.ArgumentParser()
    parser.add_argument("seeds", nargs="*", type=int, default=list(range(31, 51)))
    parser.add_argument("--keep", type=Path, required=True)
    asked = parser.parse_args()
    asked.keep.mkdir(parents=True, exist_ok=True)
    main(asked.seeds, asked.keep)
