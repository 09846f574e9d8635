"""What is told of a month; units and times as in `ingest.answers.processes`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from ingest.answers.processes import SignalFact
from spc.capability.histogram import Histogram
from spc.capability.months import MonthChange
from spc.capability.process_capability import Capability
from spc.mean_squares import Ranged


@dataclass(frozen=True)
class MonthLine:
    """One family on one process in the month."""

    process: str
    machine: str
    operation: str
    feature: str
    """Plan keys; the machine of a check process is the gauge."""
    machine_name: str
    operation_name: str
    feature_name: str
    family: str
    family_name: str
    kind: str
    display: str
    decimals: int
    log: bool
    watched: bool
    """False for a value that only judges the part (a range): it has no signals of its own and shares those of the
    process it is computed from."""
    held: Capability | None
    """None when the readings cannot be judged; `why` says what stands against it."""
    why: str | None
    aside: int
    """Parts of the month that a person set aside; they are not in `held`."""
    limits_from: date | None
    """Day from which the limits used are valid; None without a specification."""
    limits_changed: bool
    """Other limits were in force on some parts of the month: all are held against the latest."""
    unstable: tuple[SignalFact, ...]
    """Signals that stood at some time of the month, earliest change first; empty means stable."""
    earlier_parts: int
    """Parts of the months it is compared with."""
    change: MonthChange | None
    """Ppk against the months before; None without a limit."""

    @property
    def stable(self) -> bool:
        """Whether no signal stood in the month."""
        return not self.unstable

    @property
    def since(self) -> date | None:
        """Likeliest day on which it ceased to be stable."""
        return min((s.changed for s in self.unstable), default=None)

    @property
    def direction(self) -> str | None:
        """better, worse or noise; None when it was not compared."""
        if self.change is None or self.change.difference is None:
            return None
        if not self.change.changed:
            return "noise"
        return "better" if self.change.difference.estimate > 0 else "worse"

    @property
    def share(self) -> float:
        """Share of parts out of tolerance to be expected from what was seen: the observed one. [-]"""
        out = self.held.out if self.held is not None else None
        return out.observed.estimate if out is not None else 0.0


@dataclass(frozen=True)
class MonthSignal:
    """A signal that opened or closed in the month, or stood through it."""

    signal: SignalFact
    machine_name: str
    feature_name: str
    display: str
    decimals: int
    opened: bool
    closed: bool
    """Whether that happened in this month."""
    closed_on: date | None
    days: int | None
    """Days from the signal until it cleared or was closed; None while it is open."""
    cause: str
    """What a person wrote, or the event that cured it; empty while nobody knows."""


@dataclass(frozen=True)
class MonthAudit:
    """What a second gauge found on the parts of a month."""

    reference: str
    feature_name: str
    parts: int
    mean: Ranged
    """Read by the gauge less read again, mean over the parts."""
    display: str
    decimals: int


@dataclass(frozen=True)
class MonthGauge:
    """One gauge at the end of the month."""

    gauge: str
    name: str
    last_check: date | None
    """Latest check against a master known by then; None when it was never checked."""
    usual_gap: float | None
    """Usual working days between days with checks."""
    waited: int | None
    """Working days since the latest check."""
    due: bool
    doubt_since: date | None
    """Since when its readings were in doubt, if they were in this month."""
    doubt_until: date | None
    """None also while they were still in doubt at its end."""
    readings: int
    """Readings taken with it in the month."""
    coarse: tuple[str, ...]
    """Names of the features it read in the month and whose tolerance its steps are too coarse for."""
    audits: tuple[MonthAudit, ...]
    """Against each second gauge that measured parts of the month again."""


@dataclass(frozen=True)
class MonthAside:
    """Rows that came in during the month and do not count, by reason."""

    kind: str
    reason: str
    remedy: str
    rows: int
    files: tuple[str, ...]
    waits: bool
    """It needs somebody: it neither releases itself nor has been rejected."""


@dataclass(frozen=True)
class MonthAct:
    """One thing to act on."""

    kind: str
    """doubt | open | out | worse | due | rows | confirm."""
    machine: str
    machine_name: str
    lines: tuple[MonthLine, ...]
    """What it is about, the gravest first; empty for rows."""
    signals: tuple[MonthSignal, ...]
    gauge: MonthGauge | None
    parts_out: int
    parts: int
    """Parts beyond a limit and parts judged, of the gravest line."""
    others: int
    """Further processes of the machine that it concerns."""


@dataclass(frozen=True)
class MonthReview:
    """A month of the shop."""

    year: int
    month: int
    shop: str
    asked: datetime
    """The query date: the shop's clock when the review was made."""
    digest: str
    """Of the readings, assessments, signals and decisions it rests on."""
    plan_sha: str
    parts: int
    """Different parts with a reading that counts."""
    readings: int
    compared_from: date
    compared_to: date
    """First and last day of the months it is compared with."""
    lines: tuple[MonthLine, ...]
    signals: tuple[MonthSignal, ...]
    gauges: tuple[MonthGauge, ...]
    aside: tuple[MonthAside, ...]
    acts: tuple[MonthAct, ...]
    """Up to five, in order."""

    @property
    def first(self) -> date:
        """First day of the month."""
        return date(self.year, self.month, 1)

    @property
    def finished(self) -> bool:
        """Whether the month was over when it was asked for."""
        return (self.asked.year, self.asked.month) > (self.year, self.month)


@dataclass(frozen=True)
class MonthRun:
    """What is drawn of one line."""

    line: MonthLine
    classes: Histogram | None
    times: tuple[datetime, ...]
    serials: tuple[str, ...]
    means: tuple[float, ...]
    """Mean of each part's readings, in order of machining: base unit, sizes whole."""
