"""Random numbers that stay put: one stream per subject.

Each subject (main size, taper, finish, missing readings ...) owns a stream that
depends on the seed and on its own name only, and draws one number per block,
pass and position up front. So leaving a story out, or adding a subject, does
not move the numbers of any other.
"""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray


class Streams:
    """The random streams of one shop.

    Parameters
    ----------
    seed : int
        Not negative. The same seed always makes the same shop.
    """

    def __init__(self, seed: int) -> None:
        if seed < 0:
            raise ValueError(f"seed must be 0 or more, got {seed}")
        self._seed = seed

    def generator(self, name: str) -> np.random.Generator:
        """A fresh generator at the start of the stream of this name."""
        key = zlib.crc32(name.encode())
        return np.random.default_rng(np.random.SeedSequence(self._seed, spawn_key=(key,)))

    def normal(self, name: str, *shape: int) -> NDArray[np.float64]:
        """Standard normal numbers of the given shape."""
        return self.generator(name).standard_normal(shape)

    def uniform(self, name: str, *shape: int) -> NDArray[np.float64]:
        """Numbers between 0 and 1 of the given shape."""
        return self.generator(name).random(shape)
