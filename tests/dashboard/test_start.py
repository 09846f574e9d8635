"""What a start loads: nothing that only judging needs, so that the first list is not waited for."""

import subprocess
import sys
from pathlib import Path

from ingest.shop.shop import Shop
from tests.ingest.small_shop import PLAN, day_files, parts

FIRST_LIST = """
import sys
from pathlib import Path
from dashboard.desk import Desk
from dashboard.serving.web import create_app, resolve
from ingest.shop.shop import Shop

with Shop.open(Path(sys.argv[1])) as shop:
    create_app(Desk(shop), port=8400, token="t")
    title, body = resolve(Desk(shop), "/", "")
    assert "What is going off?" in getattr(body[0], "data-made"), title
print(*sorted({"pandas", "scipy", "statsmodels"} & set(sys.modules)))
"""


def test_the_first_list_is_shown_without_what_judges_and_frames(tmp_path: Path) -> None:
    with Shop.create(tmp_path / "shop", PLAN) as shop:
        shop.take_in_batches(day_files(parts(20)))
    done = subprocess.run(
        [sys.executable, "-c", FIRST_LIST, str(tmp_path / "shop")], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []
