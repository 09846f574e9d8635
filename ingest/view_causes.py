"""Causes of a process's open signal with everything that the whole shop can add, other machines' people included."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ingest.assessment import ProcessState
from ingest.cause_rank import Weighed, weigh
from ingest.causes import Others, evidence_of
from ingest.moment import Moment


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
