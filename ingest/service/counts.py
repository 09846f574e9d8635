"""How many parts of a machine were beyond a limit: by family, by feature, on either side of a day, and ahead."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime

import numpy as np

from ingest.answers.case import CaseFamily, CaseLimit, CaseShare
from ingest.assessing.facts import ProcessFacts
from ingest.service.rows import Bools, Judged, between, judged
from ingest.state.moment import Moment
from spc.change.service_effect import chance_larger
from spc.intervals import binomial_interval


def made_after(rows: Judged, about: Sequence[ProcessFacts], when: datetime) -> Bools:
    """Which judged parts were made after a moment, by the time of their first pass."""
    at = np.datetime64(when.astimezone(UTC).replace(tzinfo=None), "us")
    made: dict[str, bool] = {}
    for one in about:
        times = one.parts["time"].to_numpy().astype("datetime64[us]")
        made |= dict(zip(one.parts["part"].astype(str), (times > at).tolist(), strict=True))
    return np.array([made.get(str(p), False) for p in rows.part], dtype=bool)


def share_of(rows: Judged, chosen: Bools, first: date, last: date) -> CaseShare:
    parts, out = int(chosen.sum()), int(rows.out[chosen].sum())
    return CaseShare(first, last, out, parts, binomial_interval(out, parts) if parts else None)


def course_of(rows: Judged, now: Bools, then: Bools) -> tuple[tuple[date, float, bool], ...]:
    """Parts counted on either side in order of machining: day, how far beyond, and whether it belongs to `then`."""
    return tuple(
        (date.fromordinal(int(rows.day[i])), float(rows.over[i]), bool(then[i]))
        for i in np.flatnonzero(now | then)
    )


def by_family(moment: Moment, rows: Judged, now: Bools, then: Bools) -> tuple[CaseFamily, ...]:
    plan, names = moment.known.plan, moment.resolved.families
    found = []
    for code in np.unique(rows.family[now | then]):
        mine = rows.family == code
        key = names[int(code)]
        found.append(
            CaseFamily(
                family=key,
                family_name=plan.families[key].name if key in plan.families else key,
                out_now=int(rows.out[mine & now].sum()),
                of_now=int((mine & now).sum()),
                out_then=int(rows.out[mine & then].sum()),
                of_then=int((mine & then).sum()),
            )
        )
    return tuple(found)


def chance_more(families: Sequence[CaseFamily]) -> float | None:
    both = [f for f in families if f.of_now and f.of_then]
    if not both:
        return None
    return chance_larger(
        [f.out_now for f in both],
        [f.of_now for f in both],
        [f.out_then for f in both],
        [f.of_then for f in both],
    )


def parts_made(moment: Moment, processes: Sequence[ProcessFacts], first: date, last: date) -> dict[str, int]:
    """Different parts made on the machine in some days, by family."""
    family: dict[str, int] = {}
    for one in processes:
        mine = between(one, first, last)
        family |= dict(zip(one.parts["part"][mine].astype(str), one.data.family[mine].tolist(), strict=True))
    names = moment.resolved.families
    counts: dict[str, int] = {}
    for code in family.values():
        counts[names[code]] = counts.get(names[code], 0) + 1
    return counts


def by_limit(
    moment: Moment,
    processes: Sequence[ProcessFacts],
    touched: frozenset[str],
    now: tuple[date, date],
    then: tuple[date, date] | None,
    when: datetime | None,
) -> tuple[CaseLimit, ...]:
    """Parts beyond the limits of each process; a moment between the two spans says on which side its day counts."""
    found = []
    for one in processes:
        rows = judged(moment, [one], touched)
        shares = []
        for span, later in ((now, False), (then, True)):
            if span is None:
                shares.append(None)
                continue
            mine = (rows.day >= span[0].toordinal()) & (rows.day <= span[1].toordinal())
            if when is not None:
                side = made_after(rows, [one], when)
                mine &= side if later else ~side
            shares.append(share_of(rows, mine, *span))
        if shares[0] is not None and (shares[0].parts or (shares[1] is not None and shares[1].parts)):
            found.append(CaseLimit(moment.known.plan.features[one.feature].name, shares[0], shares[1]))
    return tuple(found)


def same_readings(
    moment: Moment, processes: Sequence[ProcessFacts], found: Sequence[ProcessFacts]
) -> list[ProcessFacts]:
    """Processes that rest on the same readings as those found: what moves one of them may put another out."""
    plan = moment.known.plan
    bases = {plan.features[p.feature].of or p.feature for p in found}
    return [p for p in processes if (plan.features[p.feature].of or p.feature) in bases]
