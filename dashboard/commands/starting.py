"""Starting a shop: a folder with a plan full of notes, to be changed by hand before the first file."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from dashboard.commands.folders import PLAN


class NotEmpty(Exception):  # noqa: N818 - reads as what it is
    """The folder holds something already."""


def start_shop(folder: Path) -> Path:
    """Make the folder, its inbox and a plan to edit; returns the path of the plan.

    Raises
    ------
    NotEmpty
        The folder is there and holds something, or is a file.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise NotEmpty(f"{folder} is there already and not empty: name a new folder, nothing was changed.")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "inbox").mkdir()
    plan = folder / PLAN
    plan.write_bytes(files("ingest.plans").joinpath("template.toml").read_bytes())
    return plan
