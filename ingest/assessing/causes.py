"""The table of faults, and what the parts of one process say of a change: the evidence for and against each."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ingest.answers.wear import EvidenceFact, LeftFact
from ingest.plans.model import Plan
from spc.faults.evidence import alternates, crossed_person, first_of_day, gradual, only_one, spread_scores
from spc.process import Assessment, Floats, Ints, Signal

if TYPE_CHECKING:
    from ingest.assessing.facts import ProcessFacts

TABLE = Path(__file__).with_name("causes.toml")
YES, NO = 0.95, 0.05
LONG = 1.1
"""A life this many times the usual one is long."""
_EPOCH = date(1970, 1, 1).toordinal()


@dataclass(frozen=True)
class Evidence:
    """A kind of evidence of the table."""

    key: str
    base: float
    seen: str
    unseen: str


@dataclass(frozen=True)
class CauseEntry:
    """A fault of the table; see the head of ``causes.toml``."""

    key: str
    name: str
    check: str
    weight: float
    kinds: tuple[str, ...]
    words: tuple[str, ...]
    tool: bool | None
    gauge: bool
    shows: Mapping[str, float]
    direction: Mapping[str, str]
    unless: tuple[str, ...]


@cache
def cause_table() -> tuple[dict[str, Evidence], dict[str, CauseEntry]]:
    """Evidence and causes of the table that comes with the program."""
    return read_table(TABLE.read_text(encoding="utf-8"))


def read_table(text: str) -> tuple[dict[str, Evidence], dict[str, CauseEntry]]:
    """Evidence and causes of a table.

    Raises
    ------
    ValueError
        A cause shows evidence that the table does not have, or a chance lies outside 0 to 1.
    """
    raw = tomllib.loads(text)
    evidence = {k: Evidence(k, float(v["base"]), v["seen"], v["unseen"]) for k, v in raw["evidence"].items()}
    causes = {key: _entry(key, given) for key, given in raw["cause"].items()}
    for cause in causes.values():
        for key, chance in cause.shows.items():
            if key not in evidence:
                raise ValueError(f"cause {cause.key} shows {key}, which is no evidence of the table")
            if not 0.0 < chance < 1.0:
                raise ValueError(
                    f"cause {cause.key} shows {key} with {chance}: a chance lies between 0 and 1"
                )
        unknown = set(cause.unless) - set(evidence)
        if unknown:
            raise ValueError(
                f"cause {cause.key} asks for {', '.join(sorted(unknown))}, no evidence of the table"
            )
    return evidence, causes


def _entry(key: str, given: Mapping[str, Any]) -> CauseEntry:
    return CauseEntry(
        key=key,
        name=given["name"],
        check=given["check"],
        weight=float(given["weight"]),
        kinds=tuple(given["kinds"]),
        words=tuple(given.get("words", ())),
        tool=given.get("tool"),
        gauge=bool(given.get("gauge", False)),
        shows={k: float(v) for k, v in given["shows"].items()},
        direction=dict(given.get("direction", {})),
        unless=tuple(given.get("unless", ())),
    )


def leading(result: Assessment) -> Signal | None:
    """The open signal that the list tells of: the one that was raised first."""
    live = [s for s in result.signals if s.status == "open"]
    return min(live, key=lambda s: (s.first, s.monitor, s.stratum)) if live else None


@dataclass(frozen=True)
class Others:
    """Scores of the same feature on other machines, with who measured and when, for what needs a comparison.

    Attributes
    ----------
    score
        (m,) scores.
    who
        (m,) names, empty where not known.
    day
        (m,) local days since 1970.
    """

    score: Floats
    who: np.ndarray
    day: Ints


def evidence_of(
    plan: Plan,
    facts: ProcessFacts,
    result: Assessment,
    left: LeftFact | None,
    families: tuple[str, ...],
    others: Others | None = None,
) -> tuple[tuple[EvidenceFact, ...], tuple[str, ...]]:
    """What the parts of a process say of its leading open signal.

    Parameters
    ----------
    plan : Plan
    facts : ProcessFacts
    result : Assessment
        Of these facts.
    left : LeftFact or None
        Of its tool.
    families : tuple of str
        Keys behind the family codes.
    others : Others, optional
        The same feature on other machines; without it nothing is ever said of persons.

    Returns
    -------
    evidence : tuple of EvidenceFact
        Only what could be judged; empty without an open signal.
    apart : tuple of str
        What cannot be told from the machine, for want of a comparison: family | gauge | person.
    """
    signal = leading(result)
    if signal is None:
        return (), ()
    data, feature = facts.data, plan.features[facts.feature]
    since = np.arange(max(signal.change_from, 0), len(facts.parts))
    wider = signal.monitor in ("scatter", "spread within part")
    from spc.score.watch import spread_score  # the list reads the table; only an assessment scores

    if signal.monitor == "spread within part":
        before = (np.arange(len(facts.parts)) < signal.change_from) & data.learn
        score = spread_scores(result.spread[:, signal.stratum], data.family, before)
    else:
        score = result.score
    score = spread_score(score[since]) if signal.monitor == "scatter" else score[since]
    found: list[EvidenceFact] = []
    if signal.monitor == "level":
        found.append(EvidenceFact("down", YES if signal.direction < 0 else NO))
    if signal.monitor != "tool life":
        found.append(EvidenceFact("wider", YES if wider else 0.1))
        spread = any(s.status == "open" and s.monitor == "spread within part" for s in result.signals)
        contrast = feature.derive in ("difference", "steps")
        found.append(EvidenceFact("pattern", YES if spread or contrast else 0.1))
        _add(found, "gradual", gradual(score))
        _add(found, "first_of_day", first_of_day(score, data.day[since]))
        if not wider:
            _add(found, "alternates", alternates(score))
    found += _life(facts, result, signal, left)
    found += _events(facts, signal, plan)
    parts = facts.table.by_whom(facts.rows[since])
    who, gauge = _codes(parts["who"].to_numpy()), _codes(parts["gauge"].to_numpy())
    apart = []
    if signal.monitor != "tool life":
        one = only_one(score, data.family[since])
        names = {
            i: plan.families[families[i]].name for i in range(len(families)) if families[i] in plan.families
        }
        if one is not None:
            found.append(EvidenceFact("one_family", one[0], names.get(one[1], "one family")))
        elif feature.kind != "check":
            apart.append("family")
        one = only_one(score, gauge[0])
        if one is not None:
            found.append(EvidenceFact("one_gauge", one[0], gauge[1][one[1]]))
        elif feature.kind != "check" and len(gauge[1]):
            apart.append("gauge")
        person = _person(score, parts["who"].to_numpy(), others, int(data.day[since[0]]))
        if person is not None:
            found.append(EvidenceFact("one_person", person))
        elif feature.kind != "check" and len(who[1]):
            apart.append("person")
    return tuple(found), tuple(apart)


def _add(found: list[EvidenceFact], key: str, chance: float | None, detail: str = "") -> None:
    if chance is not None:
        found.append(EvidenceFact(key, chance, detail))


def _codes(names: np.ndarray) -> tuple[Ints, list[str]]:
    """Codes of texts, -1 where there is none, and the texts."""
    texts = sorted({n for n in names if isinstance(n, str) and n})
    where = {text: i for i, text in enumerate(texts)}
    return np.array([where.get(n, -1) if isinstance(n, str) else -1 for n in names], dtype=np.int64), texts


def _person(score: Floats, who: np.ndarray, others: Others | None, day: int) -> float | None:
    """Only from a crossed comparison; the person is never told."""
    if others is None:
        return None
    late = others.day >= day
    both, _ = _codes(np.concatenate([who, others.who[late]]))
    return crossed_person(score, both[: len(who)], others.score[late], both[len(who) :])


def _life(
    facts: ProcessFacts, result: Assessment, signal: Signal, left: LeftFact | None
) -> list[EvidenceFact]:
    if left is None or facts.tool is None:
        return []
    life, wear, start = facts.data.life, facts.data.wear, max(signal.change_from, 0)
    within = life[start] == life[signal.first] and life[start] >= 0
    tool = left.tool if isinstance(left.tool, str) else "this set"
    detail = f"{tool}, at about {wear[start]:.0f} {left.unit}"
    found = [EvidenceFact("in_life", YES if within else NO, detail)]
    if left.usual:
        longer = left.uses > LONG * left.usual or any(
            s.status == "open" and s.monitor == "tool life" for s in result.signals
        )
        found.append(
            EvidenceFact(
                "long_life",
                YES if longer else 0.03,
                f"{left.uses:.0f} {left.unit}, about {left.usual:.0f} usual",
            )
        )
        if within:
            fresh = wear[start] < 0.1 * left.usual
            found.append(EvidenceFact("new_set", 0.9 if fresh else NO))
    return found


def _events(facts: ProcessFacts, signal: Signal, plan: Plan) -> list[EvidenceFact]:
    renewing = facts.tool.renewal.events if facts.tool is not None else ()
    table = facts.events
    low, high = signal.change_range[0] - 1, signal.change_range[1] + 1
    near = table[(table["index"] >= low) & (table["index"] <= high) & ~table["kind"].isin(renewing)]
    if not len(near):
        return [EvidenceFact("after_event", NO)]
    last = near.iloc[-1]
    kind = plan.events[str(last["kind"])].name
    day = facts.data.day[min(max(int(last["index"]), 0), len(facts.parts) - 1)]
    when = date.fromordinal(int(day) + _EPOCH)
    return [EvidenceFact("after_event", 0.9, f"{kind}, {when.day} {when:%b} {when.year}")]
