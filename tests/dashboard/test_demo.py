"""The demonstration is built once, used again, and never built over anything else."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import sample_data
from dashboard.commands import demo
from dashboard.commands.demo import ForeignFolder, decide, prepare_demo
from ingest.storage.lock import FolderLock
from tests.dashboard.paper_shop import NOW, PaperShop


@contextmanager
def silent(_title: str, _total: int) -> Iterator[Any]:
    yield lambda _done: None


@pytest.fixture
def built(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Folders that were built, the building itself left out."""
    folders: list[Path] = []

    def build(folder: Path, text: str, _progress: Any) -> str:
        folders.append(folder)
        (folder / "plan.toml").write_text(text, encoding="utf-8")
        return "new"

    monkeypatch.setattr(demo, "build_demo", build)
    monkeypatch.setattr(demo, "open_shop", lambda _folder: "again")
    return folders


def test_it_is_built_once_and_then_used_again(tmp_path: Path, built: list[Path]) -> None:
    folder = tmp_path / "demo"
    assert prepare_demo(folder, silent) == "new"
    assert prepare_demo(folder, silent) == "again"
    assert built == [folder]


def test_a_broken_off_one_is_begun_again(tmp_path: Path, built: list[Path]) -> None:
    assert built == []
    (tmp_path / "run").mkdir()
    (tmp_path / "run" / "building").touch()
    (tmp_path / "half").write_text("x")
    assert prepare_demo(tmp_path, silent) == "new"
    assert not (tmp_path / "half").exists()
    assert not (tmp_path / "run" / "building").exists()


def test_one_that_is_being_built_is_left_alone(tmp_path: Path, built: list[Path]) -> None:
    lock = FolderLock(tmp_path / "run")
    lock.acquire()
    (tmp_path / "run" / "building").touch()
    with pytest.raises(ForeignFolder, match="is being built by process"):
        prepare_demo(tmp_path, silent)
    lock.release()
    assert built == []


@pytest.mark.parametrize("name", ["plan.toml", "holiday.jpg"])
def test_another_folder_is_never_touched(tmp_path: Path, built: list[Path], name: str) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(ForeignFolder, match="name another place with --folder"):
        prepare_demo(tmp_path, silent)
    assert built == []
    assert (tmp_path / name).read_text() == "mine"


def test_a_decision_closes_what_fits_it_and_nothing_else() -> None:
    shop = PaperShop()
    told: list[tuple[Any, ...]] = []
    shop.close_signal = lambda *words, known_at: told.append((*words, known_at)) or 1  # type: ignore[method-assign]
    rule = sample_data.Decision(NOW, "CD", ("HONE/*", "BORE/*"), ("BORE/*",), NOW, "fixed", "stones")
    assert decide(shop, rule) == 1  # type: ignore[arg-type]
    assert told == [("HONE/finish_hone/bore_peak", "level", "S105", 1, "fixed", "stones", "CD", NOW)]
    early = SimpleNamespace(**{**vars(rule), "raised_before": NOW.replace(year=2020)})
    assert decide(shop, early) == 0  # type: ignore[arg-type]
