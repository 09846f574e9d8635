"""The month: one path from what is known to everything that is told of a month of the shop."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime

import numpy as np

from ingest.answers.month import MonthLine, MonthReview, MonthRun
from ingest.answers.processes import ReceiptFact, SetAsideFact, SignalFact
from ingest.assessing.assessment import ProcessState
from ingest.month.acts import most_urgent
from ingest.month.lines import GaugeShare, choose, month_days, month_lines, months_before, sources
from ingest.month.signals import month_aside, month_gauges, month_signals
from ingest.plans.limits import EPOCH
from ingest.state.moment import Moment
from spc.capability.histogram import histogram_of


def month_review(
    moment: Moment,
    states: Mapping[str, ProcessState],
    signals: Sequence[SignalFact],
    aside: Sequence[SetAsideFact],
    receipts: Sequence[ReceiptFact],
    asked: datetime,
    digest: str,
    year: int,
    month: int,
    step: Callable[[int, int], None] | None = None,
    share: GaugeShare | None = None,
) -> MonthReview:
    """Everything that is told of a month; a pure function of its arguments.

    Parameters
    ----------
    moment : Moment
    states : mapping of process to ProcessState
        Of the same moment.
    signals : sequence of SignalFact
        All of them.
    aside : sequence of SetAsideFact
    receipts : sequence of ReceiptFact
    asked : datetime
        The shop's clock.
    digest : str
        Of the shop.
    year, month : int
    step : callable, optional
        Told lines done and lines in all; what it raises ends the work.
    share : callable, optional
        As `gauges` of `month_lines`.

    Returns
    -------
    MonthReview
        An empty month has no lines.
    """
    plan = moment.known.plan
    first, last = month_days(year, month)
    upto = min(last, asked.date())
    by_process: dict[str, list[SignalFact]] = {}
    for signal in signals:
        by_process.setdefault(signal.process, []).append(signal)
    lines = month_lines(moment, by_process, first, last, step, share)
    told = month_signals(plan, signals, first, last)
    gauges = month_gauges(moment, states, first, upto)
    known = {r.id: moment.calendar.local(r.known_at).date() for r in receipts}
    rows = month_aside(aside, known, first, last)
    parts, readings = _made(moment, first, last)
    before = months_before(first)
    return MonthReview(
        year=year,
        month=month,
        shop=plan.shop.name,
        asked=asked,
        digest=digest,
        plan_sha=plan.sha256,
        parts=parts,
        readings=readings,
        compared_from=before[0],
        compared_to=before[1],
        lines=tuple(lines),
        signals=tuple(told),
        gauges=tuple(gauges),
        aside=tuple(rows),
        acts=most_urgent(plan, lines, told, gauges, rows),
    )


def _made(moment: Moment, first: date, last: date) -> tuple[int, int]:
    """Different parts and readings that count, of some days; checks of gauges are no parts."""
    used = moment.resolved.readings
    day = used["day"].to_numpy(dtype=np.int64) + EPOCH
    here = (used["status"] == "used") & (used["role"] != "checks")
    mine = used[here & (day >= first.toordinal()) & (day <= last.toordinal())]
    return int(mine["part"].nunique()), len(mine)


def month_run(moment: Moment, line: MonthLine, year: int, month: int) -> MonthRun | None:
    """What is drawn of one line of a month: readings in classes, and part means in order.

    Parameters
    ----------
    moment : Moment
        The one the line was made from.
    line : MonthLine
    year, month : int

    Returns
    -------
    MonthRun or None
        None when the line has no parts any more.
    """
    plan, resolved = moment.known.plan, moment.resolved
    source = next((s for s in sources(moment) if s.process == line.process), None)
    if source is None or line.family not in resolved.families:
        return None
    code = resolved.families.index(line.family)
    chosen = choose(source, code, line.family, *month_days(year, month))
    if chosen is None:
        return None
    readings = chosen.readings
    held = line.held
    shown = np.abs(readings) if held is not None and held.shape == "folded normal" else readings
    steps = [g.resolution for g in plan.gauges.values() if line.feature in g.features]
    resolution = max((float(s) for s in steps if s), default=0.0)
    fit = held.fit if held is not None and not held.refused else None
    table = source.table.parts.iloc[chosen.rows]
    means = [float(np.nanmean(row)) for row in readings]
    return MonthRun(
        line=line,
        classes=histogram_of(shown, fit, resolution=resolution),
        times=tuple(moment.calendar.local(t.to_pydatetime()) for t in table["time"]),
        serials=tuple(str(p) for p in table["part"]),
        means=tuple(means),
    )
