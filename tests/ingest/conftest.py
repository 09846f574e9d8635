"""A small shop in a folder of its own."""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest

from ingest.shop.shop import Shop
from tests.ingest.small_shop import PLAN


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """An empty small shop, open."""
    opened = Shop.create(tmp_path / "shop", PLAN, known_at=datetime(2025, 3, 1, 8))  # noqa: DTZ001 - shop time
    yield opened
    opened.close()
