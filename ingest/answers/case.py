"""What is told of a service: what one did, or what a proposed one would save.

Units and times as in `ingest.answers.processes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from ingest.answers.processes import EventFact, SignalFact
from spc.change.service_effect import Effect
from spc.change.service_money import Money
from spc.intervals import Index


@dataclass(frozen=True)
class CaseControl:
    """The same feature on another machine in the same weeks, where nothing was done."""

    machine: str
    machine_name: str
    difference: Index | None
    """After less before; None when it could not be compared."""


@dataclass(frozen=True)
class CaseEffect:
    """One feature of the machine before and after."""

    process: str
    feature_name: str
    display: str
    decimals: int
    log: bool
    """Differences are natural logs of a ratio."""
    effect: Effect
    controls: tuple[CaseControl, ...]


@dataclass(frozen=True)
class CaseShare:
    """Parts beyond a limit in some days."""

    first: date
    last: date
    out: int
    parts: int
    share: Index | None
    """With its exact binomial interval; None without a part judged."""


@dataclass(frozen=True)
class CaseLimit:
    """Parts beyond the limits of one feature, now and then."""

    feature_name: str
    now: CaseShare
    then: CaseShare | None


@dataclass(frozen=True)
class CaseFamily:
    """Parts beyond a limit by family."""

    family: str
    family_name: str
    out_now: int
    of_now: int
    out_then: int
    of_then: int


@dataclass(frozen=True)
class ServiceCase:
    """A service that was done, or one that is proposed."""

    machine: str
    machine_name: str
    event: EventFact | None
    """What was done; None for a proposed service."""
    asked: datetime
    """The moment it is told from: nothing known later is in it."""
    digest: str
    """Of everything it rests on."""
    plan_sha: str
    verdict: str
    """effect | no effect | too early | gauge (an event of the past); case | no signal | no risk (a proposed one)."""
    effects: tuple[CaseEffect, ...]
    """For an event: every feature compared, those found first."""
    now: CaseShare | None
    then: CaseShare | None
    """For an event: before and after. Proposed: as it is, and when the machine last held."""
    limits: tuple[CaseLimit, ...]
    """The same feature by feature; a part may be beyond more than one."""
    families: tuple[CaseFamily, ...]
    larger: float | None
    """Chance that the share beyond is really larger in `now` than in `then`."""
    grounds: tuple[SignalFact, ...]
    """Open signals that speak for a service."""
    of_tools: tuple[str, ...]
    """Features with an open signal that a tool makes: it is dressed or changed, the machine is not serviced."""
    touched: tuple[str, ...]
    """Gauges that were repaired or in doubt meanwhile; what they measured is left out."""
    pace: float
    """Parts a month on the machine in those days."""
    money: Money | None
    no_money: str | None
    """Why there are no figures in money."""
    ahead: Index | None
    """Share beyond in a month's time if it goes on as it did; None when no drift was told."""
    days: int
    """Length of the spans compared."""
    course: tuple[tuple[date, float, bool], ...]
    """Day of each part counted, how far its worst place is beyond its limit in widths of the tolerance (negative
    within), and whether it belongs to `then`."""

    @property
    def proposed(self) -> bool:
        """Whether it has not been done yet."""
        return self.event is None
