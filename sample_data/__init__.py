"""The demonstration shop: its plan, fourteen months of exports, and what its people decided.

Everything in it is invented. The exports are made by `python -m sample_data`;
those of this package belong to :data:`SEED`.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

SEED = 2
"""Seed of the exports in this package: the first whose exports keep every band that the tests state.

It was chosen by those bands alone, not by what any chart finds in them.
"""


@dataclass(frozen=True)
class Delivery:
    """One file that reached the shop's computer, and when."""

    path: Path
    name: str
    known_at: datetime


@dataclass(frozen=True)
class Decision:
    """Signals that a person closes by hand at one moment.

    Those that are open then, were raised by parts made before `raised_before`,
    and belong to a process that fits one of `processes` and none of `but_not`
    (patterns over ``MACHINE/operation/feature`` with ``*`` for any text).
    """

    at: datetime
    who: str
    processes: tuple[str, ...]
    but_not: tuple[str, ...]
    raised_before: datetime
    outcome: str
    cause: str


def folder() -> Path:
    """Where the package keeps plan, exports and lists."""
    return Path(str(files("sample_data")))


def plan_path(shop: Path | None = None) -> Path:
    """The plan of the demonstration shop, or of a shop made elsewhere."""
    return (shop or folder()) / "plan.toml"


def deliveries(shop: Path | None = None) -> list[Delivery]:
    """Every file in the order in which it arrived.

    Parameters
    ----------
    shop : Path, optional
        A folder that `python -m sample_data` wrote; the package's own otherwise.

    Returns
    -------
    deliveries : list of Delivery
        `known_at` carries its offset from UTC.
    """
    place = shop or folder()
    with (place / "deliveries.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    return [
        Delivery(path := place / row["file"], path.name, datetime.fromisoformat(row["known_at"]))
        for row in rows
    ]


def decisions(shop: Path | None = None) -> list[Decision]:
    """What people closed by hand, in order of time. Times are those of the shop's plan."""
    place = shop or folder()
    zone = ZoneInfo(tomllib.loads(plan_path(place).read_text(encoding="utf-8"))["shop"]["time_zone"])
    rules = tomllib.loads((place / "decisions.toml").read_text(encoding="utf-8"))["decisions"]
    found = [
        Decision(
            at=rule["at"].replace(tzinfo=zone),
            who=rule["who"],
            processes=tuple(rule["processes"]),
            but_not=tuple(rule.get("but_not", ())),
            raised_before=rule.get("raised_before", rule["at"]).replace(tzinfo=zone),
            outcome=rule["outcome"],
            cause=rule["cause"],
        )
        for rule in rules
    ]
    return sorted(found, key=lambda decision: decision.at)
