"""What goes into an assessment and what comes out of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LEVEL = "level"
SCATTER = "scatter"
SPREAD = "spread within part"
TOOL_LIFE = "tool life"

OUTCOMES = ("fixed", "new level accepted", "no cause found")


@dataclass(frozen=True)
class ProcessData:
    """The parts of one process, in order of machining.

    Parameters
    ----------
    readings
        (n, p) signed deviation from the family's target [base unit]; for features on a log scale the
        positive values themselves. NaN where a position was not measured.
    strata
        Per level of the position hierarchy above the single position, coarsest first, the group label
        of every position, each (p,). Empty when the positions have no groups.
    family, day
        (n,) family code and day number of each part.
    run_length
        (n,) in-control run length, counted in scores of one monitor, that the false-alarm budget grants
        at that part; more than 1.
    level
        (n,) epoch; rises at each event that restarts the level.
    life, wear
        (n,) number of the tool life (-1: none) and uses of the tool before this part.
    learn
        (n,) False for a part that a person has set aside.
    """

    readings: Floats
    strata: tuple[Ints, ...]
    family: Ints
    day: Ints
    run_length: Floats
    level: Ints
    life: Ints
    wear: Floats
    learn: Bools


@dataclass(frozen=True)
class ProcessOptions:
    """How a process is modelled.

    Parameters
    ----------
    log
        Model the logarithm of the readings (skewed positive features).
    wears
        The level moves within a tool life.
    daily
        A gauge or machine is set daily: True or False when declared, None to let the data decide.
    resolution
        Step of the readings [base unit], 0 when unknown.
    pool_families
        Families share the wear of a tool.
    """

    log: bool = False
    wears: bool = False
    daily: bool | None = None
    resolution: float = 0.0
    pool_families: bool = False


@dataclass(frozen=True)
class Cure:
    """An event that may have cured an open signal: first part made after it, and the caller's number."""

    index: int
    ident: int


@dataclass(frozen=True)
class Closing:
    """A person's closing of a signal.

    Parameters
    ----------
    monitor
        Name of the monitor.
    first
        Index of the part that raised the signal.
    at
        Index of the first part made after the closing (n when there is none yet).
    outcome
        "fixed", "new level accepted" or "no cause found".
    """

    monitor: str
    first: int
    at: int
    outcome: str


@dataclass(frozen=True)
class Monitor:
    """One watched statistic of a process.

    Attributes
    ----------
    name
        "level", "scatter", "spread within part" or "tool life".
    statistic, limit
        (n,) value after each part and the limit it is held against; NaN where there is none. Level: the
        two-sided step statistic; scatter and spread: an upper average of scores; tool life: uses of the
        tool, with the longest believable life.
    run_length_now
        In-control run length, in scores of this monitor, of a monitor whose limit equals the statistic
        after the last part; 1 when there is no statistic.
    stratum
        Level of the position hierarchy for "spread within part", counted from the coarsest; else 0.
    """

    name: str
    statistic: Floats
    limit: Floats
    run_length_now: float
    stratum: int = 0


@dataclass(frozen=True)
class Signal:
    """A process that has gone off.

    Attributes
    ----------
    monitor
        Name of the monitor that raised it.
    first
        Index of the part that raised it.
    change_from, change_range
        Index of the likeliest first changed part, and the lowest and highest index that are nearly as
        likely (log likelihood within 2).
    direction
        +1 up or wider or longer, -1 down.
    size, part_sd
        Level: the shift [base unit, or log] over the latest 15 parts since the change, and the usual
        standard deviation of a part. Scatter and spread: the standard deviation since the change and the
        usual one. Tool life: uses so far and the usual life.
    run_length
        In-control run length of a monitor whose limit equals the peak of this signal.
    status
        "open"; "cleared" after an event; "back" by itself; "closed" by a person.
    cleared_at
        Index of the part that completed the clearing, or of the first part after a closing.
    cure
        Number of the event after which it cleared.
    stratum
        As for Monitor.
    """

    monitor: str
    first: int
    change_from: int
    change_range: tuple[int, int]
    direction: int
    size: float
    part_sd: float
    run_length: float
    status: Literal["open", "cleared", "back", "closed"]
    cleared_at: int | None = None
    cure: int | None = None
    stratum: int = 0


@dataclass(frozen=True)
class Assessment:
    """What the parts of one process say.

    Attributes
    ----------
    mean, count
        (n,) part mean with position offsets removed [base unit, or log], and the readings in it.
    expected, expected_se
        (n,) what the earlier parts led one to expect, and the standard error of a new part mean around
        it; NaN while it cannot be estimated.
    score
        (n,) how surprising the part mean is: standard normal when nothing changed.
    single_flag
        (n,) the part alone is out of line; it is left out of learning.
    spread
        (n, strata + 1) standard deviation within the part per stratum [base unit, or log]; the last
        column is between single readings of the finest group.
    monitors, signals
        What is watched, and what has gone off, in order of raising.
    scored
        Number of parts with a score.
    strongest
        Largest run_length_now of the monitors.
    position_offsets
        (p,) lasting offset of each position after the last part [base unit, or log].
    part_sd
        Standard deviation from part to part, after the last part; per family in family_sd.
    notes
        Assumptions that failed and limits of what was computed, in words.
    """

    mean: Floats
    count: Ints
    expected: Floats
    expected_se: Floats
    score: Floats
    single_flag: Bools
    spread: Floats
    monitors: tuple[Monitor, ...]
    signals: tuple[Signal, ...]
    scored: int
    strongest: float
    position_offsets: Floats
    part_sd: float
    family_sd: dict[int, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
