"""The three block families: what is measured on them and the shop's own limits.

Lengths are in µm around the nominal unless a name ends in ``_mm``. The figures
belong to this invented shop; they are not those of any real engine.
"""

from __future__ import annotations

from dataclasses import dataclass

PASSES = 2  # a block is worked on at most twice by one operation
MAX_MAINS, MAX_CYLINDERS, MAX_DECKS, MAX_POINTS, SPOTS = 7, 6, 2, 6, 2


@dataclass(frozen=True)
class Family:
    """One family: layout of the block, nominals, limits and natural spreads."""

    code: str
    blocks: int  # in the whole period
    mains: int
    cylinders: int
    decks: tuple[str, ...]
    points: int
    main_mm: float
    main_tolerance: float
    main_round: float
    main_step: float
    main_block_sd: float
    main_bore_sd: float
    cylinder_mm: float
    cylinder_tolerance: float
    cylinder_taper: float
    cylinder_round: float
    cylinder_block_sd: float
    cylinder_bore_sd: float
    deck_mm: float
    deck_tolerance: float
    deck_ra: tuple[float, float]
    bank_difference: float | None = None


FAMILIES = {
    family.code: family
    for family in (
        Family(
            "F1", 665, 5, 4, ("1",), 4,
            63.770, 10, 8, 10, 1.5, 1.0,
            83.270, 10, 13, 13, 1.5, 1.3,
            219.640, 50, (0.0, 0.75),
        ),
        Family(
            "F2", 410, 4, 6, ("L", "R"), 4,
            71.260, 10, 8, 10, 1.6, 1.1,
            91.160, 10, 13, 13, 1.7, 1.5,
            208.350, 50, (0.0, 0.75), 25.0,
        ),
        Family(
            "F3", 255, 7, 6, ("1",), 6,
            87.380, 12, 10, 12, 1.9, 1.3,
            107.620, 13, 13, 15, 2.0, 1.7,
            341.270, 75, (1.50, 2.80),
        ),
    )
}  # fmt: skip
