"""What is told of one part and its readings; units and times as in `ingest.answers.processes`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class PartReading:
    """One stored reading as it counts on its part."""

    feature: str
    feature_name: str
    machine: str | None
    operation: str | None
    pass_no: int | None
    position: str
    value: float
    """Absolute value in base unit."""
    deviation: float | None
    """From the family's target; None without one."""
    raw: str
    raw_unit: str
    time: datetime
    corrected_time: datetime
    """As `time`, less the offset of a gauge clock found wrong."""
    gauge: str | None
    operator: str | None
    tool: str | None
    part_temp: float | None
    gauge_temp: float | None
    note: str | None
    status: str
    """used | repeat | incoming | waiting | doubt | rejected | audit | check."""
    reason: str
    remedy: str
    lower: float | None
    upper: float | None
    out: str | None
    """above | below | None. Only the used readings of the last pass are judged: they are what was delivered."""
    receipt: int
    line: int
    col: str
    display: str
    decimals: int


@dataclass(frozen=True)
class PassFact:
    """One trip of a part through an operation."""

    machine: str
    machine_name: str
    operation: str
    operation_name: str
    pass_no: int
    tool: str | None
    started: datetime | None
    ended: datetime | None
    note: str | None


@dataclass(frozen=True)
class PartDerived:
    """A value computed from the readings of one pass: taper, out-of-round, step, range ..."""

    feature: str
    feature_name: str
    machine: str
    operation: str
    pass_no: int
    position: str
    """"" for a value of the whole part."""
    value: float
    """Signed."""
    lower: float | None
    upper: float | None
    absolute: bool
    """Limits apply to the absolute value."""
    out: str | None
    """above | below | None; only the last pass is judged."""
    display: str
    decimals: int


@dataclass(frozen=True)
class PartStock:
    """Stock taken off at one position, from the latest reading before the first pass to the last pass."""

    feature: str
    operation: str | None
    position: str
    before: float
    after: float
    removed: float
    """0 or more."""
    display: str
    decimals: int


@dataclass(frozen=True)
class PartView:
    """One part by serial."""

    serial: str
    family: str | None
    family_name: str | None
    passes: tuple[PassFact, ...]
    readings: tuple[PartReading, ...]
    processes: tuple[tuple[str, int], ...]
    """(process, pass) it was judged in."""
    derived: tuple[PartDerived, ...] = ()
    stock: tuple[PartStock, ...] = ()
