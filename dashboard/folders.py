"""Which shop folder a command means, and opening it so that no lock is ever a riddle."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.terminal import fail

if TYPE_CHECKING:
    from ingest.shop import Shop

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
    from ingest.problems import PlanError, ShopBusy, StoreError
    from ingest.shop import Shop, ShopError

    try:
        return Shop.open(folder)
    except ShopBusy as busy:
        holder = f"process {busy.pid}" if busy.pid is not None else "another process"
        fail(
            f"{folder} is in use by {holder}. Wait until it is done, or stop it, and try again; "
            "a running `tenthwise serve` takes commands over by itself."
        )
    except (PlanError, ShopError) as error:
        fail(str(error))
    except StoreError as error:
        fail(f"{error} Run `tenthwise rebuild --folder {folder}` to make the database anew from the archive.")
    except OSError as error:
        fail(f"{folder} cannot be opened: {error.strerror or error}.")
