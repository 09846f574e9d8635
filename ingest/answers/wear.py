"""What is told of a tool that wears, and of what probably stands behind a signal.

Units as in `ingest.answers.processes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spc.wear.aim import Aim


@dataclass(frozen=True)
class LeftFact:
    """The current life of a process's tool: how much is left of it before the process reaches a limit."""

    renewal: str
    """The plan's name of the tool ("finish stones")."""
    unit: str
    """What its life is counted in."""
    tool: str | None
    since: date | None
    """When this life began; None before the first renewal in the log."""
    began_with: str | None
    """Kind of the event it began with (plan key)."""
    uses: float
    """Uses up to the latest part made."""
    usual: float | None
    """Median of the finished lives without a signal; None before one has finished."""
    finished: int
    taught: int
    """Finished lives, and those of them without a signal that the forecast learned from."""
    p10: float | None
    p50: float | None
    p90: float | None
    """Uses left with 10, 50 and 90 % chance that the expected part has reached the limit by then, in whole parts: those
    of the parts still expected inside. 0 when it is there already; None when farther off than can be said."""
    side: int
    """+1 the upper limit comes first, -1 the lower; 0 none in sight."""
    family: str | None
    """Family whose limit comes first."""
    limit: float | None
    """That limit, base unit."""
    reason: str
    """Why there is no p50: "" | "no limit" | "learning" | "far"."""
    missing_parts: int
    """While learning: parts of this life that are missing before it is forecast by itself."""
    horizon: float
    """Uses ahead beyond which nothing is said."""
    bent: float
    """Chance that this life has left its course."""
    bent_at: float | None
    """Uses at which it most likely did."""
    faster_days: float | None
    """How often chance alone shows a tool somewhere in the shop that wears this much faster than its predecessors;
    None when this one does not wear faster, or nothing is known of them. At most 36525 days."""
    renewed_at: float | None = None
    """Uses at which this life looks renewed although nothing was logged; None where it does not."""

    @property
    def faster(self) -> bool:
        """It wears faster than its predecessors, and chance would show that less than once in three months."""
        return self.faster_days is not None and self.faster_days >= _NOTABLE

    @property
    def left(self) -> dict[str, int | None] | None:
        """p10, p50 and p90 as whole uses; None when not even the shortest can be said."""
        if self.p10 is None:
            return None
        return {
            k: None if v is None else round(v)
            for k, v in (("p10", self.p10), ("p50", self.p50), ("p90", self.p90))
        }


_NOTABLE = 3 * 30.4


@dataclass(frozen=True)
class LifeTrace:
    """One life of a tool as one feature shows it."""

    life: int
    tool: str | None
    began: date
    began_with: str | None
    ended_with: str | None
    """Kind of the event that began the next life; None for the current one."""
    length: float
    """Uses seen."""
    uses: tuple[float, ...]
    values: tuple[float, ...]
    """Part means: deviation from target in base unit; the geometric mean itself for a feature kept as logs."""
    clean: bool
    """No signal: it may teach others."""


@dataclass(frozen=True)
class LifeTried:
    """What was forecast of a finished life when part of it had passed, and what came."""

    life: int
    tool: str | None
    share: float
    now: float
    value: tuple[float, float, float]
    """Where its last blocks were expected (10, 50, 90 %), in the unit of `LifeTrace.values`."""
    came: float
    held: bool
    left: tuple[float | None, float | None, float | None]
    """Uses left before a limit as forecast (10, 50, 90 %); None: farther than can be said."""
    left_came: float | None
    """What was left when the limit was reached; None for a life that ended before."""
    left_held: bool | None


@dataclass(frozen=True)
class WearView:
    """The lives of one tool as one feature shows them."""

    process: str
    feature_name: str
    display: str
    decimals: int
    log: bool
    left: LeftFact
    lives: tuple[LifeTrace, ...]
    """Oldest first, the current one last."""
    usual: tuple[tuple[float, float], ...]
    """(uses, expected value) of a usual life; empty before enough have finished."""
    limits: tuple[tuple[str, float | None, float | None], ...]
    """(family, lower, upper) in the unit of the values."""


@dataclass(frozen=True)
class BacktestView:
    """How the forecasts of finished lives did, for one process."""

    process: str
    unit: str
    tried: tuple[LifeTried, ...]
    untold: int
    """Finished lives of which nothing could be forecast."""
    held: tuple[tuple[float, int, int, float], ...]
    """(share of the life that had passed, ranges that held, of how many, mean error: natural log of came over expected
    for a feature kept as logs, else base unit)."""
    left_held: tuple[int, int]
    """Forecasts of uses left that held, of those of lives that reached a limit."""


@dataclass(frozen=True)
class EvidenceFact:
    """One thing that could be judged about a change, from the parts of its own process."""

    key: str
    """Key of `[evidence.…]` in the table of causes."""
    chance: float
    """That it is there."""
    detail: str = ""


@dataclass(frozen=True)
class CauseFact:
    """A fault that fits what was seen of an open signal. A suggestion, never a finding."""

    key: str
    name: str
    share: float
    """Among the faults compared and "something else"; for ranking, not for betting."""
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    """What was seen, in words, the strongest first."""
    check: str
    """What would confirm it on the floor."""


@dataclass(frozen=True)
class AimFact:
    """Where to aim a size in one family, and what it costs to aim elsewhere."""

    family: str
    aim: Aim
    """Deviations from target. [base unit]"""
    small: float
    large: float
    """What a part out of tolerance costs on either side, by the plan."""


@dataclass(frozen=True)
class StartFact:
    """Where a life of a wearing tool should begin to last longest, in the unit of `WearView.values`."""

    family: str
    start: float
    end: float
    """At which it is to be renewed; at the longest life seen, where the wear is not known farther."""
    uses: float | None
    """Uses between the two; None when that is more than any life has shown."""
    longest: float
    """Longest life seen. [uses]"""
    usual_start: float


@dataclass(frozen=True)
class CompanionFact:
    """What else a tool makes, in the current life against the earlier ones of the same age."""

    process: str
    feature_name: str
    display: str
    decimals: int
    scatter: bool
    """The scatter of a size within a part, instead of a level."""
    ratio: float | None
    """Latest parts over the usual course; None for what is told as a difference, or of which too little is known."""
    difference: float | None
    """Latest parts less the usual course. [base unit]"""
    moved: bool
    """It rises (a level: or falls) so much faster than in earlier lives that chance hardly shows it, all companions
    together."""
    lives: int
    """Earlier lives that it is held against."""


@dataclass(frozen=True)
class FirstOfDay:
    """The first part of a day stands apart from the later ones."""

    gap: float
    """First less later parts, mean of the days looked at: base unit, or natural log of the ratio."""
    low: float
    high: float
    """Its 95 % interval."""
    days: int
    by_person: bool | None
    """Whether it goes with who measured: None when that cannot be judged, for lack of several people."""
    since: date
    """First day looked at."""
