"""Other shops from other seeds: which planted stories are found, how soon, and what is found that was not planted.

    python -m tests.demo.seeds 11 12 13

prints one line a seed. Nothing is tuned to a seed; the windows below are the scenario's own dates.
"""

import subprocess
import sys
import tempfile
from dataclasses import dataclass
from datetime import date
from fnmatch import fnmatchcase
from itertools import groupby
from pathlib import Path

import sample_data
from ingest.answers.processes import ProcessView
from ingest.intake.receipt import IncomingFile
from ingest.shop.shop import Shop


@dataclass(frozen=True)
class Story:
    """A planted fault: where it shows, from when, and by when it must have been found."""

    name: str
    processes: tuple[str, ...]
    """Where a signal counts as finding it."""
    begins: date
    found_by: date
    touches: tuple[str, ...]
    """Every process it moves: a signal there from `begins` to `ends` is no false alarm."""
    ends: date


HN1_FINISH = ("HN1/finish_hone/bore_*", "HN1/finish_hone/hone_cycle")
HN2_OPENS = tuple(f"HN2/finish_hone/{name}" for name in ("bore_ra", "bore_rpk", "bore_rk"))
STORIES = (
    # A set glazes from its 60th or 70th bore on, some five days after it was fitted.
    Story("glazing set, July", HN1_FINISH, date(2025, 7, 17), date(2025, 8, 1),
          (*HN1_FINISH, "HN1/finish_hone/cyl_*"), date(2025, 9, 12)),
    Story("line hone shoes", ("LH1/line_hone/end_to_inner",), date(2025, 2, 17), date(2025, 4, 30),
          ("LH1/line_hone/*",), date(2025, 10, 31)),
    Story("worn slide", ("HN2/finish_hone/cyl_taper",), date(2024, 11, 4), date(2025, 3, 31),
          ("HN2/finish_hone/cyl_*",), date(2025, 7, 31)),
    Story("drifting gauge", ("BG2/*",), date(2025, 1, 20), date(2025, 4, 4), ("BG2/*",), date(2025, 7, 31)),
    # The change was due after 60 decks, about the middle of August.
    Story("missed insert change", ("DM1/deck/deck_r*",), date(2025, 8, 11), date(2025, 9, 2),
          ("DM1/deck/deck_r*",), date(2025, 9, 30)),
    Story("glazing set, today", HN1_FINISH, date(2025, 10, 22), date(2025, 10, 31),
          (*HN1_FINISH, "HN1/finish_hone/cyl_*"), date(2025, 10, 31)),
    Story("clamping", ("DM1/deck/bank_difference", "DM1/deck/deck_height"), date(2025, 8, 18), date(2025, 10, 31),
          ("DM1/deck/bank_difference", "DM1/deck/deck_height", "DM1/deck/deck_slope"), date(2025, 10, 31)),
)  # fmt: skip
CHANGED = (
    # The rule to warm the mill up lowers the first decks of a day: a change for the better that is in the log.
    Story("warm-up rule", (), date(2025, 6, 16), date(2025, 6, 16),
          ("DM1/deck/*height*", "DM1/deck/bank_difference"), date(2025, 8, 17)),
    # A diamond head cuts rougher and rougher, slowly: true, and accepted by a person in the demonstration.
    Story("diamond head", (), date(2024, 9, 2), date(2024, 9, 2), HN2_OPENS, date(2025, 10, 31)),
)  # fmt: skip
"""What moves without being a fault to find: a signal there is no false one."""


def fits(process: str, patterns: tuple[str, ...]) -> bool:
    return any(fnmatchcase(process, pattern) for pattern in patterns)


def grow(seed: int, folder: Path) -> Shop:
    """A shop of another seed with all its files, taken in as one history."""
    made, place = folder / "made", folder / "shop"
    subprocess.run(
        [sys.executable, "-m", "sample_data", "--seed", str(seed), "--folder", str(made)],
        check=True,
        capture_output=True,
    )
    deliveries = sample_data.deliveries(made)
    plan = sample_data.plan_path(made).read_text(encoding="utf-8")
    shop = Shop.create(place, plan, known_at=deliveries[0].known_at)
    batches = [
        (known_at, [IncomingFile(d.name, d.path.read_bytes()) for d in group])
        for known_at, group in groupby(deliveries, key=lambda delivery: delivery.known_at)
    ]
    shop.take_in_batches(batches)
    return shop


def report(shop: Shop) -> tuple[dict[str, str], list[str]]:
    """When and where each story was found ("not found": not in time), and every signal that no story explains."""
    signals = [
        signal
        for row in shop.board()
        for signal in _view(shop, row.process).signals
        if signal.status != "withdrawn"
    ]
    found: dict[str, str] = {}
    for story in STORIES:
        told = [
            (signal.since, signal.process.rsplit("/", 1)[-1])
            for signal in signals
            if fits(signal.process, story.processes) and story.begins <= signal.since <= story.found_by
        ]
        day, where = min(told, default=(None, ""))
        found[story.name] = f"{day} {where}" if day else "not found"
    false = [
        f"{signal.process} {signal.monitor} {signal.since}"
        for signal in signals
        if not any(
            fits(signal.process, story.touches) and story.begins <= signal.since <= story.ends
            for story in (*STORIES, *CHANGED)
        )
    ]
    return found, sorted(false)


def _view(shop: Shop, process: str) -> ProcessView:
    view = shop.process(process)
    assert view is not None
    return view


def main(seeds: list[int]) -> None:
    """Print the table."""
    print("seed | " + " | ".join(story.name for story in STORIES) + " | false findings in 14 months")  # noqa: T201
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            shop = grow(seed, Path(folder))
            found, false = report(shop)
            shop.close()
        print(f"{seed} | {' | '.join(found.values())} | {len(false)}: {'; '.join(false)}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main([int(text) for text in sys.argv[1:]] or list(range(11, 21)))
