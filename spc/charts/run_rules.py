"""Run rules: patterns of points within the limits that chance seldom makes, each named by what it says.

Every rule that is added finds more and alarms more often for nothing; `run_length` says how often a set of
rules alarms on a process in which nothing changed. Scores of the assessment need no rules. Rules are never
applied to smoothed series, whose neighbouring points resemble each other by construction.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.charts.classical import Panel
from spc.errors import SpcError

Kind = Literal["beyond", "either side", "within", "trend", "alternation"]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Rule:
    """One pattern.

    Attributes
    ----------
    name : str
        What it says.
    kind : str
        ``"beyond"``: `count` of the last `of` points lie beyond `zone` sigma on one side, the last one among
        them. ``"either side"``: the same on any side. ``"within"``: all inside. ``"trend"``: `count` points
        rise or fall one after the other. ``"alternation"``: `count` points go up and down in turn.
    count, of : int
    zone : float
        [sigma]; 0 is the centre.
    source : str
    """

    name: str
    kind: Kind
    count: int
    of: int
    zone: float
    source: str


_HANDBOOK = "Western Electric, Statistical Quality Control Handbook (1956)"
_NELSON = "Nelson, L. S. (1984), Journal of Quality Technology 16, 237-239"

BEYOND = Rule("one beyond three sigma", "beyond", 1, 1, 3.0, _HANDBOOK)
TWO_OF_THREE = Rule("two of three beyond two sigma on one side", "beyond", 2, 3, 2.0, _HANDBOOK)
FOUR_OF_FIVE = Rule("four of five beyond one sigma on one side", "beyond", 4, 5, 1.0, _HANDBOOK)
EIGHT_IN_A_ROW = Rule("eight in a row on one side", "beyond", 8, 8, 0.0, _HANDBOOK)
NINE_IN_A_ROW = Rule("nine in a row on one side", "beyond", 9, 9, 0.0, _NELSON)
SIX_TREND = Rule("six in a row rising or falling", "trend", 6, 6, 0.0, _NELSON)
FOURTEEN_ALTERNATE = Rule("fourteen in a row up and down in turn", "alternation", 14, 14, 0.0, _NELSON)
FIFTEEN_WITHIN = Rule("fifteen in a row within one sigma", "within", 15, 15, 1.0, _NELSON)
EIGHT_OUTSIDE = Rule("eight in a row beyond one sigma on either side", "either side", 8, 8, 1.0, _NELSON)
RULES = (
    BEYOND,
    TWO_OF_THREE,
    FOUR_OF_FIVE,
    EIGHT_IN_A_ROW,
    NINE_IN_A_ROW,
    SIX_TREND,
    FOURTEEN_ALTERNATE,
    FIFTEEN_WITHIN,
    EIGHT_OUTSIDE,
)
"""Every rule that is known here; ISO 7870-2 leaves the choice to the user (from memory)."""


@dataclass(frozen=True)
class RuleSignal:
    """A pattern that a point completed: the point's index from 0, and the rule's name."""

    index: int
    rule: str


def rule_named(name: str) -> Rule:
    """The rule of a name.

    Parameters
    ----------
    name : str
        As in `RULES`; capitals do not matter.

    Returns
    -------
    Rule

    Raises
    ------
    SpcError
        There is no such rule; the message lists all.
    """
    for rule in RULES:
        if rule.name == name.strip().lower():
            return rule
    listed = "; ".join(rule.name for rule in RULES)
    raise SpcError(f"there is no run rule {name!r}; there are: {listed}")


def broken(scores: ArrayLike, rule: Rule) -> Bools:
    """Points at which a rule is broken, for one series or many at once.

    Parameters
    ----------
    scores : array-like, shape (n,) or (series, n)
        Deviation from the centre in sigma, in order of machining; NaN = no point, which breaks no rule and
        ends every row of points. [sigma]
    rule : Rule

    Returns
    -------
    bool array, same shape
        True where a point completes the pattern.
    """
    z = np.asarray(scores, dtype=float)
    if rule.kind == "trend":
        steps = np.diff(z, axis=-1)
        found = _in_a_row(steps > 0, rule.count - 1) | _in_a_row(steps < 0, rule.count - 1)
        return _after(found, z.shape, 1)
    if rule.kind == "alternation":
        steps = np.diff(z, axis=-1)
        turns = steps[..., 1:] * steps[..., :-1] < 0
        return _after(_in_a_row(turns, rule.count - 2), z.shape, 2)
    if rule.kind == "within":
        return _in_a_row(np.abs(z) < rule.zone, rule.count)
    if rule.kind == "either side":
        return _some_of(np.abs(z) > rule.zone, rule.count, rule.of)
    return _some_of(z > rule.zone, rule.count, rule.of) | _some_of(z < -rule.zone, rule.count, rule.of)


def check_rules(scores: ArrayLike, rules: Sequence[Rule] = (BEYOND,)) -> tuple[RuleSignal, ...]:
    """Every pattern in one series.

    Parameters
    ----------
    scores : array-like, shape (n,)
        Deviation from the centre in sigma, in order of machining. [sigma]
    rules : sequence of Rule

    Returns
    -------
    tuple of RuleSignal
        By index; a pattern that goes on is named at every point that continues it.

    Raises
    ------
    SpcError
        Not one series.
    """
    z = np.asarray(scores, dtype=float)
    if z.ndim != 1:
        raise SpcError(f"run rules look at one series; got shape {z.shape}")
    found = [(int(i), rule.name) for rule in rules for i in np.flatnonzero(broken(z, rule))]
    return tuple(RuleSignal(index, name) for index, name in sorted(found, key=lambda pair: pair[0]))


def check_panel(panel: Panel, rules: Sequence[Rule], width: float = 3.0) -> tuple[RuleSignal, ...]:
    """Every pattern in a chart.

    Parameters
    ----------
    panel : Panel
        Of independent points: individuals, means, part means.
    rules : sequence of Rule
    width : float
        Half width of the panel's limits in sigma.

    Returns
    -------
    tuple of RuleSignal

    Raises
    ------
    SpcError
        The panel is smoothed (a weighted average or moving ranges), or has no width.
    """
    if panel.name in ("weighted average", "moving range"):
        raise SpcError(
            f"run rules do not apply to the {panel.name}: its neighbouring points resemble each other"
        )
    center = np.broadcast_to(np.asarray(panel.center), panel.values.shape)
    half = panel.upper - center
    if not (half > 0).all():
        raise SpcError("run rules need limits above the centre; these have no width")
    return check_rules((panel.values - center) / half * width, rules)


def _some_of(member: Bools, count: int, of: int) -> Bools:
    """Members among the last `of`, themselves included, number at least `count`; so the point is one."""
    if count == of:
        return _in_a_row(member, count)
    if of == 1:
        return member
    total = np.zeros(member.shape, dtype=np.int8)
    for back in range(min(of, member.shape[-1])):
        total[..., back:] += member[..., : member.shape[-1] - back]
    return member & (total >= count)


def _in_a_row(member: Bools, count: int) -> Bools:
    """The last `count` points are all members; doubling, so that few passes do."""
    have, found = 1, member.copy()
    while have < count and have < member.shape[-1]:
        step = min(have, count - have)
        shifted = np.zeros_like(found)
        shifted[..., step:] = found[..., :-step]
        found &= shifted
        have += step
    return found if have >= count else np.zeros_like(found)


def _after(found: Bools, shape: tuple[int, ...], lost: int) -> Bools:
    """Patterns of differences, told at the point that ended them."""
    out = np.zeros(shape, dtype=bool)
    out[..., lost:] = found
    return out


def standard_score(values: ArrayLike, center: float, sigma: float) -> NDArray[np.float64]:
    """Deviation from a centre in sigma.

    Parameters
    ----------
    values : array-like
        [unit]
    center, sigma : float
        [unit]; sigma above 0.

    Returns
    -------
    array, same shape
        [sigma]

    Raises
    ------
    SpcError
        Sigma is not above 0.
    """
    if not (math.isfinite(sigma) and sigma > 0):
        raise SpcError(f"run rules need a spread above 0; sigma is {sigma}")
    return (np.asarray(values, dtype=float) - center) / sigma
