"""Simulated processes that hold: the conditions under which false alarms are counted."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from spc.process import ProcessData, ProcessOptions

RUN_LENGTH = 5_000.0


def process(
    readings: np.ndarray,
    *,
    family: np.ndarray | None = None,
    day: np.ndarray | None = None,
    level: np.ndarray | None = None,
    life: np.ndarray | None = None,
    wear: np.ndarray | None = None,
    learn: np.ndarray | None = None,
    strata: tuple[np.ndarray, ...] = (),
    run_length: float = RUN_LENGTH,
) -> ProcessData:
    """Process data from readings, everything else as plain as can be unless given."""
    readings = np.asarray(readings, float)
    if readings.ndim == 1:
        readings = readings[:, None]
    n = len(readings)
    zero = np.zeros(n, np.int64)
    return ProcessData(
        readings=readings,
        strata=strata,
        family=zero if family is None else family,
        day=np.arange(n) if day is None else day,
        run_length=np.full(n, run_length),
        level=zero if level is None else level,
        life=zero - 1 if life is None else life,
        wear=np.zeros(n) if wear is None else wear,
        learn=np.ones(n, bool) if learn is None else learn,
    )


def plain(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """One family, level and sd unknown, one value a part."""
    return process(rng.normal(12.0, 3.0, n)), ProcessOptions(daily=False)


def _families(rng: np.random.Generator, n: int) -> np.ndarray:
    return rng.choice(3, n, p=[0.5, 0.3, 0.2])


def three_families(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """Three families, sd 1, 2.3 and 5, levels far apart."""
    family = _families(rng, n)
    value = np.array([0.0, 40.0, -15.0])[family] + np.array([1.0, 2.3, 5.0])[family] * rng.standard_normal(n)
    return process(value, family=family), ProcessOptions(daily=False)


def unequal_readings(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """Twelve nested positions with lasting offsets, a quarter of the readings missing, two families."""
    family = rng.choice(2, n, p=[0.6, 0.4])
    group = np.repeat(np.arange(4), 3)
    offset = rng.normal(0.0, 4.0, 12)
    value = rng.normal(0.0, 1.0, (n, 1)) + offset + rng.normal(0.0, 1.0, (n, 4))[:, group]
    value = value + rng.normal(0.0, 1.5, (n, 12))
    value[rng.random((n, 12)) < 0.25] = np.nan
    return process(value, family=family, strata=(group,)), ProcessOptions(daily=False)


def complete_readings(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """Twelve nested positions, all measured."""
    group = np.repeat(np.arange(4), 3)
    value = rng.normal(0.0, 1.0, (n, 1)) + rng.normal(0.0, 4.0, 12) + rng.normal(0.0, 1.0, (n, 4))[:, group]
    return process(value + rng.normal(0.0, 1.5, (n, 12)), strata=(group,)), ProcessOptions(daily=False)


def _lives(rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray]:
    life, wear = np.zeros(n, np.int64), np.zeros(n)
    number, uses, length = 0, 0.0, 190.0
    for part in range(n):
        if uses >= length:
            number, uses, length = number + 1, 0.0, 190.0 * float(np.exp(rng.normal(0.0, 0.1)))
        life[part], wear[part] = number, uses
        uses += float(rng.choice([4, 6]))
    return life, wear


def tool_lives(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """Lives of random level and slope with a break-in, two families that share the wear."""
    life, wear = _lives(rng, n)
    family = rng.choice(2, n)
    count = int(life.max()) + 1
    start, slope = rng.normal(0.0, 0.6, count), rng.normal(-1.5, 0.7, count)
    value = start[life] + slope[life] * wear / 100.0 + 1.5 * np.exp(-wear / 15.0)
    value = value + np.array([0.0, 3.0])[family] + rng.standard_normal(n)
    data = process(value, family=family, life=life, wear=wear)
    return data, ProcessOptions(wears=True, daily=False, pool_families=True)


def tool_lives_apart(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """The same lives with families of unequal spread, not pooled."""
    data, _ = tool_lives(rng, n)
    scale = np.array([1.0, 2.5])[data.family][:, None]
    data = process(data.readings * scale, family=data.family, life=data.life, wear=data.wear)
    return data, ProcessOptions(wears=True, daily=False)


def one_long_life(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """One endless life that drifts all the time."""
    value = 0.02 * np.arange(n) + rng.standard_normal(n)
    data = process(value, life=np.zeros(n, np.int64), wear=5.0 * np.arange(n))
    return data, ProcessOptions(wears=True, daily=False)


def _days(rng: np.random.Generator, n: int) -> np.ndarray:
    return np.repeat(np.arange(n), rng.poisson(3.0, n) + 1)[:n]


def daily_declared(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """A setting error every day, declared; three families of spread 1, 1.2 and 1.6."""
    day, family = _days(rng, n), _families(rng, n)
    value = np.array([0.0, 40.0, -15.0])[family] + rng.normal(0.0, 0.8, n)[day]
    value = value + np.array([1.0, 1.2, 1.6])[family] * rng.standard_normal(n)
    return process(value, family=family, day=day), ProcessOptions(daily=True)


def daily_found(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """The same, not declared: the data must show it."""
    data, _ = daily_declared(rng, n)
    return data, ProcessOptions(daily=None)


def days_without_effect(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """Several parts a day, no day component, not declared."""
    return process(rng.standard_normal(n), day=_days(rng, n)), ProcessOptions(daily=None)


def outliers(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """One part in a hundred is off by six sd either way."""
    value = rng.standard_normal(n)
    odd = rng.random(n) < 0.01
    value[odd] += rng.choice([-6.0, 6.0], int(odd.sum()))
    return process(value), ProcessOptions(daily=False)


def rounded(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """Readings in steps of one sd."""
    return process(np.round(rng.normal(0.3, 1.0, n))), ProcessOptions(daily=False, resolution=1.0)


def frequent_setups(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """A set-up every 12 parts or so, each with its own level."""
    level = np.cumsum(rng.random(n) < 1 / 12)
    value = rng.normal(0.0, 0.7, n)[level] + rng.standard_normal(n)
    return process(value, level=level), ProcessOptions(daily=False)


def rare_restarts(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """A service every 150 parts or so that moves the level by any amount, two families."""
    level = np.cumsum(rng.random(n) < 1 / 150)
    family = rng.choice(2, n)
    value = rng.normal(0.0, 5.0, (n, 2))[level, family] + np.array([1.0, 2.0])[family] * rng.standard_normal(
        n
    )
    return process(value, level=level, family=family), ProcessOptions(daily=False)


def correlated(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """Parts follow one another with lag-1 correlation 0.2."""
    shock = rng.standard_normal(n)
    value = np.zeros(n)
    for part in range(1, n):
        value[part] = 0.2 * value[part - 1] + shock[part]
    return process(value), ProcessOptions(daily=False)


def lognormal_taken_as_normal(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """A skewed finish parameter whose plan forgot the log scale: must give false alarms."""
    return process(np.exp(0.5 * rng.standard_normal(n))), ProcessOptions(daily=False)


def lives_alone(rng: np.random.Generator, n: int) -> tuple[ProcessData, ProcessOptions]:
    """Lives of random length of a tool whose readings never move: only the life is watched."""
    life, wear = _lives(rng, n)
    return process(np.zeros(n), life=life, wear=wear), ProcessOptions(wears=True, daily=False, resolution=1.0)


Shop = Callable[[np.random.Generator, int], tuple[ProcessData, ProcessOptions]]
