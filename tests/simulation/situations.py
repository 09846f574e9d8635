"""The situations in which false alarms are counted."""

from __future__ import annotations

from tests.simulation import shops
from tests.simulation.rates import Situation

HOLDING: dict[str, Situation] = {
    "level and sd unknown": Situation(shops.plain),
    "three families of unequal spread": Situation(shops.three_families),
    "complete nested readings": Situation(shops.complete_readings),
    "unequal numbers of readings": Situation(shops.unequal_readings),
    "tool lives, families pooled": Situation(shops.tool_lives),
    "tool lives, families apart": Situation(shops.tool_lives_apart, 400),
    "one endless life": Situation(shops.one_long_life, 300),
    "daily setting, declared": Situation(shops.daily_declared, 300),
    # Until it is found the level has a score a part; so the first row counts parts.
    "daily setting, not declared": Situation(shops.daily_found, 300),
    "the same, after 150 parts": Situation(shops.daily_found, 350, settled=150),
    "several parts a day, no effect": Situation(shops.days_without_effect),
    "1 % outliers of 6 sd": Situation(shops.outliers),
    "rounded to one sd": Situation(shops.rounded),
    "frequent set-ups": Situation(shops.frequent_setups, 300),
    "rare level restarts": Situation(shops.rare_restarts),
    "lag-1 correlation 0.2": Situation(shops.correlated),
    "lengths of lives, run length 200": Situation(shops.lives_alone, 600, run_length=200.0),
}
