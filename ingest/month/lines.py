"""The lines of a month: what every process held in every family, against the limits and the months before."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from ingest.answers.month import MonthLine
from ingest.answers.processes import SignalFact
from ingest.plans.limits import EPOCH
from ingest.readings.tables import FeatureTable
from ingest.state.moment import Moment
from spc.capability.months import MonthChange, Pair, compare_months
from spc.capability.process_capability import process_capability
from spc.errors import SpcError

EARLIER = 3
"""Months that a month is held against, taken together: one alone has too few parts of a rare family."""

Floats = NDArray[np.float64]
Step = Callable[[int, int], None]
GaugeShare = Callable[[str, str], float | None]


@dataclass(frozen=True)
class Chosen:
    """The parts of one family on one process in some days.

    Attributes
    ----------
    table : FeatureTable
    rows : int array
        Rows of the table that count: first passes not set aside, in order of machining.
    columns : list of int
        Columns that the family has.
    aside : int
        Parts left out because a person set them aside.
    """

    table: FeatureTable
    rows: NDArray[np.intp]
    columns: list[int]
    aside: int

    @property
    def readings(self) -> Floats:
        """Whole sizes, one row a part."""
        return self.table.values[self.rows][:, self.columns]

    @property
    def strata(self) -> list[NDArray[np.int64]]:
        """Groups of the columns on each level."""
        return [level[self.columns] for level in self.table.slots.strata]


@dataclass(frozen=True)
class Source:
    """Where the parts of one feature on one machine stand: all families and days."""

    process: str
    parent: str
    machine: str
    operation: str
    feature: str
    table: FeatureTable
    rows: NDArray[np.intp]
    learn: NDArray[np.bool_]
    family: NDArray[np.int64]
    day: NDArray[np.int64]


def month_days(year: int, month: int) -> tuple[date, date]:
    """First and last day of a month."""
    first = date(year, month, 1)
    following = date(year + (month == 12), month % 12 + 1, 1)
    return first, following - timedelta(days=1)


def months_before(first: date, many: int = EARLIER) -> tuple[date, date]:
    """First and last day of so many months before one."""
    place = 12 * first.year + first.month - 1 - many
    return date(place // 12, place % 12 + 1, 1), first - timedelta(days=1)


def sources(moment: Moment) -> list[Source]:
    """Every process, and after it what is computed from its readings only to judge a part."""
    plan, facts = moment.known.plan, moment.facts
    found = []
    for process, one in facts.processes.items():
        audit = one.feature not in facts.tables or one.table is not facts.tables[one.feature]
        learn, data = one.data.learn, one.data
        if audit:
            continue  # differences between two gauges have no limits: the gauges' own section tells of them
        found.append(
            Source(
                process, process, one.machine, one.operation, one.feature, one.table, one.rows, learn,
                data.family, data.day,
            )
        )  # fmt: skip
        for key, entry in plan.features.items():
            if entry.of == one.feature and not entry.monitor and key in facts.tables:
                found.append(
                    _beside(process, key, facts.tables[key], found[-1], one.parts["part"].to_numpy())
                )
    return found


def _beside(process: str, key: str, table: FeatureTable, of: Source, parts: NDArray[np.object_]) -> Source:
    """What is computed from the readings of a process without being watched by itself."""
    mine = (table.parts["on"] == of.machine) & (table.parts["op"] == of.operation)
    rows = np.flatnonzero(mine & (table.parts["pass_no"] == 1))
    counts = dict(zip(parts, of.learn, strict=True))
    learn = np.array([bool(counts.get(p, True)) for p in table.parts["part"].to_numpy()[rows]], dtype=bool)
    return Source(
        f"{of.machine}/{of.operation}/{key}", process, of.machine, of.operation, key, table, rows, learn,
        table.parts["fam"].to_numpy(dtype=np.int64)[rows], table.parts["day"].to_numpy(dtype=np.int64)[rows],
    )  # fmt: skip


def choose(source: Source, code: int, family: str, first: date, last: date) -> Chosen | None:
    """The parts of a family made from one day to another; None when there are none or no place is measured."""
    columns = list(source.table.slots.of.get(family, ()))
    day = source.day
    here = (source.family == code) & (day >= first.toordinal() - EPOCH) & (day <= last.toordinal() - EPOCH)
    counted = here & source.learn
    if not counted.any() or not columns:
        return None
    return Chosen(source.table, source.rows[counted], columns, int((here & ~source.learn).sum()))


def month_lines(
    moment: Moment,
    signals: Mapping[str, Sequence[SignalFact]],
    first: date,
    last: date,
    step: Step | None = None,
    gauges: GaugeShare | None = None,
) -> list[MonthLine]:
    """All lines of a month.

    Parameters
    ----------
    moment : Moment
    signals : mapping of process to sequence of SignalFact
    first, last : date
        Days of the month, both counted.
    step : callable, optional
        Told lines done and lines in all; what it raises ends the work.
    gauges : callable, optional
        What the gauges bring to one value of a process in a family from reading to reading. [base unit]

    Returns
    -------
    list of MonthLine
        By operation, machine, feature and family as the plan has them. The comparisons of all lines share one
        adjustment for how many there are.
    """
    plan = moment.known.plan
    before = months_before(first)
    wanted = []
    for source in sources(moment):
        for code, family in enumerate(moment.resolved.families):
            now = choose(source, code, family, first, last)
            if now is not None:
                wanted.append((source, family, now, choose(source, code, family, *before)))
    lines, pairs = [], []
    for done, (source, family, now, earlier) in enumerate(wanted):
        stood = standing_in(signals.get(source.parent, ()), first, last)
        share = gauges(source.process, family) if gauges is not None else None
        line = _line(moment, source, family, now, earlier, stood, share)
        lines.append(line)
        pair = _pair(line, now, earlier, len(pairs))
        if pair is not None:
            pairs.append((done, pair))
        if step is not None:
            step(done + 1, len(wanted))
    compared = dict(zip((at for at, _ in pairs), _compared([pair for _, pair in pairs]), strict=True))
    order = {key: entry.order for key, entry in plan.operations.items()}
    features = {key: i for i, key in enumerate(plan.features)}
    told = [_with_change(line, compared.get(i)) for i, line in enumerate(lines)]
    return sorted(told, key=lambda x: (order.get(x.operation, 0), x.machine, features[x.feature], x.family))


def standing_in(signals: Sequence[SignalFact], first: date, last: date) -> tuple[SignalFact, ...]:
    """Signals whose change had begun by the end of a span of days and was not over at its start."""
    found = [
        s for s in signals if s.status != "withdrawn" and s.changed <= last and not _over_before(s, first)
    ]
    return tuple(sorted(found, key=lambda s: (s.changed, s.since, s.monitor)))


def _over_before(signal: SignalFact, day: date) -> bool:
    """Whether the state a signal tells of had ended: by what cured it, not by the parts that later showed it."""
    if signal.status == "open":
        return False
    ended = signal.cure.time.date() if signal.cure is not None else signal.cleared_on
    return ended is not None and ended < day


def _line(
    moment: Moment,
    source: Source,
    family: str,
    now: Chosen,
    earlier: Chosen | None,
    stood: tuple[SignalFact, ...],
    gauge_sd: float | None,
) -> MonthLine:
    plan = moment.known.plan
    feature = plan.features[source.feature]
    limits = source.table.limits
    at = now.rows
    lower, upper = float(limits.lower[at[-1]]), float(limits.upper[at[-1]])
    on = date.fromordinal(EPOCH + int(source.table.parts["day"].to_numpy()[at[-1]]))
    spec = plan.spec_for(source.feature, family, on)
    held, why = None, None
    try:
        held = process_capability(
            now.readings,
            lower if np.isfinite(lower) else None,
            upper if np.isfinite(upper) else None,
            strata=now.strata,
            stable=not stood,
            kind=feature.kind,
            judge_absolute=feature.judge == "absolute",
            shape=feature.told_by,
            gauge_sd=gauge_sd,
        )
        why = held.refused
    except SpcError as error:
        why = str(error)
    operation = plan.operations.get(source.operation)
    holder = plan.machines.get(source.machine) or plan.gauges.get(source.machine)
    kind = plan.families.get(family) or plan.masters.get(family)
    return MonthLine(
        process=source.process,
        machine=source.machine,
        operation=source.operation,
        feature=source.feature,
        machine_name=holder.name if holder is not None else source.machine,
        operation_name=operation.name if operation is not None else source.operation,
        feature_name=feature.name,
        family=family,
        family_name=(kind.name if kind is not None else "") or family,
        kind=feature.kind,
        display=feature.display,
        decimals=feature.decimals,
        log=feature.scale == "log",
        watched=feature.monitor,
        held=held,
        why=why,
        aside=now.aside,
        limits_from=spec.valid_from if spec is not None else None,
        limits_changed=_differ(limits.lower[at]) or _differ(limits.upper[at]),
        unstable=stood,
        earlier_parts=len(earlier.rows) if earlier is not None else 0,
        change=None,
    )


def _differ(values: Floats) -> bool:
    return len({v for v in values.tolist() if v == v}) > 1


def _pair(line: MonthLine, now: Chosen, earlier: Chosen | None, number: int) -> Pair | None:
    """What is compared of a line; None where there is nothing to compare."""
    held = line.held
    if held is None or held.refused or earlier is None:
        return None
    if held.lower_limit is None and held.upper_limit is None:
        return None
    if held.shape == "weibull" or held.shape == "johnson":
        return None  # shapes that are normal on no scale have no spread by strata to compare
    if held.shape == "folded normal" and held.sigma_within is None:
        return None  # sizes that have lost their sign: there is no spread by strata to compare
    return Pair(
        str(number),
        earlier.readings,
        now.readings,
        held.lower_limit,
        held.upper_limit,
        now.strata,
        held.shape,
    )


def _compared(pairs: Sequence[Pair]) -> list[MonthChange | None]:
    """Changes of all pairs with one adjustment; a pair that cannot be compared takes no part in it."""
    left = dict(enumerate(pairs))
    while left:
        try:
            found = dict(zip(left, compare_months(list(left.values())), strict=True))
        except SpcError as error:
            # Its message begins with the name of the pair it is about.
            del left[int(str(error).split(":", 1)[0])]
        else:
            return [found.get(i) for i in range(len(pairs))]
    return [None] * len(pairs)


def _with_change(line: MonthLine, change: MonthChange | None) -> MonthLine:
    return MonthLine(**{**line.__dict__, "change": change})
