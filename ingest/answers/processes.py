"""What the rest of the program is told about the shop: frozen records, no logic.

Everything a page, a report or a command shows is one of these. Lengths and differences are in the base
unit of their dimension (micrometre, minute, degree Celsius); a feature kept on the log scale gives ratios as
natural logarithms where a field says so. Times are aware and in the shop's own zone. ``None`` always means
"not known", never zero.
"""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from ingest.answers.files import LogEntry, Question, ReceiptFact, SetAsideFact, SourceRow
from ingest.answers.parts import PartDerived, PartReading, PartStock, PartView, PassFact
from ingest.answers.wear import CauseFact, LeftFact

__all__ = [
    "BeyondFact",
    "BoardRow",
    "CauseFact",
    "ClosingFact",
    "DoubtFact",
    "EventFact",
    "LeftFact",
    "LogEntry",
    "MonitorTrace",
    "OutFact",
    "PartDerived",
    "PartPoint",
    "PartReading",
    "PartStock",
    "PartView",
    "PassFact",
    "ProcessView",
    "Question",
    "ReceiptFact",
    "SetAsideFact",
    "SignalFact",
    "SourceRow",
    "SpecFact",
    "State",
]


class State(StrEnum):
    """The one word for how a process stands; the first that applies, in the order written here, is used."""

    GAUGE_IN_DOUBT = "gauge-in-doubt"
    OUT_OF_TOLERANCE = "out-of-tolerance"
    GOING_OFF = "going-off"
    LEARNING = "learning"
    SILENT = "silent"
    WATCH = "watch"
    HOLDING = "holding"


@dataclass(frozen=True)
class EventFact:
    """Something done to a machine or a gauge, from an event file or from a person at the screen."""

    time: datetime
    target: str
    """Plan key of the machine or gauge."""
    kind: str
    """Plan key of the kind of event."""
    kind_name: str
    """The plan's words for the kind ("stones dressed")."""
    tool: str | None = None
    note: str | None = None
    cost: float | None = None
    down_hours: float | None = None
    who: str | None = None
    verified: bool = False
    receipt: int | None = None
    line: int | None = None
    """File (receipt id) and line it came from; None when a person noted it here."""
    journal_line: int | None = None
    """Line of the journal when a person noted it here: what ``Shop.undo`` takes."""


@dataclass(frozen=True)
class ClosingFact:
    """A person's word on a signal."""

    outcome: str
    """fixed | new level accepted | no cause found."""
    cause: str
    who: str
    when: datetime
    journal_line: int


@dataclass(frozen=True)
class SignalFact:
    """One signal of one monitor of one process."""

    process: str
    monitor: str
    """level | scatter | spread within part | tool life."""
    status: str
    """open | cleared (after an event) | back (by itself) | closed (by a person) | withdrawn (late data)."""
    direction: int
    """+1 larger than expected, -1 smaller (for scatter and spread: +1 wider)."""
    size: float
    """Size of the change. Level: base unit, for a log feature the natural log of the ratio. Scatter and
    spread: natural log of the ratio of standard deviations. Tool life: log of uses over the usual life."""
    log: bool
    """True when `size` is a natural log of a ratio."""
    part_sd: float
    """Level: ordinary standard deviation of a part, in the unit of `size`. Scatter and spread: the usual
    standard deviation, base unit or log. Tool life: the usual life."""
    since: date
    """Day of the part that raised it."""
    since_time: datetime
    change_from: date
    change_to: date
    """First and last day on which the change may have begun."""
    changed: date
    """Likeliest day."""
    change_parts: int
    """Parts from the likeliest start of the change to the raising part, both counted."""
    serial: str
    pass_no: int
    """The raising part."""
    run_length: float
    """Scores of one monitor between chance findings this strong."""
    chance_days: float | None
    """The same somewhere in the whole shop, in days; 36525 (a hundred years) stands for that and longer."""
    within: str | None = None
    """For spread within part: the axis along which readings spread (plan key: cylinder, deck ...)."""
    stratum: int = 0
    """Its level in the position hierarchy, coarsest 0."""
    wear: float | None = None
    """Uses of the tool before the raising part, where a tool life is counted."""
    wear_unit: str | None = None
    tool: str | None = None
    cure: EventFact | None = None
    """The event after which it cleared."""
    cleared_on: date | None = None
    events: tuple[EventFact, ...] = ()
    """Events on the machine (or gauge) from shortly before the change until now, oldest first."""
    closing: ClosingFact | None = None
    withdrawn_by: str | None = None
    """Name of the file whose late rows removed it."""


@dataclass(frozen=True)
class OutFact:
    """The latest delivered part lies beyond a limit of its specification."""

    serial: str
    pass_no: int
    family: str
    feature: str
    """Plan key of the judged feature (the process's own, or a derived one)."""
    position: str
    """"" when the judged value belongs to the whole part."""
    value: float
    """Judged value: absolute size in base unit (its absolute value where the plan judges so)."""
    limit: float
    side: str
    """above | below."""
    when: datetime
    count: int = 1
    """How many judged values of the part are out."""


@dataclass(frozen=True)
class BeyondFact:
    """Some of the latest delivered parts lay beyond a limit of their specification."""

    feature: str
    """Plan key of the judged feature with the most such parts (the process's own, or a derived one)."""
    parts: int
    of: int
    """Parts beyond, and parts judged: the latest 40 of the process that have a limit."""
    above: int
    below: int
    """Parts with a value above and with one below; a part with both counts in both."""
    latest: date
    """Day of the latest part beyond."""
    offset: float | None
    """Mean of the judged parts from the middle of their limits, base unit; None without two limits."""


