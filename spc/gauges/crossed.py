"""Mean squares of a gauge trial, and how its variance components follow from them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from spc.errors import SpcError, TooFewReadings
from spc.gauges.gaps import adjusted_squares

Floats = NDArray[np.float64]
Ints = NDArray[np.int_]


@dataclass(frozen=True)
class AnovaRow:
    """A source of variation: its sum of squares, degrees of freedom, mean square, F and p (None for errors)."""

    source: str
    sum_of_squares: float
    dof: float
    mean_square: float
    f: float | None
    p_value: float | None


@dataclass(frozen=True)
class Split:
    """A trial taken apart: mean squares, and each component as a weighted sum of them.

    `squares` is None when there are no mean squares to go by. `variances` holds the components where they are not
    the weighted sums (a study with gaps).
    """

    parts: int
    operators: int
    method: str
    squares: tuple[float, ...] | None
    dofs: tuple[float, ...]
    weights: dict[str, tuple[float, ...]]
    pooled: bool
    decision: str
    anova: tuple[AnovaRow, ...] = ()
    variances: dict[str, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


def crossed_split(
    y: Floats, part: Ints, operator: Ints, trials: int, pool: bool | None, pooled_above: float
) -> Split:
    """Every operator measured every part equally often: two-way analysis of variance with both random.

    Parameters
    ----------
    y : array, shape (n,)
    part, operator : int arrays, shape (n,)
        Codes from 0.
    trials : int
        Readings a cell.
    pool : bool or None
        None: pooled when the p-value of the interaction exceeds `pooled_above`.
    pooled_above : float

    Returns
    -------
    Split

    References
    ----------
    .. [1] Expected mean squares of the two-way random model: Montgomery, D. C., Design and Analysis of
       Experiments (from memory).
    """
    from scipy.special import fdtrc

    p, o, r = int(part.max()) + 1, int(operator.max()) + 1, trials
    order = np.lexsort((operator, part))
    cube = y[order].reshape(p, o, r)
    cells, by_part, by_operator, mean = cube.mean(2), cube.mean((1, 2)), cube.mean((0, 2)), cube.mean()
    ss_part = o * r * float(np.sum((by_part - mean) ** 2))
    ss_operator = p * r * float(np.sum((by_operator - mean) ** 2))
    ss_both = r * float(np.sum((cells - by_part[:, None] - by_operator + mean) ** 2))
    ss_error = float(np.sum((cube - cells[:, :, None]) ** 2))
    f_part, f_operator, f_both, f_error = p - 1, o - 1, (p - 1) * (o - 1), p * o * (r - 1)
    ms_part, ms_operator, ms_both = ss_part / f_part, ss_operator / f_operator, ss_both / f_both
    warnings: tuple[str, ...] = ()
    ratio_or_none: float | None = None
    chance_or_none: float | None = None
    if r == 1:
        decision = "one trial a cell: interaction and repeatability cannot be told apart and are one"
        warnings = ("one trial a cell: repeatability holds the interaction as well",)
        if pool is False:
            raise SpcError(
                "with one reading of each part by each operator the interaction cannot be kept apart"
            )
        pool = True
    else:
        ms_error = ss_error / f_error
        ratio = ms_both / ms_error if ms_error > 0 else math.inf if ms_both > 0 else 0.0
        chance = 0.0 if math.isinf(ratio) else float(fdtrc(f_both, f_error, ratio))
        ratio_or_none, chance_or_none = (None if math.isinf(ratio) else ratio), chance
        given = pool is not None
        pool = chance > pooled_above if pool is None else pool
        why = "as asked" if given else f"above {pooled_above:g}" if pool else f"not above {pooled_above:g}"
        decision = (
            f"interaction {'pooled with repeatability' if pool else 'kept'}: p of the interaction "
            f"{chance:.3g}, {why}"
        )
    if pool:
        f_pool = f_both + f_error
        ms_pool = (ss_both + ss_error) / f_pool
        squares, dofs = (ms_part, ms_operator, ms_pool), (f_part, f_operator, f_pool)
        weights: dict[str, tuple[float, ...]] = {
            "repeatability": (0.0, 0.0, 1.0),
            "operator": (0.0, 1 / (p * r), -1 / (p * r)),
            "part": (1 / (o * r), 0.0, -1 / (o * r)),
        }
        weights["reproducibility"] = weights["operator"]
        against = (ms_pool, f_pool)
    else:
        squares = (ms_part, ms_operator, ms_both, ss_error / f_error)
        dofs = (f_part, f_operator, f_both, f_error)
        weights = {
            "repeatability": (0.0, 0.0, 0.0, 1.0),
            "operator": (0.0, 1 / (p * r), -1 / (p * r), 0.0),
            "interaction": (0.0, 0.0, 1 / r, -1 / r),
            "part": (1 / (o * r), 0.0, -1 / (o * r), 0.0),
            "reproducibility": (0.0, 1 / (p * r), (p - 1) / (p * r), -1 / r),
        }
        against = (ms_both, f_both)
    weights["gauge"] = _sum(weights["repeatability"], weights["reproducibility"])
    weights["total"] = _sum(weights["gauge"], weights["part"])
    anova: list[AnovaRow] = [
        _tested("part", ss_part, f_part, *against),
        _tested("operator", ss_operator, f_operator, *against),
        AnovaRow("interaction", ss_both, f_both, ms_both, ratio_or_none, chance_or_none),
    ]
    if r > 1:
        anova.append(AnovaRow("repeatability", ss_error, f_error, ss_error / f_error, None, None))
    if pool and r > 1:
        anova.append(
            AnovaRow("interaction and repeatability", ss_both + ss_error, against[1], against[0], None, None)
        )
    return Split(
        p, o, "crossed", squares, dofs, weights, bool(pool), decision, tuple(anova), warnings=warnings
    )


def nested_split(y: Floats, part: Ints, operator: Ints, counts: Ints) -> Split:
    """Every part was measured by one operator only: parts within operators.

    Parameters
    ----------
    y : array, shape (n,)
    part, operator : int arrays, shape (n,)
    counts : int array, shape (parts, operators)
        Readings of each part by each operator.

    Returns
    -------
    Split

    Raises
    ------
    SpcError
        Operators measured unequal numbers of parts, or parts were measured unequally often.
    TooFewReadings
        One part an operator, or one reading a part.
    """
    per_operator = (counts > 0).sum(axis=0)
    trials = counts.max(axis=1)
    if np.ptp(per_operator) > 0 or np.ptp(trials) > 0:
        raise SpcError(
            "each part was measured by one operator only, which needs equally many parts an operator and "
            f"readings a part; parts {sorted(set(per_operator.tolist()))}, readings {sorted(set(trials.tolist()))}"
        )
    o, q, r = counts.shape[1], int(per_operator[0]), int(trials[0])
    if q < 2 or r < 2:
        raise TooFewReadings("a nested gauge study", "2 parts an operator and 2 readings a part", min(q, r))
    order = np.lexsort((part, operator))
    cube = y[order].reshape(o, q, r)
    cells, by_operator = cube.mean(2), cube.mean((1, 2))
    ss_operator = q * r * float(np.sum((by_operator - cube.mean()) ** 2))
    ss_part = r * float(np.sum((cells - by_operator[:, None]) ** 2))
    ss_error = float(np.sum((cube - cells[:, :, None]) ** 2))
    f = (o - 1, o * (q - 1), o * q * (r - 1))
    squares = (ss_operator / f[0], ss_part / f[1], ss_error / f[2])
    weights: dict[str, tuple[float, ...]] = {
        "repeatability": (0.0, 0.0, 1.0),
        "operator": (1 / (q * r), -1 / (q * r), 0.0),
        "part": (0.0, 1 / r, -1 / r),
    }
    weights["reproducibility"] = weights["operator"]
    weights["gauge"] = _sum(weights["repeatability"], weights["operator"])
    weights["total"] = _sum(weights["gauge"], weights["part"])
    anova = (
        _tested("operator", ss_operator, f[0], squares[1], f[1]),
        _tested("part within operator", ss_part, f[1], squares[2], f[2]),
        AnovaRow("repeatability", ss_error, f[2], squares[2], None, None),
    )
    return Split(
        o * q,
        o,
        "nested",
        squares,
        f,
        weights,
        True,
        "each part was measured by one operator only: an interaction cannot be seen",
        anova,
        warnings=("parts are nested in operators: a difference between operators may be one between parts",),
    )


def one_operator_split(y: Floats, part: Ints, counts: Ints) -> Split:
    """One operator: repeatability and parts only.

    Parameters
    ----------
    y : array, shape (n,)
    part : int array, shape (n,)
    counts : int array, shape (parts,)
        Readings of each part.

    Returns
    -------
    Split

    Raises
    ------
    TooFewReadings
        No part was measured twice.
    """
    p = counts.size
    free = int(counts.sum()) - p
    if free < 1:
        raise TooFewReadings("repeatability", "2 readings of a part by the same operator", 1)
    means = np.bincount(part, y) / counts
    ms_error = float(np.sum((y - means[part]) ** 2)) / free
    equal = np.ptp(counts) == 0
    # Unequal numbers: plain means of parts, each holding repeatability over its own number of readings.
    holds = float(np.mean(1 / counts))
    ms_part = float(np.sum((means - means.mean()) ** 2)) / (p - 1)
    weights: dict[str, tuple[float, ...]] = {
        "repeatability": (0.0, 1.0),
        "part": (1.0, -holds),
        "gauge": (0.0, 1.0),
    }
    weights["total"] = _sum(weights["gauge"], weights["part"])
    r = float(counts[0]) if equal else 1 / holds
    notes = ["one operator: what another hand would add is not in these figures"]
    if not equal:
        notes.append(
            "parts were read unequally often: plain part means are used and intervals are approximate"
        )
    return Split(
        p,
        1,
        "one operator",
        (ms_part, ms_error),
        (p - 1, free),
        weights,
        True,
        "one operator: there is no interaction to see",
        (
            _tested("part", r * ms_part * (p - 1), p - 1, ms_error, free),
            AnovaRow("repeatability", ms_error * free, free, ms_error, None, None),
        ),
        warnings=tuple(notes),
    )


def unequal_split(y: Floats, part: Ints, operator: Ints, counts: Ints) -> Split:
    """A crossed study with gaps: estimates by restricted maximum likelihood, mean squares for their intervals.

    Parameters
    ----------
    y : array, shape (n,)
    part, operator : int arrays, shape (n,)
    counts : int array, shape (parts, operators)

    Returns
    -------
    Split

    References
    ----------
    .. [1] Patterson, H. D. & Thompson, R. (1971), Biometrika 58, 545-554 (from memory), as in statsmodels
       `MixedLM`; its default optimiser is not safe for such studies, `powell` on scaled readings is. Mean squares:
       `spc.gauges.gaps`.
    """
    import warnings

    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    scale = float(np.std(y))
    cell = part * (int(operator.max()) + 1) + operator
    levels = {"operator": operator, "part": part}
    keeps = bool((counts > 1).any())
    if keeps:
        levels["interaction"] = np.unique(cell, return_inverse=True)[1]
    spec = VCSpec(
        list(levels),
        [[[f"{name}{i}" for i in range(code.max() + 1)]] for name, code in levels.items()],
        [[np.eye(code.max() + 1)[code]] for code in levels.values()],
    )
    with warnings.catch_warnings():
        # Said in words below where it matters: an estimate on the border (a component of 0) always warns.
        warnings.simplefilter("ignore")
        fit = MixedLM(y / scale, np.ones((y.size, 1)), groups=np.zeros(y.size), exog_vc=spec).fit(
            reml=True, method="powell", xtol=1e-9, ftol=1e-12
        )
    found = dict(zip(levels, (float(v) * scale**2 for v in fit.vcomp), strict=True))
    found["repeatability"] = float(fit.scale) * scale**2
    found["reproducibility"] = found["operator"] + found.get("interaction", 0.0)
    found["gauge"] = found["repeatability"] + found["reproducibility"]
    found["total"] = found["gauge"] + found["part"]
    short = int((counts < counts.max()).sum())
    adjusted = adjusted_squares(y, part, operator, interaction=keeps)
    note = "intervals are approximate"
    if adjusted is None:
        note = "no intervals are given, as nobody measured the parts of one operator beside those of another"
    return Split(
        counts.shape[0],
        counts.shape[1],
        "restricted maximum likelihood",
        None if adjusted is None else adjusted.squares,
        () if adjusted is None else adjusted.dofs,
        dict.fromkeys(found, ()) if adjusted is None else adjusted.weights,
        not keeps,
        "interaction kept" if keeps else "no cell was read twice: interaction and repeatability are one",
        variances=found,
        warnings=(f"the study has gaps ({short} cells short of readings): {note}",),
    )


def _sum(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(x + y for x, y in zip(a, b, strict=True))


def _tested(source: str, ss: float, dof: float, error: float, error_dof: float) -> AnovaRow:
    from scipy.special import fdtrc

    square = ss / dof
    if not error > 0:
        return AnovaRow(source, ss, dof, square, None, None)
    return AnovaRow(source, ss, dof, square, square / error, float(fdtrc(dof, error_dof, square / error)))
