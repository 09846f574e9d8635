"""Every plan a shop ever accepted, by the hash of its text."""

from __future__ import annotations

from pathlib import Path

from ingest.durable import fsync_folder, write_new
from ingest.plan import Plan
from ingest.plan_file import parse_plan


class PlanShelf:
    """The folder of accepted plans.

    Parameters
    ----------
    folder : Path
        Made if it does not exist.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._read: dict[str, Plan] = {}

    def keep(self, plan: Plan) -> None:
        """Keep the text of a plan; returns when it is on the disk."""
        self._read[plan.sha256] = plan
        path = self.folder / f"{plan.sha256}.toml"
        if not path.exists():
            write_new(path, plan.text.encode())
            fsync_folder(self.folder)

    def plan(self, sha256: str) -> Plan:
        """The plan with this hash.

        Raises
        ------
        FileNotFoundError
            It is not on the shelf.
        """
        if sha256 not in self._read:
            text = (self.folder / f"{sha256}.toml").read_text(encoding="utf-8")
            self._read[sha256] = parse_plan(text, "plan.toml")
        return self._read[sha256]
