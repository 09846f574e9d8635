"""How well each known fault fits what was seen of a change."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

UNKNOWN_WEIGHT = 0.5
"""How common a fault that no table names is, beside those it names."""


@dataclass(frozen=True)
class Fault:
    """A fault and what it shows.

    Attributes
    ----------
    key
    weight
        How common it is beside the others. [-]
    shows
        Chance that each piece of evidence is seen when this is the cause.
    """

    key: str
    weight: float
    shows: Mapping[str, float]


@dataclass(frozen=True)
class Fit:
    """How well one fault fits.

    Attributes
    ----------
    key
    share
        Posterior share among the faults that were compared and "something else".
    speaks_for, speaks_against
        Pieces of evidence by how much they speak for it or against it, the strongest first.
    """

    key: str
    share: float
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


def rank_causes(
    faults: Sequence[Fault], seen: Mapping[str, float], base: Mapping[str, float], most: int = 3
) -> tuple[Fit, ...]:
    """Rank faults by how likely they make what was seen.

    Parameters
    ----------
    faults
        That can occur in this process.
    seen
        Chance that each piece of evidence is there, from the data; what could not be judged is left out.
    base
        Chance to see each piece of evidence when the cause does not bear on it.
    most
        Faults returned.

    Returns
    -------
    tuple of Fit
        The likeliest first. Faults that fit worse than "something else" are left out.

    Notes
    -----
    Naive Bayes with uncertain evidence: sum of log(p q + (1 - p)(1 - q)), p the chance that the evidence is there and q
    that the fault shows it (Pearl 1988, from memory). Pieces of evidence are taken as independent given the fault,
    which overstates how sure one can be: shares are for ranking.
    """
    logs = {fault.key: math.log(fault.weight) + _log_likelihood(fault.shows, seen, base) for fault in faults}
    other = math.log(UNKNOWN_WEIGHT) + _log_likelihood({}, seen, base)
    top = max([other, *logs.values()])
    total = math.exp(other - top) + sum(math.exp(v - top) for v in logs.values())
    found = [fault for fault in faults if logs[fault.key] > other]
    found.sort(key=lambda fault: (-logs[fault.key], fault.key))
    return tuple(
        Fit(fault.key, math.exp(logs[fault.key] - top) / total, *_speaking(fault, seen, base))
        for fault in found[:most]
    )


def _agreement(p: float, q: float) -> float:
    return p * q + (1.0 - p) * (1.0 - q)


def _log_likelihood(
    shows: Mapping[str, float], seen: Mapping[str, float], base: Mapping[str, float]
) -> float:
    return sum(math.log(_agreement(p, shows.get(key, base[key]))) for key, p in seen.items())


def _speaking(
    fault: Fault, seen: Mapping[str, float], base: Mapping[str, float]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Evidence that the fault explains better, or worse, than chance does; the strongest first."""
    gain = {
        key: math.log(_agreement(p, fault.shows[key]) / _agreement(p, base[key]))
        for key, p in seen.items()
        if key in fault.shows
    }
    order = sorted(gain, key=lambda key: (-abs(gain[key]), key))
    return tuple(k for k in order if gain[k] > 0.1), tuple(k for k in order if gain[k] < -0.1)
