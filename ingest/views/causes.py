"""Causes of a process's open signal with everything that the whole shop can add, other machines' people included."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import numpy as np

from ingest.answers.wear import FirstOfDay
from ingest.assessing.assessment import ProcessState
from ingest.assessing.cause_rank import Weighed, weigh
from ingest.assessing.causes import Others, evidence_of
from ingest.state.moment import Moment
from spc.faults.evidence import first_of_day, only_one
from spc.gauges.error import step_between

_EPOCH = date(1970, 1, 1).toordinal()
LATEST_DAYS = 120
"""Days with parts that the first of a day is looked at over."""


def causes_view(moment: Moment, process: str, states: Mapping[str, ProcessState]) -> Weighed:
    """Causes that fit the leading open signal of a process.

    Parameters
    ----------
    moment : Moment
    process : str
    states : mapping of process to ProcessState
        Of the same moment.

    Returns
    -------
    Weighed
        As on the list, with what a crossed comparison of people and machines adds.
    """
    done = moment.assessed(process)
    facts = done.facts
    alike = [
        p for p, other in moment.facts.processes.items() if other.feature == facts.feature and p != process
    ]
    others = None
    if alike:
        seen = [moment.assessed(p) for p in alike]
        others = Others(
            score=np.concatenate([s.assessment.score for s in seen]),
            who=np.concatenate([s.facts.table.by_whom(s.facts.rows)["who"].to_numpy(object) for s in seen]),
            day=np.concatenate([s.facts.data.day for s in seen]),
        )
    evidence, apart = evidence_of(
        moment.known.plan, facts, done.assessment, done.state.left, moment.resolved.families, others
    )
    return weigh(moment.known.plan, done.state, states, evidence, apart)


def first_part_of_the_day(moment: Moment, process: str) -> FirstOfDay | None:
    """Whether the first part of a day stands apart from the later ones, since the last event that restarts the level.

    Returns
    -------
    FirstOfDay or None
        None where it does not, where the interval of the gap holds 0, or where fewer than 8 days have a first and a
        later part. By person: whether, among the
        later parts alone, one person's differ from the others'. That comparison is free of who opens the shop.
    """
    done = moment.assessed(process)
    facts, result = done.facts, done.assessment
    data = facts.data
    last = data.level == data.level[-1]
    days = np.unique(data.day[last])[-LATEST_DAYS:]
    rows = np.flatnonzero(last & np.isin(data.day, days) & np.isfinite(result.mean) & ~result.single_flag)
    if not rows.size:
        return None
    sd = result.part_sd
    family = data.family[rows]
    value = result.mean[rows].copy()
    for code in np.unique(family):
        value[family == code] -= np.median(value[family == code])
    chance = first_of_day(value / sd, data.day[rows]) if sd > 0 else None
    if chance is None or chance < 0.9:
        return None
    day = data.day[rows]
    first = np.concatenate([[True], np.diff(day) != 0])
    several = np.isin(day, day[~first])
    early, late = value[first & several], value[~first]
    gap = step_between(late, early)
    if gap.lower is None or gap.upper is None or gap.lower <= 0.0 <= gap.upper:
        return None
    who = facts.table.by_whom(facts.rows[rows])["who"].to_numpy(object)
    names = {name: i for i, name in enumerate(sorted({w for w in who if isinstance(w, str)}))}
    codes = np.array([names.get(w, -1) if isinstance(w, str) else -1 for w in who], dtype=np.int64)
    # Around their own mean: a level that all share must not look like one person's.
    one = only_one((late - late.mean()) / sd, codes[~first])
    return FirstOfDay(
        gap.estimate, gap.lower, gap.upper, int((first & several).sum()), None if one is None else one[0] > 0.9,
        date.fromordinal(int(day[0]) + _EPOCH),
    )  # fmt: skip
