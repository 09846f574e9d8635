"""What else the tool of a process makes: scatter of sizes, form, cycle time, in this life against the earlier ones."""

from __future__ import annotations

import numpy as np

from ingest.answers.wear import CompanionFact
from ingest.assessing.assessment import AssessedProcess
from ingest.assessing.facts import ProcessFacts
from ingest.assessing.forecast import lives_of_process
from ingest.state.moment import Moment
from spc.process import Floats
from spc.wear.companions import beside
from spc.wear.model import WearRows, fit_wear

KINDS = ("size", "form", "time")
RARE = 0.05
"""Chance below which companions are said to have moved, shared among all that are looked at."""


def companions(moment: Moment, process: str) -> tuple[CompanionFact, ...]:
    """Companions of a wearing process, in the order of the plan's processes.

    Parameters
    ----------
    moment : Moment
    process : str

    Returns
    -------
    tuple of CompanionFact
        Features of the same machine and operation that are no finish; empty for a process without a tool whose life is
        counted. Those of which too little is known say so by `ratio` and `difference` both None.
    """
    done = moment.assessed(process)
    facts = done.facts
    if facts.tool is None:
        return ()
    clean = lives_of_process(facts, done.assessment).clean
    features = moment.known.plan.features
    found: list[tuple[str, ProcessFacts, bool, bool, WearRows]] = []
    for name, other in moment.facts.processes.items():
        beside_it = other.machine == facts.machine and other.operation == facts.operation and name != process
        if not beside_it or other.feature not in features or features[other.feature].kind not in KINDS:
            continue
        scatter = features[other.feature].kind == "size"
        rows = _rows(facts, moment.assessed(name), scatter)
        found.append((name, other, scatter, scatter or other.options.log, rows))
    told = []
    for name, other, scatter, log, rows in found:
        fit = fit_wear(rows, clean)
        seen = beside(rows.of(rows.life == facts.tool.life), fit, either_way=not scatter) if fit else None
        told.append(
            CompanionFact(
                process=name,
                feature_name=features[other.feature].name,
                display=features[other.feature].display,
                decimals=features[other.feature].decimals,
                scatter=scatter,
                ratio=None if seen is None or not log else float(np.exp(seen.came - seen.expected)),
                difference=None if seen is None or log else seen.came - seen.expected,
                moved=seen is not None and seen.chance < RARE / len(found),
                lives=0 if seen is None else seen.lives,
            )
        )
    return tuple(told)


def _rows(facts: ProcessFacts, done: AssessedProcess, scatter: bool) -> WearRows:
    """Parts of another process within the lives of this one's tool, matched by part and pass."""
    at = {
        key: i
        for i, key in enumerate(zip(facts.parts["part"], facts.parts["pass_no"], strict=True))
        if facts.data.life[i] >= 0
    }
    keys = list(zip(done.facts.parts["part"], done.facts.parts["pass_no"], strict=True))
    with np.errstate(divide="ignore", invalid="ignore"):
        # The coarsest scatter: from bore to bore of a block, not from reading to reading.
        value: Floats = np.log(done.assessment.spread[:, 0]) if scatter else done.assessment.mean
    data = done.facts.data
    good = data.learn & ~done.assessment.single_flag & np.isfinite(value)
    mine = np.array([i for i, key in enumerate(keys) if key in at and good[i]], dtype=np.int64)
    where = np.array([at[keys[i]] for i in mine], dtype=np.int64)
    return WearRows(value[mine], facts.data.life[where], facts.data.wear[where], data.family[mine])
