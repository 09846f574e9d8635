"""Which shop folder a command means, and opening it so that no lock is ever a riddle."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from dashboard.commands.terminal import Step, fail

if TYPE_CHECKING:
    from ingest.shop.shop import Shop

T = TypeVar("T")
PLAN = "plan.toml"
DEMO = "tenthwise-demo"


def shop_folder(given: Path | None) -> Path:
    """The folder named, else the current one if it holds a plan, else the demonstration's if it is there."""
    if given is not None:
        folder = given
    elif Path(PLAN).is_file():
        folder = Path()
    elif (Path(DEMO) / PLAN).is_file():
        folder = Path(DEMO)
    else:
        fail(
            f"There is no shop here: {Path().absolute()} holds no {PLAN}. Name a shop with --folder, "
            "start one with `tenthwise new FOLDER`, or look at one with `tenthwise demo`."
        )
    if not folder.is_dir():
        fail(f"There is no folder {folder}. Start a shop with `tenthwise new {folder}`.")
    if not (folder / PLAN).is_file():
        fail(f"{folder} is not a shop folder: it holds no {PLAN}. Start one with `tenthwise new FOLDER`.")
    return folder


def open_shop(folder: Path) -> Shop:
    """Open a shop, or end the command with one sentence."""
    shop, busy = open_or_busy(folder)
    if shop is None:
        fail(
            f"{busy} Wait until it is done, or stop it, and try again; "
            "a running `tenthwise serve` takes commands over by itself."
        )
    return shop


def open_or_busy(folder: Path) -> tuple[Shop | None, str]:
    """The shop, opened; or None and who owns it. Anything else that is wrong ends the command."""
    from ingest.shop.shop import Shop

    return _or_busy(folder, lambda: Shop.open(folder))


def rebuild_or_busy(folder: Path, step: Step) -> tuple[Shop | None, str]:
    """The shop with its database made anew; or None and who owns it. Tells `step` files done and in all."""
    from ingest.shop.shop import Shop

    return _or_busy(folder, lambda: Shop.rebuild(folder, step))


def restored(source: Path, folder: Path, step: Step) -> tuple[Shop, bool]:
    """A shop made from a backup, and whether it equals the one that was backed up; or the end of the command."""
    from ingest.shop.backup import BackupError
    from ingest.shop.shop import Shop

    def opening() -> tuple[Shop, bool]:
        try:
            return Shop.restore(source, folder, step)
        except BackupError as error:
            fail(str(error))

    found, busy = _or_busy(folder, opening)
    if found is None:
        fail(busy)
    return found


def _or_busy(folder: Path, opening: Callable[[], T]) -> tuple[T | None, str]:
    from ingest.problems import PlanError, ShopBusy, StoreError
    from ingest.shop.shop import ShopError
    from ingest.storage.archive import ArchiveError
    from ingest.storage.journal import JournalError
    from ingest.storage.store import NewerStore

    try:
        return opening(), ""
    except ShopBusy as busy:
        holder = f"process {busy.pid}" if busy.pid is not None else "another process"
        return None, f"{folder} is in use by {holder}."
    except JournalError as error:
        fail(f"The journal of {folder} is damaged. {error}")
    except (PlanError, ShopError, NewerStore, ArchiveError) as error:
        fail(str(error))
    except StoreError as error:
        fail(f"{error} Run `tenthwise rebuild --folder {folder}` to make the database anew from the archive.")
    except OSError as error:
        fail(f"{folder} cannot be opened: {error.strerror or error}.")
