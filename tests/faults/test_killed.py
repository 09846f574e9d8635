"""Killed at any moment of intake, assessment, decision or checkpoint: what was acknowledged is there, whole."""

import multiprocessing
import random
from pathlib import Path

import pytest

from tests.faults.checks import assert_sound
from tests.faults.conftest import FAULTS
from tests.faults.shop_at_work import work

EACH = 8
"""Kills of one shop, one after another, before it is looked at as a whole."""
SERVER = multiprocessing.get_context("forkserver")
SERVER.set_forkserver_preload(
    ["tests.faults.shop_at_work", "ingest.shop.shop", "statsmodels.stats.diagnostic"]
)


def run_and_kill(folder: Path, lines: int, seconds: float) -> list[tuple[str, object]]:
    """Let the shop work for so many acknowledgements and a moment more, kill it, return what it said."""
    here, there = SERVER.Pipe(duplex=False)
    child = SERVER.Process(target=work, args=(folder, there))
    child.start()
    there.close()
    told: list[tuple[str, object]] = []
    try:
        for _ in range(lines):
            told.append(here.recv())
        child.join(timeout=seconds)
        child.kill()
        while True:
            told.append(here.recv())
    except EOFError:
        pass
    child.join()
    here.close()
    assert [what for kind, what in told if kind == "wrong"] == []
    return told


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(-(-FAULTS // EACH)))
def test_a_shop_killed_again_and_again_loses_nothing(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    folder = tmp_path / "shop"
    acknowledged: set[str] = set()
    for _ in range(EACH):
        told = run_and_kill(folder, rng.randrange(12), rng.uniform(0.0, 0.4))
        acknowledged |= {str(what) for kind, what in told if kind == "file"}
    assert acknowledged
    assert_sound(folder, acknowledged)
