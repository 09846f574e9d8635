"""What a service costs and saves: Monte Carlo over everything that is not known exactly."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.change.service_effect import differ_by_family
from spc.errors import SpcError

Array = NDArray[np.float64]

DRAWS = 200_000
SEED = 20_240_501
YEAR = 12.0


@dataclass(frozen=True)
class FamilyMoney:
    """What one family brings to the case.

    Attributes
    ----------
    name : str
    parts, months : float
        Parts made on the machine and the time they took. [-], [months]
    out_now, of_now, out_then, of_then : int
        Parts beyond a limit and parts judged, as it is and as it was or would be with a sound machine.
    redo, scrap, comeback : float
        Cost of doing a part again, of scrapping it, of one that comes back. [currency]
    comeback_chance : tuple of float
        Lowest and highest chance that a bad part nobody noticed comes back.
    """

    name: str
    parts: float
    months: float
    out_now: int
    of_now: int
    out_then: int
    of_then: int
    redo: float
    scrap: float
    comeback: float
    comeback_chance: tuple[float, float]


@dataclass(frozen=True)
class Doubt:
    """How well the figures of a case are known that nobody counted; the defaults are assumptions, shown where used.

    Attributes
    ----------
    amounts : float
        An amount given as one figure may be off by so much of it either way, 0 to 1. [-]
    followed : float
        What becomes of a bad part is as sure as if so many had been followed up, above 0. [parts]
    cure : tuple of float
        A service that has not been done yet gives back at least and at most this share of the gap, 0 to 1. [-]
    """

    amounts: float = 0.2
    followed: float = 50.0
    cure: tuple[float, float] = (0.8, 1.0)


@dataclass(frozen=True)
class Price:
    """What the service costs.

    Attributes
    ----------
    amount : float
        Invoice or quote. [currency]
    down_hours, margin_per_hour : float
        Hours the machine stands still, and what an hour of it would have earned. [h], [currency per h]
    done : bool
        It was done and its effect is in the counts; otherwise how much it cures is drawn from `Doubt.cure`.
    """

    amount: float
    down_hours: float
    margin_per_hour: float
    done: bool

    @property
    def total(self) -> float:
        """Price with the hours lost. [currency]"""
        return self.amount + self.down_hours * self.margin_per_hour


@dataclass(frozen=True)
class Ranged3:
    """10, 50 and 90 % points of what was drawn; infinite where it never comes.

    `error` is the simulation's standard error of the middle one; NaN where that is infinite.
    """

    p10: float
    p50: float
    p90: float
    error: float


@dataclass(frozen=True)
class Sway:
    """How far one input alone moves the payback.

    Attributes
    ----------
    name : str
    low, high : float
        Payback with the input at its 10 and at its 90 % point, everything else at its middle. [months]
    """

    name: str
    low: float
    high: float


@dataclass(frozen=True)
class Money:
    """What a service costs and saves.

    Attributes
    ----------
    out_now, out_then : Ranged3
        Parts beyond a limit a month. [parts a month]
    cost_now : Ranged3
        What they cost. [currency a month]
    saving : Ranged3
        What the service saves; also what waiting for another month costs. [currency a month]
    payback : Ranged3
        [months]
    within_year : float
        Chance that it has paid within 12 months.
    within_year_error : float
        The simulation's standard error of that.
    middle : float
        Payback with every input at its middle, from which the sways depart. [months]
    price : Price
    doubt : Doubt
    sways : tuple of Sway
        The input that matters most first.
    draws, seed : int
    """

    out_now: Ranged3
    out_then: Ranged3
    cost_now: Ranged3
    saving: Ranged3
    payback: Ranged3
    within_year: float
    within_year_error: float
    middle: float
    price: Price
    doubt: Doubt
    sways: tuple[Sway, ...]
    draws: int
    seed: int


def service_money(
    families: tuple[FamilyMoney, ...],
    price: Price,
    shares: Mapping[str, float],
    *,
    doubt: Doubt | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Money:
    """Monthly cost, saving and payback of a service with their ranges.

    Shares of parts beyond a limit come from Jeffreys' posterior of the counts, of all families together unless they
    differ by more than noise: few parts would else credit one family with what another had by chance. The pace comes
    from the gamma posterior of the parts made. The chance of a comeback is uniform over its range, amounts are
    triangular around their figure by `Doubt.amounts`, and what becomes of a bad part is Dirichlet as after
    `Doubt.followed` parts.

    Parameters
    ----------
    families : tuple of FamilyMoney
        1 or more.
    price : Price
    shares : mapping
        What becomes of a bad part: ``rehone`` (done again), ``scrap``, ``unnoticed``; they add to 1.
    doubt : Doubt, optional
        How well the figures that nobody counted are known; by default as assumed.
    draws, seed : int

    Returns
    -------
    Money

    Raises
    ------
    SpcError
        No family, no part judged, shares that do not add to 1, a price of 0 or below, a doubt that cannot be.

    References
    ----------
    .. [1] Payback = price / saving a month: plain arithmetic. Posteriors: Jeffreys' priors (definition). The model
       of costs is this project's own.
    """
    doubt = Doubt() if doubt is None else doubt
    _check(families, price, shares, doubt)
    rng = np.random.default_rng(seed)
    drawn: dict[str, Array] = {}
    for when, counts in (
        ("now", [(f.out_now, f.of_now) for f in families]),
        ("then", [(f.out_then, f.of_then) for f in families]),
    ):
        out, of = zip(*counts, strict=True)
        apart = differ_by_family(out, of)
        together = rng.beta(sum(out) + 0.5, sum(of) - sum(out) + 0.5, draws)
        for f, (k, n) in zip(families, counts, strict=True):
            own = rng.beta(k + 0.5, n - k + 0.5, draws) if apart else together
            drawn[f"out {when} {f.name}"] = own
    for f in families:
        drawn[f"pace {f.name}"] = rng.gamma(f.parts + 0.5, 1 / f.months, draws)
    split = rng.dirichlet([max(doubt.followed * shares.get(k, 0.0), 1e-6) for k in _WAYS], draws)
    drawn["fate"] = split[:, 0]
    drawn["unnoticed"] = split[:, 2]
    low, high = (np.array([f.comeback_chance[i] for f in families]) for i in (0, 1))
    drawn["comeback chance"] = rng.random(draws)
    for name in ("amounts", "hours"):
        drawn[name] = _around(rng, doubt.amounts, draws)
    drawn["cure"] = np.ones(draws) if price.done else rng.uniform(*doubt.cure, draws)

    def worked(x: Mapping[str, Array]) -> tuple[Array, Array, Array, Array, Array]:
        out_now, out_then, cost, saved = (np.zeros_like(x["fate"]) for _ in range(4))
        for i, f in enumerate(families):
            chance = low[i] + (high[i] - low[i]) * x["comeback chance"]
            scrapped = 1 - x["fate"] - x["unnoticed"]
            each = x["fate"] * f.redo + scrapped * f.scrap + x["unnoticed"] * chance * f.comeback
            each = each * x["amounts"]
            now, then = (x[f"pace {f.name}"] * x[f"out {when} {f.name}"] for when in ("now", "then"))
            out_now, out_then, cost = out_now + now, out_then + then, cost + now * each
            saved = saved + (now - then) * each * x["cure"]
        total = price.amount + price.down_hours * price.margin_per_hour * x["hours"]
        with np.errstate(divide="ignore"):
            payback = np.where(saved > 0, total / np.maximum(saved, 1e-300), np.inf)
        return out_now, out_then, cost, saved, payback

    out_now, out_then, cost, saved, payback = worked(drawn)
    within = float(np.mean(payback <= YEAR))
    return Money(
        out_now=_ranged(out_now),
        out_then=_ranged(out_then),
        cost_now=_ranged(cost),
        saving=_ranged(saved),
        payback=_ranged(payback),
        within_year=within,
        within_year_error=math.sqrt(within * (1 - within) / draws),
        middle=float(worked(_middles(drawn))[4][0]),
        price=price,
        doubt=doubt,
        sways=_sways(drawn, lambda x: float(worked(x)[4][0])),
        draws=draws,
        seed=seed,
    )


def _around(rng: np.random.Generator, off: float, draws: int) -> Array:
    """Factors around 1 that may be off by a share either way; exactly 1 where nothing is in doubt."""
    return rng.triangular(1 - off, 1.0, 1 + off, draws) if off > 0 else np.ones(draws)


_WAYS = ("rehone", "scrap", "unnoticed")

GROUPS: dict[str, tuple[str, ...]] = {
    "share of bad parts as it is": ("out now",),
    "share of bad parts with a sound machine": ("out then",),
    "parts made a month": ("pace",),
    "what becomes of a bad part": ("fate", "unnoticed"),
    "chance that a bad part comes back": ("comeback chance",),
    "amounts of the plan": ("amounts",),
    "hours the machine stands": ("hours",),
    "how much the service cures": ("cure",),
}
"""Inputs as people name them, and what is drawn for each."""


def _middles(drawn: Mapping[str, Array]) -> dict[str, Array]:
    return {name: np.array([np.median(values)]) for name, values in drawn.items()}


def _sways(drawn: Mapping[str, Array], payback: Callable[[Mapping[str, Array]], float]) -> tuple[Sway, ...]:
    """One input at a time from its 10 to its 90 % point, in step where it is drawn for each family."""
    middle = _middles(drawn)
    found = []
    for name, parts in GROUPS.items():
        mine = [key for key in drawn if any(key == p or key.startswith(p + " ") for p in parts)]
        if name == "what becomes of a bad part":
            mine = ["fate"]
        ends = []
        for share in (0.1, 0.9):
            ends.append(payback({**middle, **{k: np.quantile(drawn[k], [share]) for k in mine}}))
        if ends[0] != ends[1]:
            found.append(Sway(name, min(ends), max(ends)))
    return tuple(sorted(found, key=lambda s: -_width(s)))


def _width(sway: Sway) -> float:
    return math.inf if math.isinf(sway.high) else sway.high - sway.low


def _ranged(values: Array) -> Ranged3:
    p10, p50, p90 = (float(q) for q in np.quantile(values, [0.1, 0.5, 0.9], method="inverted_cdf"))
    batches = np.array([np.median(b) for b in np.array_split(values, 20)])
    error = float(np.std(batches, ddof=1) / math.sqrt(20)) if np.isfinite(batches).all() else math.nan
    return Ranged3(p10, p50, p90, error)


def _check(
    families: tuple[FamilyMoney, ...], price: Price, shares: Mapping[str, float], doubt: Doubt
) -> None:
    if not families:
        raise SpcError("a service case needs a family that is made on the machine")
    for f in families:
        if f.of_now < 1 or f.of_then < 1 or not f.months > 0:
            raise SpcError(f"family {f.name} has no part judged on one of the two sides")
    if abs(sum(shares.get(k, 0.0) for k in _WAYS) - 1) > 1e-6:
        raise SpcError(f"what becomes of a bad part must add to 1; got {dict(shares)}")
    if not price.total > 0:
        raise SpcError(f"a service that costs {price.total:g} needs no case")
    low, high = doubt.cure
    if not (0 <= doubt.amounts < 1 and doubt.followed > 0 and 0 <= low <= high <= 1):
        raise SpcError(
            "amounts may be off by a share from 0 to below 1, some part must have been followed up, and a cure is a "
            f"range from 0 to 1; got {doubt}"
        )