@dataclass(frozen=True)
class DoubtFact:
    """A gauge that cannot be trusted, and since when."""

    gauge: str
    gauge_name: str
    since: date
    process: str
    """The check process whose level signal is open."""


@dataclass(frozen=True)
class BoardRow:
    """One process on the list of what is going off."""

    process: str
    """MACHINE/operation/feature in plan keys."""
    machine: str
    operation: str
    feature: str
    machine_name: str
    operation_name: str
    feature_name: str
    feature_kind: str
    is_gauge: bool
    """The process is a gauge's own checks."""
    state: State
    since: date | None
    """Day of the signal (or of the part out of tolerance, the doubt, the last reading: as the state says)."""
    change_from: date | None
    """Likeliest start of the change."""
    change_to: date | None
    """Last day on which it may have begun."""
    chance_interval_days: float | None
    """How often chance alone shows something this strong somewhere in the shop, at most 36525 (a hundred years);
    None when not known."""
    signals: tuple[SignalFact, ...]
    """Open ones, and cleared or returned ones that no person has confirmed; newest first."""
    out: OutFact | None
    doubt: DoubtFact | None
    last_time: datetime | None
    last_serial: str | None
    scored: int
    needed: int
    """Scored parts, and how many it takes to leave *learning*."""
    recent: tuple[float, ...]
    """Part means of the last 40 parts, oldest first: deviation from target in base unit (the geometric mean
    itself for a log feature)."""
    band: tuple[float, float] | None
    """Where the next part mean is expected, in the unit of `recent`; None while not known."""
    display: str
    decimals: int
    log: bool
    silent_days: int | None
    """Working days since the last part; None when there was none."""
    usual_gap: float | None
    """Usual working days between parts."""
    beyond: BeyondFact | None = None
    """None when none of the latest parts lay beyond a limit, or no limit is known."""
    beside: str | None = None
    """Name of a feature of the same readings on the same machine that has a signal open; None without one."""
    left: LeftFact | None = None
    """How much is left of the tool's life before a limit; None where no tool's life is counted."""
    causes: tuple[CauseFact, ...] = ()
    """What may stand behind the first open signal, at most three, the likeliest first; a suggestion."""
    apart: tuple[str, ...] = ()
    """What the data cannot tell from the machine: family | gauge | person."""

    @property
    def parts_left(self) -> dict[str, int | None] | None:
        """Uses left with 10, 50 and 90 % chance to have reached a limit by then; None when nothing can be said."""
        return self.left.left if self.left is not None else None

    @property
    def unit(self) -> str | None:
        """What `parts_left` is counted in; None without it."""
        return self.left.unit if self.left is not None and self.left.left is not None else None

    @property
    def open_signals(self) -> tuple[SignalFact, ...]:
        """The signals still open, newest first."""
        return tuple(s for s in self.signals if s.status == "open")

    @property
    def unconfirmed(self) -> tuple[SignalFact, ...]:
        """Signals that cleared and that no person has confirmed, newest first."""
        return tuple(s for s in self.signals if s.status in ("cleared", "back"))


@dataclass(frozen=True)
class PartPoint:
    """One part of a process, as charted. `index` counts from 0 in order of machining."""

    index: int
    serial: str
    pass_no: int
    time: datetime
    family: str
    n: int
    """Positions measured."""
    mean: float
    """Part mean after position offsets: deviation in base unit; natural log of the value if kept as logs."""
    expected: float
    expected_se: float
    """Expectation from earlier parts only, and its standard error of prediction; NaN while not estimable."""
    score: float
    verdict: str
    """learning | in | check | signal | aside."""
    spread: tuple[float, ...]
    """Standard deviation within the part, one per level of the position hierarchy; NaN where not measured."""
    tool: str | None
    wear: float | None
    aside: str | None
    """Why a person set it aside; None when nobody did."""
    first_verdict: str | None
    """What was said of it when it was first judged, where that differs from now."""


@dataclass(frozen=True)
class MonitorTrace:
    """A monitor over the parts of a process; both tuples are as long as `ProcessView.parts`."""

    name: str
    statistic: tuple[float, ...]
    limit: tuple[float, ...]


@dataclass(frozen=True)
class SpecFact:
    """A specification as it stands or stood, in base unit."""

    feature: str
    family: str
    valid_from: date
    target: float
    lower: float | None
    upper: float | None
    absolute: bool
    """Limits apply to the absolute value of a signed quantity."""


@dataclass(frozen=True)
class ProcessView:
    """Everything the page of one process shows."""

    row: BoardRow
    parts: tuple[PartPoint, ...]
    monitors: tuple[MonitorTrace, ...]
    signals: tuple[SignalFact, ...]
    """All, closed and withdrawn ones too, newest first."""
    events: tuple[tuple[int, EventFact], ...]
    """(index of the first part made after it, event), oldest first."""
    positions: tuple[str, ...]
    position_offsets: tuple[float, ...]
    """Lasting offset of each position from the part mean, in the unit of `PartPoint.mean`."""
    families: tuple[str, ...]
    specifications: tuple[SpecFact, ...]
    part_sd: float
    notes: tuple[str, ...]
    """Assumptions that did not hold, in words."""
    plan_sha: str
    """Hash of the plan the verdicts rest on."""
