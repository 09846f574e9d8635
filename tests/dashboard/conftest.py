"""A shop on paper and the pages over it."""

import pytest

from tests.dashboard.paper_shop import PaperShop


@pytest.fixture
def shop() -> PaperShop:
    return PaperShop()
