"""What is told of gauges; units and times as in `ingest.answers.processes`, errors are what a gauge reads too large."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from ingest.answers.processes import BoardRow, ClosingFact, EventFact
from spc.gauges.trial import GaugeStudy
from spc.gauges.trust import GaugeUncertainty
from spc.mean_squares import Ranged


@dataclass(frozen=True)
class Suspect:
    """A part that was measured with a gauge while it was off."""

    serial: str
    pass_no: int
    family: str
    machine: str
    operation: str
    feature: str
    feature_name: str
    when: datetime
    operators: tuple[str, ...]
    places: int
    """Places of the part that it read."""
    error: Ranged | None
    """What the gauge most likely read too large that day; None when nothing tells of its size. For a feature kept on
    the log scale the natural log of a ratio."""
    audited: float | None
    """What it read too large on this very part, where a second gauge measured it again."""
    beyond: int
    """Places that read within the limits and most likely are not."""
    display: str
    decimals: int
    log: bool


@dataclass(frozen=True)
class Blind:
    """What the chart of a process showed of a gauge that was off: its parts read with that gauge, then and before."""

    process: str
    machine: str
    feature_name: str
    before: int
    during: int
    """Parts."""
    moved: Ranged
    """Mean reading while the gauge was off less before."""
    signals: int
    """Changes of level that its own chart raised meanwhile."""
    display: str
    decimals: int


@dataclass(frozen=True)
class Episode:
    """A time in which a gauge was off."""

    gauge: str
    sources: tuple[str, ...]
    """Processes whose signals tell of it: the gauge's checks, its audits."""
    live: bool
    """It is still open."""
    since: date
    """Day it was noticed."""
    begun: date
    """Earliest day on which it may have begun; parts from this day on are suspect."""
    changed: date
    """Likeliest day."""
    until: date | None
    """Last day; None while it lasts."""
    ended_by: EventFact | None
    closing: ClosingFact | None
    now: Ranged | None
    """Error at its end, or by the latest check while it lasts."""
    drift: Ranged | None
    """By how much the error grew in a week; None when too few checks tell."""
    suspects: tuple[Suspect, ...]
    """Parts to measure again, those most likely beyond a limit first, then by day."""
    blind: tuple[Blind, ...]


@dataclass(frozen=True)
class CheckPoint:
    """One check of a gauge on a master."""

    time: datetime
    name: str
    master: str
    readings: tuple[float, ...]
    """Errors: read less the size of the master."""
    temperature: float | None
    suspect: bool
    """It lies in a time in which the gauge was off."""

    @property
    def error(self) -> float:
        """Mean of its readings."""
        return sum(self.readings) / len(self.readings)


@dataclass(frozen=True)
class MasterFact:
    """A gauge against one master, over all checks while it was not off."""

    master: str
    name: str
    size: float
    checks: int
    readings: int
    bias: Ranged
    repeat: Ranged | None
    """Standard deviation of readings within a check; None when they never differed or there is one each."""
    setting: Ranged | None
    """Standard deviation from one check to the next beyond that; None where it cannot be told."""


@dataclass(frozen=True)
class ResetFact:
    """How far a re-set or repair moved a gauge."""

    event: EventFact
    before: int
    after: int
    """Checks on either side that tell of it."""
    step: Ranged


@dataclass(frozen=True)
class SettingFact:
    """How much the parts of a process differ from day to day beyond part to part: the daily setting, if anything."""

    process: str
    feature_name: str
    sd: Ranged
    days: int
    parts: int
    declared: bool
    """The plan says that this feature's gauge or machine is set daily."""
    display: str
    decimals: int


@dataclass(frozen=True)
class AuditPoint:
    """One part that was measured again: read less read again, mean over its places."""

    time: datetime
    serial: str
    family: str
    difference: float


@dataclass(frozen=True)
class AuditFact:
    """A gauge against a second gauge on the same parts."""

    process: str
    gauge: str
    reference: str
    reference_name: str
    feature: str
    feature_name: str
    row: BoardRow | None
    points: tuple[AuditPoint, ...]
    mean: Ranged
    """Over the parts while neither gauge was off."""
    warm: int
    """Parts left out because of their temperature."""
    display: str
    decimals: int
    log: bool


@dataclass(frozen=True)
class WarmthFact:
    """Whether parts of a family that were warm when read were read differently."""

    family: str
    family_name: str
    feature_name: str
    slope: Ranged
    """Per kelvin above the parts of the day."""
    warm: int
    parts: int
    first: date | None
    last: date | None
    """Days of the warm parts."""
    warmest: float | None
    error: Ranged | None
    """What a part read too large at the usual temperature of those warm parts."""
    real: bool
    """Chance would hardly show as much in any family."""
    display: str
    decimals: int


@dataclass(frozen=True)
class ScaleFact:
    """The steps of a gauge against the tolerance of one family and the spread of one process."""

    family: str
    family_name: str
    tolerance: float | None
    """Width between the limits; None with one limit or none."""
    share: float | None
    """Step over tolerance."""
    verdict: str
    """``"fine enough"``, ``"too coarse for the tolerance"`` or ``"no tolerance"``."""


@dataclass(frozen=True)
class UseFact:
    """What a gauge measures."""

    feature: str
    feature_name: str
    machines: tuple[str, ...]
    readings: int
    parts: int
    last: datetime
    scales: tuple[ScaleFact, ...]
    coarse: tuple[str, ...]
    """Processes whose spread is too small for the steps of the gauge."""
    trust: GaugeUncertainty | None
    """Standard uncertainty of one reading; None where nothing tells of it."""
    display: str
    decimals: int
    log: bool


@dataclass(frozen=True)
class TrialReading:
    """One reading of a trial."""

    part: str
    who: str
    from_all: float
    """Less the mean of all readings."""
    from_part: float
    """Less the mean of all readings of its part."""


@dataclass(frozen=True)
class StudyFact:
    """A planned trial of a gauge that was taken in."""

    feature: str
    feature_name: str
    when: date
    study: GaugeStudy
    tolerance: float | None
    readings: tuple[TrialReading, ...]
    display: str
    decimals: int


@dataclass(frozen=True)
class GaugeView:
    """Everything the page of gauges tells of one gauge."""

    key: str
    name: str
    kind: str
    machine: str | None
    resolution: float | None
    uses: tuple[UseFact, ...]
    row: BoardRow | None
    """Its checks as the list shows them; None without a check on record."""
    checks: tuple[CheckPoint, ...]
    masters: tuple[MasterFact, ...]
    linearity: Ranged | None
    """Growth of the bias with the size; None with fewer than two masters."""
    resets: tuple[ResetFact, ...]
    settings: tuple[SettingFact, ...]
    audits: tuple[AuditFact, ...]
    """Pairs that it belongs to, as the gauge that judges or the one that measures again."""
    warmth: tuple[WarmthFact, ...]
    episodes: tuple[Episode, ...]
    """Newest first."""
    studies: tuple[StudyFact, ...]
    calibrated: date | None
    due: date | None
    """When the plan wants it calibrated again."""
    refused: Mapping[str, str]
    """What could not be worked out, and why, by name."""

    @property
    def doubt(self) -> Episode | None:
        """The time in which it is off now, if it is."""
        return next((e for e in self.episodes if e.live), None)
