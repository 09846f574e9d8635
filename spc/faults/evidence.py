"""What the parts since a change say of its cause: little by little or at once, one group or all, first of the day."""

from __future__ import annotations

import math

import numpy as np

from spc.process import Bools, Floats, Ints

FEWEST = 5
"""Parts of a group since the change before it is compared with the others."""
FEWEST_BEFORE = 10
"""Parts of a family before a change from which its usual spread is known."""
_FEWEST_IN_ORDER = 12


def gradual(score: Floats) -> float | None:
    """Chance that a change came on little by little rather than at once.

    Parameters
    ----------
    score
        (n,) scores of the parts since its likeliest start: standard normal when nothing changed.

    Returns
    -------
    float or None
        Posterior chance of a ramp from nothing against a step, both as likely beforehand, sizes fitted (from memory);
        None with fewer than 8 scores.
    """
    score = score[np.isfinite(score)]
    if score.size < 8:
        return None
    ramp = np.arange(1, score.size + 1) / score.size
    gain_step = score.sum() ** 2 / score.size
    gain_ramp = float(ramp @ score) ** 2 / float(ramp @ ramp)
    return _chance(float(gain_ramp - gain_step) / 2.0)


def only_one(score: Floats, group: Ints) -> tuple[float, int] | None:
    """Chance that one group alone shows a change that the others do not.

    Parameters
    ----------
    score
        (n,) scores since the change.
    group
        (n,) code of the group; negative where not known.

    Returns
    -------
    chance, group : float and int, or None
        Posterior chance of "one group only" against "all alike", as likely beforehand, and the likeliest group. None
        unless two groups have at least 5 scores.

    Notes
    -----
    Likelihood of normal scores of unit variance with the size of the change fitted, the chance of one group shared out
    over the groups (standard formula, from memory).
    """
    known = np.isfinite(score) & (group >= 0)
    labels, where = np.unique(group[known], return_inverse=True)
    counts = np.bincount(where, minlength=labels.size)
    sums = np.bincount(where, weights=score[known], minlength=labels.size)
    enough = counts >= FEWEST
    if enough.sum() < 2:
        return None
    together = float(sums[enough].sum() ** 2 / counts[enough].sum())
    alone = sums[enough] ** 2 / counts[enough]
    best = int(np.argmax(alone))
    odds = float(np.log(np.exp((alone - alone.max()) / 2.0).mean()) + (alone.max() - together) / 2.0)
    return _chance(odds), int(labels[enough][best])


def crossed_person(score: Floats, person: Ints, elsewhere: Floats, person_elsewhere: Ints) -> float | None:
    """Chance that a change goes with one person, only where persons and machines are crossed.

    Parameters
    ----------
    score, person
        (n,) scores since the change on this machine, and who measured.
    elsewhere, person_elsewhere
        (m,) scores of the same feature on other machines in the same time, and who measured there.

    Returns
    -------
    float or None
        Product of the chances that one person alone shows it here and that the same person shows it elsewhere; None
        unless two persons have 5 scores here and two (that one among them) have 5 elsewhere: without that nobody can
        tell a person from a machine.
    """
    here = only_one(score, person)
    there = only_one(elsewhere, person_elsewhere)
    if here is None or there is None:
        return None
    own = np.isfinite(elsewhere) & (person_elsewhere == here[1])
    if own.sum() < FEWEST:
        return None
    return here[0] * (there[0] if there[1] == here[1] else 0.0)


def first_of_day(score: Floats, day: Ints) -> float | None:
    """Chance that the first part of a day shows something that later ones do not.

    Parameters
    ----------
    score, day
        (n,) scores in order of machining, and the day of each.

    Returns
    -------
    float or None
        Posterior chance of a first part that stands apart against none that does, as likely beforehand, with the
        penalty of one more parameter (Schwarz 1978); None unless 8 days have a first and a later part.
    """
    known = np.isfinite(score)
    day, score = day[known], score[known]
    first = np.concatenate([[True], np.diff(day) != 0]) if day.size else np.zeros(0, dtype=bool)
    several = np.isin(day, day[~first])
    if (first & several).sum() < 8:
        return None
    gap = float(score[first & several].mean() - score[~first].mean())
    variance = 1.0 / (first & several).sum() + 1.0 / (~first).sum()
    return _chance((gap**2 / variance - math.log(score.size)) / 2.0)


def alternates(score: Floats) -> float | None:
    """Chance that parts go up and down in turn, from the correlation of neighbours; None below 12 scores.

    Posterior against independence, as likely beforehand, with the penalty of one more parameter (Schwarz 1978); a
    positive correlation speaks against it.
    """
    score = score[np.isfinite(score)]
    if score.size < _FEWEST_IN_ORDER:
        return None
    centred = score - score.mean()
    squares = float(centred @ centred)
    if squares <= 0.0:
        return None
    r = float(centred[1:] @ centred[:-1]) / squares
    odds = score.size * r * r - math.log(score.size)
    return _chance(odds / 2.0) if r < 0.0 else _chance((-score.size * r * r - math.log(score.size)) / 2.0)


def _chance(odds: float) -> float:
    """From log odds, never quite sure: the model itself may be wrong."""
    return min(max(1.0 / (1.0 + math.exp(-min(max(odds, -50.0), 50.0))), 0.02), 0.98)


def spread_scores(spread: Floats, family: Ints, before: Bools) -> Floats:
    """Spread within each part in standard deviations from what its family showed before a change.

    Parameters
    ----------
    spread
        (n,) standard deviation within each part; NaN where it was not measured. [any unit]
    family
        (n,) family codes.
    before
        (n,) True for the parts to compare with.

    Returns
    -------
    ndarray
        (n,) scores of s^(2/3); NaN for a family with fewer than 10 parts to compare with, or with equal ones. [-]

    References
    ----------
    .. [1] Wilson, E. B. & Hilferty, M. M. (1931), Proceedings of the National Academy of Sciences 17, 684-688: the cube
       root of a variance is nearly normal (from memory).
    """
    value = spread ** (2.0 / 3.0)
    score = np.full(value.size, np.nan)
    for code in np.unique(family):
        own = family == code
        known = value[own & before & np.isfinite(value)]
        if known.size >= FEWEST_BEFORE and known.std() > 0:
            score[own] = (value[own] - known.mean()) / known.std(ddof=1)
    return score
