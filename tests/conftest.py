"""What several suites share: the demonstration shop, built once, and the browser."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

import pytest
from filelock import FileLock
from hypothesis import HealthCheck, settings

from ingest.shop.shop import Shop

# A busy machine is no fault of the program: no test is judged by a clock.
settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """Folder of the whole demonstration shop, as `tenthwise demo --no-serve` leaves it. Copy it to change it."""
    if worker_id == "master":
        return build_demo(tmp_path_factory.mktemp("demo"))
    # Workers of one run share their parent folder: the first to come builds, the others wait for it.
    shared = tmp_path_factory.getbasetemp().parent / "demo"
    with FileLock(shared.with_suffix(".lock")):
        return shared / "shop" if (shared / "shop").exists() else build_demo(shared)


def build_demo(into: Path) -> Path:
    """The demonstration shop in a folder of its own below this one."""
    from contextlib import contextmanager

    from dashboard.commands.demo import prepare_demo

    @contextmanager
    def silent(_title: str, _total: int) -> Iterator[object]:
        yield lambda _done: None

    folder = into / "shop"
    prepare_demo(folder, silent).close()
    return folder


@pytest.fixture(scope="session")
def demo_shop(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """The demonstration shop, open and only to be asked."""
    folder = tmp_path_factory.mktemp("asked") / "shop"
    shutil.copytree(demo_folder, folder)
    shop = Shop.open(folder)
    yield shop
    shop.close()


def chromium_path() -> str | None:
    """A Chromium-family browser of this machine."""
    named = os.environ.get("TENTHWISE_BROWSER")
    found = (shutil.which(name) for name in ("chromium", "chromium-browser", "google-chrome", "msedge"))
    return named or next(filter(None, found), None)


def lacking(what: str) -> NoReturn:
    """This machine lacks what a test needs: a user is told and the test skipped; in CI it fails."""
    if os.environ.get("CI"):
        pytest.fail(what)
    pytest.skip(what)


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of a Chromium-family browser."""
    return chromium_path() or lacking(
        "no Chromium-family browser: install one (apt-get install chromium) or name it in TENTHWISE_BROWSER"
    )
